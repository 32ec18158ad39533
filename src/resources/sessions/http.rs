//! Sessions over HTTP.

use super::model::State;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::shapes::{Fields, New, Page, View};
use super::store::{self, Filter, StoredSession};
use super::sync::Edits;
use crate::platform::access::{Permit, SessionWrite, SquadRead};
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Fault;
use crate::platform::ids::{GroupId, SessionId};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::routed::plain_routes;

/// Which sessions a list shows.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListParams {
    /// Only sessions of this group.
    group_id: Option<GroupId>,
    /// Only `planned`, `held` or `cancelled` sessions.
    #[param(value_type = Option<super::model::State>, inline, example = "held")]
    state: Option<String>,
    /// From this day on.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Up to this day.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
}

/// The session in the path, when the caller sees it.
pub(super) async fn load(tx: &mut ClubTx, req: &HttpRequest) -> Result<StoredSession, Problem> {
    let id = SessionId(path_id(req, "session_id", "session")?);
    store::find(tx, id).await?.ok_or_else(|| Problem::not_found("session"))
}

/// Lists the sessions that you see, latest day first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions", impl_for = list_sessions, tag = "sessions",
    responses((status = 200, description = "A page", body = Page))
)]
async fn list_sessions(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ListParams>,
    page: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let ListParams { group_id, state, from, to } = params.0;
    let wanted = page.0.parse::<(NaiveDate, Uuid)>()?;
    let state = state
        .map(|word| State::parse(&word))
        .transpose()
        .map_err(|detail| Problem::malformed(Fault::of("state", "word", detail)))?;
    let filter = Filter { group: group_id, state, from, to };
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, &filter, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| (row.value.held_on, row.id.0));
    let body = Page { items: rows.iter().map(View::from).collect(), next_cursor };
    Ok(page::answer(&req, &body))
}

plain_routes! {
    "sessions" at "/v1/clubs/{club_id}/sessions", "session_id", written by SessionWrite;
    /// Plans or records a session for groups of yours.
    create_session;
    /// Reads a session.
    get_session: "The session";
    /// Changes a session (merge patch).
    ///
    /// A group is taken out of it by its own coach or an admin, while its athletes have no records in it. A session of several
    /// groups is cancelled by who has all of them.
    update_session such as {"state": "held"} or "Records of athletes of a group that is taken out rest on it";
    /// Deletes a session while nothing rests on it: no attendance, runs, assessments or race tests. Any other is cancelled: set
    /// its `state`.
    ///
    /// A session of several groups is deleted by who has all of them, or an admin.
    delete_session or "Records rest on it: cancel it instead";
    listed by list_sessions;
}
