//! Brings a database to the schema of this version.

use sqlx::migrate::{Migrate, MigrateError, Migrator};
use sqlx::{Executor, PgConnection};

use super::life;

/// The migrations, embedded at compile time.
pub static MIGRATOR: Migrator = sqlx::migrate!();

/// The migration that spreads all tables over the servers of a distributed PostgreSQL.
const SPREADS: i64 = 71;

/// Until then tables stay where they are made: commands of earlier files are refused of spread tables, not of others.
const LATER: &str = "create or replace function ops.distribute() returns void language sql as ''";

/// Carries out the migrations that the database does not have yet.
///
/// # Errors
/// A migration failed, or is not the one that the database knows by its number; the database is away.
pub async fn migrate(conn: &mut PgConnection) -> Result<(), MigrateError> {
    // A second lock of this connection around those of the runs, so that no other instance comes between them.
    conn.lock().await?;
    let done = in_order(conn).await;
    conn.unlock().await?;
    done
}

async fn in_order(conn: &mut PgConnection) -> Result<(), MigrateError> {
    if life::spread(conn).await? {
        conn.execute("set citus.multi_shard_modify_mode = 'sequential'").await?;
        MIGRATOR.run_to(1, &mut *conn).await?;
        let known: Option<i64> =
            sqlx::query_scalar("select max(version) from _sqlx_migrations where success").fetch_one(&mut *conn).await?;
        if known < Some(SPREADS) {
            conn.execute(LATER).await?;
        }
    }
    MIGRATOR.run(conn).await
}
