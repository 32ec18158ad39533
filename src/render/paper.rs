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

/// At most this many letters; a cut text ends in an ellipsis.
pub(super) fn cut(words: &str, letters: usize) -> String {
    if words.chars().count() <= letters {
        return words.to_owned();
    }
    let kept: String = words.chars().take(letters.saturating_sub(1)).collect();
    format!("{}\u{2026}", kept.trim_end_matches(['\u{200d}', ' ']))
}

/// Lines of at most this many letters, broken between words; a longer word is cut.
pub(super) fn wrap(words: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split_whitespace() {
        let word = cut(word, letters);
        let is_full = lines
            .last()
            .is_some_and(|line| !line.is_empty() && line.chars().count() + 1 + word.chars().count() > letters);
        if is_full {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(&word);
        }
    }
    lines
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
