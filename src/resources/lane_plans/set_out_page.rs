//! The set-out sheet as a document for people: the tape table, the lanes to scale, who runs where, who does not, and what to heed.

use std::collections::BTreeMap;

use super::http::Beside;
use super::session_store::SessionInfo;
use super::set_out::note;
use super::shapes::{Content, LaneView, PlacedView};
use super::{cards, cards_page, set_out};
use crate::compute::decision::Configuration;
use crate::compute::estimate::Settings;
use crate::compute::set_out::{Mark, MarkKind};
use crate::compute::units::Length;
use crate::paper;
use crate::platform::ids::AthleteId;
use crate::platform::problem::Problem;
use crate::render::kind_words;
use crate::render::measure::Measure;
use crate::render::set_out::{Sheet as Plan, SheetLane, on_tape};
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text, Tone};
use crate::render::strip::{StripLane, strips};
use crate::resources::advice::overtaken_note;

/// Boxes beside a name, one for each run (design choice).
const RUNS: u8 = 6;

/// The most lanes of one tape table: so many columns of 14 pt go on a page that lies.
const fn most_columns(measure: Measure) -> usize {
    match measure {
        Measure::Metric => 12,
        Measure::Imperial => 8,
    }
}

/// A lane as it is set out, and as it is planned.
type Lane<'a> = (&'a SheetLane, &'a LaneView);

/// The document.
pub fn page(plan: &Plan, content: &Content, beside: &Beside, measure: Measure) -> Sheet {
    let mut lanes: Vec<Lane<'_>> = plan.lanes.iter().zip(&content.lanes).collect();
    lanes.sort_by(|a, b| {
        (a.0.round, demand(a.0)).partial_cmp(&(b.0.round, demand(b.0))).unwrap_or(a.0.lane.cmp(&b.0.lane))
    });
    let mut sections = Vec::new();
    let rounds: Vec<&[Lane<'_>]> = lanes.chunk_by(|a, b| a.0.round == b.0.round).collect();
    let placed = content.lanes.iter().flat_map(|lane| &lane.athletes);
    let shared = paper::shared(placed.map(heeded));
    for lanes in &rounds {
        sections.extend(round(
            lanes,
            plan,
            &Said { run_out_m: content.run_out_m, shared: &shared, gone: &beside.gone, measure },
        ));
    }
    if rounds.is_empty() {
        let nobody = Text::own("There is no lane to set out: everybody rests or waits.");
        sections.push(Section::new("Tape marks", vec![Block::Paragraph(nobody)]));
    }
    sections.push(paper::cautions(content.cautions.iter().map(|one| one.text.as_str())));
    let idle = idle(content, beside);
    if !idle.rows.is_empty() {
        sections.push(Section::new("Who does not run", vec![Block::Table(idle)]));
    }
    let bring: Vec<Text> = plan
        .barrier_counts()
        .into_iter()
        .map(|((kind, height), count)| Text::own(bring(u64::from(count), kind_words(kind), height, measure)))
        .collect();
    if !bring.is_empty() {
        sections.push(Section::new("What to bring", vec![Block::List(bring)]));
    }
    let widest = rounds.iter().map(|lanes| lanes.len()).max().unwrap_or(0);
    let lies = widest > if measure == Measure::Metric { 8 } else { 4 };
    Sheet {
        title: Text::own("Set-out of lanes"),
        subtitle: Text::theirs(&plan.club).and(format!(", {}, ", plan.session_date)).and_text(place(&plan.venue)),
        orientation: if lies { Orientation::Landscape } else { Orientation::Portrait },
        sections,
    }
}

/// A session's sheets for helpers: the lanes of its plan, where there is one, and the cards.
///
/// # Errors
/// When the stored plan does not parse.
pub fn sheets_page(
    info: SessionInfo,
    content: Option<&Content>,
    (cards, beside): (&cards::View, &Beside),
    measure: Measure,
) -> Result<Sheet, Problem> {
    let subtitle = Text::theirs(&info.club).and(format!(", {}", info.held_on));
    let mut sections = Vec::new();
    let mut orientation = Orientation::Portrait;
    if let Some(content) = content {
        let plan = set_out::sheet(info, content, set_out::rounds(content))?;
        let lanes = page(&plan, content, beside, measure);
        (sections, orientation) = (lanes.sections, lanes.orientation);
    }
    let heeded = |text: &str| content.is_some_and(|content| content.cautions.iter().any(|one| one.text == text));
    let more: Vec<&str> = cards.cautions.iter().map(|one| one.text.as_str()).filter(|text| !heeded(text)).collect();
    if !more.is_empty() {
        sections.push(paper::cautions(more));
    }
    sections.push(cards_page::cards(cards, measure));
    Ok(Sheet { title: Text::own("Today's lanes and cards"), subtitle, orientation, sections })
}

fn place(venue: &str) -> Text {
    if venue.is_empty() { Text::own("no venue on file") } else { Text::theirs(venue) }
}

fn bring(count: u64, kind: &str, height: Length, measure: Measure) -> String {
    format!("{}, {} high", paper::count(count, kind), measure.length(height.metres()))
}

/// What a lane demands of an athlete of whom nothing is known, metres.
fn demand(lane: &SheetLane) -> f64 {
    let set = Configuration { barrier_kind: lane.barrier_kind, height: lane.height, spacing: lane.spacing };
    set.demand_m(Settings::default().height_cost_mean)
}

/// What holds for every lane.
struct Said<'a> {
    run_out_m: f64,
    /// The cautions that everybody who runs shares.
    shared: &'a [&'a str],
    /// Who has a lane and is not there.
    gone: &'a [AthleteId],
    measure: Measure,
}

/// The sections of one round.
fn round(lanes: &[Lane<'_>], plan: &Plan, said: &Said<'_>) -> Vec<Section> {
    let measure = said.measure;
    let number = lanes.first().map_or(1, |(lane, _)| lane.round);
    let of = |what: &str| {
        if plan.rounds > 1 { format!("Round {number} of {}: {what}", plan.rounds) } else { paper::sentence(what) }
    };
    let mut tape = vec![Block::Paragraph(Text::own(format!(
        "Distances from the start line in {}. The least demanding lane comes first. Bold rows are barriers.",
        measure.unit()
    )))];
    tape.extend(lanes.chunks(most_columns(measure)).map(|lanes| Block::Table(tape_table(lanes, measure))));
    let drawn: Vec<StripLane> = lanes.iter().map(|lane| strip_lane(lane, said.run_out_m)).collect();
    let mut people = vec![paper::for_everybody(said.shared)];
    for lane in lanes {
        people.push(Block::Table(runners(lane, said)));
    }
    let tape = Section::new(of("tape marks"), tape);
    vec![
        if number > 1 { tape.on_new_page() } else { tape },
        Section::new(of("lanes to scale"), strips(&drawn, measure).into_iter().map(Block::Figure).collect()),
        Section::new(of("who runs where"), people),
    ]
}

fn strip_lane((lane, planned): &Lane<'_>, run_out_m: f64) -> StripLane {
    let metres = |m: f64| Length::from_metres(m).unwrap_or(Length::from_mm(0));
    StripLane {
        lane: lane.lane,
        approach: metres(planned.approach_m),
        spacing: lane.spacing,
        barriers: lane.barriers,
        run_out: metres(run_out_m),
    }
}

/// The place of a mark in the running order, whatever the lane; none for the third stride, which is the take-off.
fn order(mark: Mark) -> Option<((u8, u8), String)> {
    let k = mark.barrier.unwrap_or_default();
    Some(match mark.kind {
        MarkKind::Start => ((0, 0), "start line".to_owned()),
        MarkKind::Barrier => ((k, 0), format!("barrier {k}")),
        MarkKind::Landing => ((k, 1), format!("landing behind {k}")),
        MarkKind::Stride1 => ((k, 2), format!("stride 1 behind {k}")),
        MarkKind::Stride2 => ((k, 3), format!("stride 2 behind {k}")),
        MarkKind::Stride3 => return None,
        MarkKind::TakeOff => ((k.saturating_sub(1), 4), format!("take-off for {k}")),
        MarkKind::RunOutEnd => ((u8::MAX, 0), "end of run-out".to_owned()),
    })
}

/// Rows are barriers and marks, columns are lanes.
fn tape_table(lanes: &[Lane<'_>], measure: Measure) -> Table {
    let mut rows: BTreeMap<(u8, u8), Row> = BTreeMap::new();
    for (at, (lane, _)) in lanes.iter().enumerate() {
        for (mark, (place, words)) in lane.marks.iter().filter_map(|mark| Some((mark, order(*mark)?))) {
            let row = rows.entry(place).or_insert_with(|| {
                let row = Row::new(words, vec![Cell::default(); lanes.len()]);
                if mark.kind == MarkKind::Barrier { row.strong() } else { row }
            });
            if let Some(cell) = row.cells.get_mut(at) {
                *cell = Cell::of(on_tape(*mark, measure));
            }
        }
    }
    Table {
        caption: Text::own("Tape marks"),
        corner: Text::own("Mark"),
        columns: lanes.iter().map(|(lane, _)| Column::figures(format!("Lane {}", lane.lane))).collect(),
        rows: rows.into_values().collect(),
        size: Size::Tape,
        narrow: Narrow::Scroll,
    }
}

/// Who runs in a lane, what to know of each, room for their own marks and a box for each run.
fn runners((lane, planned): &Lane<'_>, said: &Said<'_>) -> Table {
    let measure = said.measure;
    let set = paper::run_over(&planned.barrier_kind, planned.height_m, planned.spacing_m, measure);
    let caption = format!(
        "Lane {}: {} {set}; approach {}, run-out {}",
        lane.lane,
        lane.barriers,
        measure.length(planned.approach_m),
        measure.length(said.run_out_m)
    );
    let mut rows: Vec<Row> = planned.athletes.iter().map(|one| runner(one, said)).collect();
    if planned.others > 0 {
        let words = paper::count(planned.others as u64, "athlete");
        let note = Cell::of("of groups that you do not see");
        rows.push(Row::new(words, vec![note, Cell::default(), Cell::default().with_boxes(RUNS)]));
    }
    let mut columns = vec![Column::words("What to know"), Column::words("Own marks"), Column::words("Runs")];
    // Where there is nothing to know there is more room for marks.
    if rows.iter().all(|row| row.cells.first().is_some_and(Cell::is_empty)) {
        columns.remove(0);
        for row in &mut rows {
            row.cells.remove(0);
        }
    }
    Table {
        caption: Text::own(caption),
        corner: Text::own("Athlete"),
        columns,
        rows,
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}

/// The cautions of somebody who runs.
fn heeded(one: &PlacedView) -> Vec<&str> {
    one.cautions.iter().map(|caution| caution.text.as_str()).collect()
}

fn runner(one: &PlacedView, said: &Said<'_>) -> Row {
    let note = note(one);
    let gone = said.gone.contains(&one.athlete_id).then(|| "Not noted as present.".to_owned());
    let known = gone.into_iter().chain(Some(paper::sentence(&note)).filter(|note| !note.is_empty()));
    let own = heeded(one).into_iter().filter(|text| !said.shared.contains(text));
    let lines = known.chain(own.map(|text| format!("Caution: {text}")));
    let stop = one.overtaken || one.not_permitted.is_some() || one.needs_confirmation;
    let known = Cell::lines(lines.map(Text::own).collect()).toned(if stop { Tone::Alert } else { Tone::Plain });
    Row::new(Text::theirs(&one.display_name), vec![known, Cell::default(), Cell::default().with_boxes(RUNS)])
}

/// Who rests, who waits for a place, who is left out, who came after the plan was made and who is absent.
fn idle(content: &Content, beside: &Beside) -> Table {
    let row = |name: &str, what: &str, why: String| Row::new(Text::theirs(name), vec![Cell::of(what), Cell::of(why)]);
    let resting = content.resting.iter().map(|one| {
        let what = if one.waiting.is_some() { "No place" } else { "Rests" };
        if !one.overtaken {
            return row(&one.display_name, what, one.explanation.clone());
        }
        // Why they rested, or found no place, is no reason any more.
        let since = format!("{}.", paper::sentence(&overtaken_note(one.not_permitted.as_ref())));
        Row::new(Text::theirs(&one.display_name), vec![Cell::of(what), Cell::of(since).toned(Tone::Alert)])
    });
    let left_out = content.not_computed.iter().map(|one| row(&one.display_name, "No advice", one.unusable.words()));
    let missing = content
        .not_expected
        .iter()
        .map(|one| row(&one.display_name, "Not expected", format!("Last came on {}.", one.last_seen_on)));
    let (what, why) = match content.people_from.as_deref() {
        Some("attendance") => ("Absent", "Not noted as present when the lanes were planned."),
        _ => ("Not planned", "Of the groups of this session, and not in the plan."),
    };
    let absent = beside.absent.iter().map(|name| row(name, what, why.to_owned()));
    let came = match content.people_from.as_deref() {
        Some("named") => "Noted as present, and not in the plan.",
        _ => "Came after the lanes were planned: plan anew.",
    };
    let late = beside.late.iter().map(|name| row(name, "No lane", came.to_owned()));
    Table {
        caption: Text::own("Resting, without a place, or absent"),
        corner: Text::own("Athlete"),
        columns: vec![Column::words("State"), Column::words("Why")],
        rows: resting.chain(left_out).chain(late).chain(missing).chain(absent).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;
    use uuid::Uuid;

    use super::*;
    use crate::render::html::html;
    use crate::render::pdf::pdf;

    /// Forty letters, right to left twice, letters as wide as they are high, and what would break out of an element.
    const NAMES: [&str; 5] = [
        "Wolfeschlegelsteinhausenbergerdorffmeyer",
        "مريم بنت عبد الرحمن الخالدي",
        "נועה בת-אל לוי-כהן",
        "高橋 さくら",
        "O'Neil <b>&amp;",
    ];

    fn name(lane: u32, place: u32) -> String {
        format!("{} {}", NAMES[(place % 5) as usize], lane * 100 + place)
    }

    /// Twelve lanes of twelve, the most demanding first.
    fn crowd() -> (SessionInfo, Content) {
        let athlete = |lane: u32, place: u32| {
            json!({"athlete_id": Uuid::from_u128(u128::from(lane * 100 + place)), "display_name": name(lane, place),
                "regret": 0.0, "hold_probability": 0.8, "needs_confirmation": place == 3})
        };
        let lane = |lane: u32| {
            let athletes: Vec<_> = (1..=12).map(|place| athlete(lane, place)).collect();
            json!({"lane": lane, "round": 1, "barrier_kind": "hurdle", "height_m": 0.762, "athletes": athletes,
                "spacing_m": 8.75 - 0.25 * f64::from(lane), "approach_m": 12.0, "barriers": 10})
        };
        let content = json!({"lanes": (1..=12).map(lane).collect::<Vec<_>>(), "resting": [], "total_regret": 0.0,
            "largest_regret": 0.0, "proven_optimal": true, "lower_bound": 0.0, "run_out_m": 12.5,
            "people_from": "attendance", "stock_used": [], "cautions": [{"code": "supervise", "text": "Watch every run."}]});
        let info = SessionInfo {
            held_on: chrono::NaiveDate::from_ymd_opt(2026, 11, 21).unwrap(),
            surface: None,
            venue: Some(("Wide track".to_owned(), Length::from_mm(130_000), 12)),
            club: "Northfield Harriers".to_owned(),
        };
        (info, serde_json::from_value(content).unwrap())
    }

    #[test]
    fn twelve_lanes_of_twelve_stand_in_one_table_by_demand_with_everybody_in_the_right_lane() {
        let (info, content) = crowd();
        let plan = set_out::sheet(info, &content, 1).unwrap();
        let gone = vec![content.lanes[4].athletes[6].athlete_id];
        let sheet = page(&plan, &content, &Beside { gone, ..Beside::default() }, Measure::Metric);
        assert_eq!(sheet.orientation, Orientation::Landscape, "twelve columns of 14 pt");
        let tables: Vec<&Table> = sheet
            .sections
            .iter()
            .flat_map(|section| &section.blocks)
            .filter_map(|block| if let Block::Table(table) = block { Some(table) } else { None })
            .collect();
        let (tape, runners) = tables.split_first().unwrap();
        let columns: Vec<String> = tape.columns.iter().map(|column| column.heading.plain()).collect();
        let by_demand: Vec<String> = (1..=12).rev().map(|lane| format!("Lane {lane}")).collect();
        assert_eq!(columns, by_demand, "the closest barriers are the least demanding");
        // The start, ten barriers, four marks behind each but the last, the end.
        assert_eq!((tape.size, tape.rows.len()), (Size::Tape, 1 + 10 + 9 * 4 + 1));
        let last = tape.rows.iter().find(|row| row.heading.plain() == "barrier 10").unwrap();
        for (cell, lane) in last.cells.iter().zip((1..=12).rev()) {
            let at = 12.0 + 9.0 * (8.75 - 0.25 * f64::from(lane));
            assert_eq!(cell.lines[0].plain(), format!("{at:.2}"), "lane {lane}");
        }
        assert_eq!(runners.len(), 12);
        for (table, lane) in runners.iter().zip((1..=12).rev()) {
            assert!(table.caption.plain().starts_with(&format!("Lane {lane}: 10 hurdles 0.762 m high")), "{lane}");
            let names: Vec<String> = table.rows.iter().map(|row| row.heading.plain()).collect();
            assert_eq!(names, (1..=12).map(|place| name(lane, place)).collect::<Vec<_>>());
            assert_eq!(table.rows[2].cells[0].tone, Tone::Alert, "a coach confirms");
        }
        let told = |table: &Table, at: usize| table.rows[at].cells[0].lines.iter().map(Text::plain).collect::<Vec<_>>();
        assert_eq!((told(runners[7], 6), told(runners[7], 5)), (vec!["Not noted as present.".to_owned()], vec![]));
        let drawn = html(&sheet);
        assert_eq!(drawn.matches("6 boxes to tick").count(), 144);
        assert!(drawn.contains("Watch every run.") && drawn.matches("<figure>").count() > 0);
        assert!(pdf(&sheet).is_ok(), "and goes on paper");
    }
}
