//! The roles and the database of a private server.

use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{Connection, Executor};

use super::{Cluster, ClusterError};

/// Creates what is missing and puts the rights of an existing role straight. The service signs in as
/// `lanewright`, which owns the database, and takes the role `club_app` for each club's transaction; neither
/// may pass row security. CREATEDB lets tests make databases of their own.
const ROLES: &str = "
do $$
begin
  if not exists (select from pg_roles where rolname = 'lanewright') then
    create role lanewright;
  end if;
  if not exists (select from pg_roles where rolname = 'club_app') then
    create role club_app;
  end if;
end
$$;
alter role lanewright login nosuperuser createdb createrole nobypassrls;
alter role club_app nologin nosuperuser nocreatedb nocreaterole nobypassrls;
grant club_app to lanewright;
";

/// Creates the roles `lanewright` and `club_app` and the database `lanewright` where they are missing.
///
/// May be repeated at every start: a start that was killed half-way heals at the next one.
///
/// # Errors
/// [`ClusterError::Bootstrap`] when the server refuses a statement.
pub async fn bootstrap(cluster: &Cluster) -> Result<(), ClusterError> {
    let superuser: PgConnectOptions = cluster.connect_options().username("postgres").database("postgres");
    let mut connection = PgConnection::connect_with(&superuser).await?;
    connection.execute(ROLES).await?;
    let exists: bool = sqlx::query_scalar("select exists (select from pg_database where datname = 'lanewright')")
        .fetch_one(&mut connection)
        .await?;
    if !exists {
        connection.execute("create database lanewright owner lanewright").await?;
    }
    connection.close().await?;
    Ok(())
}
