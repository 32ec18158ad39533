//! The start list of a race test as CSV.

use super::table::defused;

/// One athlete of a start list.
#[derive(Clone, Debug, PartialEq)]
pub struct StartRow {
    /// The heat, from 1.
    pub heat: i16,
    /// The lane.
    pub lane: i16,
    /// How the squad calls the athlete; empty where the reader does not see them.
    pub athlete: String,
    /// Expected time and its standard error, seconds (s).
    pub expected_s: Option<(f64, f64)>,
    /// What the expected time rests on.
    pub basis: &'static str,
    /// Start after the first of the heat, seconds (s).
    pub start_offset_s: Option<f64>,
    /// Cautions about the athlete, one sentence each.
    pub cautions: Vec<String>,
}

/// The table, one line for each athlete, in the order given.
///
/// # Errors
/// When the writer fails, which memory does not.
pub fn csv(test: &str, date: &str, rows: &[StartRow]) -> Result<Vec<u8>, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    let head = [
        "race_test",
        "held_on",
        "heat",
        "lane",
        "display_name",
        "expected_s",
        "expected_sd_s",
        "basis",
        "start_offset_s",
        "cautions",
    ];
    table.write_record(head)?;
    let seconds = |value: Option<f64>| value.map(|s| format!("{s:.3}")).unwrap_or_default();
    for row in rows {
        table.write_record([
            &defused(test),
            date,
            &row.heat.to_string(),
            &row.lane.to_string(),
            &defused(&row.athlete),
            &seconds(row.expected_s.map(|(time, _)| time)),
            &seconds(row.expected_s.map(|(_, sd)| sd)),
            row.basis,
            &seconds(row.start_offset_s),
            &row.cautions.join(" "),
        ])?;
    }
    table.into_inner().map_err(|error| error.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_holds_one_athlete_and_no_spreadsheet_takes_a_name_for_a_formula() {
        let row = StartRow {
            heat: 1,
            lane: 4,
            athlete: "=Mira, Osei".to_owned(),
            expected_s: Some((12.5, 0.31)),
            basis: "rhythm",
            start_offset_s: Some(0.75),
            cautions: vec!["Check.".to_owned(), "Watch.".to_owned()],
        };
        let text = String::from_utf8(csv("Test", "2026-11-24", &[row]).unwrap()).unwrap();
        assert_eq!(
            text.lines().nth(1),
            Some("Test,2026-11-24,1,4,\"'=Mira, Osei\",12.500,0.310,rhythm,0.750,Check. Watch.")
        );
    }
}
