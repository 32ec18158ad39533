//! What the service does to its database beside requests: chores over all clubs, a restore, what the server counts.

use sqlx::AssertSqlSafe;
use uuid::Uuid;

use super::{AccountTx, Db, StoreError, life};
use crate::platform::erasures;
use crate::platform::ids::ClubId;

impl Db {
    /// A transaction of whoever owns the tables, in one club: for dropping what nobody who acts in a club may touch.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn owning(&self, club: ClubId) -> Result<AccountTx, StoreError> {
        let begun = self.begin(None, "BEGIN", Some(format!("SET LOCAL app.club_id = '{club}'"))).await?;
        Ok(AccountTx::new(begun, self.server.known()))
    }

    /// Begins a new life of the database after it was restored from a copy.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn after_restore(&self) -> Result<i32, StoreError> {
        let mut tx = self.account_tx().await?;
        let generation = life::begin(tx.conn()).await?;
        tx.commit().await?;
        Ok(generation)
    }

    /// Lets the server count what its tables hold: after much came at once, its plans would rest on guesses until it does so
    /// by itself.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn analyse(&self) -> Result<(), StoreError> {
        let mut tx = self.account_tx().await?;
        sqlx::raw_sql("SET LOCAL statement_timeout = 0").execute(tx.conn()).await?;
        sqlx::raw_sql("ANALYZE").execute(tx.conn()).await?;
        tx.commit().await
    }

    /// Lets the server count those of these tables that were all but empty when it last did, after much came at once: what came
    /// is most of them. Where the service does not own the tables, the server leaves that to whoever does. Parts of tables that are
    /// spread over servers hold what is of other clubs too, and each server counts its own.
    pub async fn analyse_young(&self, tables: &[&'static str]) {
        if let Err(error) = self.count_young(tables).await {
            tracing::warn!(%error, "cannot count what an import filled");
        }
    }

    async fn count_young(&self, tables: &[&'static str]) -> Result<(), StoreError> {
        let mut tx = self.account_tx().await?;
        if tx.spread() {
            return Ok(());
        }
        let young: Vec<String> = sqlx::query_scalar(
            "select c.oid::regclass::text from pg_class c where c.oid = any ($1::text[]::regclass[]) and c.reltuples < 1000",
        )
        .bind(tables)
        .fetch_all(tx.conn())
        .await?;
        for table in young {
            // Names that the catalogue gave.
            let sql = format!("ANALYZE (SKIP_LOCKED) {table}");
            sqlx::raw_sql(AssertSqlSafe(sql)).execute(tx.conn()).await?;
        }
        tx.commit().await
    }

    /// Notes outside the database that a club or an account was deleted, as erasures are noted: with its id twice.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub async fn note_gone(&self, id: Uuid) -> Result<(), StoreError> {
        let Some(file) = self.erasures.clone() else { return Ok(()) };
        let noted = tokio::task::spawn_blocking(move || erasures::add(&file, &[(ClubId(id), id)])).await;
        Ok(noted.map_err(std::io::Error::other).and_then(|noted| noted).map_err(sqlx::Error::Io)?)
    }

    /// Every club, for chores; a request never reads more than one.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn clubs(&self) -> Result<Vec<ClubId>, StoreError> {
        let mut tx = self.account_tx().await?;
        let ids = sqlx::query_scalar!("select distinct club_id from account_club order by club_id")
            .fetch_all(tx.conn())
            .await?;
        Ok(ids.into_iter().map(ClubId).collect())
    }
}
