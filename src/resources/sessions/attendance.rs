//! Attendance over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::http::load;
use super::shapes::Attendance;
use super::store;
use crate::platform::access::{Permit, SessionWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::fault::Faults;
use crate::platform::grants;
use crate::platform::ids::AthleteId;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch};

/// Most athletes of one session.
const MAX_PRESENT: usize = 300;

/// Who of your groups was present. The `ETag` belongs to this list, not to the session.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/attendance", impl_for = get_attendance, tag = "sessions",
    responses((status = 200, description = "The list", body = Attendance), (status = 304, description = "Unchanged"))
)]
async fn get_attendance(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let session = load(&mut tx, &req).await?;
    let (present, rev) = store::attendance(&mut tx, session.id).await?;
    Ok(stored::read(&req, rev, &Attendance { present }))
}

/// Sets who of your groups was present; athletes of other groups stay as they are.
///
/// Sending the same list again changes nothing. Once a list exists, `If-Match` with its ETag is needed.
#[utoipa::path(
    put, path = "/v1/clubs/{club_id}/sessions/{session_id}/attendance", impl_for = set_attendance, tag = "sessions",
    params(("If-Match" = Option<String>, Header, description = "ETag of the list you read; not needed for the first list")),
    responses(
        (status = 200, description = "Set", body = Attendance),
    )
)]
async fn set_attendance(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<SessionWrite>,
    db: Data<Db>,
    body: Body<Attendance>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let session = load(&mut tx, &req).await?;
    let sent = body.read()?.present;
    let (before, rev) = store::attendance(&mut tx, session.id).await?;
    let mut present = sent.clone();
    present.sort_unstable();
    present.dedup();
    let mut faults = Faults::new();
    if present.len() > MAX_PRESENT {
        faults.add("/present", "length", format!("must be at most {MAX_PRESENT} athletes"));
    }
    let ids: Vec<Uuid> = present.iter().map(|athlete| athlete.0).collect();
    let visible = grants::visible_athletes(&mut tx, &ids).await?;
    for (at, athlete) in sent.iter().enumerate().filter(|(_, athlete)| !visible.contains_key(&athlete.0)) {
        faults.add(format!("/present/{at}"), "unknown_id", format!("there is no athlete {athlete} in your groups"));
    }
    faults.finish(Some(()))?;
    if present == before {
        return Ok(stored::changed(rev, &Attendance { present }));
    }
    if rev > 0 {
        version.require_list::<SquadRead>(&tx, rev, &Attendance { present: before.clone() })?;
    }
    let missing = |list: &[AthleteId], from: &[AthleteId]| -> Vec<AthleteId> {
        from.iter().copied().filter(|athlete| !list.contains(athlete)).collect()
    };
    let (came, gone) = (missing(&before, &present), missing(&present, &before));
    store::set_attendance(&mut tx, session.id, &came, &gone).await?;
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    let (present, rev) = store::attendance(&mut tx, session.id).await?;
    Ok(stored::changed(rev, &Attendance { present }))
}

routes!(get_attendance, set_attendance);
