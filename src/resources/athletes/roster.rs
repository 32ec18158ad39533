//! The roster as CSV (RFC 4180): bytes to rows and back.

use std::collections::HashMap;
use std::hash::BuildHasher;

use chrono::NaiveDate;

use super::model::{
    self, Athlete, Birth, Experience, Leg, Measurement, MeasurementKind, NewAthlete, Raw, RawMeasurement, Status,
};
use crate::platform::dates;
use crate::platform::fault::{Fault, Faults};
use crate::platform::fault_code::FaultCode;
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};
use crate::render::table::{defused, is_formula};

/// The columns, in the order of an export.
pub const COLUMNS: [&str; 15] = [
    "display_name",
    "sex",
    "birth_date",
    "birth_year",
    "groups",
    "preferred_lead_leg",
    "approach_strides",
    "experience",
    "status",
    "consent_on",
    "stature_m",
    "leg_length_m",
    "sprint_30m_s",
    "sprint_50m_s",
    "measured_on",
];
const REQUIRED: [&str; 4] = ["display_name", "sex", "groups", "experience"];
/// Most rows of one file.
pub const MAX_ROWS: usize = 2_000;
/// The largest file, as sent and unpacked, bytes.
pub const MAX_BYTES: usize = 1024 * 1024;
const KINDS: [MeasurementKind; 4] =
    [MeasurementKind::Stature, MeasurementKind::LegLength, MeasurementKind::Sprint30, MeasurementKind::Sprint50];

/// One row of the file.
#[derive(Debug)]
pub struct Row {
    /// Its line in the file; the header is line 1.
    pub line: u64,
    /// The athlete, or what is broken; each pointer is `/<column>`.
    pub parsed: Result<NewAthlete, Vec<Fault>>,
}

/// What rows are checked against.
#[derive(Debug, PartialEq, Eq)]
pub struct Context {
    /// The club's groups by lower-case name and by id.
    pub groups: HashMap<String, GroupId>,
    /// Today in the club.
    pub today: NaiveDate,
    /// Whether somebody looked again at what hardly ever is.
    pub confirmed: bool,
}

/// Reads a file.
///
/// # Errors
/// Faults of the file as a whole: not UTF-8, no header, unknown or missing columns, broken quotes, too many rows.
pub fn read(bytes: &[u8], context: &Context) -> Result<Vec<Row>, Vec<Fault>> {
    let text = text(bytes).map_err(|fault| vec![fault])?;
    let first = text.split(LINE_ENDS).next().unwrap_or_default();
    let delimiter = if first.matches(';').count() > first.matches(',').count() { b';' } else { b',' };
    check_quotes(text, delimiter).map_err(|fault| vec![fault])?;
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .flexible(false)
        .from_reader(text.as_bytes());
    let lines = Lines::of(text);
    let header = reader.headers().map_err(|error| vec![file_fault(&lines, &error)])?.clone();
    check_header(&header)?;
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| vec![file_fault(&lines, &error)])?;
        if rows.len() == MAX_ROWS {
            return Err(vec![Fault::at("/rows", "too_many", format!("may have {MAX_ROWS} rows; split the file"))]);
        }
        let line = lines.of_record(record.position());
        let cells: HashMap<&str, &str> = header
            .iter()
            .zip(record.iter())
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(name, cell)| (name, armed(cell)))
            .collect();
        rows.push(Row { line, parsed: parse(&cells, context) });
    }
    Ok(rows)
}

fn text(bytes: &[u8]) -> Result<&str, Fault> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count() + 1;
        Fault::at(format!("/rows/{line}"), "encoding", format!("line {line} is not UTF-8; save the file as UTF-8"))
    })
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
fn check_quotes(text: &str, delimiter: u8) -> Result<(), Fault> {
    let fault = |line: usize, detail: String| Err(Fault::at(format!("/rows/{line}"), "quotes", detail));
    let (mut place, mut line, mut opened, mut last) = (Place::Start, 1, 1, ' ');
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

const LINE_ENDS: [char; 2] = ['\r', '\n'];

/// Where the lines of a text begin; a line ends with a line feed, a carriage return or both.
struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    fn of(text: &'a str) -> Self {
        let bytes = text.as_bytes();
        let ends = |at: &usize| bytes[*at] == b'\n' || bytes[*at] == b'\r' && bytes.get(at + 1) != Some(&b'\n');
        Self { text, starts: (0..bytes.len()).filter(ends).map(|at| at + 1).collect() }
    }

    /// The line on which a record begins. The reader takes its position before the rest of a line end and before empty
    /// lines that it skips.
    fn of_record(&self, position: Option<&csv::Position>) -> u64 {
        let Some(position) = position else { return 1 };
        let start = usize::try_from(position.byte()).unwrap_or(usize::MAX);
        let rest = self.text.get(start..).unwrap_or_default();
        let begins = start.saturating_add(rest.len() - rest.trim_start_matches(LINE_ENDS).len());
        1 + self.starts.partition_point(|line| *line <= begins) as u64
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

fn check_header(header: &csv::StringRecord) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    for (at, name) in header.iter().enumerate() {
        if !COLUMNS.contains(&name) {
            faults.add(format!("/header/{name}"), "unknown_column", format!("must be one of {}", COLUMNS.join(", ")));
        } else if header.iter().take(at).any(|earlier| earlier == name) {
            faults.add(format!("/header/{name}"), "duplicate_column", "stands twice in the header");
        }
    }
    for name in REQUIRED {
        if !header.iter().any(|given| given == name) {
            faults.add(format!("/header/{name}"), "missing_column", "is required in the header");
        }
    }
    faults.finish(Some(()))
}

/// Undoes [`defused`].
fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| is_formula(rest)).unwrap_or(cell)
}

fn parse(cells: &HashMap<&str, &str>, context: &Context) -> Result<NewAthlete, Vec<Fault>> {
    let mut faults = Faults::new();
    let date = |faults: &mut Faults, name: &str| {
        let cell = cells.get(name)?;
        faults.take(
            &format!("/{name}"),
            "date",
            NaiveDate::parse_from_str(cell, "%Y-%m-%d")
                .ok()
                .filter(dates::is_writable)
                .ok_or("must be a date such as 2013-05-17"),
        )
    };
    let (birth_date, consent_on) = (date(&mut faults, "birth_date"), date(&mut faults, "consent_on"));
    let measured_on = date(&mut faults, "measured_on");
    let birth_year = cells.get("birth_year").and_then(|cell| {
        faults.take("/birth_year", "number", cell.parse::<i16>().map_err(|_| "must be a year such as 2013"))
    });
    let approach_strides = cells.get("approach_strides").and_then(|cell| {
        faults.take("/approach_strides", "number", cell.parse::<i16>().map_err(|_| "must be a whole number such as 8"))
    });
    let groups = parse_groups(&mut faults, cells.get("groups").copied().unwrap_or_default(), context);
    let raw = Raw {
        display_name: cells.get("display_name").copied().unwrap_or_default(),
        sex: cells.get("sex").copied().unwrap_or_default(),
        birth_date,
        birth_year,
        groups: &groups,
        preferred_lead_leg: cells.get("preferred_lead_leg").copied(),
        approach_strides,
        experience: cells.get("experience").copied().unwrap_or_default(),
        status: cells.get("status").copied().unwrap_or(Status::Active.as_str()),
        consent_on,
    };
    let birth_sent = cells.contains_key("birth_date") || cells.contains_key("birth_year");
    let broken_birth = birth_sent && birth_date.is_none() && birth_year.is_none();
    let athlete = match Athlete::parse(&raw, context.today) {
        Ok(athlete) => Some(athlete),
        Err(list) => {
            // A birth cell that does not parse and groups that are not there were named above.
            let list = list
                .into_iter()
                .filter(|fault| !(broken_birth && fault.is(FaultCode::OneOf)))
                .map(|fault| match fault.pointer.as_deref() {
                    Some("/group_ids") => Fault::at("/groups", &fault.code, fault.detail),
                    _ => fault,
                })
                .filter(|fault| !(groups.is_empty() && fault.pointer.as_deref() == Some("/groups")))
                .collect();
            faults.add_all("", list);
            None
        }
    };
    let id = AthleteId::new();
    let measurements = parse_measurements(&mut faults, cells, id, (measured_on, context));
    for (_, one) in &measurements {
        if let Some(fault) = athlete.as_ref().and_then(|athlete| athlete.doubt(one)) {
            faults.add(format!("/{}", one.kind.as_str()), &fault.code, fault.detail);
        }
    }
    faults.finish(athlete.map(|athlete| NewAthlete { id, athlete, measurements }))
}

/// The measurements of a row, on the day it names or else today.
fn parse_measurements(
    faults: &mut Faults,
    cells: &HashMap<&str, &str>,
    id: AthleteId,
    (measured_on, context): (Option<NaiveDate>, &Context),
) -> Vec<(MeasurementId, Measurement)> {
    let mut measurements = Vec::new();
    let mut day_named = false;
    for kind in KINDS {
        let name = kind.as_str();
        let Some(cell) = cells.get(name) else {
            continue;
        };
        let value = faults.take(
            &format!("/{name}"),
            "number",
            cell.parse::<f64>().map_err(|_| "must be a number such as 1.52"),
        );
        let on = measured_on.unwrap_or(context.today);
        let raw = |value| RawMeasurement { kind: name, value, measured_on: on, confirmed: context.confirmed };
        match value.map(|value| Measurement::parse(raw(value), context.today)) {
            Some(Ok(one)) => measurements.push((model::derived_id(id, &one), one)),
            Some(Err(list)) => {
                for fault in list {
                    if fault.pointer.as_deref() == Some("/value") {
                        faults.add(format!("/{name}"), &fault.code, fault.detail);
                    } else if !std::mem::replace(&mut day_named, true) {
                        faults.add("/measured_on", &fault.code, fault.detail);
                    }
                }
            }
            None => {}
        }
    }
    measurements
}

fn parse_groups(faults: &mut Faults, cell: &str, context: &Context) -> Vec<GroupId> {
    let names: Vec<&str> = cell.split('|').map(str::trim).filter(|name| !name.is_empty()).collect();
    if names.is_empty() {
        faults.add("/groups", "missing", "must name at least one group of the club; separate several by |");
    }
    let mut groups = Vec::new();
    for name in names {
        match context.groups.get(&name.to_lowercase()) {
            Some(group) => groups.push(*group),
            None => faults.add(
                "/groups",
                "unknown_group",
                format!("there is no group {name:?} in the club; create it first"),
            ),
        }
    }
    groups
}

/// What two entries of a person have in common.
pub type Person = (String, Birth);

/// The key under which a person is recognised: the name ignoring case, and the birth.
pub fn person(athlete: &Athlete) -> Person {
    (athlete.display_name.to_lowercase(), athlete.birth)
}

/// The name of a group, or its id when the name would not be read back.
fn group_cell(id: GroupId, names: &HashMap<GroupId, String, impl BuildHasher>) -> String {
    names.get(&id).filter(|name| !name.contains('|')).map_or_else(|| id.to_string(), Clone::clone)
}

/// Writes a roster; each athlete with the latest measurement of each kind.
///
/// # Errors
/// When the CSV cannot be written (never into memory).
pub fn write(
    athletes: &[(Athlete, Vec<Measurement>)],
    group_names: &HashMap<GroupId, String, impl BuildHasher>,
) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for (athlete, measurements) in athletes {
        let groups: Vec<String> = athlete.groups.iter().map(|id| group_cell(*id, group_names)).collect();
        let (date, year) = match athlete.birth {
            Birth::Date(date) => (date.to_string(), String::new()),
            Birth::Year(year) => (String::new(), year.to_string()),
        };
        // One row has one date: the day of the latest measurement, and only what was measured that day.
        let day = measurements.iter().map(|one| one.measured_on).max();
        let mut record = vec![
            defused(&athlete.display_name),
            athlete.sex.as_str().to_owned(),
            date,
            year,
            defused(&groups.join("|")),
            athlete.preferred_lead_leg.map(Leg::as_str).unwrap_or_default().to_owned(),
            athlete.approach_strides.map(|count| count.to_string()).unwrap_or_default(),
            Experience::as_str(athlete.experience).to_owned(),
            athlete.status.as_str().to_owned(),
            athlete.consent_on.map(|day| day.to_string()).unwrap_or_default(),
        ];
        record.extend(KINDS.map(|kind| {
            let found = measurements.iter().find(|one| one.kind == kind && Some(one.measured_on) == day);
            found.map(|one| one.value().to_string()).unwrap_or_default()
        }));
        record.push(day.map(|day| day.to_string()).unwrap_or_default());
        writer.write_record(record)?;
    }
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines(csv: &str) -> Vec<u64> {
        let context = Context { groups: HashMap::new(), today: NaiveDate::default(), confirmed: false };
        read(csv.as_bytes(), &context).unwrap().iter().map(|row| row.line).collect()
    }

    #[test]
    fn a_row_has_the_line_that_an_editor_shows() {
        let head = "display_name,sex,groups,experience";
        assert_eq!(lines(&format!("{head}\nA,F,S,novice\nB,F,S,novice")), [2, 3]);
        assert_eq!(lines(&format!("{head}\r\nA,F,S,novice\r\nB,F,S,novice\r\n")), [2, 3]);
        assert_eq!(lines(&format!("{head}\n\nA,F,S,novice\n\n\nB,F,S,novice\n")), [3, 6]);
        assert_eq!(lines(&format!("{head}\rA,F,S,novice\rB,F,S,novice\r\rC,F,S,novice")), [2, 3, 5]);
        assert_eq!(lines(&format!("{head}\r\n\"A\r\nB\",F,S,novice\r\nC,F,S,novice\r\n")), [2, 4]);
    }

    #[test]
    fn quotes_are_taken_as_the_standard_says() {
        for good in ["\"a\"", "a", "", "\"\"", "\"a\"\"b\",c", "\"a,b\nc\"", "x,\"\"\"\"", "\"a\"\r\n\"b\""] {
            assert_eq!(check_quotes(good, b','), Ok(()), "{good}");
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
            let fault = check_quotes(bad, b',').unwrap_err();
            assert_eq!(fault.pointer.as_deref(), Some(format!("/rows/{line}").as_str()), "{bad}");
        }
        assert_eq!(check_quotes("\"a\";b", b';'), Ok(()));
    }

    proptest! {
        #[test]
        fn a_defused_cell_is_no_formula_and_reads_back(cell in "['=+@a-]{0,6}") {
            let written = defused(&cell);
            prop_assert!(!written.starts_with(['=', '+', '-', '@', '\t']));
            prop_assert_eq!(armed(&written), cell);
        }

        #[test]
        fn a_row_is_never_refused_without_a_reason(rows in "([a-zF0-9'=\"|\r\n ]{0,3}[,;\n]){0,24}") {
            let context = Context { groups: HashMap::new(), today: NaiveDate::default(), confirmed: false };
            let csv = format!("display_name,sex,groups,experience\n{rows}");
            if let Ok(rows) = read(csv.as_bytes(), &context) {
                prop_assert!(rows.iter().all(|row| row.parsed.as_ref().is_err_and(|faults| !faults.is_empty())));
            }
        }
    }
}
