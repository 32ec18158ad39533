//! Tables that people bring from spreadsheets: CSV (RFC 4180) and XLSX (ISO/IEC 29500), read within bounds.
//!
//! | module | what it decides |
//! | --- | --- |
//! | [`csv`] | where the cells of a text are |
//! | [`xlsx`] | how much of an archive is unpacked, and what its cells are |
//! | [`dialect`] | what a number and a date are, when the text alone does not say |

pub mod csv;
pub mod dialect;
pub mod xlsx;

use std::borrow::Cow;

use chrono::NaiveDate;

use super::fault::Fault;

/// A cell that is not empty.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Text, without blanks around it.
    Text(String),
    /// A number.
    Number(f64),
    /// A day.
    Day(NaiveDate),
}

impl Cell {
    /// What the cell says, as text.
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            Self::Text(text) => text.into(),
            Self::Number(number) => number.to_string().into(),
            Self::Day(day) => day.to_string().into(),
        }
    }
}

/// A row below the header.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Where an editor shows it; the first line of the file is line 1.
    pub line: u64,
    /// As many cells as the header has; none where nothing stands.
    pub cells: Vec<Option<Cell>>,
}

/// A table with a header. Rows in which nothing stands are left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The names of the columns.
    pub header: Vec<String>,
    /// The rows below.
    pub rows: Vec<Line>,
}

impl Sheet {
    /// The cells of some columns, wherever something stands in them.
    pub fn cells<'a>(&'a self, columns: &'a [&str]) -> impl Iterator<Item = &'a Cell> {
        let wanted = |at: &usize| self.header.get(*at).is_some_and(|name| columns.contains(&name.as_str()));
        let places: Vec<usize> = (0..self.header.len()).filter(wanted).collect();
        self.rows.iter().flat_map(move |row| {
            places.clone().into_iter().filter_map(move |at| row.cells.get(at).and_then(Option::as_ref))
        })
    }
}

/// How large a table may be.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Most rows below the header.
    pub rows: usize,
    /// Most columns.
    pub columns: usize,
    /// Most that an archive holds unpacked, bytes.
    pub unpacked: usize,
}

impl Bounds {
    fn too_many_rows(&self) -> Fault {
        Fault::at("/rows", "too_many", format!("may have {} rows; split the file", self.rows))
    }

    fn too_many_columns(&self) -> Fault {
        Fault::at("/header", "too_many", format!("may have {} columns; take those out that are not read", self.columns))
    }
}
