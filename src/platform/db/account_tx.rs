//! Transactions over what belongs to accounts and not to a club.

use sqlx::{AssertSqlSafe, PgConnection, PgPool, Postgres, Transaction};

use super::{Actor, ClubTx, Hold, Known, StoreError, enter};
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::news;

/// The pool, for one statement.
#[derive(Debug)]
pub struct Accounts<'a> {
    pool: &'a PgPool,
    _hold: Hold,
}

impl<'a> Accounts<'a> {
    pub(super) fn new(pool: &'a PgPool, hold: Hold) -> Self {
        Self { pool, _hold: hold }
    }

    /// The pool.
    pub fn pool(&self) -> &PgPool {
        self.pool
    }
}

/// A transaction over account tables.
#[derive(Debug)]
pub struct AccountTx {
    tx: Transaction<'static, Postgres>,
    hold: Hold,
    known: Known,
    /// Accounts of which a sign-in ends with this transaction.
    ended: Vec<AccountId>,
}

impl AccountTx {
    pub(super) fn new((tx, hold): (Transaction<'static, Postgres>, Hold), known: Known) -> Self {
        Self { tx, hold, known, ended: Vec::new() }
    }

    /// The connection.
    pub fn conn(&mut self) -> &mut PgConnection {
        &mut self.tx
    }

    /// Whether tables are spread over several servers.
    pub(super) const fn spread(&self) -> bool {
        self.known.spread
    }

    /// Notes that a sign-in of an account ends with this transaction, so that those who wait with it are told.
    pub fn ends_sign_in(&mut self, account: AccountId) {
        self.ended.push(account);
    }

    /// Commits.
    ///
    /// # Errors
    /// When the database refuses or is away.
    pub async fn commit(self) -> Result<(), StoreError> {
        let done = self.tx.commit().await;
        // Also after an error: the answer may be lost, not the commit, and whoever is told looks.
        for account in self.ended {
            news::sign_in_ended(account);
        }
        Ok(done?)
    }

    /// Goes on in one club within the same transaction; from here on only its rows can be touched.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn enter_club(mut self, club: ClubId, account: AccountId) -> Result<ClubTx, StoreError> {
        sqlx::raw_sql(AssertSqlSafe(enter(club, account))).execute(&mut *self.tx).await?;
        let tx = ClubTx::new((self.tx, self.hold), self.known, club, Actor { account, groups: None });
        Ok(ClubTx { of_account: true, ..tx })
    }
}
