//! How a transaction begins.

use std::sync::Arc;

use sqlx::{AssertSqlSafe, PgPool, Postgres, Transaction};

use super::{Db, Hold, StoreError, life};
use crate::platform::ids::{AccountId, ClubId};
use crate::platform::lanes::Who;

impl Db {
    /// Begins, after a turn of whoever asks, and says whose rows it is about; once more when the pooled connection had died
    /// unnoticed.
    ///
    /// In a task of its own, because a request may end at any await (its body is refused, its client is gone): a begin
    /// that is dropped half-way would give its connection back to the pool inside a transaction, in the role and club
    /// of that request.
    pub(super) async fn begin(
        &self,
        named: Option<Who>,
        begin: &'static str,
        enter: Option<String>,
    ) -> Result<(Transaction<'static, Postgres>, Hold), StoreError> {
        let hold = Hold::take()?.with(&self.queue, named).await?;
        let (pool, server) = (self.pool.clone(), Arc::clone(&self.server));
        let begun = tokio::spawn(async move {
            match begin_on(&pool, &server, begin, enter.as_deref()).await {
                Err(sqlx::Error::Io(_)) => begin_on(&pool, &server, begin, enter.as_deref()).await,
                other => other,
            }
        });
        Ok((begun.await.unwrap_or(Err(sqlx::Error::WorkerCrashed))?, hold))
    }
}

/// One message where one server is asked. Several servers are sent the whole message that a setting came in, for each setting: the
/// beginning must not be part of it.
async fn begin_on(
    pool: &PgPool,
    server: &life::Server,
    begin: &'static str,
    enter: Option<&str>,
) -> Result<Transaction<'static, Postgres>, sqlx::Error> {
    match enter {
        Some(enter) if server.known().spread => {
            let mut tx = pool.begin_with(begin).await?;
            sqlx::raw_sql(AssertSqlSafe(enter.to_owned())).execute(&mut *tx).await?;
            Ok(tx)
        }
        Some(enter) => pool.begin_with(AssertSqlSafe(format!("{begin}; {enter}"))).await,
        None => pool.begin_with(begin).await,
    }
}

/// The statements that put a transaction into one club, and of accounts show it one. The ids are typed UUIDs, so the text is safe.
pub(super) fn enter(club: ClubId, account: AccountId) -> String {
    format!("SET LOCAL ROLE club_app; SET LOCAL app.club_id = '{club}'; SET LOCAL app.account_id = '{account}'")
}
