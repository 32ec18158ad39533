//! The invented clubs of the demo: loaded by the command, and by `serve --demo` in a process that runs it.

use std::net::SocketAddr;
use std::process::Stdio;

use tokio::process::Command;

use super::{Database, ServeError, print};
use crate::app::Shared;
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::telemetry;
use crate::platform::token::Keys;
use crate::seed::{self, Demo};

/// Loads the invented clubs into the database; says what to try of them where the service is at `address`.
///
/// # Errors
/// When the database cannot be used or the API refuses something.
pub async fn load_seed(address: Option<SocketAddr>) -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let done = seed_into(&database).await;
    database.close().await?;
    let demo = done?;
    match address {
        Some(address) => print(&demo.what_to_try(address)),
        None => print("The invented clubs are loaded; seed-data/README.md lists the accounts."),
    }
}

async fn seed_into(database: &Database) -> Result<Demo, ServeError> {
    database.migrate().await?;
    let db = Db::lazy(database.options.clone(), 2);
    let keys = Keys::load(&db).await?;
    Ok(seed::seed(&Shared::new(Config::from_env()?, keys), db).await?)
}

/// Loads the invented clubs in a process of its own: what loading takes of memory goes with it. What it says to try.
pub(super) async fn load(database: &Database, address: SocketAddr) -> Result<String, ServeError> {
    let mut seed = Command::new(std::env::current_exe()?);
    seed.args(["seed", "--serves-on", &address.to_string()]);
    if let Some(cluster) = &database.cluster {
        seed.env("DATABASE_URL", cluster.url());
    }
    let loading = seed.stdin(Stdio::null()).stdout(Stdio::piped()).kill_on_drop(true).spawn()?;
    let done = loading.wait_with_output().await?;
    if done.status.success() { Ok(String::from_utf8_lossy(&done.stdout).into_owned()) } else { Err(ServeError::Demo) }
}
