//! Well-being records over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::record;
use super::shapes::{Batch, Page, View};
use super::store::{self, Place};
use crate::platform::access::{Permit, SessionWrite, SquadRead};
use crate::platform::batch::{self, BatchResult};
use crate::platform::body::Body;
use crate::platform::corrections;
use crate::platform::db::{Db, Kind};
use crate::platform::facts::{self, Wanted};
use crate::platform::ids::{AthleteId, WellbeingRecordId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored;

/// Which well-being records a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only records of this athlete.
    athlete_id: Option<AthleteId>,
    /// Only from this day on.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Only up to this day.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
    /// Also records that were corrected or withdrawn.
    #[serde(default)]
    superseded: bool,
}

/// Stores reports of pain, illness or injury, restrictions and clearances, each on its own: a broken one is rejected, the
/// others are stored.
///
/// While a report or restriction stands the athlete is advised `rest_and_refer`, gets no lane and may run nowhere: a report on its
/// own day, and then until a clearance that names it; a restriction from `reported_on` to `until`, or to its clearance. Afterwards
/// the advice `needs_confirmation` until a decision with `clears_return`, the first lane back is one height lower and at least one
/// step closer than last held, and two sessions come before a step up. Records are never changed: a correction is a new one with
/// `supersedes`, a withdrawal has `void` as well; either, and a clearance, may follow what it is about in the same batch.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/wellbeing-records", impl_for = create_wellbeing_records, tag = "wellbeing_records",
    responses((status = 200, description = "One result for each record", body = BatchResult))
)]
async fn create_wellbeing_records(
    permit: Permit<SessionWrite>,
    db: Data<Db>,
    body: Body<Batch>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let sent = body.read()?.wellbeing_records;
    batch::check_length("/wellbeing_records", sent.len())?;
    let (mut items, mut decisions) = record::file(&mut tx, &sent, |at| format!("/wellbeing_records/{at}")).await?;
    corrections::hold_second(&mut tx, "wellbeing_record", (&mut items, &mut decisions), &sent, &[]).await?;
    let revs = tx.commit().await?;
    let rev_of = |id| Some(revs.of(Kind::WellbeingRecord, id, 0)).filter(|rev| *rev > 0);
    Ok(HttpResponse::Ok().json(batch::results(items, &decisions, rev_of)))
}

/// Lists the well-being records of athletes that you see by their day, without those that were corrected or withdrawn.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/wellbeing-records", impl_for = list_wellbeing_records, tag = "wellbeing_records",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_wellbeing_records(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { athlete_id, from, to, superseded } = params.0;
    let wanted = page.0.parse::<Place>()?;
    let (athlete, session) = (athlete_id.map(|id| id.0), None);
    let (all, after, fetch) = (superseded, wanted.after, wanted.fetch());
    let mut tx = permit.read(&db).await?;
    let before = to.and_then(|to| to.succ_opt());
    let rows = store::page(&mut tx, Wanted { athlete, session, from, before, all, after, fetch }).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| facts::Place(row.value.reported_on, row.id.0));
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads a well-being record.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/wellbeing-records/{wellbeing_record_id}", impl_for = get_wellbeing_record, tag = "wellbeing_records",
    responses((status = 200, description = "The record", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_wellbeing_record(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let id = WellbeingRecordId(path_id(&req, "wellbeing_record_id", "well-being record")?);
    let mut tx = permit.read(&db).await?;
    let found = store::find(&mut tx, id).await?.ok_or_else(|| Problem::not_found("well-being record"))?;
    Ok(stored::read(&req, found.rev, &View::from(&found)))
}

routes!(create_wellbeing_records, list_wellbeing_records, get_wellbeing_record);
