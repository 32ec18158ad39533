//! Those about whom nothing can be computed, in documents for people.

use super::NotComputedView;
use crate::render::sheet::{Block, Section, Text};

/// Whom a document leaves out, where it leaves somebody out, each with what is wrong and the remedy.
pub fn not_computed(all: &[NotComputedView]) -> Option<Section> {
    let line = |one: &NotComputedView| Text::theirs(&one.display_name).and(format!(": {}", one.unusable.words()));
    let items = all.iter().map(line).collect();
    (!all.is_empty()).then(|| Section::new("Left out: what is on file cannot be used", vec![Block::List(items)]))
}
