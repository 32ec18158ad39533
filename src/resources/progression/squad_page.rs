//! A squad's progress as a document for people.

use super::athlete_page::{NEEDS, over, ran};
use super::figures::CountView;
use super::squad::{DueView, ReadyView, RowView, View};
use crate::paper::{self, fact, percent, sentence};
use crate::render::measure::Measure;
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text};
use crate::resources::advice::{NotComputedView, not_computed};

/// The document of what JSON says.
pub fn page(view: &View, measure: Measure) -> Sheet {
    let attendance = &view.attendance;
    let facts = [
        fact("Athletes", Some(view.athletes.len().to_string())),
        fact("Stages", told(&view.stages)),
        fact("Next", told(&view.decisions)),
        fact("Run in the period", Some(ran(&view.load))),
        fact(
            "Sessions",
            Some(format!(
                "{} held, {} with a list of who came",
                attendance.sessions_held, attendance.sessions_recorded
            )),
        ),
        fact("Came", attendance.share.map(percent)),
    ];
    let everybody = if view.athletes.is_empty() {
        nobody(&view.not_computed)
    } else {
        Block::Table(athletes(&view.athletes, measure))
    };
    let mut sections = vec![
        Section::new("In sum", vec![Block::Facts(facts.into_iter().flatten().collect())]),
        // Before what goes on over pages, so that no page holds cautions alone.
        paper::cautions(view.cautions.iter().map(|one| one.text.as_str())),
        Section::new("Athletes", vec![everybody]),
    ];
    sections.extend(not_computed(&view.not_computed));
    sections.extend(ready(&view.ready));
    sections.extend(due(&view.assessments_due));
    Sheet {
        title: Text::own("Progress: ").and_theirs(&view.name),
        subtitle: Text::own(format!("{} to {}", view.from, view.to)),
        orientation: Orientation::Landscape,
        sections,
    }
}

/// What stands in the place of an empty squad.
pub fn nobody(not_computed: &[NotComputedView]) -> Block {
    let words =
        if not_computed.is_empty() { "Nobody is in this group." } else { "Everybody in this group is left out." };
    Block::Paragraph(words.into())
}

fn told(counts: &[CountView]) -> Option<String> {
    let parts: Vec<String> = counts
        .iter()
        .filter(|one| one.athletes > 0)
        .map(|one| format!("{} {}", one.athletes, paper::words(one.what)))
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn athletes(all: &[RowView], measure: Measure) -> Table {
    let row = |one: &RowView| {
        let first = one.next_steps.first().map(|step| Text::own(&step.text));
        let held_up = paper::joined(one.held_up_by.iter().map(|one| one.text.as_str()), NEEDS);
        let next = [Text::own(sentence(one.decision))].into_iter().chain(held_up).chain(first).collect();
        let of_target = one.spacing_of_target.map_or(Cell::default(), |share| Cell::of(percent(share)));
        Row::new(
            Text::theirs(&one.display_name),
            vec![
                Cell::of(sentence(one.stage)),
                one.current.as_ref().map_or_else(Cell::default, |now| Cell::of(over(now, measure))),
                of_target,
                Cell::lines(next),
                Cell::of(ran(&one.load)),
            ],
        )
    };
    Table {
        caption: Text::own("Where everybody stands"),
        corner: Text::own("Athlete"),
        columns: vec![
            Column::words("Stage"),
            Column::words("Runs over now"),
            Column::figures("Of the target's spacing"),
            Column::words("Next"),
            Column::words("Run in the period"),
        ],
        rows: all.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
    .without_empty_columns()
}

/// Who is ready for more, where somebody is.
pub fn ready(all: &[ReadyView]) -> Option<Section> {
    let row = |one: &ReadyView| {
        let held = one.hold_probability.map_or_else(Cell::default, |share| Cell::of(percent(share)));
        Row::new(
            Text::theirs(&one.display_name),
            vec![Cell::of(sentence(one.decision)), held, Cell::of(one.why.as_str())],
        )
    };
    let table = Table {
        caption: Text::own("Race tests first, then the surest step"),
        corner: Text::own("Athlete"),
        columns: vec![Column::words("For"), Column::figures("Held after it"), Column::words("Why")],
        rows: all.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    };
    (!all.is_empty()).then(|| Section::new("Ready for more", vec![Block::Table(table)]))
}

/// Whose ratings are due, where any are.
pub fn due(all: &[DueView]) -> Option<Section> {
    let row = |one: &DueView| {
        let criteria = one.criteria.iter().map(|due| match due.since {
            Some(day) => format!("{} (since {day})", paper::words(due.criterion)),
            None => format!("{} (never rated)", paper::words(due.criterion)),
        });
        Row::new(Text::theirs(&one.display_name), vec![Cell::of(criteria.collect::<Vec<_>>().join(", "))])
    };
    let table = Table {
        caption: Text::own("Never rated, or more than 84 days ago"),
        corner: Text::own("Athlete"),
        columns: vec![Column::words("Rate")],
        rows: all.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    };
    (!all.is_empty()).then(|| Section::new("Ratings due", vec![Block::Table(table)]))
}
