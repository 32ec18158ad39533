//! The audit over HTTP: for admins.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, LINK};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::shapes::{self, Page, Verification, View};
use super::store::{self, Filter};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::audit::{self, Act};
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::ids::{AccountId, AppId, AthleteId};
use crate::platform::lanes::Lanes;
use crate::platform::page::{self, PageParams};
use crate::platform::params::Params;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;

/// Which rows are shown.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Only rows from this day on, UTC.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Only rows up to this day, UTC.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
    /// Only rows of this account.
    account_id: Option<AccountId>,
    /// Only rows of what this app did, for whomever.
    app_id: Option<AppId>,
    /// Only rows that name this athlete, and those about whoever the caller saw at that time, which may be them.
    athlete_id: Option<AthleteId>,
    /// Only rows of this kind.
    #[param(value_type = Option<Act>, inline, example = "read")]
    act: Option<String>,
}

impl Wanted {
    fn parse(self, before: Option<i64>) -> Result<Filter, Problem> {
        let Self { from, to, account_id: account, app_id: app, athlete_id: athlete, act } = self;
        if let Some((from, to)) = from.zip(to)
            && from > to
        {
            return Err(Problem::malformed(Fault::of("from", "after_to", "must not be after to")));
        }
        let act = act.map(|word| Act::parse(&word)).transpose();
        let act = act.map_err(|detail| Problem::malformed(Fault::of("act", "word", detail)))?;
        Ok(Filter { from, to, account, app, athlete, act, before })
    }
}

/// Where an export goes on.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Onwards {
    /// Only rows before this one: the last `number` of the export before.
    #[param(minimum = 1, example = 4711)]
    before: Option<i64>,
}

/// Lists who read, exported, changed and granted what, who signed in and who was refused: the latest first.
///
/// A row is a request; what it changed stands in the same transaction as the row. Reads appear within a second or two.
/// Rows are kept for 400 days unless the operator of the service says otherwise (90 to 3,650), whole addresses for 30. An app is told of a
/// row about somebody who is withheld from apps, and not whom or which records it is about.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/audit", impl_for = list_audit, tag = "audit",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_audit(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    wanted: Params<Wanted>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let asked = page.0.parse::<i64>()?;
    let filter = wanted.0.parse(asked.after)?;
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, &filter, asked.fetch()).await?;
    let (rows, next_cursor) = asked.cut(rows, |row| row.number);
    let body = Page { items: rows.into_iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// Exports the audit as CSV: the latest 20,000 rows, or those before a row; `Link` leads to what is left.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/audit/export", impl_for = export_audit, tag = "audit",
    responses((status = 200, description = "Rows, the latest first", body = String, content_type = "text/csv"))
)]
async fn export_audit(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    wanted: Params<Wanted>,
    onwards: Params<Onwards>,
) -> Result<HttpResponse, Problem> {
    let filter = wanted.0.parse(onwards.0.before)?;
    let turn = permit.turn(&db, &lanes.reads).await?;
    let mut tx = permit.read(&db).await?;
    let mut rows = store::export(&mut tx, &filter).await?;
    drop(tx);
    let more = rows.len() > store::EXPORTED;
    rows.truncate(store::EXPORTED);
    let last = rows.last().map(|row| row.number).filter(|_| more);
    let csv = turn.run(move || shapes::table(rows)).await?;
    let csv = csv.ok_or_else(|| Problem::new(Code::Internal, "The table could not be written."))?;
    let mut answer = HttpResponse::Ok();
    if let Some(last) = last {
        let mut query: Vec<(String, String)> = serde_urlencoded::from_str(req.query_string()).unwrap_or_default();
        query.retain(|(name, _)| name != "before");
        query.push(("before".to_owned(), last.to_string()));
        let query = serde_urlencoded::to_string(query).unwrap_or_default();
        answer.insert_header((LINK, format!("<{}?{query}>; rel=\"next\"", req.path())));
    }
    Ok(answer
        .content_type("text/csv; charset=utf-8")
        .insert_header((CONTENT_DISPOSITION, "attachment; filename=\"audit.csv\""))
        .insert_header((CACHE_CONTROL, "private, no-store"))
        .body(csv))
}

/// Checks that no row of the audit is missing or changed.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/audit/verification", impl_for = verify_audit, tag = "audit",
    responses((status = 200, description = "What was found", body = Verification))
)]
async fn verify_audit(permit: Permit<ClubAdmin>, db: Data<Db>, lanes: Data<Lanes>) -> Result<HttpResponse, Problem> {
    let _turn = permit.turn(&db, &lanes.reads).await?;
    let mut tx = permit.read(&db).await?;
    let checked = audit::check(&mut tx).await?;
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-store")).json(Verification::from(checked)))
}

routes!(list_audit, export_audit, verify_audit);
