//! The door to the database. Nothing touches a club's rows without a [`ClubTx`], which fixes the club.

mod account_tx;
mod audience;
mod audited;
mod begin;
mod calendar;
mod changes;
mod early;
mod error;
mod hold;
mod life;
mod locks;
mod noted;
mod parts;
mod plain;
mod queue;
mod schema;
pub mod tables;
pub mod unique;
mod upkeep;

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono_tz::Tz;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{PgConnection, PgPool, Postgres, Transaction};
use uuid::Uuid;

use super::audit;
use super::fault::Fault;
use super::ids::{AccountId, ClubId, GroupId};
use super::lanes::{Lane, Who};
use super::print_units::PrintUnits;
use queue::Queue;

pub use account_tx::{AccountTx, Accounts};
pub use audience::Audience;
use begin::enter;
pub use changes::{Change, Kind, Named, REDATE, Receipt, Revs};
pub use error::StoreError;
pub use hold::{Hold, one_connection};
use life::Known;
pub use parts::Parts;
pub(crate) use plain::{plain_store, plain_writes};
pub use schema::{MIGRATOR, migrate};

/// What was computed for a record before its transaction, or why it cannot be stored.
pub type Prepared = Result<serde_json::Value, Vec<Fault>>;

/// Who acts in a club, and what they may see of its people.
#[derive(Clone, Debug)]
pub struct Actor {
    /// The signed-in account.
    pub account: AccountId,
    /// The groups whose athletes and sessions they see; none means every group.
    pub groups: Option<Vec<GroupId>>,
}

impl Actor {
    /// The service itself, for what is done in nobody's name and shows nobody.
    pub const NOBODY: Self = Self::unseeing(AccountId(Uuid::nil()));
    /// The service itself, which sees everybody.
    pub const SERVICE: Self = Self { account: AccountId(Uuid::nil()), groups: None };

    /// An account that sees nothing of anybody.
    pub const fn unseeing(account: AccountId) -> Self {
        Self { account, groups: Some(Vec::new()) }
    }

    /// The groups as plain ids for a query; null when all are visible.
    pub fn group_ids(&self) -> Option<Vec<Uuid>> {
        self.groups.as_ref().map(|groups| groups.iter().map(|group| group.0).collect())
    }

    /// Whether a group is theirs.
    pub fn sees(&self, group: GroupId) -> bool {
        self.groups.as_ref().is_none_or(|groups| groups.contains(&group))
    }

    /// Lets whoever made a group see it: an app of an admin has a list of the groups that there were.
    pub fn made(&mut self, group: GroupId) {
        if let Some(groups) = &mut self.groups {
            groups.push(group);
        }
    }

    /// Whether they see a record of these groups; who sees every group also sees what is in none.
    pub fn sees_any(&self, groups: &[GroupId]) -> bool {
        self.groups.is_none() || groups.iter().any(|group| self.sees(*group))
    }
}

/// The database.
#[derive(Clone, Debug)]
pub struct Db {
    pool: PgPool,
    /// Before the connections of the pool, so that nobody waits in the pool.
    queue: Arc<Queue>,
    server: Arc<life::Server>,
    /// Where erasures are noted outside the database.
    erasures: Option<Arc<Path>>,
    /// How long rows of audits are kept, days.
    audit_days: u16,
}

/// What the server must not plan with: nothing is read whole, or gathered and sorted, because a table looks small, as all do
/// before the server has counted them. What has no index is read all the same, at a price at which it would be compiled.
pub const PLANNING: [(&str, &str); 3] = [("enable_seqscan", "off"), ("enable_bitmapscan", "off"), ("jit", "off")];

impl Db {
    /// A pool that connects when first used; one for each worker thread.
    pub fn lazy(options: PgConnectOptions, connections: u32) -> Self {
        let options = options.application_name("lanewright").options(PLANNING).options([
            ("lock_timeout", "4s"),
            ("statement_timeout", "15s"),
            ("idle_in_transaction_session_timeout", "5s"),
        ]);
        let server = Arc::new(life::Server::new());
        let noted = Arc::clone(&server);
        let pool = PgPoolOptions::new()
            .after_connect(move |conn, _| {
                let noted = Arc::clone(&noted);
                Box::pin(async move { life::note(conn, &noted).await })
            })
            .max_connections(connections)
            .acquire_timeout(queue::PATIENCE)
            .idle_timeout(Duration::from_mins(5))
            .test_before_acquire(false)
            .connect_lazy_with(options);
        Self { pool, queue: Queue::of(connections), server, erasures: None, audit_days: audit::KEPT_DAYS }
    }

    /// The same, whose connections have the turns of a lane.
    #[must_use]
    pub fn in_turns(self, lane: Arc<Lane>) -> Self {
        Self { queue: Queue::before(lane), ..self }
    }

    /// The same, and whoever is erased is noted in a file outside the database; see [`super::erasures`].
    #[must_use]
    pub fn noting_erasures(self, file: Option<PathBuf>) -> Self {
        Self { erasures: file.map(Arc::from), ..self }
    }

    /// The same, which keeps rows of audits for so many days.
    #[must_use]
    pub fn keeping_audits(self, days: u16) -> Self {
        Self { audit_days: days, ..self }
    }

    /// How long rows of audits are kept, days.
    pub const fn audit_days(&self) -> u16 {
        self.audit_days
    }

    /// For a single statement over account tables, outside a transaction.
    ///
    /// # Errors
    /// When the request holds a connection, or too many wait for one.
    pub async fn accounts(&self) -> Result<Accounts<'_>, StoreError> {
        Ok(Accounts::new(&self.pool, Hold::take()?.with(&self.queue, None).await?))
    }

    /// A transaction over accounts.
    ///
    /// # Errors
    /// When the database is away, or too many wait for it.
    pub async fn account_tx(&self) -> Result<AccountTx, StoreError> {
        let begun = self.begin(None, "BEGIN", None).await?;
        Ok(AccountTx::new(begun, self.server.known()))
    }

    /// A read-only transaction in one club.
    ///
    /// # Errors
    /// When the database is away, or too many wait for it.
    pub async fn read(&self, club: ClubId, actor: &Actor) -> Result<ClubTx, StoreError> {
        let begin = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY";
        let begun = self.begin(Some(who(club, actor)), begin, Some(enter(club, actor.account))).await?;
        Ok(ClubTx::new(begun, self.server.known(), club, actor.clone()))
    }

    /// A writing transaction in one club.
    ///
    /// # Errors
    /// When the database is away, or too many wait for it.
    pub async fn write(&self, club: ClubId, actor: &Actor) -> Result<ClubTx, StoreError> {
        let begun = self.begin(Some(who(club, actor)), "BEGIN", Some(enter(club, actor.account))).await?;
        let mut tx = ClubTx::new(begun, self.server.known(), club, actor.clone());
        tx.noting = self.erasures.is_some().then(|| self.clone());
        Ok(tx)
    }

    /// Whether the database answers and has the schema of this version or a newer one.
    ///
    /// # Errors
    /// When it does not.
    pub async fn check(&self) -> Result<(), StoreError> {
        // Not a checked query: the runner makes this table, not a migration.
        let found: Option<i64> =
            sqlx::query_scalar("select max(version) from _sqlx_migrations where success").fetch_one(&self.pool).await?;
        let wanted = MIGRATOR.iter().map(|migration| migration.version).max();
        if found >= wanted { Ok(()) } else { Err(StoreError::NotFound("current schema")) }
    }
}

/// Somebody who asks for rows of a club.
fn who(club: ClubId, actor: &Actor) -> Who {
    Who { club: club.0, account: actor.account.0 }
}

/// A transaction that can touch the rows of one club only.
///
/// Every write asks for its connection with [`ClubTx::changing`], which notes what phones must learn;
/// [`ClubTx::commit`] numbers the changes last and refuses to commit a write that was not noted.
#[derive(Debug)]
pub struct ClubTx {
    tx: Transaction<'static, Postgres>,
    hold: Hold,
    locks: locks::Locks,
    /// The life of the database as far as this instance knows.
    pub life: i32,
    /// Whether tables are spread over several servers: a statement about a club and an account would ask two.
    pub spread: bool,
    /// Whether the transaction began with what belongs to an account.
    of_account: bool,
    /// The club.
    pub club: ClubId,
    /// Who acts.
    pub actor: Actor,
    audience: Option<Audience>,
    /// The scopes that count of the access token for which it was opened; none where nobody asked with one.
    pub opened: String,
    /// Its time zone, once that was asked for.
    zone: Option<Tz>,
    changes: Vec<Change>,
    unsynced: bool,
    early: early::Early,
    receipts: Vec<Receipt>,
    /// By which erasures are noted outside the database, where they are.
    noting: Option<Db>,
    /// How far the clock of the recording phone is ahead of ours, as far as known (ms).
    pub skew_ms: Option<i64>,
    /// How many more facts the holding area takes, once that was counted.
    pub room_to_hold: Option<i64>,
    /// How many more refusals are kept of somebody who left, once that was counted.
    pub room_to_refuse: Option<i64>,
    /// What was computed for records before this began, so that it does not wait for computing.
    pub prepared: HashMap<Uuid, Prepared>,
    /// Which chore of the service this belongs to, for the audit.
    pub chore: Option<&'static str>,
}

impl ClubTx {
    fn new((tx, hold): (Transaction<'static, Postgres>, Hold), known: Known, club: ClubId, actor: Actor) -> Self {
        Self {
            tx,
            hold,
            locks: locks::Locks::default(),
            life: known.life,
            spread: known.spread,
            of_account: false,
            club,
            actor,
            audience: None,
            opened: String::new(),
            zone: None,
            changes: Vec::new(),
            unsynced: false,
            early: early::Early::default(),
            receipts: Vec::new(),
            noting: None,
            skew_ms: None,
            room_to_hold: None,
            room_to_refuse: None,
            prepared: HashMap::new(),
            chore: None,
        }
    }

    /// The connection, for reading.
    pub fn conn(&mut self) -> &mut PgConnection {
        &mut self.tx
    }

    /// Notes whether the actor is a member: as one they wait for their next connection with the club, else with their address.
    pub fn found(&self, member: bool) {
        self.hold.found(who(self.club, &self.actor), member);
    }

    /// The connection, for a write that changes this record.
    pub fn changing(&mut self, change: Change) -> &mut PgConnection {
        self.changing_all([change])
    }

    /// The connection, for a write that changes all these records at once.
    pub fn changing_all(&mut self, changes: impl IntoIterator<Item = Change>) -> &mut PgConnection {
        self.changes.extend(changes);
        // What changes may be the time zone.
        self.zone = None;
        &mut self.tx
    }

    /// The connection, for a write that no phone needs to learn of (invitations).
    pub fn unsynced(&mut self) -> &mut PgConnection {
        self.unsynced = true;
        &mut self.tx
    }

    /// Marks a place to go back to.
    ///
    /// # Errors
    /// Database errors.
    pub async fn mark(&mut self) -> Result<(usize, usize), StoreError> {
        sqlx::raw_sql("savepoint item").execute(&mut *self.tx).await?;
        self.locks.mark();
        Ok((self.changes.len(), self.receipts.len()))
    }

    /// Undoes everything since the mark.
    ///
    /// # Errors
    /// Database errors.
    pub async fn back_to(&mut self, mark: (usize, usize)) -> Result<(), StoreError> {
        sqlx::raw_sql("rollback to savepoint item").execute(&mut *self.tx).await?;
        self.locks.back();
        self.changes.truncate(mark.0);
        self.receipts.truncate(mark.1);
        // A number was taken for the undone writes, so the commit must not look for a change of theirs.
        self.unsynced = true;
        Ok(())
    }

    /// Notes a receipt to complete at the commit.
    pub fn receipt(&mut self, receipt: Receipt) {
        self.receipts.push(receipt);
    }

    /// The units in which the club prints.
    ///
    /// # Errors
    /// Database errors.
    pub async fn print_units(&mut self) -> Result<PrintUnits, StoreError> {
        let word = sqlx::query_scalar!("select print_units from clubs where id = $1", self.club.0)
            .fetch_one(&mut *self.tx)
            .await?;
        PrintUnits::parse(&word).map_err(|_| StoreError::Corrupt("club"))
    }

    /// A transaction over several servers is prepared on each in the role of the moment and committed in the one it began in;
    /// where both parts of this one were written, those are to be the same.
    async fn one_role(&mut self) -> Result<(), StoreError> {
        if self.spread && self.of_account {
            sqlx::raw_sql("SET LOCAL ROLE NONE").execute(&mut *self.tx).await?;
        }
        Ok(())
    }

    /// Numbers the changes, writes the log and commits.
    ///
    /// The counter row is locked last, so per club the order of numbers is the order of commits.
    ///
    /// # Errors
    /// [`StoreError::Unrecorded`] when rows were written without [`ClubTx::changing`]; database errors.
    pub async fn commit(mut self) -> Result<Revs, StoreError> {
        if self.changes.is_empty() {
            if !self.unsynced {
                let wrote = sqlx::query_scalar!(r#"select pg_current_xact_id_if_assigned() is not null as "wrote!""#);
                if wrote.fetch_one(&mut *self.tx).await? {
                    return Err(StoreError::Unrecorded);
                }
            }
            changes::complete(&mut self.tx, self.club, &self.receipts, &Revs::default()).await?;
            self.audit().await?;
            self.one_role().await?;
            let done = self.tx.commit().await;
            super::news::tell(self.club, self.early.last);
            done?;
            return Ok(Revs::default());
        }
        let revs = changes::number(&mut self.tx, (self.club, self.life), &self.changes).await?;
        changes::complete(&mut self.tx, self.club, &self.receipts, &revs).await?;
        self.audit().await?;
        self.one_role().await?;
        let done = self.tx.commit().await;
        // Also after an error: the answer may be lost, not the commit, and whoever looks finds it.
        super::news::tell(self.club, revs.last());
        if let Some(db) = self.noting {
            // A request holds one connection, and this one has ended.
            drop(self.hold);
            noted::note(&db, self.club, &self.changes, done.is_ok()).await;
        }
        done?;
        Ok(revs)
    }
}
