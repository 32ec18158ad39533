//! Pushes over HTTP.

use actix_web::http::header::USER_AGENT;
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};

use super::shapes::{Envelope, Outcomes};
use super::{intake, push, slots};
use crate::platform::access::Recorder;
use crate::platform::db::Db;
use crate::platform::lanes::Lanes;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::text;

/// Hands in what a phone did while it was away: one result for each item, each atomic by itself.
///
/// Sending the same items again is always safe. Recorded facts (runs, assessments, measurements, decisions, well-being records, race
/// results) are never refused for a permission or a missing parent: they are held (202) and an admin decides. Of one phone
/// 2,000 may wait for that, of a member 10,000, of somebody who left 2,000; an item beyond is answered 429 and stays in
/// the outbox. The body may be packed with gzip or zstd: at most 1 MiB as sent, 4 MiB unpacked, 500 items. How to write a
/// client: `/docs/sync`.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/changes", impl_for = push_changes, tag = "sync",
    request_body = Envelope,
    responses(
        (status = 200, description = "One result for each item", body = Outcomes),
        (status = 429, description = "Other pushes of the club are at work")
    )
)]
async fn push_changes(
    req: HttpRequest,
    who: Recorder,
    db: Data<Db>,
    lanes: Data<Lanes>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let sent = intake::read(&req, payload).await?;
    let agent = req.headers().get(USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or("unnamed");
    let name = text::kept(agent, 100);
    let turn = slots::turn(&lanes, who.who()).await?;
    let results = push::push((&db, &lanes), who, &name, sent).await?;
    drop(turn);
    Ok(HttpResponse::Ok().json(Outcomes { results }))
}

routes!(push_changes);
