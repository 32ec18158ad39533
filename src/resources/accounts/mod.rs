//! Accounts: sign-up, sign-in, refresh, sign-out, devices, addresses, second factors, founding a club, and apps that act for people.

mod addresses;
mod addresses_shapes;
mod addresses_store;
mod devices_store;
mod ended_sign_ins;
mod ending;
mod ending_store;
mod http;
mod letters;
mod model;
mod oauth;
mod prune_store;
mod second_factor;
mod second_factor_shapes;
mod second_factor_store;
mod shapes;
mod sign_in;
mod store;

pub use addresses::{choose_password, confirm, is_reset};
pub use addresses_store::tell_clubs;
pub use ended_sign_ins::{of as end_sign_ins, of_all as end_all_sign_ins};
pub use ending::end_again;
pub use letters::write;
pub use oauth::{MAX_APPS, pages};
pub use second_factor::lift as lift_second_factor;
pub use store::first;

use crate::platform::db::{Db, StoreError};

/// Drops what is kept long enough: ended sign-ins, tokens, links, accounts that nobody can sign in to; how many rows.
///
/// # Errors
/// Database errors; what was dropped stays dropped.
pub async fn prune(db: &Db) -> Result<u64, StoreError> {
    Ok(prune_store::prune(db).await? + addresses_store::prune(db).await?)
}

/// The routes of this resource.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    http::routes(config);
    addresses::routes(config);
    ending::routes(config);
    second_factor::routes(config);
    sign_in::routes(config);
    oauth::routes(config);
}
