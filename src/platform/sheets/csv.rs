//! CSV (RFC 4180) as spreadsheets write it: comma, semicolon or tab between cells, a byte order mark, a first line `sep=;`.

use super::{Bounds, Cell, Line, Sheet};
use crate::platform::fault::Fault;
use crate::platform::words::words;

words! {
    /// What stands between the cells of a CSV file.
    Separator as CsvSeparator { /// A comma.
        Comma = "comma", /// A semicolon.
        Semicolon = "semicolon", /// A tab.
        Tab = "tab" }
}

impl Separator {
    const ALL: [Self; 3] = [Self::Comma, Self::Semicolon, Self::Tab];

    const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }
}

const LINE_ENDS: [char; 2] = ['\r', '\n'];

/// Reads a file. Without a declared separator the line `sep=` says which it is, or else the header: whichever it has most of.
///
/// # Errors
/// Faults of the file as a whole: not UTF-8, broken quotes, rows of another length than the header, too many rows or columns.
pub fn read(bytes: &[u8], separator: Option<Separator>, bounds: &Bounds) -> Result<Sheet, Vec<Fault>> {
    let text = text(bytes).map_err(|fault| vec![fault])?;
    let (named, text, before) = named(text).map_err(|fault| vec![fault])?;
    let first = text.split(LINE_ENDS).next().unwrap_or_default();
    // The last of several with as many, so the comma comes last.
    let most = Separator::ALL.into_iter().rev().max_by_key(|one| first.matches(char::from(one.byte())).count());
    let delimiter = separator.or(named).or(most).unwrap_or(Separator::Comma).byte();
    check_quotes(text, delimiter, before).map_err(|fault| vec![fault])?;
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .flexible(false)
        .from_reader(text.as_bytes());
    let lines = Lines::of(text, before);
    let header = reader.headers().map_err(|error| vec![file_fault(&lines, &error)])?.clone();
    if header.len() > bounds.columns {
        return Err(vec![bounds.too_many_columns()]);
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| vec![file_fault(&lines, &error)])?;
        if rows.len() == bounds.rows {
            return Err(vec![bounds.too_many_rows()]);
        }
        let cell = |text: &str| (!text.is_empty()).then(|| Cell::Text(text.to_owned()));
        let cells: Vec<Option<Cell>> = record.iter().map(cell).collect();
        if cells.iter().any(Option::is_some) {
            rows.push(Line { line: lines.of_record(record.position()), cells });
        }
    }
    Ok(Sheet { header: header.iter().map(str::to_owned).collect(), rows })
}

fn text(bytes: &[u8]) -> Result<&str, Fault> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count() + 1;
        Fault::at(format!("/rows/{line}"), "encoding", format!("line {line} is not UTF-8; save the file as UTF-8"))
    })
}

/// The separator that the line `sep=` names, the text behind that line, and how many lines it was.
fn named(text: &str) -> Result<(Option<Separator>, &str, usize), Fault> {
    let first = text.split(LINE_ENDS).next().unwrap_or_default();
    let plain = first.trim_matches('"');
    let Some((_, sign)) = plain.split_once('=').filter(|(word, _)| word.eq_ignore_ascii_case("sep")) else {
        return Ok((None, text, 0));
    };
    let found = Separator::ALL.into_iter().find(|one| sign == char::from(one.byte()).to_string());
    let found = found.ok_or_else(|| {
        Fault::at("/rows/1", "csv", "the line sep= must name a comma, a semicolon or a tab; or take the line out")
    })?;
    let rest = text.get(first.len()..).unwrap_or_default();
    let rest = rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(LINE_ENDS)).unwrap_or(rest);
    Ok((Some(found), rest, 1))
}

/// Where the scan of [`check_quotes`] is.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    Start,
    Plain,
    Quoted,
    Closed,
}

/// Refuses quotes that RFC 4180 does not allow; the CSV reader would take them in some way of its own.
fn check_quotes(text: &str, delimiter: u8, before: usize) -> Result<(), Fault> {
    let fault = |line: usize, detail: String| Err(Fault::at(format!("/rows/{line}"), "quotes", detail));
    let (mut place, mut line, mut opened, mut last) = (Place::Start, before + 1, 1, ' ');
    for c in text.chars() {
        let ends = c == char::from(delimiter) || c == '\n' || c == '\r';
        place = match (place, c) {
            (Place::Start, '"') => {
                opened = line;
                Place::Quoted
            }
            (Place::Quoted, '"') => Place::Closed,
            // A doubled quote stands for one.
            (Place::Closed, '"') | (Place::Quoted, _) => Place::Quoted,
            (Place::Start | Place::Plain | Place::Closed, _) if ends => Place::Start,
            (Place::Plain, '"') => {
                return fault(
                    line,
                    format!("line {line} has a quote inside a cell; put the cell in quotes and double it"),
                );
            }
            (Place::Closed, _) => return fault(line, format!("line {line} goes on after a closing quote")),
            (Place::Start | Place::Plain, _) => Place::Plain,
        };
        line += usize::from(c == '\r' || c == '\n' && last != '\r');
        last = c;
    }
    if place == Place::Quoted {
        return fault(opened, format!("the quote opened on line {opened} is never closed"));
    }
    Ok(())
}

/// Where the lines of a text begin; a line ends with a line feed, a carriage return or both.
struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
    /// Lines of the file before the text.
    before: usize,
}

impl<'a> Lines<'a> {
    fn of(text: &'a str, before: usize) -> Self {
        let bytes = text.as_bytes();
        let ends = |at: &usize| bytes[*at] == b'\n' || bytes[*at] == b'\r' && bytes.get(at + 1) != Some(&b'\n');
        Self { text, starts: (0..bytes.len()).filter(ends).map(|at| at + 1).collect(), before }
    }

    /// The line on which a record begins. The reader takes its position before the rest of a line end and before empty
    /// lines that it skips.
    fn of_record(&self, position: Option<&csv::Position>) -> u64 {
        let Some(position) = position else { return 1 };
        let start = usize::try_from(position.byte()).unwrap_or(usize::MAX);
        let rest = self.text.get(start..).unwrap_or_default();
        let begins = start.saturating_add(rest.len() - rest.trim_start_matches(LINE_ENDS).len());
        (1 + self.before + self.starts.partition_point(|line| *line <= begins)) as u64
    }
}

fn file_fault(lines: &Lines<'_>, error: &csv::Error) -> Fault {
    let line = lines.of_record(error.position());
    let detail = match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("line {line} has {len} fields, the header has {expected_len}")
        }
        _ => format!("line {line} cannot be read as CSV"),
    };
    Fault::at(format!("/rows/{line}"), "csv", detail)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOUNDS: Bounds = Bounds { rows: 10, columns: 5, unpacked: 0 };

    fn lines(csv: &str) -> Vec<u64> {
        read(csv.as_bytes(), None, &BOUNDS).unwrap().rows.iter().map(|row| row.line).collect()
    }

    #[test]
    fn a_row_has_the_line_that_an_editor_shows() {
        assert_eq!(lines("h,i\nA,F\nB,F"), [2, 3]);
        assert_eq!(lines("h,i\r\nA,F\r\nB,F\r\n"), [2, 3]);
        assert_eq!(lines("h,i\n\nA,F\n\n\nB,F\n"), [3, 6]);
        assert_eq!(lines("h,i\rA,F\rB,F\r\rC,F"), [2, 3, 5]);
        assert_eq!(lines("h,i\r\n\"A\r\nB\",F\r\nC,F\r\n"), [2, 4]);
        assert_eq!(lines("sep=;\r\nh;i\r\nA;F\r\n;\r\nB;F"), [3, 5]);
    }

    #[test]
    fn the_separator_is_declared_named_or_found() {
        let cells = |text: &str, separator| read(text.as_bytes(), separator, &BOUNDS).map(|sheet| sheet.header.len());
        assert_eq!(cells("a;b,c;d\n", None), Ok(3));
        assert_eq!(cells("a;b,c;d\n", Some(Separator::Comma)), Ok(2));
        assert_eq!(cells("\u{feff}sep=,\na;b,c;d\n", None), Ok(2));
        assert_eq!(cells("\"SEP=\t\"\r\na\tb,c;d\n", None), Ok(2));
        assert_eq!(cells("a\tb\tc\n", None), Ok(3));
        assert_eq!(cells("sep=|\na|b\n", None).unwrap_err()[0].pointer.as_deref(), Some("/rows/1"));
        assert_eq!(cells("a,b,c,d,e,f\n", None).unwrap_err()[0].pointer.as_deref(), Some("/header"));
    }

    #[test]
    fn quotes_are_taken_as_the_standard_says() {
        for good in ["\"a\"", "a", "", "\"\"", "\"a\"\"b\",c", "\"a,b\nc\"", "x,\"\"\"\"", "\"a\"\r\n\"b\""] {
            assert_eq!(check_quotes(good, b',', 0), Ok(()), "{good}");
        }
        for (bad, line) in [
            ("\"a", 1),
            ("a\"b\"", 1),
            ("x\n\"a\"b", 2),
            ("x\n\"a\n\n", 2),
            ("x\r\"a\r\r", 2),
            (" \"a\"", 1),
            ("\"a\";b", 1),
        ] {
            let fault = check_quotes(bad, b',', 0).unwrap_err();
            assert_eq!(fault.pointer.as_deref(), Some(format!("/rows/{line}").as_str()), "{bad}");
        }
        assert_eq!(check_quotes("\"a\";b", b';', 0), Ok(()));
    }
}
