//! The equipment as a document for people: a list to count by.

use super::shapes::{Page, View};
use crate::compute::units::BarrierKind;
use crate::paper::{count, sentence};
use crate::render::kind_words;
use crate::render::measure::Measure;
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text};

/// The document of a page of the list.
pub fn list_page(page: &Page, measure: Measure) -> Sheet {
    let mut blocks = Vec::new();
    if page.items.is_empty() {
        blocks.push(Block::Paragraph("No equipment on file.".into()));
    } else {
        blocks.push(Block::Table(stocks(&page.items, measure)));
    }
    if page.next_cursor.is_some() {
        let words = "There is more on file than this page shows: ask for a larger limit, or for the next page.";
        blocks.push(Block::Paragraph(words.into()));
    }
    let barriers: u64 = page.items.iter().map(|one| u64::from(one.fields.count.unsigned_abs())).sum();
    Sheet {
        title: Text::own("Equipment"),
        subtitle: Text::own(format!("{} in {}", count(barriers, "barrier"), count(page.items.len() as u64, "stock"))),
        orientation: Orientation::Portrait,
        sections: vec![Section::new("Stocks", blocks)],
    }
}

fn stocks(all: &[View], measure: Measure) -> Table {
    let row = |one: &View| {
        let fields = &one.fields;
        let kind = BarrierKind::from_word(&fields.barrier_kind).map_or("barrier", kind_words);
        let heights: Vec<String> = fields.heights_m.iter().map(|height| measure.length(*height)).collect();
        let note = fields.note.as_ref().map_or_else(Cell::default, |note| Cell::of(Text::theirs(note)));
        let cells = vec![Cell::of(heights.join(", ")), Cell::of(fields.count.to_string()), Cell::default(), note];
        Row::new(sentence(kind), cells)
    };
    Table {
        caption: Text::own("What there is"),
        corner: Text::own("Kind"),
        columns: vec![
            Column::words("Heights"),
            Column::figures("On file"),
            Column::words("Counted"),
            Column::words("Note"),
        ],
        rows: all.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}
