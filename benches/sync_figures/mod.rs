//! What sync costs: the service as its own process, over HTTP, beside a private PostgreSQL that writes durably.
//!
//! Clients, service and database share the cores of the machine. Each figure with a bar is printed with its ratio to a
//! reference that is measured in the same run.

#![allow(clippy::expect_used, clippy::panic, clippy::print_stdout)] // prints figures, inputs are its own

pub mod clubs;
mod first;
mod pages;
mod polls;
pub mod pushes;
pub mod reference;
pub mod service;
pub mod wire;

use std::fs::{self, Permissions};
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::time::Duration;

use lanewright::platform::cluster::{Cluster, Options};
use lanewright::platform::db::{Db, MIGRATOR};
use lanewright::platform::token::Keys;
use sqlx::{ConnectOptions, PgConnection};
use tokio::runtime::Runtime;

/// The database of the figures and what signs for its people.
pub struct Bench {
    /// Runs what waits.
    pub runtime: Runtime,
    /// The database.
    pub cluster: Cluster,
    /// What signs.
    pub keys: Keys,
    /// Where everything is, the database in `cluster`.
    pub folder: PathBuf,
    /// Whether it stays.
    kept: bool,
}

impl Bench {
    /// Starts a database that lasts as long as this, and migrates it.
    pub fn open() -> Self {
        let folder = std::env::temp_dir().join(format!("lanewright-figures-{}", std::process::id()));
        fs::create_dir(&folder).expect("a new folder");
        Self::at(folder, false)
    }

    /// Starts the database of a folder that stays, and migrates it.
    pub fn kept(folder: PathBuf) -> Self {
        fs::create_dir_all(&folder).expect("a folder of ours");
        Self::at(folder, true)
    }

    fn at(folder: PathBuf, kept: bool) -> Self {
        let runtime = Runtime::new().expect("threads");
        // The server runs as an account of its own when we are root.
        fs::set_permissions(&folder, Permissions::from_mode(0o711)).expect("our folder");
        let (cluster, keys) = runtime.block_on(async {
            let cluster = Cluster::open(Options::durable(folder.join("cluster"))).await.expect("PostgreSQL starts");
            let mut conn = cluster.connect_options().connect().await.expect("it takes connections");
            MIGRATOR.run(&mut conn).await.expect("migrations");
            let keys = Keys::load(&Db::lazy(cluster.connect_options(), 1)).await.expect("keys");
            (cluster, keys)
        });
        Self { runtime, cluster, keys, folder, kept }
    }

    /// Runs with a connection of the superuser, whom row security does not stop.
    pub fn sql<T>(&self, work: impl AsyncFnOnce(&mut PgConnection) -> T) -> T {
        self.runtime.block_on(async {
            let options = self.cluster.connect_options().username("postgres");
            let mut conn = options.connect().await.expect("the superuser signs in");
            work(&mut conn).await
        })
    }

    /// Lets the database rest: statistics, and no writing left from what came before.
    pub fn settle(&self) {
        self.sql(async |conn| {
            for sql in ["vacuum analyze", "checkpoint"] {
                sqlx::raw_sql(sql).execute(&mut *conn).await.expect("maintenance");
            }
        });
    }

    /// Stops the database, and drops it unless it stays.
    pub fn close(self) {
        self.runtime.block_on(self.cluster.close()).expect("PostgreSQL stops");
        if !self.kept {
            fs::remove_dir_all(&self.folder).expect("our folder");
        }
    }
}

/// The time below which a share of the calls stayed (ms).
pub fn quantile(times: &mut [Duration], share: f64) -> f64 {
    times.sort_unstable();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // small counts
    let at = ((times.len() as f64 - 1.0) * share).round() as usize;
    times.get(at).map_or(f64::NAN, |time| time.as_secs_f64() * 1_000.0)
}

/// Prints the figures whose names are given; all without a name.
pub fn run(names: &[String]) {
    let wanted = |name: &str| names.is_empty() || names.iter().any(|one| one == name);
    let bench = Bench::open();
    if wanted("polls") {
        polls::run(&bench);
    }
    if wanted("pushes") {
        pushes::run(&bench);
    }
    if wanted("first") {
        first::run(&bench);
    }
    if wanted("pages") {
        pages::run(&bench);
    }
    bench.close();
}
