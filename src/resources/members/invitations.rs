//! Invitations over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::Utc;
use uuid::Uuid;

use super::invitations_store as store;
use super::model::{Accepted, Assignment, INVITATION_LIFE, Invitation};
use super::shapes::{Acceptance, InvitationPage, InvitationView, Joined, NewInvitation};
use crate::platform::access::{Caller, ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::audit;
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::fault::Faults;
use crate::platform::grants;
use crate::platform::ids::{ClubId, InvitationId};
use crate::platform::mail::{self, Letter};
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::proof;
use crate::platform::route::routes;
use crate::platform::throttle;
use crate::platform::token::Opaque;

/// Invites a person by mail. The answer holds a token to hand to them in another way; it is shown only this once. Both stand
/// for 14 days, as long as you are an admin.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/invitations", impl_for = create_invitation, tag = "members",
    responses((status = 201, description = "Invited", body = InvitationView),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn create_invitation(
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Body<NewInvitation>,
) -> Result<HttpResponse, Problem> {
    permit.admit(&db).await?;
    let NewInvitation { email, role, group_ids, language } = body.read()?;
    let mut faults = Faults::new();
    let email = faults.email("/email", &email);
    let assignment = Assignment::parse(role, &group_ids).map_err(|list| faults.add_all("", list)).ok();
    let (email, assignment) = faults.finish(email.zip(assignment))?;
    let expires_at = Utc::now() + INVITATION_LIFE;
    let invitation = Invitation { email, assignment, expires_at, invited_by: Some(permit.account), void: false };
    throttle::take(&db, throttle::INVITE, &permit.club.to_string()).await?;
    let room = mail::room(&db, &invitation.email).await?;
    let mut tx = permit.write(&db).await?;
    let id = InvitationId::new();
    let (token, opaque) = Opaque::new(permit.club.0)?;
    grants::require(&mut tx, &invitation.assignment.groups, "/group_ids").await?;
    store::insert(&mut tx, id, &invitation, &opaque).await?;
    audit::makes(id);
    if room {
        let letter = Letter::Invitation { club: permit.club, invitation: id };
        mail::put_for_club(&mut tx, &letter, &invitation.email, language).await?;
    }
    tx.commit().await?;
    Ok(HttpResponse::Created().insert_header(("cache-control", "no-store")).json(InvitationView::new(
        id,
        &invitation,
        Some(token),
    )))
}

/// Lists the invitations that were not taken and have not expired.
///
/// One is `void` when the admin who made it is no longer an admin of the club, or when its address is that of a member whose role, groups or
/// place an admin changed since, or who took a newer one: what was taken from somebody does not come back with an older mail.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/invitations", impl_for = list_invitations, tag = "members",
    responses((status = 200, description = "A page", body = InvitationPage))
)]
async fn list_invitations(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    let rows = store::page(&mut tx, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.0.0);
    let items = rows.iter().map(|(id, invitation)| InvitationView::new(*id, invitation, None)).collect();
    let body = InvitationPage { items, next_cursor };
    Ok(page::answer(&req, &body))
}

/// Withdraws an invitation that was not taken.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/invitations/{invitation_id}", impl_for = delete_invitation, tag = "members",
    responses((status = 204, description = "Withdrawn"))
)]
async fn delete_invitation(
    req: HttpRequest,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let id = InvitationId(path_id(&req, "invitation_id", "open invitation")?);
    let mut tx = permit.write(&db).await?;
    store::remove(&mut tx, id).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Takes an invitation that was made for your e-mail address. An account belongs to at most 50 clubs.
///
/// The code from the mail also confirms your address. With a token that was handed over, an address that another account named
/// first has to be confirmed before; some services ask that of everybody.
#[utoipa::path(
    post, path = "/v1/invitations/accept", impl_for = accept_invitation, tag = "members",
    responses(
        (status = 200, description = "Joined", body = Joined),
        (status = 404, description = "No open invitation for you"),
        (status = 410, description = "Void: whoever made it is no longer an admin of the club, or what you may in it was decided since"),
        (status = 409, description = "The account is a member, or in as many clubs as it may be"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn accept_invitation(
    caller: Caller,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<Acceptance>,
) -> Result<HttpResponse, Problem> {
    let none = || Problem::not_found("open invitation for your e-mail address");
    throttle::take(&db, throttle::ACCEPT, &caller.account.to_string()).await?;
    let token = Opaque::parse(&body.read()?.token).ok_or_else(none)?;
    let mailed_to = store::mailed_to(&db, &token).await?;
    let mut tx = db.account_tx().await?;
    tx.alone(ClubId(token.owner), caller.account.0).await?;
    match mailed_to {
        Some(email) if !proof::prove(&mut tx, caller.account, &email).await? => return Err(none()),
        Some(_) => {}
        None => {
            proof::demand(&config, &mut tx, caller.account).await?;
            proof::holds(&mut tx, caller.account).await?;
        }
    }
    match store::accept(tx, caller.account, &token).await? {
        Accepted::Joined(club_id) => Ok(HttpResponse::Ok().json(Joined { club_id })),
        Accepted::Void => Err(Problem::new(
            Code::Gone,
            "This invitation is void: whoever made it is no longer an admin of the club, or an admin has said since what you may in it, or \
             you left it. Ask an admin for a new one.",
        )),
    }
}

routes!(create_invitation, list_invitations, delete_invitation, accept_invitation);
