//! Members of a club, and the invitations by which they come.

mod forget_store;
mod http;
mod invitations;
mod invitations_store;
mod letters;
mod model;
mod shapes;
mod store;

pub use forget_store::{forget, forget_left, is_last_admin};
pub use invitations_store::prune;
pub use letters::write;

use crate::platform::db::{Db, StoreError};
use crate::platform::token::Opaque;

/// Whether a secret from a mail is that of an invitation which can be taken.
///
/// # Errors
/// Database errors.
pub async fn is_invitation(db: &Db, secret: &str) -> Result<bool, StoreError> {
    match Opaque::parse(secret) {
        Some(token) => Ok(invitations_store::mailed_to(db, &token).await?.is_some()),
        None => Ok(false),
    }
}

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    invitations::routes(config);
}
