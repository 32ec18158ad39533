//! The lives of a database: a restored or promoted copy begins a new one, so that no change number is given twice.

use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};

use chrono::{TimeZone, Utc};
use sqlx::PgConnection;

/// What the connections of a pool found out about their server.
#[derive(Debug)]
pub struct Server {
    life: AtomicI32,
    spread: AtomicBool,
}

/// What is known of the server when a transaction begins.
#[derive(Clone, Copy, Debug)]
pub struct Known {
    /// The life of the database.
    pub life: i32,
    /// Whether tables are spread over several servers.
    pub spread: bool,
}

impl Server {
    /// Before the first connection.
    pub const fn new() -> Self {
        Self { life: AtomicI32::new(1), spread: AtomicBool::new(false) }
    }

    /// What is known by now.
    pub fn known(&self) -> Known {
        Known { life: self.life.load(Ordering::Relaxed), spread: self.spread.load(Ordering::Relaxed) }
    }
}

/// What a life is known by: the timeline of the write-ahead log and the identifier of the server's data.
type Mark = (i64, i64);

/// The timeline that is being written: the control file names the one of the last checkpoint, which comes minutes after a
/// promotion.
async fn here(conn: &mut PgConnection) -> Result<Mark, sqlx::Error> {
    let row = sqlx::query!(
        r#"
        select
          case
            when pg_is_in_recovery() then c.timeline_id
            else ('x' || substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8))::bit(32)::int
          end::bigint as "timeline!",
          s.system_identifier as "system!"
        from pg_control_checkpoint() c, pg_control_system() s
        "#
    )
    .fetch_one(conn)
    .await?;
    Ok((row.timeline, row.system))
}

async fn last(conn: &mut PgConnection) -> Result<Option<(i32, Mark)>, sqlx::Error> {
    let row =
        sqlx::query!("select generation, timeline, system_id from server_history order by generation desc limit 1")
            .fetch_optional(conn)
            .await?;
    Ok(row.map(|row| (row.generation, (row.timeline, row.system_id))))
}

async fn insert(conn: &mut PgConnection, generation: i32, mark: Mark) -> Result<(), sqlx::Error> {
    sqlx::query!(
        r#"
        insert into server_history (generation, timeline, system_id, noted_at)
        values ($1, $2, $3, $4)
        on conflict (generation) do nothing
        "#,
        generation,
        mark.0,
        mark.1,
        Utc::now()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// A number above the last that a copy restored twice does not choose again: seconds since 2025.
fn next(last: i32) -> i32 {
    let since =
        Utc.with_ymd_and_hms(2025, 1, 1, 0, 0, 0).single().map_or(0, |start| (Utc::now() - start).num_seconds());
    i32::try_from(since).unwrap_or(i32::MAX - 1).max(last + 1)
}

/// Notes what a new connection is connected to.
///
/// # Errors
/// Database errors, except that the schema is not there yet or the server does not tell.
pub async fn note(conn: &mut PgConnection, server: &Server) -> Result<(), sqlx::Error> {
    server.spread.store(spread(&mut *conn).await?, Ordering::Relaxed);
    match find(conn).await {
        Ok(generation) => {
            server.life.store(generation, Ordering::Relaxed);
            Ok(())
        }
        // No such table or function, or no permission: migrations come first, and managed servers may keep it to themselves.
        Err(sqlx::Error::Database(error)) if matches!(error.code().as_deref(), Some("42P01" | "42883" | "42501")) => {
            Ok(())
        }
        Err(error) => Err(error),
    }
}

/// Whether the server is the coordinator of several that the tables are spread over.
///
/// # Errors
/// Database errors.
pub async fn spread(conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(r#"select exists (select from pg_extension where extname = 'citus') as "spread!""#)
        .fetch_one(conn)
        .await
}

async fn find(conn: &mut PgConnection) -> Result<i32, sqlx::Error> {
    let known = last(conn).await?;
    let mark = here(conn).await?;
    match known {
        Some((generation, known)) if known == mark => return Ok(generation),
        Some((generation, _)) => insert(conn, next(generation), mark).await?,
        None => insert(conn, 1, mark).await?,
    }
    Ok(last(conn).await?.map_or(1, |(generation, _)| generation))
}

/// Begins a new life, on an operator's word.
///
/// # Errors
/// Database errors.
pub async fn begin(conn: &mut PgConnection) -> Result<i32, sqlx::Error> {
    let known = last(conn).await?.map_or(0, |(generation, _)| generation);
    let mark = here(conn).await?;
    let generation = next(known);
    insert(conn, generation, mark).await?;
    Ok(generation)
}
