//! Import and export of the roster over HTTP.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::measured_store;
use super::model::NewAthlete;
use super::roster::{self, Context, Row};
use super::roster_store;
use super::store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::intake::{self, Limits, Taken};
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;

/// 1 MiB, as sent and unpacked.
const LIMITS: Limits =
    Limits { wire: roster::MAX_BYTES, unpacked: roster::MAX_BYTES, remedy: "Split the file; nothing was stored." };

/// How often a file is read again because the club's groups changed meanwhile.
const READS: usize = 5;

/// How to import.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ImportParams {
    /// Only report what would happen.
    #[serde(default)]
    dry_run: bool,
    /// You looked again, and what hardly ever is at the age of an athlete (`confirm`) is right.
    #[serde(default)]
    confirmed: bool,
}

/// What became of one row.
///
/// - `valid`: It would be added (dry run).
/// - `created`: It was added.
/// - `unchanged`: The club has this athlete (same name and birth); left as it is.
/// - `rejected`: It is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum RowStatus {
    /// Would be added (dry run).
    Valid,
    /// Was added.
    Created,
    /// The club has this athlete (same name and birth); left as it is.
    Unchanged,
    /// Broken.
    Rejected,
}

/// The outcome of one row.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ImportedRow)]
struct RowView {
    /// Line in the file; the header is line 1.
    #[schema(minimum = 1, example = 2)]
    row: u64,
    /// What became of it.
    status: RowStatus,
    /// The athlete that was added or found.
    #[serde(skip_serializing_if = "Option::is_none")]
    athlete_id: Option<AthleteId>,
    /// What is broken; each pointer is `/<column>`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    errors: Vec<Fault>,
}

/// The outcome of an import.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RosterImport)]
struct ImportView {
    /// Whether nothing was written.
    dry_run: bool,
    /// Rows that were, or would be, added.
    #[schema(minimum = 0, example = 24)]
    created: usize,
    /// Rows whose athlete the club has.
    #[schema(minimum = 0, example = 0)]
    unchanged: usize,
    /// Broken rows.
    #[schema(minimum = 0, example = 0)]
    rejected: usize,
    /// One entry for each row, in order.
    #[schema(max_items = 2000)]
    rows: Vec<RowView>,
}

/// Marks rows that repeat an earlier row or an athlete of the club.
fn judge(rows: &[Row], known: &HashMap<roster::Person, AthleteId>, dry_run: bool) -> Vec<RowView> {
    let mut seen = HashMap::new();
    rows.iter()
        .map(|row| {
            let rejected = |errors| RowView { row: row.line, status: RowStatus::Rejected, athlete_id: None, errors };
            let new = match &row.parsed {
                Err(errors) => return rejected(errors.clone()),
                Ok(new) => new,
            };
            let person = roster::person(&new.athlete);
            if let Some(first) = seen.insert(person.clone(), row.line) {
                let detail = format!("repeats line {first}: same name and birth");
                return rejected(vec![Fault::at("/display_name", "duplicate_row", detail)]);
            }
            match known.get(&person) {
                Some(id) => {
                    RowView { row: row.line, status: RowStatus::Unchanged, athlete_id: Some(*id), errors: Vec::new() }
                }
                None => {
                    let (status, id) =
                        if dry_run { (RowStatus::Valid, None) } else { (RowStatus::Created, Some(new.id)) };
                    RowView { row: row.line, status, athlete_id: id, errors: Vec::new() }
                }
            }
        })
        .collect()
}

async fn context(tx: &mut ClubTx, confirmed: bool) -> Result<Context, Problem> {
    let groups = roster_store::groups(tx).await?;
    let names = groups.iter().flat_map(|(id, name)| [(name.to_lowercase(), *id), (id.to_string(), *id)]);
    Ok(Context { groups: names.collect(), today: tx.today().await?, confirmed })
}

/// The tables that an import fills.
const FILLED: [&str; 4] = ["athletes", "measurements", "root_scope", "club_change"];

/// Imports a roster: every row or none. With `dry_run` nothing is written and every bad row is reported.
///
/// UTF-8 with a header line; separator comma or semicolon. Columns: `display_name`, `sex` (F or M), `birth_date` or
/// `birth_year`, `groups` (names, several separated by `|`), `preferred_lead_leg`, `approach_strides`, `experience` (novice or trained),
/// `status`, `consent_on`, `stature_m`, `leg_length_m`, `sprint_30m_s`, `sprint_50m_s`, `measured_on` (of the four
/// before it; today when empty). Required: display_name, sex, groups, experience and one of the birth columns.
/// Dates as `2013-05-17`, decimals with a point. Quotes as in RFC 4180. An apostrophe before `=`, `+`, `-` or `@`, which
/// an export writes so that no spreadsheet runs the cell, is taken off.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/import", impl_for = import_athletes, tag = "athletes",
    request_body(
        content = String,
        content_type = "text/csv",
        description = "At most 1 MiB and 2,000 rows",
        example = "display_name,sex,birth_date,groups,experience,stature_m\nMira Osei,F,2013-05-17,Under 14,novice,1.52\n"
    ),
    responses(
        (status = 201, description = "Imported", body = ImportView),
        (status = 200, description = "Dry run", body = ImportView)
    )
)]
async fn import_athletes(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<ImportParams>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    // Only an admin's file is taken in.
    permit.admit(&db).await?;
    let ImportParams { dry_run, confirmed } = params.0;
    if body::media_type(&req) != "text/csv" {
        return Err(Problem::new(Code::MediaType, "Send the roster as text/csv."));
    }
    let taken = Arc::new(intake::read(&req, payload.into_inner(), LIMITS).await?);
    let (mut tx, rows) = read_rows(&permit, &db, &lanes, (taken, confirmed)).await?;
    let known = store::everyone(&mut tx).await?.iter().map(|one| (roster::person(&one.value), one.id)).collect();
    let judged = judge(&rows, &known, dry_run);
    let count = |status| judged.iter().filter(|row| row.status == status).count();
    let (created, rejected) = (count(RowStatus::Created) + count(RowStatus::Valid), count(RowStatus::Rejected));
    let unchanged = count(RowStatus::Unchanged);
    if !dry_run {
        if rejected > 0 {
            return Err(Problem::invalid(all_faults(judged)));
        }
        let wanted: HashSet<AthleteId> =
            judged.iter().filter(|row| row.status == RowStatus::Created).filter_map(|row| row.athlete_id).collect();
        let new: Vec<NewAthlete> =
            rows.into_iter().filter_map(|row| row.parsed.ok()).filter(|new| wanted.contains(&new.id)).collect();
        if !new.is_empty() {
            if !store::insert(&mut tx, &new).await? {
                let detail = "A new id was taken already; nothing was stored. Send the file again.";
                return Err(Problem::new(Code::Internal, detail));
            }
            tx.commit().await?;
            if let Err(error) = db.analyse_young(&FILLED).await {
                tracing::warn!(%error, "cannot count what an import filled");
            }
        }
    }
    let body = ImportView { dry_run, created, unchanged, rejected, rows: judged };
    let mut answer = if dry_run { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(body))
}

/// Reads the file against the groups that the club has, with nothing open, and answers with the transaction in which they still
/// are those.
async fn read_rows(
    permit: &Permit<ClubAdmin>,
    db: &Db,
    lanes: &Lanes,
    (taken, confirmed): (Arc<Taken>, bool),
) -> Result<(ClubTx, Vec<Row>), Problem> {
    for _ in 0..READS {
        let turn = lanes.squads.turn(permit.who()).await?;
        let mut tx = permit.read(db).await?;
        let context = Arc::new(context(&mut tx, confirmed).await?);
        drop(tx);
        let (against, file) = (Arc::clone(&context), Arc::clone(&taken));
        let rows = turn.run(move || roster::read(file.bytes(), &against)).await??;
        let mut tx = permit.write(db).await?;
        roster_store::queue_import(&mut tx).await?;
        if self::context(&mut tx, confirmed).await? == *context {
            return Ok((tx, rows));
        }
    }
    let detail = "The club's groups changed while the file was read; nothing was stored. Send it again.";
    Err(Problem::new(Code::Unavailable, detail))
}

/// The faults of every row, each pointer as `/rows/<line>/<column>`.
fn all_faults(rows: Vec<RowView>) -> Vec<Fault> {
    let mut all = crate::platform::fault::Faults::new();
    for row in rows {
        all.add_all(&format!("/rows/{}", row.row), row.errors);
    }
    all.finish::<()>(None).err().unwrap_or_default()
}

/// Exports the whole roster as CSV in the columns of the import, each athlete with the latest day of measurements.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/export", impl_for = export_athletes, tag = "athletes",
    responses((status = 200, description = "The roster", body = String, content_type = "text/csv"))
)]
async fn export_athletes(permit: Permit<ClubAdmin>, db: Data<Db>, lanes: Data<Lanes>) -> Result<HttpResponse, Problem> {
    let _turn = permit.turn(&db, &lanes.reads).await?;
    let mut tx = permit.read(&db).await?;
    let groups: HashMap<GroupId, String> = roster_store::groups(&mut tx).await?.into_iter().collect();
    let athletes = store::everyone(&mut tx).await?;
    let ids: Vec<AthleteId> = athletes.iter().map(|one| one.id).collect();
    let mut measured = measured_store::by_athlete(&mut tx, &ids).await?;
    let rows: Vec<_> = athletes
        .into_iter()
        .map(|one| {
            let measurements = measured.remove(&one.id).unwrap_or_default();
            // What advice leaves out would be refused by an import.
            let counts = measurements.into_iter().filter(|stored| !stored.value.implausible);
            (one.value, counts.map(|stored| stored.value.measurement).collect())
        })
        .collect();
    let csv =
        roster::write(&rows, &groups).map_err(|_| Problem::new(Code::Internal, "The roster could not be written."))?;
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8")
        .insert_header(("content-disposition", "attachment; filename=\"roster.csv\""))
        .insert_header(("cache-control", "private, no-store"))
        .body(csv))
}

routes!(import_athletes, export_athletes);
