//! Runs as a table: a row for each, with the names that people look for.

use std::collections::HashMap;

use chrono::{NaiveDate, Timelike};
use uuid::Uuid;

use super::model::{Intervals, Leg, TimingMethod};
use super::store::StoredRun;
use crate::compute::day::Day;
use crate::platform::grants::SeenAthlete;
use crate::render::table::{Cell, Table};

/// The columns before the touchdown times.
const COLUMNS: [&str; 27] = [
    "id",
    "session_id",
    "held_on",
    "athlete_id",
    "display_name",
    "run_at",
    "barrier_kind",
    "height_m",
    "spacing_m",
    "approach_m",
    "barriers",
    "held",
    "over_reached",
    "crowded",
    "broken",
    "hits",
    "fell",
    "lead_leg",
    "timing_method",
    "video_fps",
    "note",
    "lane_plan_id",
    "lane",
    "round",
    "while_restricted",
    "supersedes",
    "void",
];

/// What a row says beside its run.
#[derive(Debug)]
pub struct Named {
    /// The athletes by id.
    pub athletes: HashMap<Uuid, SeenAthlete>,
    /// The days of the sessions.
    pub days: HashMap<Uuid, NaiveDate>,
}

fn day(date: NaiveDate) -> Cell {
    Day::from_days(date.to_epoch_days()).into()
}

fn row(stored: &StoredRun, named: &Named) -> Vec<Cell> {
    let run = &stored.value.run;
    let Intervals { held, over_reached, crowded, broken } = run.intervals;
    let touchdowns = run.touchdowns.as_ref();
    let at = Day::from_days(run.run_at.date_naive().to_epoch_days());
    let id = |id: Uuid| Cell::text(id.to_string());
    vec![
        id(stored.id.0),
        id(run.session.0),
        named.days.get(&run.session.0).map_or(Cell::Empty, |on| day(*on)),
        id(run.athlete.0),
        named.athletes.get(&run.athlete.0).map(|one| one.display_name.as_str()).into(),
        at.map_or(Cell::Empty, |on| Cell::Moment(on, run.run_at.num_seconds_from_midnight())),
        run.barrier_kind.as_str().into(),
        run.height.metres().into(),
        run.spacing.metres().into(),
        run.approach.map(crate::compute::units::Length::metres).into(),
        run.barriers.into(),
        held.into(),
        over_reached.into(),
        crowded.into(),
        broken.into(),
        run.hits.into(),
        Cell::flag(run.fell),
        run.lead_leg.map(Leg::as_str).into(),
        touchdowns.map(|one| TimingMethod::as_str(one.method)).into(),
        touchdowns.and_then(|one| one.video_fps).into(),
        run.note.as_deref().into(),
        run.lane.map_or(Cell::Empty, |lane| id(lane.plan.0)),
        run.lane.map(|lane| lane.lane).into(),
        run.lane.map(|lane| lane.round).into(),
        Cell::flag(stored.value.while_restricted),
        run.supersedes.map_or(Cell::Empty, |run| id(run.0)),
        Cell::flag(run.void),
    ]
}

/// The table of some runs, with as many touchdown times as the longest has.
pub fn table(runs: &[StoredRun], named: &Named) -> Table {
    let times = |one: &StoredRun| one.value.run.touchdowns.as_ref().map(|one| one.times_ms.clone()).unwrap_or_default();
    let most = runs.iter().map(|one| times(one).len()).max().unwrap_or(0);
    let mut table = Table::of(&COLUMNS);
    table.header.extend((1..=most).map(|barrier| format!("touchdown_{barrier}_s")));
    for one in runs {
        let mut cells = row(one, named);
        let mut times = times(one);
        times.resize(most, None);
        cells.extend(times.into_iter().map(|ms| Cell::from(ms.map(|ms| f64::from(ms) / 1_000.0))));
        table.rows.push(cells);
    }
    table
}
