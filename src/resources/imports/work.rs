//! Carries an archive into a club: table by table, a page of rows at a time, each read back as a request would be.

use std::collections::{HashMap, HashSet};

use serde_json::{Map, Value};
use uuid::Uuid;

use super::archive::{Archive, Lines, RECORDS, fault};
use super::check::check;
use super::held::{Held, Line};
use super::model::{Of, change};
use super::rows::{self, Ids, NUMBER};
use super::store::{self, Refused};
use crate::platform::db::tables::{self, Comes, Table};
use crate::platform::db::{Change, ClubTx, Named};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, read};
use crate::platform::problem::Problem;

/// Rows of one statement.
const STEP: usize = 500;
/// Most places of athletes and sessions in groups, and most groups, which an import has in memory.
const PLACES: usize = 200_000;

/// What came of an archive.
#[derive(Debug)]
pub struct Came {
    /// Of whom it is.
    pub of: Of,
    /// The athlete, under the new id; none for a club.
    pub athlete: Option<AthleteId>,
    /// The records of each table, in the order in which they were written.
    pub tables: Vec<(&'static str, u64)>,
}

/// Rows of a table that are written together.
#[derive(Default)]
struct Rows {
    /// Each, and whether phones learn of it.
    all: Vec<(Map<String, Value>, bool)>,
    /// What phones learn, in the order of the rows.
    changes: Vec<Change>,
    /// Athletes and sessions with their groups.
    placed: Vec<(Named, Vec<GroupId>)>,
    /// Those that are read back.
    ids: Vec<Uuid>,
}

/// An import at work.
struct Import<'a> {
    tx: &'a mut ClubTx,
    ids: Ids,
    of: Of,
    /// The groups of athletes and sessions.
    groups: HashMap<Uuid, Vec<GroupId>>,
    /// The groups that came.
    came: HashSet<GroupId>,
    /// The group of everybody, when one athlete comes.
    group: Option<GroupId>,
    records: u64,
}

fn refused(refused: Refused, at: impl FnOnce(&str) -> Vec<Fault>) -> Problem {
    match refused {
        Refused::Rows(told) => Problem::invalid(at(&told)),
        Refused::Store(error) => error.into(),
    }
}

/// What a request would be told of a record, with the place in the archive. What does not even parse is the archive's fault.
fn told(problem: Problem, lines: &Lines<'_>) -> Problem {
    if problem.status() > 500 || problem.was_undone() {
        return problem;
    }
    let first =
        problem.faults().first().map(|one| format!("{} {}", one.pointer.as_deref().unwrap_or_default(), one.detail));
    let what: String = first.unwrap_or_else(|| "it is no record".to_owned()).chars().take(500).collect();
    Problem::invalid(lines.fault(format!("one of the records up to here is not taken: {what}")))
}

impl Import<'_> {
    /// What the archive has of a table.
    fn columns(&self, table: &str) -> &'static str {
        let Some(table) = tables::named(table) else { return "" };
        let of_athlete = table.of_athlete.filter(|_| self.of == Of::Athlete);
        of_athlete.map_or(table.columns, |(columns, _)| columns)
    }

    /// Which groups athletes and sessions are in; and so that nobody is in a group of another club.
    fn read_groups(&mut self, archive: &mut Archive) -> Result<(), Problem> {
        let Some(mut lines) = archive.table("root_scope")? else { return Ok(()) };
        let columns = self.columns("root_scope");
        loop {
            let next = lines.next(STEP)?;
            if next.is_empty() {
                return Ok(());
            }
            for line in next {
                let mut row =
                    rows::parse(&line, "root_scope", columns).map_err(|told| Problem::invalid(lines.fault(told)))?;
                self.ids.give("root_scope", &mut row);
                let id =
                    |name: &str| row.get(name).and_then(read).ok_or_else(|| Problem::invalid(lines.fault("has no id")));
                self.groups.entry(id("root_id")?).or_default().push(GroupId(id("scope_id")?));
            }
            if lines.count > PLACES as u64 {
                return Err(Problem::invalid(lines.fault("these are more places in groups than are imported at once")));
            }
        }
    }

    /// The groups of a record.
    fn groups_of(&self, id: Uuid) -> Vec<GroupId> {
        match self.group {
            Some(group) => vec![group],
            None => self.groups.get(&id).cloned().unwrap_or_default(),
        }
    }

    /// The settings of the club.
    async fn settings(&mut self, archive: &mut Archive) -> Result<(), Problem> {
        let columns = self.columns("clubs");
        let Some(mut lines) = archive.table("clubs")? else { return Ok(()) };
        let [line]: [Vec<u8>; 1] =
            lines.next(2)?.try_into().map_err(|_| Problem::invalid(fault("has not one club")))?;
        let row = rows::parse(&line, "clubs", columns).map_err(|told| Problem::invalid(lines.fault(told)))?;
        lines.next(1)?;
        let done = store::configure(self.tx, &Value::Object(row)).await;
        done.map_err(|error| refused(error, |told| lines.fault(told)))?;
        check(self.tx, "clubs", &[]).await.map_err(|problem| told(problem, &lines))
    }

    /// Lines with what stands in them.
    fn parsed(&self, table: &Table, lines: &Lines<'_>, some: Vec<Vec<u8>>) -> Result<Vec<Line>, Problem> {
        let columns = self.columns(table.name);
        let parse = |text: Vec<u8>| match rows::parse(&text, table.name, columns) {
            Ok(row) => Ok(Line { text, row }),
            Err(told) => Err(Problem::invalid(lines.fault(told))),
        };
        some.into_iter().map(parse).collect()
    }

    /// Rows as they are written, with their ids and groups.
    fn rows(&mut self, table: &Table, lines: &Lines<'_>, some: Vec<Line>) -> Result<Rows, Problem> {
        let mut rows = Rows::default();
        for Line { mut row, .. } in some {
            self.ids.give(table.name, &mut row);
            let id = row.get("id").and_then(read).unwrap_or_default();
            let groups = if matches!(table.comes, Comes::InGroups(_)) { self.groups_of(id) } else { Vec::new() };
            if self.group.is_none() && groups.iter().any(|group| !self.came.contains(group)) {
                return Err(Problem::invalid(lines.fault("is in a group that the archive does not have")));
            }
            if table.name == "groups" {
                self.came.insert(GroupId(id));
            }
            if self.of == Of::Athlete {
                complete(table.name, &mut row);
            }
            let change = change(table, &row, &groups);
            let is_told = change.is_some();
            if let Some(change) = change {
                if let Comes::InGroups(kind) = table.comes {
                    rows.placed.push((Named::new(kind, id), groups));
                }
                rows.ids.push(id);
                rows.changes.push(change);
            }
            rows.all.push((row, is_told));
        }
        if self.came.len() > PLACES {
            return Err(Problem::invalid(lines.fault("these are more groups than are imported at once")));
        }
        Ok(rows)
    }

    /// Writes rows of a table, each with its number, and reads them back.
    async fn write(&mut self, table: &Table, lines: &Lines<'_>, some: Vec<Line>) -> Result<(), Problem> {
        let Rows { all, changes, placed, ids } = self.rows(table, lines, some)?;
        let mut numbers = self.tx.announce(&changes).await?.into_iter();
        let numbered = all.into_iter().map(|(mut row, is_told)| {
            if table.has(NUMBER) {
                let number = if is_told { numbers.next() } else { None };
                row.insert(NUMBER.to_owned(), Value::from(number.unwrap_or_default()));
            }
            Value::Object(row)
        });
        let done = store::insert(self.tx, table, &Value::Array(numbered.collect())).await;
        done.map_err(|error| refused(error, |told| lines.fault(told)))?;
        if !placed.is_empty() {
            let done = grants::place(self.tx, placed.iter().map(|(root, groups)| (*root, groups.as_slice()))).await;
            done.map_err(|error| refused(error.into(), |told| lines.fault(told)))?;
        }
        check(self.tx, table.name, &ids).await.map_err(|problem| told(problem, lines))
    }

    /// The rows of a table; how many.
    async fn table(&mut self, archive: &mut Archive, table: &Table) -> Result<u64, Problem> {
        let Some(mut lines) = archive.table(table.name)? else { return Ok(0) };
        let mut held = Held::default();
        loop {
            let next = lines.next(STEP)?;
            if next.is_empty() {
                break;
            }
            self.records += next.len() as u64;
            if self.records > RECORDS {
                return Err(Problem::invalid(fault("holds more records than it says")));
            }
            let came = self.parsed(table, &lines, next)?;
            let now = held.sift(table, came).map_err(|told| Problem::invalid(lines.fault(told)))?;
            self.write(table, &lines, now).await?;
        }
        loop {
            let next = held.next(STEP);
            if next.is_empty() {
                return Ok(lines.count);
            }
            let came = self.parsed(table, &lines, next)?;
            self.write(table, &lines, came).await?;
        }
    }
}

/// What an archive of an athlete leaves out of what others share: the place is the other club's, remarks were about all.
fn complete(table: &str, row: &mut Map<String, Value>) {
    match table {
        "sessions" => {
            row.insert("venue_id".to_owned(), Value::Null);
        }
        "race_tests" => {
            let now = Value::String(chrono::Utc::now().to_rfc3339());
            row.insert("created_by".to_owned(), Value::String(Uuid::nil().to_string()));
            row.insert("created_at".to_owned(), now.clone());
            row.insert("updated_at".to_owned(), now);
        }
        _ => {}
    }
}

/// Carries an archive into a club: all of a club, or an athlete into a group. What comes of an athlete gets new ids, and all of a club
/// where that is wanted.
///
/// # Errors
/// What is wrong with the archive, as a fault of it; database errors.
pub async fn import(
    tx: &mut ClubTx,
    mut archive: Archive,
    (of, group): (Of, Option<GroupId>),
    new_ids: bool,
) -> Result<Came, Problem> {
    let ids = if of == Of::Athlete || new_ids { Ids::New(tx.club) } else { Ids::Kept };
    let athlete = archive.manifest.athlete_id.filter(|_| of == Of::Athlete).map(|athlete| AthleteId(ids.of(athlete)));
    let mut work = Import { tx, ids, of, groups: HashMap::new(), came: HashSet::new(), group, records: 0 };
    if of == Of::Club {
        work.read_groups(&mut archive)?;
        work.settings(&mut archive).await?;
    }
    let mut written = Vec::new();
    for table in tables::imported().filter(|table| of == Of::Club || table.comes_with_athlete()) {
        written.push((table.name, work.table(&mut archive, table).await?));
    }
    Ok(Came { of, athlete, tables: written })
}
