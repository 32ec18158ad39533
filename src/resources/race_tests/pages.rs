//! The start list and the result list as documents for people.

use chrono::NaiveDate;

use super::draw::since;
use super::draw_shapes::{HeatView, HeatsView, LaneView};
use super::results_shapes::{AgainstView, ResultList, ResultView};
use super::shapes::SpecificationView;
use crate::paper::{self, fact, sentence};
use crate::render::chart::{Touchdown, touchdowns};
use crate::render::measure::Measure;
use crate::render::sheet::{
    Block, Card, Cards, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text, Tone,
};

/// Barriers of one table of touchdowns: so many columns go on a page.
const BARRIERS: usize = 6;

/// The start list.
pub fn start_list_page(view: &HeatsView, measure: Measure) -> Sheet {
    let handicap = view.request.handicap;
    let mut first = race(&view.specification, measure);
    let shared = paper::shared(view.heats.iter().flat_map(|heat| &heat.lanes).map(heeded));
    first.push(paper::for_everybody(&shared));
    let mut sections = vec![Section::new("The race", first)];
    sections.extend(view.heats.iter().map(|heat| {
        let mean = heat.mean_expected_s.map(|time| format!(", mean expected time {time:.2} s")).unwrap_or_default();
        Section::new(format!("Heat {}{mean}", heat.heat), vec![Block::Table(heat_table(heat, handicap, &shared))])
    }));
    if !view.not_placed.is_empty() {
        let items = view
            .not_placed
            .iter()
            .map(|one| Text::theirs(&one.display_name).and(format!(": {}", one.explanation)))
            .collect();
        sections.push(Section::new("Entered and not in a heat", vec![Block::List(items)]));
    }
    let told = view.cautions.iter().map(|one| one.text.as_str()).filter(|text| !shared.contains(text));
    sections.push(paper::cautions(told));
    sections.push(Section::new("How lanes were drawn", vec![Block::Paragraph(Text::own(view.lane_rule))]));
    Sheet {
        title: Text::own("Start list: ").and_theirs(&view.name),
        subtitle: Text::own(view.held_on.to_string()),
        orientation: Orientation::Portrait,
        sections,
    }
}

/// What is run over.
fn race(over: &SpecificationView, measure: Measure) -> Vec<Block> {
    let event = over.event_code.as_ref().map(|event| {
        let group = over.age_group.as_ref().map(|group| format!(" {group}")).unwrap_or_default();
        let rules = over.ruleset.as_ref().map(|rules| format!(" ({rules})")).unwrap_or_default();
        Text::theirs(format!("{event}{group}{rules}"))
    });
    let long = |metres: f64| measure.length(metres);
    let facts = [
        fact("Event", event),
        fact("Distance", Some(long(over.race_distance_m))),
        fact("Barriers", Some(format!("{}, {} high", over.barriers, long(over.height_m)))),
        fact(
            "Spacing",
            Some(format!(
                "approach {}, then {} apart, run-in {}",
                long(over.approach_m),
                long(over.spacing_m),
                long(over.run_in_m)
            )),
        ),
        fact("Discounted", over.discounted.then_some("closer together than these athletes will race over")),
    ];
    vec![Block::Facts(facts.into_iter().flatten().collect())]
}

/// The cautions of somebody who runs.
fn heeded(lane: &LaneView) -> Vec<&str> {
    lane.cautions.iter().map(|one| one.text.as_str()).collect()
}

/// One heat: lane by lane, with an empty column for the time; `shared` is said above all heats.
fn heat_table(heat: &HeatView, handicap: bool, shared: &[&str]) -> Table {
    let row = |lane: &LaneView| {
        let name = lane.display_name.as_ref().map_or_else(
            || Cell::of("of a group that you do not see"),
            |name| Cell::of(Text::theirs(name)).toned(Tone::Strong),
        );
        let expected = lane.expected.as_ref().map_or_else(Cell::default, |one| Cell::of(format!("{:.2}", one.time_s)));
        let accepts = lane.coach_accepts.then(|| "Entered by a coach although not ready.".to_owned()).into_iter();
        let notes = since(lane)
            .map(|words| sentence(&words))
            .chain(accepts)
            .chain(lane.handicap_note.map(str::to_owned))
            .chain(
                heeded(lane).into_iter().filter(|text| !shared.contains(text)).map(|text| format!("Caution: {text}")),
            );
        let mut cells = vec![name, expected];
        if handicap {
            cells.push(lane.start_offset_s.map_or_else(Cell::default, |s| Cell::of(format!("{s:.2}"))));
        }
        let tone = if lane.overtaken { Tone::Alert } else { Tone::Plain };
        cells.extend([Cell::default(), Cell::lines(notes.map(Text::own).collect()).toned(tone)]);
        Row::new(format!("Lane {}", lane.lane), cells)
    };
    let mut columns = vec![Column::words("Athlete"), Column::figures("Expected, s")];
    if handicap {
        columns.push(Column::figures("Starts after, s"));
    }
    columns.extend([Column::words("Time"), Column::words("To heed")]);
    Table {
        caption: Text::own(format!("Lanes of heat {}", heat.heat)),
        corner: Text::own("Lane"),
        columns,
        rows: heat.lanes.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}

/// The result list of a race test with a name and a day.
pub fn results_page(view: &ResultList, (name, held_on): (&str, NaiveDate), measure: Measure) -> Sheet {
    let mut sections = vec![Section::new("The race", race(&view.specification, measure))];
    if view.results.is_empty() {
        sections.push(Section::new("Results", vec![Block::Paragraph("No result so far.".into())]));
    } else {
        sections.push(Section::new("Results", vec![Block::Table(results(&view.results))]));
    }
    // Before what goes on over pages, so that no page holds cautions alone.
    sections.push(paper::cautions(view.cautions.iter().map(|one| one.text.as_str())));
    sections.extend(against_schedule(view));
    Sheet {
        title: Text::own("Results: ").and_theirs(name),
        subtitle: Text::own(held_on.to_string()),
        orientation: Orientation::Portrait,
        sections,
    }
}

fn results(all: &[ResultView]) -> Table {
    Table {
        caption: Text::own("By place, then those without one"),
        corner: Text::own("Athlete"),
        columns: vec![
            Column::figures("Place"),
            Column::words("Heat, lane"),
            Column::figures("Time, s"),
            Column::words("Against the best before"),
            Column::words("Notes"),
        ],
        rows: all.iter().map(result).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
    .without_empty_columns()
}

fn result(one: &ResultView) -> Row {
    let fields = &one.fields;
    let place = one.place.map_or_else(Cell::default, |place| Cell::of(place.to_string()));
    let of = |what: &str, number: Option<i16>| number.map(|number| format!("{what} {number}"));
    let drawn: Vec<String> = [of("heat", fields.heat), of("lane", fields.lane)].into_iter().flatten().collect();
    let time = match fields.final_time_s {
        Some(time) => format!("{time:.2}"),
        None => paper::words(&fields.status),
    };
    let status = Some(sentence(&fields.status)).filter(|_| fields.status != "finished");
    let notes = [
        status,
        (!one.counts).then(|| "Does not count: a faster finish of the athlete does.".to_owned()),
        one.while_restricted.then(|| "Started although a report or restriction stood.".to_owned()),
        one.handicap_place.map(|place| format!("Across the line with the starts: {place}.")),
        one.gap_to_expected_s.map(|gap| format!("{gap:+.2} s to the expected time.")),
        (fields.hits > 0).then(|| format!("{}.", paper::count(fields.hits.unsigned_abs(), "barrier hit"))),
        fields.fell.then(|| "Went down.".to_owned()),
    ];
    let mut notes: Vec<Text> = notes.into_iter().flatten().map(Text::own).collect();
    notes.extend(fields.note.as_ref().map(Text::theirs));
    let best = one.against_best.as_ref().map_or_else(Cell::default, against);
    Row::new(
        Text::theirs(&one.display_name),
        vec![place, Cell::of(drawn.join(", ")), Cell::of(time), best, Cell::lines(notes)],
    )
}

fn against(one: &AgainstView) -> Cell {
    let by = one.difference_s.map(|s| format!(" by {:.2} s", s.abs())).filter(|_| one.kind != "equalled");
    let words = format!("{}{}", sentence(one.kind), by.unwrap_or_default());
    Cell::of(words).toned(if one.personal_best { Tone::Strong } else { Tone::Plain })
}

/// Touchdowns beside the schedule for the athlete's own time, as a table and a picture for each.
fn against_schedule(view: &ResultList) -> Option<Section> {
    let source = view.schedule_source?;
    let timed: Vec<&ResultView> =
        view.results.iter().filter(|one| one.splits.iter().any(|split| split.scheduled_s.is_some())).collect();
    let barriers = timed.iter().map(|one| one.splits.len()).max().unwrap_or(0);
    let mut blocks: Vec<Block> = (0..barriers)
        .step_by(BARRIERS)
        .map(|from| Block::Table(splits(&timed, from, barriers.min(from + BARRIERS))))
        .collect();
    let cards: Vec<Card> = timed.iter().filter_map(|one| card(one)).collect();
    if !cards.is_empty() {
        blocks.push(Block::Cards(Cards { per_page: 6, cards }));
    }
    blocks.push(Block::Paragraph(Text::own(format!("Schedule: {source}"))));
    Some(Section::new("Touchdowns against the schedule", blocks))
}

/// Touchdown times of some barriers, each with what it lies off the schedule.
fn splits(timed: &[&ResultView], from: usize, to: usize) -> Table {
    let row = |one: &&ResultView| {
        let cell = |at: usize| {
            let Some(split) = one.splits.get(at) else { return Cell::default() };
            let time = split.time_s.map_or_else(|| "missing".to_owned(), |time| format!("{time:.2}"));
            let off = split.difference_s.map(|late| Text::own(format!("{late:+.2}")));
            let tone = if split.findings.is_empty() { Tone::Plain } else { Tone::Alert };
            Cell::lines([Text::own(time)].into_iter().chain(off).collect()).toned(tone)
        };
        let findings = one.splits.get(from..to.min(one.splits.len())).unwrap_or_default();
        let findings = findings.iter().flat_map(|split| &split.findings).map(|one| Text::own(&one.text)).collect();
        let mut cells: Vec<Cell> = (from..to).map(cell).collect();
        cells.push(Cell::lines(findings));
        Row::new(Text::theirs(&one.display_name), cells)
    };
    let mut columns: Vec<Column> = (from..to).map(|at| Column::figures(format!("Barrier {}", at + 1))).collect();
    columns.push(Column::words("What is wrong"));
    Table {
        caption: Text::own(format!("Touchdown in seconds, and late (+) or early, barriers {} to {to}", from + 1)),
        corner: Text::own("Athlete"),
        columns,
        rows: timed.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
    .without_empty_columns()
}

fn card(one: &ResultView) -> Option<Card> {
    let run: Vec<Touchdown> =
        one.splits.iter().map(|split| Touchdown { barrier: split.barrier, late_s: split.difference_s }).collect();
    let figure = touchdowns(&run)?;
    let time = one.fields.final_time_s.map(|time| format!(", {time:.2} s")).unwrap_or_default();
    Some(Card { heading: Text::theirs(&one.display_name).and(time), blocks: vec![Block::Figure(figure)] })
}
