//! What a club asks of sign-ins, over HTTP.

use actix_web::HttpResponse;
use actix_web::web::Data;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::security_store as store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;

/// What a club asks of sign-ins.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ClubSecurity, example = json!({"admins_second_factor": true}))]
struct Security {
    /// Whether whoever acts as an admin needs a sign-in that was made with a second factor. Coaching goes on without.
    admins_second_factor: bool,
}

fn answer(security: &Security) -> HttpResponse {
    HttpResponse::Ok().insert_header(("cache-control", "no-store")).json(security)
}

/// What the club asks of sign-ins.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/security", impl_for = get_club_security, tag = "clubs",
    responses((status = 200, description = "What it asks", body = Security))
)]
async fn get_club_security(permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let admins_second_factor = store::find(&mut tx).await?;
    Ok(answer(&Security { admins_second_factor }))
}

/// Decides what the club asks of sign-ins. Whoever asks for a second factor has to have shown one, so that nobody locks
/// themselves out.
#[utoipa::path(
    put, path = "/v1/clubs/{club_id}/security", impl_for = set_club_security, tag = "clubs",
    responses((status = 200, description = "What it asks now", body = Security))
)]
async fn set_club_security(
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Body<Security>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let security = body.read()?;
    if security.admins_second_factor && !store::has_second_factor(&mut tx, permit.device).await? {
        return Err(Problem::new(
            Code::SecondFactor,
            "Sign in with a second factor yourself before you ask it of all admins: see POST /v1/me/second-factor.",
        ));
    }
    store::save(&mut tx, security.admins_second_factor).await?;
    tx.commit().await?;
    Ok(answer(&security))
}

routes!(get_club_security, set_club_security);
