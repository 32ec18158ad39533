//! Tables as CSV (RFC 4180, UTF-8).

/// A table: a header, then rows of as many cells.
///
/// # Errors
/// When a row has another number of cells than the header.
///
/// ```
/// use lanewright_render::table::csv;
///
/// assert_eq!(csv(&["on", "runs"], &[vec!["2026-11-25".into(), "4".into()]]).unwrap(), b"on,runs\n2026-11-25,4\n");
/// ```
pub fn csv(header: &[&str], rows: &[Vec<String>]) -> Result<Vec<u8>, csv::Error> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record(header)?;
    for row in rows {
        table.write_record(row)?;
    }
    table.into_inner().map_err(|error| error.into_error().into())
}

/// What a formula begins with, also in full width, which spreadsheets of East Asia take for the same.
const FORMULA: [char; 8] = ['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

/// Whether a spreadsheet may run the text as a formula, once blanks and apostrophes before it are gone.
pub fn is_formula(text: &str) -> bool {
    let blank = |c: char| c.is_whitespace() || c.is_control() || matches!(c, '\'' | '\u{200b}' | '\u{feff}');
    text.starts_with(['\t', '\r', '\n']) || text.trim_start_matches(blank).starts_with(FORMULA)
}

/// A text that no spreadsheet takes for a formula.
///
/// ```
/// use lanewright_render::table::defused;
///
/// assert_eq!(defused(" ＝1+1"), "' ＝1+1");
/// assert_eq!(defused("Ann-Marie"), "Ann-Marie");
/// ```
pub fn defused(text: &str) -> String {
    if is_formula(text) { format!("'{text}") } else { text.to_owned() }
}
