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

/// A text that no spreadsheet takes for a formula.
pub fn defused(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) { format!("'{text}") } else { text.to_owned() }
}
