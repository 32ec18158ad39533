//! The cards of a session as a document for people, four to a page.
//!
//! Cards are cut apart and handed out; what is done, with the cautions, is the page that the coach keeps. So where a session has blocks the
//! cards begin a page of their own, and without them they follow on the first.

use super::cards::{CardView, ConfigurationView, LastTimeView, TodayView, View};
use crate::compute::session_plan::foot_lengths;
use crate::compute::units::Length;
use crate::paper::{self, fact, percent, run_over, sentence};
use crate::render::measure::Measure;
use crate::render::sheet::{
    Block, Card, Cards, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text,
};
use crate::resources::advice::{BlockFields, not_computed, overtaken_note};

/// The cards.
pub fn cards(view: &View, measure: Measure) -> Section {
    let shared = paper::shared(view.cards.iter().map(heeded));
    let cards: Vec<Card> = view.cards.iter().map(|one| card(one, &shared, measure)).collect();
    if cards.is_empty() {
        return Section::new(
            "Cards",
            vec![Block::Paragraph("There is no card: nobody comes, or nobody has a lane.".into())],
        );
    }
    Section::new("Cards", vec![paper::for_everybody(&shared), Block::Cards(Cards { per_page: 4, cards })])
}

/// The document of what JSON says.
pub fn page(view: &View, club: String, measure: Measure) -> Sheet {
    let mut before = Vec::new();
    before.extend(view.note.as_ref().map(|note| Block::Paragraph(Text::own("Note: ").and_theirs(note))));
    before.push(match view.people_from {
        "attendance" => Block::Paragraph("For those who are noted as present.".into()),
        _ => Block::Paragraph("Nobody is noted as present yet: for those who are expected.".into()),
    });
    if !view.not_expected.is_empty() {
        let names = paper::names(view.not_expected.iter().map(|one| one.display_name.as_str()));
        before.push(Block::Paragraph(
            Text::own("Without a card, having missed the last three sessions: ").and_text(names),
        ));
    }
    if !view.blocks.is_empty() {
        before.push(Block::Table(done(&view.blocks, measure)));
    }
    let mut sections = vec![Section::new("The session", before)];
    sections.push(paper::cautions(view.cautions.iter().map(|one| one.text.as_str())));
    sections.extend(not_computed(&view.not_computed));
    let apart = !view.blocks.is_empty() && !view.cards.is_empty();
    let cards = cards(view, measure);
    sections.push(if apart { cards.on_new_page() } else { cards });
    Sheet {
        title: Text::own(format!("Cards for {}", view.held_on)),
        subtitle: Text::theirs(club),
        orientation: Orientation::Portrait,
        sections,
    }
}

/// What is done in the session, in the coach's words: a row for each block.
fn done(blocks: &[BlockFields], measure: Measure) -> Table {
    let row = |one: &BlockFields| {
        let when = match (one.start_min, one.minutes) {
            (Some(from), Some(minutes)) => format!("{from} to {}", from.saturating_add(minutes)),
            (Some(from), None) => format!("from {from}"),
            (None, Some(minutes)) => format!("{minutes} long"),
            (None, None) => String::new(),
        };
        let note = one.note.as_ref().map_or_else(Cell::default, |note| Cell::of(Text::theirs(note)));
        let cells = vec![
            Cell::of(when),
            Cell::of(sentence(&one.stage)),
            Cell::of(dose(one)),
            Cell::of(set_up(one, measure)),
            note,
        ];
        Row::new(Text::theirs(&one.drill), cells)
    };
    Table {
        caption: Text::own("What is done"),
        corner: Text::own("Drill"),
        columns: ["Minutes", "For", "Dose", "Set-up", "Note"].map(Column::words).to_vec(),
        rows: blocks.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
    .without_empty_columns()
}

/// How much, such as "2 x 4 over 5 barriers, each side, rest 30 s".
fn dose(one: &BlockFields) -> String {
    let times = match (one.sets, one.repeats) {
        (Some(sets), Some(repeats)) => Some(format!("{sets} x {repeats}")),
        (Some(sets), None) => Some(paper::count(sets, "set")),
        (None, Some(repeats)) => Some(paper::count(repeats, "repeat")),
        (None, None) => None,
    };
    let barriers = one.barriers.map(|barriers| format!("over {}", paper::count(barriers, "barrier")));
    let what: Vec<String> = times.into_iter().chain(barriers).collect();
    let side = one.side.as_deref().map(|side| match side {
        "lead" | "trail" => format!("{side} leg at the side"),
        "each" => "each side".to_owned(),
        _ => "over the middle".to_owned(),
    });
    let rest = one.rest_s.map(|rest| format!("rest {rest} s"));
    let all = [Some(what.join(" ")).filter(|what| !what.is_empty()), side, rest];
    all.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// How the barriers stand, such as "1.00 m (3.3 foot-lengths) apart, 0.40 m high".
fn set_up(one: &BlockFields, measure: Measure) -> String {
    let feet = |metres: f64| Length::from_metres(metres).map_or(0.0, foot_lengths);
    let apart = one.spacing_m.map(|m| format!("{} ({} foot-lengths) apart", measure.length(m), feet(m)));
    let high = one.height_m.map(|m| format!("{} high", measure.length(m)));
    apart.into_iter().chain(high).collect::<Vec<_>>().join(", ")
}

fn over(one: &ConfigurationView, measure: Measure) -> String {
    run_over(&one.barrier_kind, one.height_m, one.spacing_m, measure)
}

/// The cautions of an athlete.
fn heeded(one: &CardView) -> Vec<&str> {
    one.cautions.iter().map(|caution| caution.text.as_str()).collect()
}

/// One card; `shared` is said above all of them.
fn card(one: &CardView, shared: &[&str], measure: Measure) -> Card {
    let mut facts: Vec<(Text, Text)> = Vec::new();
    match &one.today {
        Some(today) => facts.extend(lane(today, measure)),
        None => facts.extend(fact("Today", Some(one.no_lane.clone().unwrap_or_else(|| "No lane planned.".to_owned())))),
    }
    let next = &one.next_step;
    let confirm = if next.needs_confirmation { " A coach confirms first." } else { "" };
    let to = next.to.as_ref().map(|to| format!(" to {}", over(to, measure))).unwrap_or_default();
    facts.extend(
        [
            fact(
                "Last time",
                Some(one.last_time.as_ref().map_or("No run so far.".to_owned(), |last| last_time(last, measure))),
            ),
            fact("Watch", one.watch.as_ref().map(|watch| watch.text.clone())),
            fact("Next step", Some(format!("{}{to}. {}{confirm}", sentence(next.decision), next.explanation))),
        ]
        .into_iter()
        .flatten(),
    );
    for note in &one.notes {
        facts.push((Text::own(format!("Note of {}", note.on)), Text::theirs(&note.note)));
    }
    let cautions = heeded(one).into_iter().filter(|text| !shared.contains(text)).map(Text::own).collect();
    Card { heading: Text::theirs(&one.display_name), blocks: vec![Block::Facts(facts), Block::Cautions(cautions)] }
}

/// Today's lane, and what stands against it.
fn lane(today: &TodayView, measure: Measure) -> Vec<(Text, Text)> {
    let stop = match (&today.not_permitted, today.overtaken) {
        (wall, true) => Some(sentence(&overtaken_note(wall.as_ref()))),
        (Some(wall), false) => Some(format!("Not permitted: {}", wall.text)),
        (None, false) => None,
    };
    let set = over(&today.configuration, measure);
    let strides = today.approach_strides.map(|strides| format!(", {strides} strides")).unwrap_or_default();
    let feet: Vec<String> = today.strides_m.iter().map(|m| measure.length(*m)).collect();
    let facts = [
        fact("Stop", stop),
        fact("Today", Some(format!("Lane {}, round {}: {} {set}", today.lane, today.round, today.barriers))),
        fact("Approach", Some(format!("{}{strides}", measure.length(today.approach_m)))),
        fact("Feet behind a barrier", Some(feet.join(", "))),
        fact("Beside the advice", today.difference.clone()),
        fact("Likely held", Some(percent(today.hold_probability))),
    ];
    facts.into_iter().flatten().collect()
}

fn last_time(last: &LastTimeView, measure: Measure) -> String {
    let fell = if last.fell { ", a fall" } else { "" };
    format!(
        "{}: {} over {}; {} of {} held, {}{fell}.",
        last.on,
        paper::count(last.runs, "run"),
        over(&last.main, measure),
        last.held,
        paper::count(last.intervals, "interval"),
        paper::count(last.hits, "hit")
    )
}
