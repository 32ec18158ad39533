//! Imports over HTTP: an admin sends the archive of an export.

use actix_web::http::header::RETRY_AFTER;
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::archive::{Archive, fault};
use super::model::Of;
use super::store;
use super::work::{Came, import};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::again::to_its_end;
use crate::platform::asking::InPerson;
use crate::platform::audit;
use crate::platform::body;
use crate::platform::db::{ClubTx, Db, StoreError, tables};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::intake::{self, Limits, Spooled};
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

impl ArchiveImport {
    fn new(dry_run: bool, came: Came) -> Self {
        let Came { of, athlete, tables } = came;
        let tables: Vec<_> = tables.into_iter().map(|(name, records)| ImportedTable { name, records }).collect();
        let records = tables.iter().map(|table| table.records).sum();
        Self { dry_run, of: of.as_str(), athlete_id: athlete, records, tables }
    }
}

fn not_empty() -> Problem {
    let detail = "The club is not empty: the archive of a club comes into a club without groups, athletes, sessions, venues, equipment and \
        rules of its own. If you sent this one before and lost the connection, look whether it came; else found a new club. The archive \
        of an athlete comes with `group_id`.";
    Problem::new(Code::Conflict, detail)
}

fn at_work() -> Problem {
    let detail = "An import is at work in the club, or waits for its turn; nothing of the archive was read. Ask again in a minute.";
    Problem::new(Code::Unavailable, detail).with_header(RETRY_AFTER, "60")
}

/// Whether an archive can come at all, before it is sent to the end: only from an admin, and that of a club only into an empty one in
/// which no other is at work. Whoever lost the connection learns by asking again what became of it.
async fn admit(permit: &Permit<ClubAdmin>, db: &Db, lanes: &Lanes, params: &ImportParams) -> Result<(), Problem> {
    if params.group_id.is_some() {
        return permit.admit(db).await;
    }
    let mut tx = permit.write(db).await?;
    if lanes.clubs.has(permit.club.0) {
        return Err(at_work());
    }
    tx.alone_in_club().await.map_err(|error| match error {
        // On another instance, or a small one: everybody else writes for moments.
        StoreError::Database(error) if StoreError::waited(&error) => at_work(),
        other => other.into(),
    })?;
    if store::is_empty(&mut tx).await? { Ok(()) } else { Err(not_empty()) }
}

/// Imports what was sent.
async fn carry_out(
    permit: InPerson<ClubAdmin>,
    (db, lanes): (Data<Db>, Data<Lanes>),
    ImportParams { dry_run, new_ids, group_id }: ImportParams,
    sent: Spooled,
) -> Result<ArchiveImport, Problem> {
    let archive = Archive::open(sent)?;
    let lane = if archive.unpacked > SMALL { &lanes.clubs } else { &lanes.reads };
    let _turn = permit.turn(&db, lane).await?;
    let mut tx = permit.write_alone(&db).await?;
    store::settle(&mut tx).await?;
    let of = Of::parse(&archive.manifest.of).map_err(fault)?;
    let into = if of == Of::Athlete { Some(group(&mut tx, group_id).await?) } else { None };
    if of == Of::Club && !store::is_empty(&mut tx).await? {
        return Err(not_empty());
    }
    let came = import(&mut tx, archive, (of, into), new_ids).await?;
    audit::concerns(came.athlete.map(|athlete| athlete.0));
    if !dry_run {
        tx.commit().await?;
        let filled: Vec<&str> = tables::imported().map(|one| one.name).chain(["root_scope", "club_change"]).collect();
        db.analyse_young(&filled).await;
    }
    Ok(ArchiveImport::new(dry_run, came))
}

/// The group that an athlete comes into.
async fn group(tx: &mut ClubTx, named: Option<GroupId>) -> Result<GroupId, Problem> {
    let group = named.ok_or_else(|| {
        Problem::malformed(Fault::of("group_id", "missing", "name the group that the athlete comes into"))
    })?;
    if store::has_group(tx, group).await? { Ok(group) } else { Err(Problem::not_found("group")) }
}

/// Imports the archive of an export: that of a club into an empty club as it was, that of an athlete into a group with new ids.
///
/// All of it or nothing. Every file has to be as the manifest says (size, count, SHA-256), and every record is parsed as if it came with
/// a request of its own. At most 1 GiB, 4 GiB unpacked and 5,000,000 records. A large club takes minutes, in which nobody else writes in
/// it. A connection that breaks while the archive is sent leaves nothing behind; once all of it was sent, the import goes on without the
/// connection. Ask again to learn what became of it: 503 while it is at work, 409 when the club came, both before the archive is read.
/// Who belongs to the club, apps, links, phones and the audit are not imported: an archive gives nobody access. Id and name of the club
/// stay. Who was erased after the archive was made comes back with it: erase them again. With `dry_run` nothing is written.
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
    let dry_run = params.0.dry_run;
    admit(&permit, &db, &lanes, &params.0).await?;
    if body::media_type(&req) != "application/zip" {
        return Err(Problem::new(Code::MediaType, "Send the archive as it was downloaded, as application/zip."));
    }
    let sent = intake::spool(&req, payload.into_inner(), LIMITS).await?;
    // Nothing moves on the connection while what was sent is at work.
    let _working = req.conn_data::<Work>().map(Work::begin);
    let work = Box::pin(carry_out(permit, (db, lanes), params.0, sent));
    if dry_run {
        return Ok(HttpResponse::Ok().json(work.await?));
    }
    Ok(HttpResponse::Created().json(to_its_end(work).await?))
}

routes!(create_import);
