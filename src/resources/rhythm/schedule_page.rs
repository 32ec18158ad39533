//! A touchdown schedule as a document for people: the chart that a timekeeper fills in.

use super::schedules::ScheduleView;
use crate::paper::{self, fact};
use crate::render::measure::Measure;
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text};

/// Runs that the chart has room for (design choice).
const RUNS: usize = 3;

/// The document of what JSON says.
pub fn page(view: &ScheduleView, measure: Measure) -> Sheet {
    let course = &view.course;
    let long = |metres: f64| measure.length(metres);
    let facts = [
        fact("Distance", Some(long(course.race_distance_m))),
        fact("Barriers", Some(course.barriers.to_string())),
        fact("Approach", Some(long(course.approach_m))),
        fact("Spacing", Some(long(course.spacing_m))),
        fact("Run-in", Some(long(course.run_in_m))),
    ];
    Sheet {
        title: Text::own("Touchdown chart: ").and_theirs(&view.event_code),
        subtitle: Text::own(format!("Schedule for {:.2} s", view.finish_s)),
        orientation: Orientation::Portrait,
        sections: vec![
            Section::new("The race", vec![Block::Facts(facts.into_iter().flatten().collect())]),
            Section::new("Times", vec![Block::Table(times(view))]),
            paper::cautions(view.cautions.iter().map(|one| one.text)),
            Section::new("Where the schedule comes from", vec![Block::Paragraph(Text::own(view.source))]),
        ],
    }
}

fn times(view: &ScheduleView) -> Table {
    let row = |what: String, at: f64, interval: Option<f64>| {
        let mut cells = vec![
            Cell::of(format!("{at:.2}")),
            interval.map_or_else(Cell::default, |time| Cell::of(format!("{time:.2}"))),
        ];
        cells.resize(2 + RUNS, Cell::default());
        Row::new(what, cells)
    };
    let intervals = [None].into_iter().chain(view.interval_times_s.iter().copied().map(Some));
    let mut rows: Vec<Row> = (1..)
        .zip(view.touchdown_times_s.iter().zip(intervals))
        .map(|(barrier, (at, interval))| row(format!("Barrier {barrier}"), *at, interval))
        .collect();
    rows.push(row("Finish".to_owned(), view.finish_s, Some(view.run_in_s)).strong());
    let mut columns = vec![Column::figures("Touchdown, s"), Column::figures("Interval, s")];
    columns.extend((1..=RUNS).map(|run| Column::words(format!("Run {run}"))));
    Table {
        caption: Text::own("Time from the start at each touchdown, and since the touchdown before"),
        corner: Text::own("Touchdown behind"),
        columns,
        rows,
        size: Size::Tape,
        narrow: Narrow::Scroll,
    }
}
