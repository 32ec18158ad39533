//! The deletion of an account over HTTP.

use std::path::Path;

use actix_web::HttpResponse;
use actix_web::web::Data;
use secrecy::SecretString;
use serde::Deserialize;
use utoipa::ToSchema;

use super::ending_store as store;
use super::model::Standing;
use super::second_factor::{require_password, show};
use super::store::{Account, find};
use crate::platform::access::Caller;
use crate::platform::body::Body;
use crate::platform::config::Config;
use crate::platform::db::{Db, StoreError};
use crate::platform::erasures;
use crate::platform::network::Network;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::resources::members;

/// What whoever deletes their account shows.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"password": "five wickets in a row"}))]
struct AccountDeletion {
    /// The password, so that nobody does this on a device that was left open.
    #[schema(value_type = String, format = Password, max_length = 128, example = "five wickets in a row")]
    password: SecretString,
    /// Six digits of the authenticator, or a recovery code; needed where the account has a second factor.
    #[schema(max_length = 64, example = "287082")]
    code: Option<String>,
}

/// Deletes your account, at once and for good: every sign-in, phone, app, link and calendar of yours ends with this call, and you are a
/// member of no club any more.
///
/// There is no grace: it is about you alone, the password says that it is you, and what belongs to clubs stays with them. What
/// you recorded keeps an id that leads to nobody; your name and address go from the clubs that you are in, and within hours from
/// those that you left before. A mail tells your address, which goes with it. The last admin of a club makes another member admin first, or asks for the deletion of the club
/// and waits for its day. Your address can sign up anew.
#[utoipa::path(
    post, path = "/v1/me/deletion", impl_for = delete_account, tag = "accounts",
    responses((status = 204, description = "Deleted"),
        (status = 404, description = "Another call deleted it a moment ago"),
        (status = 409, description = "You are the last admin of a club"),
        (status = 429, description = "Too many attempts; `Retry-After` says how long to wait")
    )
)]
async fn delete_account(
    caller: Caller,
    from: Network,
    db: Data<Db>,
    config: Data<Config>,
    body: Body<AccountDeletion>,
) -> Result<HttpResponse, Problem> {
    let AccountDeletion { password, code } = body.read()?;
    let account = require_password(&db, &caller, password).await?;
    show(&db, &config, account.id, (Standing::Device(caller.device), &from), code.as_deref()).await?;
    let mut last_of = Vec::new();
    for club in store::clubs(&db, account.id).await? {
        last_of.extend(members::is_last_admin(&db, club, account.id).await?);
    }
    if !last_of.is_empty() {
        let says = format!(
            "You are the last admin of {}. Make another member admin there, or have the club deleted first.",
            last_of.join(", ")
        );
        return Err(Problem::new(Code::Conflict, says));
    }
    end(&db, &account, true).await?;
    if let Err(error) = db.note_gone(account.id.0).await {
        tracing::error!(%error, "cannot note the end of an account outside the database: see LANEWRIGHT_ERASURES");
    }
    Ok(HttpResponse::NoContent().finish())
}

/// Takes an account out of its clubs, club by club and each for good, deletes it, and tells its address where it is to be told.
async fn end(db: &Db, account: &Account, tell: bool) -> Result<(), StoreError> {
    // Whoever joins one more club meanwhile leaves that as well.
    loop {
        for club in store::clubs(db, account.id).await? {
            members::forget(db, club, account.id).await?;
        }
        if store::delete(db, account, tell).await? {
            return Ok(());
        }
    }
}

/// Deletes accounts again that were deleted after a restored copy was made; how many. One that is the last admin of a club in
/// the copy stays, with a word to the operator: somebody has to decide about the club.
///
/// # Errors
/// When the database or the list cannot be used; nobody must be served before it could.
pub async fn end_again(db: &Db, file: &Path) -> Result<usize, StoreError> {
    let listed = erasures::gone(&erasures::read(file).map_err(sqlx::Error::Io)?);
    let mut ended = 0;
    for id in store::there(db, &listed).await? {
        let mut tx = db.account_tx().await?;
        let found = find(&mut tx, id).await?;
        drop(tx);
        let Some(account) = found else { continue };
        match end(db, &account, false).await {
            Ok(()) => ended += 1,
            Err(StoreError::Conflict(says)) => {
                tracing::error!(account = %id, says, "an account that was deleted is back in the copy and stays");
            }
            Err(error) => return Err(error),
        }
    }
    Ok(ended)
}

routes!(delete_account);
