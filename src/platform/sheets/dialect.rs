//! What a number and a date are in a file: declared by whoever sends it, or said by the file itself, never guessed.
//!
//! `17.05.2013` can only be a day in May; `05.04.2013` is one in April or in May. So the dates of a file are taken as its
//! unmistakable ones are, and without any of those they are refused until somebody says which comes first. A decimal comma
//! is one as long as no cell of the file has a decimal point.

use chrono::NaiveDate;

use super::{Cell, Sheet};
use crate::platform::dates;
use crate::platform::words::words;

words! {
    /// The sign before the decimals of a number.
    Decimal as DecimalSign { /// A point: 1.52.
        Point = "point", /// A comma: 1,52.
        Comma = "comma" }
}

words! {
    /// How dates are written; 2013-05-17 is read in any case.
    DateOrder { /// Year, month and day: 2013-05-17.
        Iso = "iso", /// The day first: 17.05.2013, 17/05/2013.
        DayFirst = "day_first", /// The month first: 05/17/2013.
        MonthFirst = "month_first" }
}

/// What whoever sends a file says of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Declared {
    /// The sign before decimals.
    pub decimal: Option<Decimal>,
    /// The order of dates.
    pub dates: Option<DateOrder>,
}

/// What numbers and dates are in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dialect {
    declared: Declared,
    /// None when the file has both.
    decimal: Option<Decimal>,
    /// None when the file has no unmistakable date, or such of both orders.
    dates: Option<DateOrder>,
}

/// Why a cell cannot be taken: a fault's code and sentence.
pub type Refused = (&'static str, String);

impl Dialect {
    /// That of a sheet with numbers and dates in these columns.
    pub fn of(declared: Declared, sheet: &Sheet, numbers: &[&str], days: &[&str]) -> Self {
        let has = |sign: char, other: char| {
            let alone = |text: &str| text.matches(sign).count() == 1 && !text.contains(other);
            sheet.cells(numbers).any(|cell| matches!(cell, Cell::Text(text) if alone(text)))
        };
        let decimal = match (has('.', ','), has(',', '.')) {
            (true, true) => None,
            (false, true) => Some(Decimal::Comma),
            (_, false) => Some(Decimal::Point),
        };
        let orders = || sheet.cells(days).filter_map(parts).filter_map(order);
        let (days, months) =
            (orders().any(|one| one == DateOrder::DayFirst), orders().any(|one| one == DateOrder::MonthFirst));
        let dates = match (days, months) {
            (true, false) => Some(DateOrder::DayFirst),
            (false, true) => Some(DateOrder::MonthFirst),
            (true, true) | (false, false) => None,
        };
        Self { declared, decimal: declared.decimal.or(decimal), dates: declared.dates.or(dates) }
    }

    /// The number of a cell.
    ///
    /// # Errors
    /// When it is none, or could be two.
    pub fn number(&self, cell: &Cell, example: &str) -> Result<f64, Refused> {
        let none = || ("number", format!("must be a number such as {example}"));
        let text = match cell {
            Cell::Number(number) => return Ok(*number),
            Cell::Day(_) => return Err(("number", format!("is a date, must be a number such as {example}"))),
            Cell::Text(text) => text,
        };
        match (self.decimal, text.contains('.'), text.contains(',')) {
            (_, false, false) | (Some(Decimal::Point), true, false) => text.parse().map_err(|_| none()),
            (Some(Decimal::Comma), false, true) => text.replacen(',', ".", 1).parse().map_err(|_| none()),
            (None, ..) => {
                let detail = "some numbers of the file have a point and others a comma; write them one way, or say with \
                              `decimal` which it is";
                Err(("ambiguous", detail.to_owned()))
            }
            (Some(sign), ..) => {
                let (sign, shown) = match sign {
                    Decimal::Point => ("point", example.to_owned()),
                    Decimal::Comma => ("comma", example.replace('.', ",")),
                };
                Err(("number", format!("must have a decimal {sign}, such as {shown}; `decimal` says which it is")))
            }
        }
    }

    /// The whole number of a cell.
    ///
    /// # Errors
    /// When it is none.
    pub fn whole<T: std::str::FromStr>(&self, cell: &Cell, what: &str) -> Result<T, Refused> {
        cell.text().parse().map_err(|_| ("number", format!("must be {what}")))
    }

    /// The day of a cell.
    ///
    /// # Errors
    /// When it is none, or could be two.
    pub fn day(&self, cell: &Cell) -> Result<NaiveDate, Refused> {
        let none = || ("date", "must be a date such as 2013-05-17, its year with four digits".to_owned());
        let day = match cell {
            Cell::Day(day) => Some(*day),
            Cell::Number(_) => {
                return Err(("date", "is a plain number; give the cell the format of a date".to_owned()));
            }
            Cell::Text(text) => match NaiveDate::parse_from_str(text, "%Y-%m-%d") {
                Ok(day) => Some(day),
                Err(_) => self.ordered(parts(cell).ok_or_else(none)?)?,
            },
        };
        day.filter(dates::is_writable).ok_or_else(none)
    }

    fn ordered(&self, (first, second, year): (u32, u32, i32)) -> Result<Option<NaiveDate>, Refused> {
        match self.dates {
            Some(DateOrder::DayFirst) => Ok(NaiveDate::from_ymd_opt(year, second, first)),
            Some(DateOrder::MonthFirst) => Ok(NaiveDate::from_ymd_opt(year, first, second)),
            Some(DateOrder::Iso) => Err(("date", "must be written 2013-05-17, as `dates` says".to_owned())),
            None => {
                let detail = "the day or the month may come first, and the file does not settle it: say with `dates` which \
                              it is (day_first, month_first), or write 2013-05-17";
                Err(("ambiguous", detail.to_owned()))
            }
        }
    }
}

/// The three numbers of a date that does not begin with its year.
fn parts(cell: &Cell) -> Option<(u32, u32, i32)> {
    let Cell::Text(text) = cell else { return None };
    let sign = text.chars().find(|c| !c.is_ascii_digit()).filter(|c| ['.', '/', '-'].contains(c))?;
    let mut parts = text.split(sign);
    let mut next = |lengths: std::ops::RangeInclusive<usize>| {
        let part = parts.next().filter(|part| lengths.contains(&part.len()))?;
        Some(part).filter(|part| part.bytes().all(|byte| byte.is_ascii_digit()))?.parse::<u32>().ok()
    };
    let found = (next(1..=2)?, next(1..=2)?, i32::try_from(next(4..=4)?).ok()?);
    parts.next().is_none().then_some(found)
}

/// The order that such a date can only have.
fn order((first, second, _): (u32, u32, i32)) -> Option<DateOrder> {
    match (first > 12, second > 12) {
        (true, false) => Some(DateOrder::DayFirst),
        (false, true) => Some(DateOrder::MonthFirst),
        (true, true) | (false, false) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::platform::sheets::{Bounds, csv};

    fn dialect(cells: &[&str], declared: Declared) -> Dialect {
        let text = format!("d;n\n{}\n", cells.join("\n"));
        let sheet = csv::read(text.as_bytes(), None, &Bounds { rows: 20, columns: 2, unpacked: 0 }).unwrap();
        Dialect::of(declared, &sheet, &["n"], &["d"])
    }

    fn day(cell: &str, others: &[&str], dates: Option<DateOrder>) -> Result<String, &'static str> {
        let dialect = dialect(others, Declared { dates, decimal: None });
        dialect.day(&Cell::Text(cell.to_owned())).map(|day| day.to_string()).map_err(|(code, _)| code)
    }

    #[test]
    fn a_date_is_what_it_is_said_to_be_or_can_only_be() {
        let april = "05.04.2013";
        assert_eq!(day(april, &["17.05.2013;"], None), Ok("2013-04-05".to_owned()));
        assert_eq!(day("5/4/2013", &["05/17/2013;"], None), Ok("2013-05-04".to_owned()));
        assert_eq!(day(april, &["01.02.2013;"], None), Err("ambiguous"));
        assert_eq!(day(april, &["17.05.2013;", "05/17/2013;"], None), Err("ambiguous"));
        assert_eq!(day(april, &[";"], Some(DateOrder::DayFirst)), Ok("2013-04-05".to_owned()));
        assert_eq!(day(april, &["17.05.2013;"], Some(DateOrder::MonthFirst)), Ok("2013-05-04".to_owned()));
        assert_eq!(day("17.05.2013", &[";"], Some(DateOrder::MonthFirst)), Err("date"));
        assert_eq!(day(april, &["17.05.2013;"], Some(DateOrder::Iso)), Err("date"));
        for order in [None, Some(DateOrder::Iso), Some(DateOrder::DayFirst), Some(DateOrder::MonthFirst)] {
            assert_eq!(day("2013-05-17", &["17.05.2013;"], order), Ok("2013-05-17".to_owned()));
        }
        for wrong in ["17.05.13", "31.02.2013", "17.05/2013", "17.05.2013.", "1705.2013", "soon", "17.13.2013"] {
            assert_eq!(day(wrong, &["17.05.2013;"], None), Err("date"), "{wrong}");
        }
        assert_eq!(dialect(&[";"], Declared::default()).day(&Cell::Number(41_411.0)).unwrap_err().0, "date");
    }

    #[test]
    fn a_number_has_the_sign_of_its_file() {
        let number = |cell: &str, others: &[&str], decimal| {
            let dialect = dialect(others, Declared { decimal, dates: None });
            dialect.number(&Cell::Text(cell.to_owned()), "1.52").map_err(|(code, _)| code)
        };
        assert_eq!(number("1,52", &[";1,5"], None), Ok(1.52));
        assert_eq!(number("1.52", &[";1.5", ";2"], None), Ok(1.52));
        assert_eq!(number("2", &[";1.5", ";1,5"], None), Ok(2.0));
        assert_eq!(number("1,52", &[";1.5", ";1,5"], None), Err("ambiguous"));
        assert_eq!(number("1,52", &[";1.5", ";1,5"], Some(Decimal::Comma)), Ok(1.52));
        assert_eq!(number("1.52", &[";1.5", ";1,5"], Some(Decimal::Comma)), Err("number"));
        assert_eq!(number("1,52", &[";1,5"], Some(Decimal::Point)), Err("number"));
        assert_eq!(number("1.234,5", &[";1,5"], None), Err("number"));
        assert_eq!(number("1,2,3", &[";1,5"], None), Err("number"));
    }
}
