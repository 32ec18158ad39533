//! The roster as a table: rows to athletes, new ones and those of the club.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::consent::Entered;
use super::measured_store::StoredMeasurement;
use super::merge::GroupRevs;
use super::model::{
    self, Athlete, Birth, Experience, Leg, Measurement, MeasurementKind, NewAthlete, Raw, RawMeasurement, Status,
};
use super::roster_change::{self, Change};
use crate::platform::db::Audience;
use crate::platform::fault::{Fault, Faults};
use crate::platform::fault_code::FaultCode;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::sheets::dialect::{Declared, Dialect, Refused};
use crate::platform::sheets::{Bounds, Cell, Line, Sheet};
use crate::platform::stored::Stored;
use crate::render::table::is_formula;

/// The columns, in the order of an export.
pub const COLUMNS: [&str; 17] = [
    "id",
    "rev",
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
/// Those without which nobody can be added.
const REQUIRED: [&str; 4] = ["display_name", "sex", "groups", "experience"];
const DAYS: [&str; 3] = ["birth_date", "consent_on", "measured_on"];
const NUMBERS: [&str; 4] = ["stature_m", "leg_length_m", "sprint_30m_s", "sprint_50m_s"];
/// The measurements of a row.
pub const KINDS: [MeasurementKind; 4] =
    [MeasurementKind::Stature, MeasurementKind::LegLength, MeasurementKind::Sprint30, MeasurementKind::Sprint50];
/// Most rows of one file.
pub const MAX_ROWS: usize = 2_000;
/// The largest file, as sent and unpacked by its coding, bytes.
pub const MAX_BYTES: usize = 1024 * 1024;
/// The largest table: what one import takes.
pub const BOUNDS: Bounds = Bounds { rows: MAX_ROWS, columns: 32, unpacked: 8 * 1024 * 1024 };

/// One row of the file.
#[derive(Debug)]
pub struct Row {
    /// Its line in the file; the first is line 1.
    pub line: u64,
    /// The athlete whom it names by id.
    pub id: Option<AthleteId>,
    /// What it asks for, or what is broken; each pointer is `/<column>`.
    pub wanted: Result<Wanted, Vec<Fault>>,
}

/// What a row asks for.
#[derive(Debug)]
pub enum Wanted {
    /// Somebody new.
    New(NewAthlete),
    /// That somebody of the club is so from now on.
    Change(Change),
    /// The same, but it was changed since the file was written.
    Conflict(Vec<Fault>),
}

/// Somebody of the club.
#[derive(Debug)]
pub struct Known {
    /// The athlete.
    pub stored: Stored<AthleteId, Athlete>,
    /// Number of the last change of each field group.
    pub revs: GroupRevs,
    /// What was measured, latest first.
    pub measured: Vec<StoredMeasurement>,
}

/// What rows are checked against.
#[derive(Debug)]
pub struct Context {
    /// The club's groups by lower-case name and by id.
    pub groups: HashMap<String, GroupId>,
    /// Their names.
    pub names: HashMap<GroupId, String>,
    /// Everybody whom the rows name by id.
    pub known: HashMap<AthleteId, Known>,
    /// Today in the club.
    pub today: NaiveDate,
    /// Whether somebody looked again at what hardly ever is.
    pub confirmed: bool,
    /// For whom the import reads; none for a member.
    pub audience: Option<Audience>,
}

impl Context {
    /// Groups and their ids as rows name them.
    pub fn named(groups: &[(GroupId, String)]) -> HashMap<String, GroupId> {
        groups.iter().flat_map(|(id, name)| [(name.to_lowercase(), *id), (id.to_string(), *id)]).collect()
    }
}

/// A row with the names of its cells.
struct Cells<'a> {
    sheet: &'a Sheet,
    row: &'a Line,
}

impl Cells<'_> {
    /// Whether the file has the column.
    fn has(&self, column: &str) -> bool {
        self.sheet.header.iter().any(|name| name == column)
    }

    fn get(&self, column: &str) -> Option<&Cell> {
        let at = self.sheet.header.iter().position(|name| name == column)?;
        self.row.cells.get(at)?.as_ref()
    }

    fn text(&self, column: &str) -> Option<String> {
        self.get(column).map(|cell| armed(&cell.text()).to_owned())
    }

    /// The text of a column; where the file does not have it, what the club knows.
    fn or(&self, column: &str, known: Option<&str>) -> Option<String> {
        if self.has(column) { self.text(column) } else { known.map(str::to_owned) }
    }

    /// The same for a value that is read by `parse`; a fault of the cell is noted.
    fn read<T>(
        &self,
        faults: &mut Faults,
        column: &str,
        known: Option<T>,
        parse: impl FnOnce(&Cell) -> Result<T, Refused>,
    ) -> Option<T> {
        if !self.has(column) {
            return known;
        }
        parse(self.get(column)?).map_err(|(code, detail)| faults.add(format!("/{column}"), code, detail)).ok()
    }

    fn id(&self) -> Result<Option<AthleteId>, Vec<Fault>> {
        let Some(text) = self.text("id") else { return Ok(None) };
        uuid::Uuid::try_parse(&text).map(|id| Some(AthleteId(id))).map_err(|_| {
            vec![Fault::at("/id", "value", "must be the id of an athlete; leave the cell empty to add somebody")]
        })
    }
}

/// The athletes whom the rows of a file name by id, as far as they can be read.
pub fn named(sheet: &Sheet) -> Vec<AthleteId> {
    sheet.rows.iter().filter_map(|row| Cells { sheet, row }.id().ok().flatten()).collect()
}

/// Checks the columns of a file.
///
/// # Errors
/// Unknown, repeated and missing columns.
pub fn check_header(sheet: &Sheet) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    for (at, name) in sheet.header.iter().enumerate() {
        if !COLUMNS.contains(&name.as_str()) {
            faults.add(format!("/header/{name}"), "unknown_column", format!("must be one of {}", COLUMNS.join(", ")));
        } else if sheet.header.iter().take(at).any(|earlier| earlier == name) {
            faults.add(format!("/header/{name}"), "duplicate_column", "stands twice in the header");
        }
    }
    let has = |name: &str| sheet.header.iter().any(|given| given == name);
    for name in REQUIRED.into_iter().filter(|name| !has("id") && !has(name)) {
        faults.add(format!("/header/{name}"), "missing_column", "is required in the header of a file without ids");
    }
    faults.finish(Some(()))
}

/// Reads the rows of a file whose header was checked.
pub fn rows(sheet: &Sheet, declared: Declared, context: &Context) -> Vec<Row> {
    let dialect = Dialect::of(declared, sheet, &NUMBERS, &DAYS);
    let row = |row| {
        let cells = Cells { sheet, row };
        match cells.id() {
            Ok(id) => Row { line: row.line, id, wanted: wanted(&cells, id, &dialect, context) },
            Err(faults) => Row { line: row.line, id: None, wanted: Err(faults) },
        }
    };
    sheet.rows.iter().map(row).collect()
}

/// Undoes [`crate::render::table::defused`].
pub fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| is_formula(rest)).unwrap_or(cell)
}

fn wanted(
    cells: &Cells<'_>,
    id: Option<AthleteId>,
    dialect: &Dialect,
    context: &Context,
) -> Result<Wanted, Vec<Fault>> {
    let known = id.map(|id| context.known.get(&id).ok_or_else(unknown)).transpose()?;
    let mut faults = Faults::new();
    let rev = cells.read(&mut faults, "rev", None, |cell| dialect.whole::<i64>(cell, "the number of an export"));
    let athlete = athlete(&mut faults, cells, known.map(|one| &one.stored.value), dialect, context);
    let measured_on = cells.read(&mut faults, "measured_on", None, |cell| dialect.day(cell));
    let day = measured_on.unwrap_or(context.today);
    let sent = measurements(&mut faults, cells, day, dialect, context);
    let Some(athlete) = athlete else { return Err(faults.finish::<()>(None).err().unwrap_or_default()) };
    let stood = Entered(known.and_then(|one| one.stored.value.consent_on));
    if let Err(fault) = Entered(athlete.consent_on).in_person(stood, context.audience) {
        faults.add_all("", vec![fault]);
    }
    let doubt = |faults: &mut Faults, one: &Measurement| {
        if let Some(fault) = athlete.doubt(one) {
            faults.add(format!("/{}", one.kind.as_str()), &fault.code, fault.detail);
        }
    };
    let Some(known) = known else {
        let id = AthleteId::new();
        for one in &sent {
            doubt(&mut faults, one);
        }
        let measurements = sent.into_iter().map(|one| (model::derived_id(id, &one), one)).collect();
        return faults.finish(Some(Wanted::New(NewAthlete { id, athlete, measurements })));
    };
    // Without a day of its own a figure that is the latest already says nothing new.
    let change = roster_change::of(known, athlete.clone(), &sent, measured_on.is_some(), &context.names);
    for one in &change.added {
        doubt(&mut faults, one);
    }
    let conflicts = rev.map(|rev| change.conflicts(known, rev, &context.names)).unwrap_or_default();
    faults.finish(Some(if conflicts.is_empty() { Wanted::Change(change) } else { Wanted::Conflict(conflicts) }))
}

fn unknown() -> Vec<Fault> {
    let detail = "is of nobody in the club: empty the cell to add somebody new, or take the row out";
    vec![Fault::at("/id", "unknown_id", detail)]
}

/// The athlete of a row, who is as the club knows them in what the file does not have.
fn athlete(
    faults: &mut Faults,
    cells: &Cells<'_>,
    known: Option<&Athlete>,
    dialect: &Dialect,
    context: &Context,
) -> Option<Athlete> {
    let dated = cells.has("birth_date") || cells.has("birth_year");
    let (date, year) = match known.map(|one| one.birth).filter(|_| !dated) {
        Some(Birth::Date(date)) => (Some(date), None),
        Some(Birth::Year(year)) => (None, Some(year)),
        None => (None, None),
    };
    let birth_date = cells.read(faults, "birth_date", date, |cell| dialect.day(cell));
    let birth_year = cells.read(faults, "birth_year", year, |cell| dialect.whole(cell, "a year such as 2013"));
    let consent_on = cells.read(faults, "consent_on", known.and_then(|one| one.consent_on), |cell| dialect.day(cell));
    let strides = known.and_then(|one| one.approach_strides.map(i16::from));
    let approach_strides =
        cells.read(faults, "approach_strides", strides, |cell| dialect.whole(cell, "a whole number such as 8"));
    let groups = match known.filter(|_| !cells.has("groups")) {
        Some(one) => one.groups.clone(),
        None => groups(faults, &cells.text("groups").unwrap_or_default(), context),
    };
    let word = |column, known: Option<&str>| cells.or(column, known);
    let leg = word("preferred_lead_leg", known.and_then(|one| one.preferred_lead_leg.map(Leg::as_str)));
    let status = cells.text("status");
    let raw = Raw {
        display_name: &word("display_name", known.map(|one| one.display_name.as_str())).unwrap_or_default(),
        sex: &word("sex", known.map(|one| one.sex.as_str())).unwrap_or_default(),
        birth_date,
        birth_year,
        groups: &groups,
        preferred_lead_leg: leg.as_deref(),
        approach_strides,
        experience: &word("experience", known.map(|one| Experience::as_str(one.experience))).unwrap_or_default(),
        status: status.as_deref().unwrap_or_else(|| known.map_or(Status::Active, |one| one.status).as_str()),
        consent_on,
    };
    let list = match Athlete::parse(&raw, context.today) {
        Ok(athlete) => return Some(athlete),
        Err(list) => list,
    };
    // A birth cell that does not parse and groups that are not there were named above.
    let broken_birth = cells.get("birth_date").is_some() || cells.get("birth_year").is_some();
    let broken_birth = broken_birth && birth_date.is_none() && birth_year.is_none();
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

/// The measurements of a row, all of one day.
fn measurements(
    faults: &mut Faults,
    cells: &Cells<'_>,
    measured_on: NaiveDate,
    dialect: &Dialect,
    context: &Context,
) -> Vec<Measurement> {
    let mut measurements = Vec::new();
    let mut day_named = false;
    for kind in KINDS {
        let name = kind.as_str();
        let Some(value) = cells.read(faults, name, None, |cell| dialect.number(cell, "1.52")) else { continue };
        let raw = RawMeasurement { kind: name, value, measured_on, confirmed: context.confirmed };
        match Measurement::parse(raw, context.today) {
            Ok(one) => measurements.push(one),
            Err(list) => {
                for fault in list {
                    if fault.pointer.as_deref() == Some("/value") {
                        faults.add(format!("/{name}"), &fault.code, fault.detail);
                    } else if !std::mem::replace(&mut day_named, true) {
                        faults.add("/measured_on", &fault.code, fault.detail);
                    }
                }
            }
        }
    }
    measurements
}

fn groups(faults: &mut Faults, cell: &str, context: &Context) -> Vec<GroupId> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::platform::sheets::csv;
    use crate::render::table::defused;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_defused_cell_is_no_formula_and_reads_back(cell in "['=+@a-]{0,6}") {
            let written = defused(&cell);
            prop_assert!(!written.starts_with(['=', '+', '-', '@', '\t']));
            prop_assert_eq!(armed(&written), cell);
        }

        #[test]
        fn a_row_is_never_refused_without_a_reason(text in "([a-zF0-9'=\"|\r\n ]{0,3}[,;\n]){0,24}") {
            let (groups, names, known) = (HashMap::new(), HashMap::new(), HashMap::new());
            let context = Context { groups, names, known, today: NaiveDate::default(), confirmed: false, audience: None };
            let text = format!("display_name,sex,groups,experience\n{text}");
            if let Ok(sheet) = csv::read(text.as_bytes(), None, &BOUNDS) {
                let refused = |row: Row| row.wanted.is_err_and(|faults| !faults.is_empty());
                prop_assert!(rows(&sheet, Declared::default(), &context).into_iter().all(refused));
            }
        }
    }
}
