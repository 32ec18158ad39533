//! The deletion of a club over HTTP.

use actix_web::HttpResponse;
use actix_web::http::header::CACHE_CONTROL;
use actix_web::web::Data;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::ending_store::{self as store, Admin, Ending};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::db::Db;
use crate::platform::ids::AccountId;
use crate::platform::mail::{self, Letter};
use crate::platform::own_password::{self, OwnPassword};
use crate::platform::problem::Problem;
use crate::platform::route::routes;

/// That a club is to be deleted.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ClubDeletion)]
struct View {
    /// The admin who asked for it.
    asked_by: AccountId,
    /// When.
    asked_at: DateTime<Utc>,
    /// From then on the club is gone with everything in it. Until then any admin can take it back.
    deletes_at: DateTime<Utc>,
}

impl From<Ending> for View {
    fn from(ending: Ending) -> Self {
        Self { asked_by: ending.asked_by, asked_at: ending.asked_at, deletes_at: ending.due_at }
    }
}

/// The admins of the club for whose mail there is room.
async fn reachable(permit: &Permit<ClubAdmin>, db: &Db) -> Result<Vec<Admin>, Problem> {
    let mut tx = permit.read(db).await?;
    let all = store::admins(tx.conn(), permit.club).await?;
    drop(tx);
    let mut reachable = Vec::with_capacity(all.len());
    for admin in all {
        if mail::room(db, &admin.email).await? {
            reachable.push(admin);
        }
    }
    Ok(reachable)
}

/// Asks for the deletion of the club, in 30 days. Every member sees the day (`deletes_at` of the club, also on phones), and every
/// admin can take it back until then. A mail tells every admin when somebody asks for it, when it is taken back and when the club is gone.
///
/// In the 30 days everything goes on as before, because what is recorded at the track is refused to nobody. Then nobody gets in
/// any more, and every row of the club is deleted: athletes, sessions, members, apps, links, audit. There is no way back from
/// that, and copies of the database that an operator keeps hold it as long as they are kept; one that is restored is not served
/// with it where the operator keeps a list of erasures.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/deletion", impl_for = request_club_deletion, tag = "clubs",
    responses((status = 201, description = "Asked for", body = View),
        (status = 409, description = "Somebody asked for it before"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn request_club_deletion(
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Body<OwnPassword>,
) -> Result<HttpResponse, Problem> {
    permit.admit(&db).await?;
    let OwnPassword { password } = body.read()?;
    own_password::demand(&db, permit.account, permit.device, password).await?;
    let admins = reachable(&permit, &db).await?;
    let mut tx = permit.write(&db).await?;
    tx.alone(permit.club.0).await?;
    let ending = store::ask(&mut tx).await?;
    for Admin { account, email } in admins {
        let letter = Letter::ClubEnding { club: permit.club, account, due_at: ending.due_at };
        mail::put_for_club(&mut tx, &letter, &email, None).await?;
    }
    tx.commit().await?;
    Ok(HttpResponse::Created().insert_header((CACHE_CONTROL, "no-store")).json(View::from(ending)))
}

/// Lets the club stay whose deletion was asked for.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/deletion", impl_for = cancel_club_deletion, tag = "clubs",
    responses((status = 204, description = "It stays"))
)]
async fn cancel_club_deletion(permit: InPerson<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let admins = reachable(&permit, &db).await?;
    let mut tx = permit.write(&db).await?;
    if !store::take_back(&mut tx).await? {
        return Err(Problem::not_found("deletion of the club that can be taken back"));
    }
    for Admin { account, email } in admins {
        mail::put_for_club(&mut tx, &Letter::ClubStays { club: permit.club, account }, &email, None).await?;
    }
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

routes!(request_club_deletion, cancel_club_deletion);
