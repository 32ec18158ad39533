//! Imports over HTTP: an admin sends the archive of an export.

use std::collections::{HashMap, HashSet};

use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::archive::{Archive, Lines, RECORDS, fault};
use super::check::check;
use super::model::{Of, change};
use super::rows::{self, Ids};
use super::store::{self, Refused};
use crate::platform::access::ClubAdmin;
use crate::platform::asking::InPerson;
use crate::platform::audit;
use crate::platform::body;
use crate::platform::db::tables::{self, Comes, Table};
use crate::platform::db::{ClubTx, Db, Named};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, read};
use crate::platform::intake::{self, Limits};
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::sockets::Work;

/// The largest archive, bytes.
pub const BYTES: usize = 1 << 30;
const LIMITS: Limits = Limits {
    wire: BYTES,
    unpacked: 16 << 20,
    remedy: "An archive is packed already: send it without a coding. A larger club comes with the database itself: see the backup of \
        the database. Nothing was stored.",
};
/// What the tables of an archive unpack to that takes seconds, bytes: what is larger has one turn after the other.
const SMALL: u64 = 32 << 20;
/// Rows of one statement.
const STEP: usize = 500;
/// Most places of athletes and sessions in groups, and most groups, which an import has in memory.
const PLACES: usize = 200_000;

/// How to import.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ImportParams {
    /// Only report what would come.
    #[serde(default)]
    dry_run: bool,
    /// Give everything new ids, the same each time. An archive of a club keeps its ids otherwise, which are one of a kind within a
    /// club; an athlete always gets new ones.
    #[serde(default)]
    new_ids: bool,
    /// The group that the athlete and their sessions come into: needed with the archive of an athlete.
    group_id: Option<GroupId>,
}

/// What came of a table.
#[derive(Debug, Serialize, ToSchema)]
struct ImportedTable {
    /// Its name in the archive.
    #[schema(max_length = 60, example = "runs")]
    name: &'static str,
    /// Records.
    #[schema(minimum = 0, example = 4711)]
    records: u64,
}

/// What came of an archive.
#[derive(Debug, Serialize, ToSchema)]
struct ArchiveImport {
    /// Whether nothing was written.
    dry_run: bool,
    /// Of whom the archive is.
    #[schema(value_type = Of)]
    of: &'static str,
    /// The athlete, under the new id; absent for a club.
    #[serde(skip_serializing_if = "Option::is_none")]
    athlete_id: Option<AthleteId>,
    /// Records, all together.
    #[schema(minimum = 0, maximum = 5_000_000, example = 4711)]
    records: u64,
    /// What came of each table, in the order in which they were written.
    #[schema(max_items = 40)]
    tables: Vec<ImportedTable>,
}

/// An import at work.
struct Import<'a> {
    tx: &'a mut ClubTx,
    ids: Ids,
    of_athlete: bool,
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
        table.of_athlete.filter(|_| self.of_athlete).map_or(table.columns, |(columns, _)| columns)
    }

    /// Which groups athletes and sessions are in; and so that nobody is in a group of another club.
    fn read_groups(&mut self, archive: &mut Archive) -> Result<(), Problem> {
        if self.of_athlete {
            return Ok(());
        }
        let Some(mut lines) = archive.table("root_scope")? else { return Ok(()) };
        let columns = self.columns("root_scope");
        loop {
            let next = lines.next(STEP)?;
            if next.is_empty() {
                return Ok(());
            }
            for line in next {
                let mut row = rows::parse(&line, columns).map_err(|told| Problem::invalid(lines.fault(told)))?;
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
        let row = rows::parse(&line, columns).map_err(|told| Problem::invalid(lines.fault(told)))?;
        lines.next(1)?;
        let done = store::configure(self.tx, &Value::Object(row)).await;
        done.map_err(|error| refused(error, |told| lines.fault(told)))?;
        check(self.tx, "clubs", &[]).await.map_err(|problem| told(problem, &lines))
    }

    /// The rows of a table.
    async fn table(&mut self, archive: &mut Archive, table: &Table) -> Result<u64, Problem> {
        let columns = self.columns(table.name);
        let Some(mut lines) = archive.table(table.name)? else { return Ok(0) };
        loop {
            let next = lines.next(STEP)?;
            if next.is_empty() {
                return Ok(lines.count);
            }
            self.records += next.len() as u64;
            if self.records > RECORDS {
                return Err(Problem::invalid(fault("holds more records than it says")));
            }
            let (mut all, mut changes) = (Vec::with_capacity(next.len()), Vec::with_capacity(next.len()));
            let (mut placed, mut ids) = (Vec::new(), Vec::new());
            for line in next {
                let mut row = rows::parse(&line, columns).map_err(|told| Problem::invalid(lines.fault(told)))?;
                self.ids.give(table.name, &mut row);
                let id = row.get("id").and_then(read).unwrap_or_default();
                let groups = if matches!(table.comes, Comes::InGroups(_)) { self.groups_of(id) } else { Vec::new() };
                if self.group.is_none() && groups.iter().any(|group| !self.came.contains(group)) {
                    return Err(Problem::invalid(lines.fault("is in a group that the archive does not have")));
                }
                if table.name == "groups" {
                    self.came.insert(GroupId(id));
                }
                if self.of_athlete {
                    complete(table.name, &mut row);
                }
                if let Some(change) = change(table, &row, &groups) {
                    if let Comes::InGroups(kind) = table.comes {
                        placed.push((Named::new(kind, id), groups));
                    }
                    ids.push(id);
                    changes.push(change);
                }
                all.push(Value::Object(row));
            }
            let done = store::insert(self.tx, table, &Value::Array(all), changes).await;
            done.map_err(|error| refused(error, |told| lines.fault(told)))?;
            if !placed.is_empty() {
                let done = grants::place(self.tx, placed.iter().map(|(root, groups)| (*root, groups.as_slice()))).await;
                done.map_err(|error| refused(error.into(), |told| lines.fault(told)))?;
            }
            check(self.tx, table.name, &ids).await.map_err(|problem| told(problem, &lines))?;
            if self.came.len() > PLACES {
                return Err(Problem::invalid(lines.fault("these are more groups than are imported at once")));
            }
            self.tx.number_many().await?;
        }
    }
}

/// What an archive of an athlete leaves out of what others share: the place is the other club's, remarks were about all.
fn complete(table: &str, row: &mut serde_json::Map<String, Value>) {
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

async fn import(tx: &mut ClubTx, params: &ImportParams, mut archive: Archive) -> Result<ArchiveImport, Problem> {
    let of_athlete = Of::parse(&archive.manifest.of).map_err(fault)? == Of::Athlete;
    if of_athlete {
        let group = params.group_id.ok_or_else(|| {
            Problem::malformed(Fault::of("group_id", "missing", "name the group that the athlete comes into"))
        })?;
        if !store::has_group(tx, group).await? {
            return Err(Problem::not_found("group"));
        }
    } else if !store::is_empty(tx).await? {
        let detail = "The club is not empty: the archive of a club comes into a club without groups, athletes, sessions, venues, equipment \
            and rules of its own. Found a new one.";
        return Err(Problem::new(Code::Conflict, detail));
    }
    let ids = if of_athlete || params.new_ids { Ids::New(tx.club) } else { Ids::Kept };
    let athlete = archive.manifest.athlete_id.filter(|_| of_athlete).map(|athlete| AthleteId(ids.of(athlete)));
    audit::concerns(athlete.map(|athlete| athlete.0));
    let group = params.group_id.filter(|_| of_athlete);
    let mut work = Import { tx, ids, of_athlete, groups: HashMap::new(), came: HashSet::new(), group, records: 0 };
    work.read_groups(&mut archive)?;
    if !of_athlete {
        work.settings(&mut archive).await?;
    }
    let mut told = Vec::new();
    for table in tables::imported().filter(|table| !of_athlete || table.comes_with_athlete()) {
        let records = work.table(&mut archive, table).await?;
        told.push(ImportedTable { name: table.name, records });
    }
    let of = if of_athlete { Of::Athlete } else { Of::Club };
    Ok(ArchiveImport {
        dry_run: params.dry_run,
        of: of.as_str(),
        athlete_id: athlete,
        records: work.records,
        tables: told,
    })
}

/// Imports the archive of an export: that of a club into an empty club as it was, that of an athlete into a group with new ids.
///
/// All of it or nothing. Every file has to be as the manifest says (size, count, SHA-256), and every record is parsed as if it came with
/// a request of its own. At most 1 GiB, 4 GiB unpacked and 5,000,000 records. A large club takes minutes, in which nobody else writes in
/// it: wait for the answer, because a connection that ends before it undoes everything. Who belongs to the club, apps, links, phones
/// and the audit are not imported: an archive gives nobody access. Id and name of the club stay. Who was erased after the archive was
/// made comes back with it: erase them again. With `dry_run` nothing is written.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/imports", impl_for = create_import, tag = "exports",
    request_body(content = Vec<u8>, content_type = "application/zip", description = "The archive, at most 1 GiB"),
    responses(
        (status = 201, description = "Imported", body = ArchiveImport),
        (status = 200, description = "Dry run", body = ArchiveImport),
        (status = 409, description = "The archive is of a club, and this one is not empty")
    )
)]
async fn create_import(
    req: HttpRequest,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<ImportParams>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    // Only an admin's file is taken in.
    permit.admit(&db).await?;
    if body::media_type(&req) != "application/zip" {
        return Err(Problem::new(Code::MediaType, "Send the archive as it was downloaded, as application/zip."));
    }
    let sent = intake::spool(&req, payload.into_inner(), LIMITS).await?;
    // Nothing moves on the connection while what was sent is at work.
    let _working = req.conn_data::<Work>().map(Work::begin);
    let archive = Archive::open(sent)?;
    let lane = if archive.unpacked > SMALL { &lanes.clubs } else { &lanes.reads };
    let _turn = permit.turn(&db, lane).await?;
    let mut tx = permit.write(&db).await?;
    tx.alone_with_all().await?;
    store::settle(&mut tx).await?;
    let view = import(&mut tx, &params.0, archive).await?;
    if view.dry_run {
        return Ok(HttpResponse::Ok().json(view));
    }
    tx.commit().await?;
    let filled: Vec<&str> = tables::imported().map(|one| one.name).chain(["root_scope", "club_change"]).collect();
    db.analyse_young(&filled).await;
    Ok(HttpResponse::Created().json(view))
}

routes!(create_import);
