//! Starting, running and stopping the service.

mod demo;

use std::io::Write;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::str::FromStr;
use std::time::Duration;

use actix_web::web::Data;
use chrono::Utc;
use secrecy::ExposeSecret;
use sqlx::postgres::PgConnectOptions;
use sqlx::{ConnectOptions, PgConnection};
use thiserror::Error;
use tokio::signal::unix::{SignalKind, signal};
use tokio::task::JoinHandle;
use uuid::Uuid;

use crate::app::{self, Shared};
use crate::chores;
use crate::platform::audit::{self, Checked, hex};
use crate::platform::cluster::{self, Cluster, ClusterError};
use crate::platform::config::{
    Config, ConfigError, audit_days, database_password, erasures_file, health_address, listen_address,
};
use crate::platform::db::{self, Db, StoreError};
use crate::platform::ids::ClubId;
use crate::platform::mail::Carrier;
use crate::platform::telemetry;
use crate::platform::token::{KeyError, Keys, RELOAD_SECONDS};
use crate::post;
use crate::rehearsal;
use crate::resources::{accounts, athletes, clubs, exports};
use crate::seed::SeedError;

pub use demo::load_seed;

/// Why the service does not run; each is one line that says what to do.
#[derive(Debug, Error)]
pub enum ServeError {
    /// A setting.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The address is taken or not ours.
    #[error("cannot listen on {0}: {1}; stop what uses it, or choose another with {2}")]
    Listen(SocketAddr, std::io::Error, &'static str),
    /// The private database.
    #[error(transparent)]
    Cluster(#[from] ClusterError),
    /// `DATABASE_URL` does not parse or the server does not answer.
    #[error("the database cannot be used: {0}; check DATABASE_URL, or unset it for a private database")]
    Database(#[from] sqlx::Error),
    /// A migration failed.
    #[error("the database could not be migrated: {0}")]
    Migrate(#[from] sqlx::migrate::MigrateError),
    /// The signing keys.
    #[error(transparent)]
    Keys(#[from] KeyError),
    /// The invented clubs.
    #[error(transparent)]
    Seed(#[from] SeedError),
    /// The process that loads them says why.
    #[error("the demo could not be loaded, for the reason above")]
    Demo,
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Input or output.
    #[error("{0}")]
    Io(#[from] std::io::Error),
}

impl ServeError {
    /// The exit code of the program.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Cluster(error) => error.exit_code(),
            _ => 1,
        }
    }
}

/// Writes text to standard output; a closed pipe is not an error.
///
/// # Errors
/// When the output cannot be written.
pub fn print(text: &str) -> Result<(), ServeError> {
    match writeln!(std::io::stdout(), "{text}") {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}

/// Plays the scenes of [`rehearsal`] for a phone, or lists them; whether the phone passed.
///
/// # Errors
/// The address is taken, or there is no such scene.
pub async fn rehearse(port: u16, scenes: &[String], list: bool, patience: u64) -> Result<bool, ServeError> {
    if list {
        let lines = rehearsal::scenes().into_iter().map(|(name, about)| format!("{name}: {about}"));
        print(&lines.collect::<Vec<_>>().join("\n"))?;
        return Ok(true);
    }
    let address = SocketAddr::from(([127, 0, 0, 1], port));
    let listener = TcpListener::bind(address).map_err(|error| ServeError::Listen(address, error, "--port"))?;
    let address = listener.local_addr()?;
    let rehearsal = rehearsal::start(listener, scenes)?;
    print(&format!(
        "the driver asks http://{address}/rehearsal/next, the phone http://{address}/v1/clubs/.../changes"
    ))?;
    let report = rehearsal.ended(Duration::from_secs(patience)).await;
    print(&report.to_string())?;
    Ok(report.passed())
}

/// The database in use: the one of `DATABASE_URL`, else a private one.
struct Database {
    options: PgConnectOptions,
    cluster: Option<Cluster>,
}

impl Database {
    async fn open() -> Result<Self, ServeError> {
        match std::env::var("DATABASE_URL") {
            Ok(url) if !url.trim().is_empty() => {
                let options = PgConnectOptions::from_str(url.trim())?;
                let options = match database_password()? {
                    Some(password) => options.password(password.expose_secret()),
                    None => options,
                };
                Ok(Self { options, cluster: None })
            }
            _ => {
                let folder = cluster::default_folder()?;
                let cluster = Cluster::open(cluster::Options::durable(folder)).await?;
                Ok(Self { options: cluster.connect_options(), cluster: Some(cluster) })
            }
        }
    }

    async fn migrate(&self) -> Result<(), ServeError> {
        let mut connection: PgConnection = self.options.connect().await?;
        db::migrate(&mut connection).await?;
        Ok(())
    }

    async fn close(self) -> Result<(), ServeError> {
        match self.cluster {
            Some(cluster) => Ok(cluster.close().await?),
            None => Ok(()),
        }
    }
}

/// Brings the database to the schema of this version.
///
/// # Errors
/// When the database cannot be used or a migration fails.
pub async fn migrate() -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let done = database.migrate().await;
    database.close().await?;
    done?;
    print("The database has the schema of this version.")
}

/// Makes a new signing key, which signs in a few minutes or, when the old ones may be known to others, `now` in their place.
///
/// # Errors
/// When the database cannot be used.
pub async fn rotate_keys(now: bool) -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let db = Db::lazy(database.options.clone(), 1);
    let done = if now {
        Keys::replace(&db).await.map(|kid| {
            format!("Signing key {kid} takes the place of all others within a minute. Access tokens are refreshed, phones copy afresh.")
        })
    } else {
        Keys::rotate(&db).await.map(|(kid, from)| {
            format!(
                "New signing key {kid}. It signs from {}; nothing needs to be restarted.",
                from.format("%H:%M:%S UTC")
            )
        })
    };
    database.close().await?;
    print(&done?)
}

/// Begins a new life of the database after it was restored from a copy, and erases again who was erased since.
///
/// # Errors
/// When the database or the list of erasures cannot be used.
pub async fn after_restore() -> Result<(), ServeError> {
    telemetry::init()?;
    let file = erasures_file()?;
    let database = Database::open().await?;
    let db = Db::lazy(database.options.clone(), 1);
    let done = async {
        let life = db.after_restore().await?;
        let erased = erase_again(&db, file).await?;
        // A copy that was restored row by row comes without what the server knew of its tables.
        db.analyse().await?;
        Ok::<_, ServeError>((life, erased))
    }
    .await;
    database.close().await?;
    let (life, erased) = done?;
    let erased = match erased {
        Some(count) => format!("{count} athletes who were erased after the copy was made are erased again."),
        None => {
            "LANEWRIGHT_ERASURES names no list: erase again by hand who was erased after the copy was made.".to_owned()
        }
    };
    print(&format!("The database begins its life {life}. {erased} Restart every instance of the service now."))
}

/// Brings the database and the list of erasures outside it together; how many athletes were erased again. None without a list.
async fn erase_again(db: &Db, file: Option<PathBuf>) -> Result<Option<usize>, ServeError> {
    match file {
        Some(file) => {
            // Whoever was of such a club needs no erasing by name.
            clubs::close_again(db, &file).await?;
            accounts::end_again(db, &file).await?;
            Ok(Some(athletes::erasures::settle(db, &file).await?))
        }
        None => Ok(None),
    }
}

/// Lists the mail that could not be sent, with the reasons, or lets all of it be tried again.
///
/// # Errors
/// When the database cannot be used.
pub async fn dead_letters(again: bool) -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let done = post::dead_letters(&Db::lazy(database.options.clone(), 1), again).await;
    database.close().await?;
    print(&done?)
}

/// Takes the second factor from the account of an address.
///
/// # Errors
/// When the database cannot be used.
pub async fn remove_second_factor(email: &str) -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let done = accounts::lift_second_factor(&Db::lazy(database.options.clone(), 1), email).await;
    database.close().await?;
    print(if done? {
        "Removed, and signed out everywhere. The next sign-in needs the password alone; a mail tells the owner."
    } else {
        "No account of this address has a second factor; nothing was changed."
    })
}

/// Ends every sign-in of the account of an address, or of every account.
///
/// # Errors
/// When the database cannot be used.
pub async fn end_sign_ins(email: Option<&str>) -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let db = Db::lazy(database.options.clone(), 1);
    let done = match email {
        Some(email) => accounts::end_sign_ins(&db, email).await.map(u64::from),
        None => accounts::end_all_sign_ins(&db).await,
    };
    database.close().await?;
    match done? {
        0 => print("There is no such account; nothing was changed."),
        accounts => print(&format!("Signed out everywhere: {accounts} accounts, with what their apps had.")),
    }
}

/// Drops what is kept long enough.
///
/// # Errors
/// When the database cannot be used.
pub async fn compact() -> Result<(), ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let db = Db::lazy(database.options.clone(), 1).noting_erasures(erasures_file()?).keeping_audits(audit_days()?);
    let done = chores::compact(&db, chrono::Duration::zero()).await;
    database.close().await?;
    match done? {
        Some(dropped) => print(&format!("Dropped {dropped}.")),
        None => print("An instance of the service is dropping what is old at this moment; nothing to do."),
    }
}

/// Checks the audit of every club, or of one; whether no row is missing or changed.
///
/// # Errors
/// When the database cannot be used.
pub async fn verify_audit(club: Option<Uuid>) -> Result<bool, ServeError> {
    telemetry::init()?;
    let database = Database::open().await?;
    let db = Db::lazy(database.options.clone(), 1);
    let done = audit::check_all(&db, club.map(ClubId)).await;
    database.close().await?;
    let audits = done?;
    for (club, checked) in &audits {
        let Checked { rows, first, last, hash, breaks } = checked;
        let first = first.unwrap_or(0);
        print(&format!("club {club}: {rows} rows from {first} to {last}, hash {}", hex(hash)))?;
        for one in breaks {
            print(&format!("club {club}: row {}: {}", one.number, one.flaw.as_str()))?;
        }
    }
    let broken = audits.iter().filter(|(_, checked)| !checked.breaks.is_empty()).count();
    match broken {
        0 => print("No row is missing or changed.")?,
        _ => print(&format!("The audit of {broken} clubs is not as it was written."))?,
    }
    Ok(broken == 0)
}

/// Reads the signing keys again and again, so that a new one needs no restart.
async fn reload_often(db: Db, keys: Data<Keys>) {
    loop {
        tokio::time::sleep(Duration::from_secs(RELOAD_SECONDS)).await;
        if let Err(error) = keys.reload(&db, Utc::now()).await {
            tracing::warn!(%error, "cannot read the signing keys again");
        }
    }
}

/// Serves until SIGINT or SIGTERM, then drains requests and stops the private database.
///
/// # Errors
/// When the service cannot start, or its private database ends by itself.
pub async fn serve(demo: bool) -> Result<(), ServeError> {
    telemetry::init()?;
    let config = Config::from_env()?;
    let listener = bind(listen_address()?, "LANEWRIGHT_LISTEN")?;
    let probes = match health_address()? {
        Some(address) => Some(bind(address, "LANEWRIGHT_HEALTH_LISTEN")?),
        None => None,
    };
    let mut database = Database::open().await?;
    let served = serve_on(listener, probes, &config, &mut database, demo).await;
    database.close().await?;
    served
}

fn bind(address: SocketAddr, setting: &'static str) -> Result<TcpListener, ServeError> {
    TcpListener::bind(address).map_err(|error| ServeError::Listen(address, error, setting))
}

/// What the service does by itself for as long as it runs.
fn chores_of(database: &Database, db: &Db, carrier: Carrier, keys: &Data<Keys>) -> [JoinHandle<()>; 4] {
    // On connections of its own: one reads for as long as an archive is written, the other stores its pieces.
    let archives = exports::make_often(Db::lazy(database.options.clone(), 2));
    [
        tokio::spawn(chores::compact_often(db.clone())),
        tokio::spawn(reload_often(db.clone(), Data::clone(keys))),
        tokio::spawn(post::carry_often(db.clone(), carrier)),
        tokio::spawn(archives),
    ]
}

async fn serve_on(
    listener: TcpListener,
    probes: Option<TcpListener>,
    config: &Config,
    database: &mut Database,
    demo: bool,
) -> Result<(), ServeError> {
    database.migrate().await?;
    let db = Db::lazy(database.options.clone(), 2)
        .noting_erasures(config.erasures.clone())
        .keeping_audits(config.audit_days);
    // Before anything is served: the database may be an older copy.
    if let Some(erased @ 1..) = erase_again(&db, config.erasures.clone()).await? {
        tracing::warn!(erased, "athletes who were erased before are erased again");
    }
    let keys = Keys::load(&db).await?;
    let address = listener.local_addr()?;
    let shared = Shared::new(config.clone(), keys);
    let (carrier, way) = post::carrier()?;
    let chores = chores_of(database, &db, carrier, shared.keys());
    let to_try = if demo { Some(demo::load(database, address).await?) } else { None };
    let trail = Data::clone(shared.trail());
    if let Some(probes) = probes {
        let address = probes.local_addr()?;
        let probes = app::run_probes(probes, database.options.clone())?;
        tracing::info!(%address, "supervisors are answered");
        // Ends with the process: until the last request is answered, somebody may ask.
        tokio::spawn(probes);
    }
    let server = app::run(listener, shared, database.options.clone())?;
    let handle = server.handle();
    let mut running = tokio::task::spawn(server);
    print(&format!("Lanewright serves on http://{address} (documentation: http://{address}/docs)"))?;
    print(&way)?;
    if let Some(to_try) = to_try {
        print(to_try.trim_end())?;
    }
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut ended = None;
    let watch = async {
        match database.cluster.as_mut() {
            Some(cluster) => cluster.watch().await,
            None => std::future::pending().await,
        }
    };
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
        done = &mut running => return done.map_err(std::io::Error::other)?.map_err(ServeError::Io),
        error = watch => ended = Some(error),
    }
    for chore in chores {
        chore.abort();
    }
    handle.stop(ended.is_none()).await;
    if let Err(error) = trail.store(&db).await {
        tracing::error!(%error, "cannot store who read what in the last second");
    }
    match ended {
        Some(error) => Err(error.into()),
        None => Ok(()),
    }
}
