//! Words into lines of glyphs: which font, which direction (UAX 9), where a line may break (UAX 14).
//!
//! All measures are in parts of the size of the letters, until they are drawn.

use std::ops::Range;
use std::rc::Rc;

use krilla::text::{Glyph, GlyphId, KrillaGlyph};
use rustybuzz::{BufferFlags, Direction, UnicodeBuffer};
use unicode_bidi::{BidiInfo, Level};
use unicode_linebreak::linebreaks;

use super::fonts::{Choice, Face, Fonts};
use crate::paper::together;
use crate::sheet::Text;

/// First strong isolate and its end: what people wrote stands between them.
const ISOLATE: (char, char) = ('\u{2068}', '\u{2069}');

/// A stretch of one font and one direction.
#[derive(Clone, Debug)]
struct Segment {
    range: Range<usize>,
    level: Level,
    choice: Choice,
}

/// What lies between two places where a line may break.
#[derive(Clone, Debug)]
struct Unit {
    range: Range<usize>,
    /// Width without the blanks at its end.
    tight: f32,
    /// Width with them.
    full: f32,
}

/// Glyphs of one font, from left to right.
pub(super) struct Run {
    /// Their font.
    pub face: &'static Face,
    /// Whether they are to be thickened.
    pub is_thick: bool,
    /// Where they begin, from the left end of the line.
    pub x: f32,
    /// What they say.
    pub text: String,
    /// The glyphs; ranges are within `text`.
    pub glyphs: Vec<KrillaGlyph>,
}

impl Run {
    fn width(&self) -> f32 {
        self.glyphs.iter().map(|glyph| glyph.x_advance(1.0)).sum()
    }
}

/// A line of words.
pub(super) struct Line {
    /// From left to right.
    pub runs: Vec<Run>,
    /// Its width.
    pub width: f32,
    /// Room above and below the base line.
    pub room: (f32, f32),
}

/// A paragraph that is ready to be broken into lines.
pub(super) struct Words {
    fonts: &'static Fonts,
    text: String,
    segments: Vec<Segment>,
    letters: Vec<(usize, f32)>,
    units: Vec<Unit>,
}

/// What may stand in a paragraph: no control characters, and none that would change the direction of what follows.
fn is_kept(letter: char) -> bool {
    !matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}')
}

fn cleaned(words: &str) -> impl Iterator<Item = char> {
    let blank = |letter: char| letter.is_control() || matches!(letter, '\u{2028}' | '\u{2029}');
    words.chars().filter(|letter| is_kept(*letter)).map(move |letter| if blank(letter) { ' ' } else { letter })
}

/// Words for what is not drawn: titles and texts of pictures.
pub(super) fn plain(words: &str) -> String {
    cleaned(words).collect()
}

impl Words {
    /// Prepares words; all bold, or as their spans say.
    pub(super) fn new(fonts: &'static Fonts, words: &Text, is_bold: bool) -> Self {
        let mut text = String::new();
        let mut bold_until = Vec::new();
        for span in &words.0 {
            if span.is_theirs {
                text.push(ISOLATE.0);
            }
            if span.is_theirs {
                text.extend(cleaned(&span.words));
            } else {
                text.extend(cleaned(&together(&span.words)));
            }
            if span.is_theirs {
                text.push(ISOLATE.1);
            }
            bold_until.push((text.len(), is_bold || span.is_strong));
        }
        let segments = segments(fonts, &text, &bold_until);
        let mut words = Self { fonts, text, segments, letters: Vec::new(), units: Vec::new() };
        words.letters = words.letters();
        words.units = words.measured();
        words
    }

    /// Whether there is nothing to draw.
    pub(super) fn is_empty(&self) -> bool {
        self.text
            .trim_matches(|letter: char| letter.is_whitespace() || [ISOLATE.0, ISOLATE.1].contains(&letter))
            .is_empty()
    }

    /// The width of all words on one line.
    pub(super) fn natural(&self) -> f32 {
        let last = self.units.last().map_or(0.0, |unit| unit.full - unit.tight);
        self.units.iter().map(|unit| unit.full).sum::<f32>() - last
    }

    /// The width of what cannot be broken.
    pub(super) fn longest_word(&self) -> f32 {
        self.units.iter().map(|unit| unit.tight).fold(0.0, f32::max)
    }

    /// The width of each letter or group of letters that one glyph shows, by where it begins.
    fn letters(&self) -> Vec<(usize, f32)> {
        let mut letters: Vec<(usize, f32)> = Vec::new();
        for segment in &self.segments {
            let Some(run) = self.shape(segment) else { continue };
            let begin = |glyph: &KrillaGlyph| segment.range.start + glyph.text_range().start;
            letters.extend(run.glyphs.iter().map(|glyph| (begin(glyph), glyph.x_advance(1.0))));
        }
        letters.sort_by_key(|(at, _)| *at);
        letters
    }

    fn measured(&self) -> Vec<Unit> {
        let mut from = 0;
        let mut units = Vec::new();
        for (to, _) in linebreaks(&self.text) {
            let range = from..to;
            let tight = self.width(&self.tight(&range));
            units.push(Unit { tight, full: self.width(&range), range });
            from = to;
        }
        units
    }

    /// The letters of a range.
    fn within(&self, range: &Range<usize>) -> &[(usize, f32)] {
        let place = |at: usize| self.letters.partition_point(|(begin, _)| *begin < at);
        self.letters.get(place(range.start)..place(range.end)).unwrap_or_default()
    }

    fn width(&self, range: &Range<usize>) -> f32 {
        self.within(range).iter().map(|(_, wide)| wide).sum()
    }

    /// A range without the blanks at its end.
    fn tight(&self, range: &Range<usize>) -> Range<usize> {
        let words = self.text.get(range.clone()).unwrap_or_default();
        let blank = |letter: char| letter.is_whitespace() && letter != '\u{a0}';
        let end = words.trim_end_matches(|letter| blank(letter) || [ISOLATE.0, ISOLATE.1].contains(&letter));
        range.start..range.start + end.len()
    }

    /// The words in lines of at most a width; a longer word is parted between letters.
    pub(super) fn lines(&self, width: f32) -> Vec<Rc<Line>> {
        // Sums of rounded widths differ by less than this.
        let width = width + 0.001;
        let mut ranges = Vec::new();
        let (mut line, mut used) = (0..0, 0.0);
        for unit in &self.units {
            if used > 0.0 && used + unit.tight > width {
                ranges.push(std::mem::replace(&mut line, unit.range.start..unit.range.start));
                used = 0.0;
            }
            if unit.tight > width {
                for cut in self.cuts(unit, width) {
                    ranges.push(line.start..cut);
                    line = cut..cut;
                }
                used = self.width(&(line.start..unit.range.end));
            } else {
                used += unit.full;
            }
            line.end = unit.range.end;
        }
        ranges.push(line);
        let last = ranges.len() - 1;
        ranges.into_iter().enumerate().map(|(i, range)| Rc::new(self.line(&range, i == last))).collect()
    }

    /// Where a word that is longer than a line is parted.
    fn cuts(&self, unit: &Unit, width: f32) -> Vec<usize> {
        let (mut cuts, mut used, mut begun) = (Vec::new(), 0.0, unit.range.start);
        for letters in self.within(&unit.range).chunk_by(|a, b| a.0 == b.0) {
            let (at, wide) = (letters[0].0, letters.iter().map(|(_, wide)| wide).sum::<f32>());
            if used > 0.0 && used + wide > width && at > begun {
                cuts.push(at);
                (used, begun) = (0.0, at);
            }
            used += wide;
        }
        cuts
    }

    /// One line. A line that goes on ends in a blank of no width, so that whoever reads the file parts the words.
    fn line(&self, range: &Range<usize>, is_last: bool) -> Line {
        let tight = self.tight(range);
        let mut runs = self.shaped(tight.clone());
        let width = runs.iter().map(Run::width).sum();
        let blank = self.text.get(tight.end..range.end).unwrap_or_default().find(char::is_whitespace);
        if let Some(at) = blank.filter(|_| !is_last) {
            let at = tight.end + at;
            let ends = at + self.text.get(at..).and_then(|rest| rest.chars().next()).map_or(0, char::len_utf8);
            let ending = self.segments_of(&(at..ends)).into_iter().map(|one| Segment { level: Level::ltr(), ..one });
            runs.extend(ending.filter_map(|one| self.shape(&one)).map(|run| Run { x: width, ..run }));
        }
        let room = runs.iter().map(|run| run.face.room);
        let room = room.fold((0.0_f32, 0.0_f32), |a, b| (a.0.max(b.0), a.1.max(b.1)));
        Line { runs, width, room: if room.0 > 0.0 { room } else { (1.0, 0.3) } }
    }

    fn segments_of(&self, range: &Range<usize>) -> Vec<Segment> {
        let inside = |one: &Segment| Segment {
            range: one.range.start.max(range.start)..one.range.end.min(range.end),
            ..one.clone()
        };
        self.segments.iter().map(inside).filter(|one| !one.range.is_empty()).collect()
    }

    /// The glyphs of a range in the order in which they are seen (rule L2).
    fn shaped(&self, range: Range<usize>) -> Vec<Run> {
        let segments = self.segments_of(&range);
        let levels: Vec<Level> = segments.iter().map(|one| one.level).collect();
        let mut x = 0.0;
        let mut runs = Vec::new();
        for run in BidiInfo::reorder_visual(&levels).into_iter().filter_map(|i| self.shape(segments.get(i)?)) {
            let wide = run.width();
            runs.push(Run { x, ..run });
            x += wide;
        }
        runs
    }

    fn shape(&self, segment: &Segment) -> Option<Run> {
        let (face, is_thick) = self.fonts.face(segment.choice)?;
        let text = self.text.get(segment.range.clone())?;
        let mut buffer = UnicodeBuffer::new();
        for (at, letter) in text.char_indices() {
            // A letter that no font has is drawn as the sign for one; the file still says which it is.
            let is_known = face.shaper.glyph_index(letter).is_some() || is_invisible(letter);
            buffer.add(if is_known { letter } else { char::REPLACEMENT_CHARACTER }, u32::try_from(at).ok()?);
        }
        buffer.guess_segment_properties();
        buffer.set_direction(if segment.level.is_rtl() { Direction::RightToLeft } else { Direction::LeftToRight });
        buffer.set_flags(BufferFlags::REMOVE_DEFAULT_IGNORABLES);
        let shaped = rustybuzz::shape(&face.shaper, &[], buffer);
        let mut starts: Vec<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
        starts.sort_unstable();
        let em = face.font.units_per_em();
        // A letter without a glyph may not be in an accessible file.
        let known = shaped.glyph_infos().iter().zip(shaped.glyph_positions()).filter(|(info, _)| info.glyph_id != 0);
        let glyphs = known.map(|(info, place)| {
            let start = info.cluster as usize;
            let next = starts.partition_point(|one| *one <= start);
            let end = starts.get(next).copied().unwrap_or(text.len());
            #[allow(clippy::cast_precision_loss)] // units of a font
            let part = |units: i32| units as f32 / em;
            KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                part(place.x_advance),
                part(place.x_offset),
                part(place.y_offset),
                part(place.y_advance),
                start..end,
                None,
            )
        });
        Some(Run { face, is_thick, x: 0.0, text: text.to_owned(), glyphs: glyphs.collect() })
    }
}

/// Whether a letter has no picture of its own and acts on its neighbours.
fn is_invisible(letter: char) -> bool {
    matches!(letter, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{61c}' | '\u{fe00}'..='\u{fe0f}' | '\u{e0100}'..='\u{e01ef}')
}

/// Parts words into stretches of one font and direction; the marks of isolates are in none.
fn segments(fonts: &Fonts, text: &str, bold_until: &[(usize, bool)]) -> Vec<Segment> {
    // Our own words give the direction of the paragraph.
    let bidi = BidiInfo::new(text, Some(Level::ltr()));
    let mut segments: Vec<Segment> = Vec::new();
    let mut before = None;
    for (at, letter) in text.char_indices() {
        if [ISOLATE.0, ISOLATE.1].contains(&letter) {
            before = None;
            continue;
        }
        let is_bold = bold_until.iter().find(|(until, _)| at < *until).is_some_and(|(_, bold)| *bold);
        let choice = fonts.choose(letter, is_bold, before);
        before = Some(choice);
        let level = bidi.levels.get(at).copied().unwrap_or_else(Level::ltr);
        let ends = at + letter.len_utf8();
        match segments.last_mut() {
            Some(last) if last.range.end == at && last.choice == choice && last.level == level => last.range.end = ends,
            _ => segments.push(Segment { range: at..ends, level, choice }),
        }
    }
    segments
}
