//! Runs over HTTP.

use std::collections::BTreeSet;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::page_store::{self, Filter, Place};
use super::record;
use super::shapes::{Batch, Page, View};
use super::table::{Named, table};
use crate::platform::accept::{Format, among};
use crate::platform::access::{Permit, SessionWrite, SquadRead};
use crate::platform::batch::{self, BatchResult};
use crate::platform::body::Body;
use crate::platform::corrections;
use crate::platform::db::{Db, Kind};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, RunId, SessionId};
use crate::platform::lanes::Lanes;
use crate::platform::page::{self, PageOf, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::stored;

/// Most runs of a file: a squad's of some weeks (design choice).
const FILE_ROWS: usize = 2_000;

/// Which runs a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only runs of this session.
    session_id: Option<SessionId>,
    /// Only runs of this athlete.
    athlete_id: Option<AthleteId>,
    /// Only runs of sessions from this day on.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Only runs of sessions up to this day.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
    /// Also runs that were corrected or withdrawn.
    #[serde(default)]
    superseded: bool,
}

/// Records runs, each on its own: a broken one is rejected, the others are stored.
///
/// Runs are never changed: a correction is a new run with `supersedes`, a withdrawal has `void` as well; either may
/// follow what it corrects in the same batch. Sending the same batch again is safe; what is stored already is answered
/// with `unchanged`.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/runs", impl_for = create_runs, tag = "runs",
    responses((status = 200, description = "One result for each run", body = BatchResult))
)]
async fn create_runs(permit: Permit<SessionWrite>, db: Data<Db>, body: Body<Batch>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let sent = body.read()?;
    batch::check_length("/runs", sent.runs.len())?;
    let (mut items, mut decisions) = record::file(&mut tx, &sent.runs, |at| format!("/runs/{at}")).await?;
    corrections::hold_second(&mut tx, "run", (&mut items, &mut decisions), &sent.runs, &[]).await?;
    let revs = tx.commit().await?;
    let body = batch::results(items, &decisions, |id| Some(revs.of(Kind::Run, id, 0)).filter(|rev| *rev > 0));
    Ok(HttpResponse::Ok().json(body))
}

/// Lists the runs of athletes that you see, without those that were corrected or withdrawn.
///
/// By id; with `from` or `to` by the day of the session, then by session and id. As CSV and XLSX a page without `limit` has up to
/// 2,000 runs, with names, days and touchdown times.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/runs", impl_for = list_runs, tag = "runs",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv or XLSX")),
    responses(
        (status = 200, description = "A page", content(
            (Page = "application/json"),
            (String = "text/csv"),
            (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
        )),
        (status = 406, description = "None of the three is acceptable")
    )
)]
async fn list_runs(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let form = among(&req, &[Format::Json, Format::Csv, Format::Xlsx])?;
    let ListParams { session_id, athlete_id, from, to, superseded } = params.0;
    let filter = Filter { session: session_id, athlete: athlete_id, from, to, all: superseded };
    let wanted = page.0.parse_in::<Place>(|place| filter.has(place))?;
    if form != Format::Json {
        let most = page.0.limit.map_or(FILE_ROWS, usize::from);
        return file(&req, &permit, (&db, &lanes), (form, &filter), PageOf { limit: most, ..wanted }).await;
    }
    let mut tx = permit.read(&db).await?;
    let rows = page_store::page(&mut tx, &filter, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |(place, _)| *place);
    let body = Page { items: rows.iter().map(|(_, run)| View::from(run)).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

/// A page as a file.
async fn file(
    req: &HttpRequest,
    permit: &Permit<SquadRead>,
    (db, lanes): (&Db, &Lanes),
    (form, filter): (Format, &Filter),
    wanted: PageOf<Place>,
) -> Result<HttpResponse, Problem> {
    let turn = permit.turn(db, &lanes.reads).await?;
    let mut tx = permit.read(db).await?;
    let (mut runs, mut after, mut next) = (Vec::new(), wanted.after, None);
    while runs.len() < wanted.limit {
        let part = PageOf { limit: (wanted.limit - runs.len()).min(usize::from(page::MAX_LIMIT)), after };
        let rows = page_store::page(&mut tx, filter, part.after, part.fetch()).await?;
        let (rows, more) = part.cut(rows, |(place, _)| *place);
        after = rows.last().map(|(place, _)| *place);
        runs.extend(rows.into_iter().map(|(_, run)| run));
        next = more;
        if next.is_none() {
            break;
        }
    }
    let athletes: BTreeSet<Uuid> = runs.iter().map(|one| one.value.run.athlete.0).collect();
    let sessions: BTreeSet<Uuid> = runs.iter().map(|one| one.value.run.session.0).collect();
    let named = Named {
        athletes: grants::visible_athletes(&mut tx, &athletes.into_iter().collect::<Vec<_>>()).await?,
        days: grants::visible_sessions(&mut tx, &sessions.into_iter().collect::<Vec<_>>()).await?,
    };
    drop(tx);
    let bytes = turn.run(move || {
        let table = table(&runs, &named);
        if form == Format::Xlsx { table.xlsx() } else { table.csv() }
    });
    let bytes = bytes.await?.map_err(|_| Problem::new(Code::Internal, "The runs could not be written."))?;
    let mut answer = form.file("runs", "private, no-cache");
    if let Some(cursor) = next {
        answer.insert_header(page::link(req, &format!("{}.{}", req.path(), form.ending()), &cursor));
    }
    Ok(answer.body(bytes))
}

/// Reads a run.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/runs/{run_id}", impl_for = get_run, tag = "runs",
    responses((status = 200, description = "The run", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_run(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let id = RunId(path_id(&req, "run_id", "run")?);
    let mut tx = permit.read(&db).await?;
    let found = super::store::find(&mut tx, id).await?.ok_or_else(|| Problem::not_found("run"))?;
    Ok(stored::read(&req, found.rev, &View::from(&found)))
}

routes!(create_runs, list_runs, get_run);
