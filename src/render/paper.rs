//! Words and lines on paper: what every drawing shares. All measures are millimetres (mm).

use std::fmt::Write;

use lanewright_compute::units::BarrierKind;

/// A black line of a width, millimetres (mm).
pub(super) fn line(out: &mut String, x1: f64, y1: f64, x2: f64, y2: f64, width: f64) {
    let _ = write!(out, r#"<path d="M{x1:.2} {y1:.2}L{x2:.2} {y2:.2}" stroke="black" stroke-width="{width}"/>"#);
}

/// Words at a place; `anchor` is start, middle or end.
pub(super) fn text(out: &mut String, x: f64, y: f64, size: f64, is_bold: bool, anchor: &str, words: &str) {
    let weight = if is_bold { "bold" } else { "normal" };
    let _ = write!(
        out,
        r#"<text x="{x:.2}" y="{y:.2}" font-size="{size}" font-weight="{weight}" text-anchor="{anchor}">{}</text>"#,
        escaped(words)
    );
}

/// Text that is safe inside an element or attribute of XML 1.0: marks escaped, forbidden characters dropped.
pub(super) fn escaped(words: &str) -> String {
    let mut safe = String::with_capacity(words.len());
    for letter in words.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => {}
            letter if letter.is_control() => safe.push(' '),
            letter => safe.push(letter),
        }
    }
    safe
}

/// A generous estimate of the width of a letter, in parts of its size: nobody knows in which font a picture will be read.
fn letter_wide(letter: char) -> f64 {
    match letter {
        '\u{300}'..='\u{36f}' | '\u{200b}'..='\u{200f}' => 0.0,
        ' ' | '.' | ',' | '\'' | '-' | 'i' | 'j' | 'l' => 0.38,
        'm' | 'w' | 'M' | 'W' | '@' | '%' => 0.98,
        // Ideographs, syllables and signs as wide as they are high.
        '\u{1100}'.. => 1.05,
        letter if letter.is_uppercase() => 0.75,
        _ => 0.62,
    }
}

/// A generous estimate of the width of words, in parts of the size of their letters.
pub(super) fn wide(words: &str) -> f64 {
    words.chars().map(letter_wide).sum()
}

/// Lines of at most a width, in the measure of `wide`; broken between words, and a longer word between letters.
fn broken(words: &str, wide_of: impl Fn(char) -> f64, room: f64) -> Vec<String> {
    let of = |words: &str| words.chars().map(&wide_of).sum::<f64>();
    let mut lines = vec![String::new()];
    for word in words.split_whitespace() {
        let used = lines.last().map_or(0.0, |line| of(line));
        if used > 0.0 && used + wide_of(' ') + of(word) > room {
            lines.push(String::new());
        }
        let mut blank = lines.last().is_some_and(|line| !line.is_empty());
        for letter in word.chars() {
            let used = lines.last().map_or(0.0, |line| of(line));
            if used > 0.0 && !blank && used + wide_of(letter) > room {
                lines.push(String::new());
            }
            if let Some(line) = lines.last_mut() {
                line.extend(blank.then_some(' '));
                line.push(letter);
            }
            blank = false;
        }
    }
    lines
}

/// Lines of at most this many letters, broken between words; a longer word goes on in the next line.
pub(super) fn wrap(words: &str, letters: u32) -> Vec<String> {
    broken(words, |_| 1.0, f64::from(letters))
}

/// Words for a room, millimetres (mm): in the usual size on a line where they fit, else in smaller letters, and below the least size
/// on several lines. Nothing is ever cut.
///
/// Answers the size and the lines.
pub(super) fn fitted(words: &str, room: f64, usual: f64, least: f64) -> (f64, Vec<String>) {
    let size = (room / wide(words).max(0.01)).clamp(least, usual);
    // Sums of the same widths differ by less than this.
    (size, broken(words, letter_wide, room / size + 0.001))
}

/// Our own words with each figure kept on the line of its unit: "0.30 m" with a blank that does not break.
pub(super) fn together(words: &str) -> String {
    const UNITS: [&str; 5] = ["m", "s", "%", "in", "ft"];
    let mut kept = String::with_capacity(words.len());
    for (at, letter) in words.char_indices() {
        let unit = || words[at + 1..].split(|one: char| !one.is_alphabetic() && one != '%').next().unwrap_or_default();
        let is_figure = kept.ends_with(|one: char| one.is_ascii_digit() || ('\u{bc}'..='\u{be}').contains(&one));
        kept.push(if letter == ' ' && is_figure && UNITS.contains(&unit()) { '\u{a0}' } else { letter });
    }
    kept
}

/// A kind of barrier in words.
pub const fn kind_words(kind: BarrierKind) -> &'static str {
    match kind {
        BarrierKind::Wicket => "wicket",
        BarrierKind::Foam => "foam barrier",
        BarrierKind::LowBarrier => "low barrier",
        BarrierKind::Hurdle => "hurdle",
    }
}

/// Checks that tags nest and that every `&` begins a known entity.
#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(super) fn well_formed(xml: &str) {
    let mut open: Vec<&str> = Vec::new();
    for tag in xml.split('<').skip(1).map(|rest| rest.split('>').next().unwrap()) {
        let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name));
        } else if !tag.ends_with('/') {
            open.push(name);
        }
        assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
    }
    assert!(open.is_empty());
    for rest in xml.split('&').skip(1) {
        let known = ["amp;", "lt;", "gt;", "quot;", "#39;"];
        assert!(known.iter().any(|entity| rest.starts_with(entity)), "{rest:.20}");
    }
}
