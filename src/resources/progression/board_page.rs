//! A squad's board as a document for people.

use super::athlete_page::{NEEDS, over, ran};
use super::board::{Dues, RungView, View};
use super::board_row::RowView;
use super::squad_page::{due, nobody, ready};
use crate::paper::{self, sentence};
use crate::render::measure::Measure;
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text, Tone};
use crate::resources::advice::not_computed;

/// So many names stand in one row of the ladder: a row is not parted over pages (design choice).
const NAMES: usize = 24;

/// The document of what JSON says.
pub fn page(view: &View, measure: Measure) -> Sheet {
    let sessions = view.sessions.len();
    let rungs = if view.athletes.is_empty() { nobody(&view.not_computed) } else { Block::Table(ladder(&view.ladder)) };
    let mut sections = vec![Section::new("Ladder", vec![rungs])];
    sections.extend(ready(&view.ready));
    if !view.behind.is_empty() {
        let items =
            view.behind.iter().map(|one| Text::theirs(&one.display_name).and(format!(": {}", one.held_up_by.text)));
        sections.push(Section::new("Held up for six sessions or more", vec![Block::List(items.collect())]));
    }
    // Before what goes on over pages, so that no page holds cautions alone.
    sections.push(paper::cautions(view.cautions.iter().map(|one| one.text.as_str())));
    if !view.athletes.is_empty() {
        let shared = paper::shared(view.athletes.iter().map(heeded));
        let everybody = Block::Table(athletes(&view.athletes, sessions, &shared, measure));
        sections.push(Section::new("Athletes", vec![paper::for_everybody(&shared), everybody]));
    }
    sections.extend(not_computed(&view.not_computed));
    sections.extend(due(&view.due.assessments));
    sections.extend(other_dues(&view.due));
    sections.push(Section::new("The squad", vec![Block::Facts(sums(view))]));
    Sheet {
        title: Text::own("Board: ").and_theirs(&view.name),
        subtitle: Text::own(format!("As of {}; period from {}", view.to, view.from)),
        orientation: Orientation::Landscape,
        sections,
    }
}

fn table(caption: &str, corner: &str, columns: Vec<Column>, rows: Vec<Row>) -> Table {
    let (caption, corner) = (Text::own(caption), Text::own(corner));
    Table { caption, corner, columns, rows, size: Size::Usual, narrow: Narrow::Stack }
}

/// Names on the rungs; empty ones show too.
fn ladder(rungs: &[RungView]) -> Table {
    let counted = |count: usize| if count == 0 { Cell::default() } else { Cell::of(count.to_string()) };
    let rows = rungs.iter().flat_map(|rung| {
        let stage = sentence(rung.stage);
        let mut parts = rung.names.chunks(NAMES).map(|names| Cell::of(paper::names(names.iter().map(String::as_str))));
        let first = parts.next().unwrap_or_default();
        let first = Row::new(stage.clone(), vec![counted(rung.athletes), first, counted(rung.last_season)]);
        let more = move |names| Row::new(format!("{stage}, more"), vec![Cell::default(), names]);
        std::iter::once(first).chain(parts.map(more).collect::<Vec<_>>())
    });
    let columns = vec![Column::figures("Athletes"), Column::words("Who"), Column::figures("Last season")];
    table("Stages, first to last", "Stage", columns, rows.collect()).without_empty_columns()
}

/// The cautions of an athlete.
fn heeded(one: &RowView) -> Vec<&str> {
    one.cautions.iter().map(|caution| caution.text.as_str()).collect()
}

/// The squad, with what each has to heed beside what everybody does.
fn athletes(all: &[RowView], sessions: usize, shared: &[&str], measure: Measure) -> Table {
    let columns =
        ["Stage", "Next", "Held up by, to heed", "Came", "Last seven days", "Trains towards"].map(Column::words);
    let rows = all.iter().map(|one| athlete(one, sessions, shared, measure)).collect();
    table("Everybody", "Athlete", columns.to_vec(), rows).without_empty_columns()
}

fn athlete(one: &RowView, sessions: usize, shared: &[&str], measure: Measure) -> Row {
    let configured = |what: &str, at: Option<&super::figures::ConfigurationView>| {
        at.map(|at| Text::own(format!("{what} {}", over(at, measure))))
    };
    let mut stage = vec![Text::own(sentence(one.stage))];
    stage.extend(configured("Now:", one.current.as_ref()));
    stage.extend(one.last_season.as_ref().map(|then| Text::own(format!("Last season: {}", paper::words(then.stage)))));
    let mut next = vec![Text::own(sentence(one.decision))];
    next.extend(configured("To:", one.proposed.as_ref()));
    next.extend(one.coach_word.as_ref().map(|word| {
        let kind = if word.overridden { "overriding the advice" } else { "as advised" };
        Text::own(format!("Coach's word until {}, {kind}: {}", word.until, over(&word.at, measure)))
    }));
    let mut held_up = paper::joined(one.held_up_by.iter().map(|one| one.text.as_str()), NEEDS);
    let heed = heeded(one).into_iter().filter(|text| !shared.contains(text));
    held_up.extend(heed.map(|text| Text::own(format!("Caution: {text}"))));
    let seen = one.last_seen.map_or("never seen".to_owned(), |day| format!("last seen {day}"));
    let came = format!("{} of the last {sessions}; {seen}", one.sessions_came);
    let load = &one.load;
    let usual = format!("usual: {:.0} intervals a week", load.usual_intervals);
    let usual = (load.usual_intervals >= 0.5).then(|| Text::own(usual));
    let jump = load.jump.then(|| Text::own("Rose too fast: see the caution."));
    let week = std::iter::once(Text::own(sentence(&ran(&load.week)))).chain(usual).chain(jump).collect();
    let targets = one.target.iter().chain(&one.next_target).map(|one| Text::own(&one.text)).collect();
    let alert = |is: bool| if is { Tone::Alert } else { Tone::Plain };
    Row::new(
        Text::theirs(&one.display_name),
        vec![
            Cell::lines(stage),
            Cell::lines(next),
            Cell::lines(held_up),
            Cell::of(came),
            Cell::lines(week).toned(alert(load.jump)),
            Cell::lines(targets),
        ],
    )
}

/// Measurements and changes of the specification, where any are due.
fn other_dues(due: &Dues) -> Vec<Section> {
    let mut sections = Vec::new();
    if !due.measurements.is_empty() {
        let items = due.measurements.iter().map(|one| {
            let since = one.since.map_or("never taken".to_owned(), |day| format!("too old since {day}"));
            Text::theirs(&one.display_name).and(format!(": {} ({since})", paper::words(one.measurement)))
        });
        sections.push(Section::new("Measurements due", vec![Block::List(items.collect())]));
    }
    if !due.specification_changes.is_empty() {
        let items = due.specification_changes.iter().map(|one| {
            let why = paper::words(one.cause);
            Text::theirs(&one.display_name).and(format!(": from {} ({why}). {}", one.from, one.target.text))
        });
        sections.push(Section::new("Changes of what is trained for", vec![Block::List(items.collect())]));
    }
    sections
}

fn sums(view: &View) -> Vec<(Text, Text)> {
    let then = format!("Same weeks of last season, {} to {}", view.last_season_from, view.last_season_to);
    let mut facts = vec![
        (Text::own(format!("{} to {}", view.from, view.to)), Text::own(ran(&view.load))),
        (Text::own(then), Text::own(ran(&view.last_season_load))),
    ];
    let came = view.sessions.iter().map(|one| format!("{} on {}", one.present, one.held_on)).collect::<Vec<_>>();
    if !came.is_empty() {
        facts.push((Text::own("Came to the last sessions"), Text::own(came.join(", "))));
    }
    facts
}
