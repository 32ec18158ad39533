//! Tables as CSV (RFC 4180, UTF-8) and XLSX (ISO/IEC 29500).

use lanewright_compute::day::Day;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};

/// A cell of a table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing.
    Empty,
    /// A text; no spreadsheet will take it for a formula.
    Text(String),
    /// A number, in the unit that the header names.
    Number(f64),
    /// A day.
    Day(Day),
    /// A moment: the day and the seconds since its midnight (s), in UTC.
    Moment(Day, u32),
}

impl Cell {
    /// A text, or nothing.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// A whole number.
    pub fn count(count: impl Into<i64>) -> Self {
        #[allow(clippy::cast_precision_loss)] // counts of a squad
        Self::Number(count.into() as f64)
    }

    /// Yes, or nothing.
    pub fn flag(yes: bool) -> Self {
        if yes { Self::text("yes") } else { Self::Empty }
    }
}

impl<T: Into<Cell>> From<Option<T>> for Cell {
    fn from(cell: Option<T>) -> Self {
        cell.map_or(Self::Empty, Into::into)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<i16> for Cell {
    fn from(count: i16) -> Self {
        Self::count(count)
    }
}

impl From<u32> for Cell {
    fn from(count: u32) -> Self {
        Self::count(count)
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::text(text)
    }
}

impl From<Day> for Cell {
    fn from(day: Day) -> Self {
        Self::Day(day)
    }
}

/// Why a table cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// As CSV: a row has another number of cells than the header.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// As XLSX: larger than a sheet may be.
    #[error(transparent)]
    Xlsx(#[from] XlsxError),
}

/// A table: a header, then rows of as many cells.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The names of the columns.
    pub header: Vec<String>,
    /// The rows.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// A table without rows.
    pub fn of(header: &[&str]) -> Self {
        Self { header: header.iter().map(|name| (*name).to_owned()).collect(), rows: Vec::new() }
    }

    /// As CSV: decimals with a point, days as `2026-11-25`, moments as RFC 3339 has them.
    ///
    /// # Errors
    /// When a row has another number of cells than the header.
    ///
    /// ```
    /// use lanewright_render::table::{Cell, Table};
    ///
    /// let mut table = Table::of(&["name", "runs"]);
    /// table.rows.push(vec![Cell::text("=1+1"), Cell::Number(4.0)]);
    /// assert_eq!(table.csv().unwrap(), b"name,runs\n'=1+1,4\n");
    /// ```
    pub fn csv(&self) -> Result<Vec<u8>, TableError> {
        let rows: Vec<Vec<String>> = self.rows.iter().map(|row| row.iter().map(written).collect()).collect();
        let header: Vec<&str> = self.header.iter().map(String::as_str).collect();
        Ok(csv(&header, &rows)?)
    }

    /// As an XLSX workbook of one sheet: numbers, days and moments as such, the header in bold and in view. The same table makes
    /// the same bytes.
    ///
    /// # Errors
    /// When there are more rows or columns than a sheet may have, or a text is longer than a cell.
    pub fn xlsx(&self) -> Result<Vec<u8>, TableError> {
        let mut book = Workbook::new();
        // A file that says when it was written is another one each time.
        let epoch = ExcelDateTime::from_ymd(2_000, 1, 1)?;
        book.set_properties(&DocProperties::new().set_creation_datetime(&epoch));
        let bold = Format::new().set_bold();
        let day = Format::new().set_num_format("yyyy-mm-dd");
        let moment = Format::new().set_num_format("yyyy-mm-dd hh:mm:ss");
        let sheet = book.add_worksheet();
        sheet.set_freeze_panes(1, 0)?;
        for (column, name) in (0_u16..).zip(&self.header) {
            sheet.write_string_with_format(0, column, name, &bold)?;
            sheet.set_column_width(
                column,
                width(name, self.rows.iter().filter_map(|row| row.get(usize::from(column)))),
            )?;
        }
        for (row, cells) in (1_u32..).zip(&self.rows) {
            for (column, cell) in (0_u16..).zip(cells) {
                match cell {
                    Cell::Empty => continue,
                    Cell::Text(text) => sheet.write_string(row, column, defused(text))?,
                    Cell::Number(number) => sheet.write_number(row, column, *number)?,
                    Cell::Day(on) => sheet.write_datetime_with_format(row, column, date(*on)?, &day)?,
                    Cell::Moment(on, seconds) => {
                        let at = date(*on)?.and_hms(
                            u16::try_from(seconds / 3_600).unwrap_or(0),
                            u8::try_from(seconds / 60 % 60).unwrap_or(0),
                            f64::from(seconds % 60),
                        )?;
                        sheet.write_datetime_with_format(row, column, at, &moment)?
                    }
                };
            }
        }
        Ok(book.save_to_buffer()?)
    }
}

fn date(day: Day) -> Result<ExcelDateTime, XlsxError> {
    let (year, month, day) = day.ymd();
    ExcelDateTime::from_ymd(u16::try_from(year).unwrap_or(u16::MAX), month, day)
}

/// A cell in a CSV file.
fn written(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => defused(text),
        Cell::Number(number) => number.to_string(),
        Cell::Day(day) => day.to_string(),
        Cell::Moment(day, s) => format!("{day}T{:02}:{:02}:{:02}Z", s / 3_600, s / 60 % 60, s % 60),
    }
}

/// The width of a column, in figures of the usual font: what its longest cell has, within what is comfortable to read.
fn width<'a>(name: &str, cells: impl Iterator<Item = &'a Cell>) -> f64 {
    let longest = cells.map(|cell| written(cell).chars().count()).chain([name.chars().count()]).max().unwrap_or(0);
    f64::from(u32::try_from(longest).unwrap_or(u32::MAX).clamp(6, 60)) + 2.0
}

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
