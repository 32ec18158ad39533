//! A document in the units that a club prints: the sentences too, which are written once and in metres.
//!
//! Every length in words of ours ends in a blank and "m" behind two or three decimals ("6.50 m", "0.762 m"), and nothing else does: a race
//! of 60 m has none, a speed goes on behind its unit. So each is found, and told by [`Measure::length`] like those in tables.
//! What people wrote stays as it is; pictures are drawn in these units from the start.

use super::measure::Measure;
use super::sheet::{Block, Card, Section, Sheet, Span, Text};

impl Sheet {
    /// The same with every length of our own words in these units; metres stay as they are written.
    ///
    /// ```
    /// use lanewright_render::measure::Measure;
    /// use lanewright_render::sheet::{Block, Orientation, Section, Sheet, Text};
    ///
    /// let said = Text::own("Move the low barriers from 6.25 m to 6.50 m apart. ").and_theirs("Worn at 20.00 m");
    /// let sheet = Sheet {
    ///     title: Text::own("Cards"),
    ///     subtitle: Text::default(),
    ///     orientation: Orientation::Portrait,
    ///     sections: vec![Section::new("Next", vec![Block::Paragraph(said)])],
    /// };
    /// let [Section { blocks, .. }] = &sheet.told_in(Measure::Imperial).sections[..] else { panic!() };
    /// let [Block::Paragraph(words)] = &blocks[..] else { panic!() };
    /// assert_eq!(words.plain(), "Move the low barriers from 20 ft 6 in to 21 ft 4 in apart. Worn at 20.00 m");
    /// ```
    #[must_use]
    pub fn told_in(mut self, measure: Measure) -> Self {
        if measure == Measure::Metric {
            return self;
        }
        text(&mut self.title, measure);
        text(&mut self.subtitle, measure);
        for Section { heading, blocks, .. } in &mut self.sections {
            text(heading, measure);
            all(blocks, measure);
        }
        self
    }
}

impl Measure {
    /// A sentence of ours with each of its lengths in these units.
    ///
    /// ```
    /// use lanewright_render::measure::Measure;
    ///
    /// assert_eq!(Measure::Imperial.told("Stay at 6.50 m."), "Stay at 21 ft 4 in.");
    /// ```
    pub fn told(self, words: &str) -> String {
        if self == Self::Metric { words.to_owned() } else { told(words, self) }
    }
}

fn text(of: &mut Text, measure: Measure) {
    let own = of.0.iter_mut().filter(|span| !span.is_theirs);
    own.for_each(|Span { words, .. }| *words = told(words, measure));
}

fn all(blocks: &mut [Block], measure: Measure) {
    for one in blocks {
        block(one, measure);
    }
}

fn block(of: &mut Block, measure: Measure) {
    match of {
        Block::Heading(one) | Block::Paragraph(one) => text(one, measure),
        Block::List(items) | Block::Cautions(items) => items.iter_mut().for_each(|one| text(one, measure)),
        Block::Facts(facts) => facts.iter_mut().for_each(|(term, value)| {
            text(term, measure);
            text(value, measure);
        }),
        Block::Table(table) => {
            let heads = table.columns.iter_mut().map(|column| &mut column.heading);
            heads.chain([&mut table.caption, &mut table.corner]).for_each(|one| text(one, measure));
            for row in &mut table.rows {
                text(&mut row.heading, measure);
                row.cells.iter_mut().flat_map(|cell| &mut cell.lines).for_each(|one| text(one, measure));
            }
        }
        Block::Cards(cards) => {
            for Card { heading, blocks } in &mut cards.cards {
                text(heading, measure);
                all(blocks, measure);
            }
        }
        Block::Figure(figure) => {
            figure.alt = told(&figure.alt, measure);
            text(&mut figure.caption, measure);
        }
    }
}

/// Words with each of their lengths told anew.
fn told(words: &str, measure: Measure) -> String {
    let mut out = String::with_capacity(words.len());
    let mut rest = words;
    while let Some(at) = rest.find(|letter: char| letter.is_ascii_digit()) {
        let (before, from) = rest.split_at(at);
        let figure = from.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '.');
        let (figure, behind) = from.split_at(from.len() - figure.len());
        out.push_str(before);
        match length(figure, behind) {
            Some((metres, behind)) => {
                out.push_str(&measure.length(metres));
                rest = behind;
            }
            None => {
                out.push_str(figure);
                rest = behind;
            }
        }
    }
    out + rest
}

/// The length that a figure and what stands behind it are, metres (m), and what follows; none when they are something else.
fn length<'a>(figure: &str, behind: &'a str) -> Option<(f64, &'a str)> {
    let (_, decimals) = figure.split_once('.')?;
    let after = behind.strip_prefix(" m")?;
    let is_unit = !after.starts_with(|letter: char| letter.is_alphanumeric() || letter == '/');
    if is_unit && matches!(decimals.len(), 2 | 3) { Some((figure.parse().ok()?, after)) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_sentences_are_told_and_nothing_else() {
        for (metric, imperial) in [
            ("hurdles at 0.762 m, 8.50 m apart", "hurdles at 30 in, 27 ft 10\u{be} in apart"),
            ("+0.05 m a week", "+2 in a week"),
            ("6.50 m", "21 ft 4 in"),
            ("(0.30 m).", "(11\u{be} in)."),
            ("a race of 60 m", "a race of 60 m"),
            ("6.25 m/s, 3.10 metres, 0.50 s, 84 %", "6.25 m/s, 3.10 metres, 0.50 s, 84 %"),
            ("since 2026-11-28.", "since 2026-11-28."),
            ("1.2.34 m", "1.2.34 m"),
            ("", ""),
        ] {
            assert_eq!(told(metric, Measure::Imperial), imperial);
        }
    }
}
