//! The results of a race test as a table: a row for each.

use super::results_shapes::{ResultList, ResultView};
use crate::render::table::{Cell, Table};

/// The columns before the touchdown times.
const COLUMNS: [&str; 20] = [
    "place",
    "display_name",
    "status",
    "final_time_s",
    "heat",
    "lane",
    "heat_place",
    "handicap_place",
    "against_best",
    "difference_to_best_s",
    "gap_to_expected_s",
    "timing_method",
    "hits",
    "fell",
    "counts",
    "while_restricted",
    "note",
    "id",
    "athlete_id",
    "race_test_id",
];

fn place(place: Option<usize>) -> Cell {
    place.and_then(|place| u32::try_from(place).ok()).into()
}

fn row(of: &ResultList, one: &ResultView) -> Vec<Cell> {
    let (fields, best) = (&one.fields, one.against_best.as_ref());
    vec![
        place(one.place),
        one.display_name.as_str().into(),
        fields.status.as_str().into(),
        fields.final_time_s.into(),
        fields.heat.into(),
        fields.lane.into(),
        place(one.heat_place),
        place(one.handicap_place),
        best.map(|best| best.kind).into(),
        best.and_then(|best| best.difference_s).into(),
        one.gap_to_expected_s.into(),
        fields.timing_method.as_deref().into(),
        fields.hits.into(),
        Cell::flag(fields.fell),
        Cell::flag(one.counts),
        Cell::flag(one.while_restricted),
        fields.note.as_deref().into(),
        fields.id.to_string().into(),
        fields.athlete_id.to_string().into(),
        of.race_test_id.to_string().into(),
    ]
}

/// The table of a race test, with as many touchdown times as the longest result has.
pub fn table(of: &ResultList) -> Table {
    let times = |one: &ResultView| one.fields.touchdown_times_s.clone().unwrap_or_default();
    let most = of.results.iter().map(|one| times(one).len()).max().unwrap_or(0);
    let mut table = Table::of(&COLUMNS);
    table.header.extend((1..=most).map(|barrier| format!("touchdown_{barrier}_s")));
    for one in &of.results {
        let (mut cells, mut times) = (row(of, one), times(one));
        times.resize(most, None);
        cells.extend(times.into_iter().map(Cell::from));
        table.rows.push(cells);
    }
    table
}
