//! Rows of an archive into the tables of a club.

use serde_json::Value;
use sqlx::AssertSqlSafe;

use crate::platform::db::tables::{self, Comes, Table};
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::GroupId;

/// Why rows are not taken.
#[derive(Debug)]
pub enum Refused {
    /// They do not fit the table, in its words.
    Rows(String),
    /// The database itself.
    Store(StoreError),
}

impl From<sqlx::Error> for Refused {
    fn from(error: sqlx::Error) -> Self {
        let code = error.as_database_error().and_then(sqlx::error::DatabaseError::code);
        // Of classes 22 and 23 (ISO/IEC 9075): a value that does not fit, a rule that is broken.
        let of_rows = code.is_some_and(|code| code.starts_with("22") || code.starts_with("23"));
        let told = error.as_database_error().filter(|_| of_rows).map(|told| told.message().to_owned());
        match told {
            Some(told) => Self::Rows(told.chars().filter(|c| !c.is_control()).take(200).collect()),
            None => Self::Store(error.into()),
        }
    }
}

impl From<StoreError> for Refused {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Database(error) => error.into(),
            other => Self::Store(other),
        }
    }
}

/// Gives the transaction the time that an archive takes, and plans that do not rest on what the server counted before: that the club has
/// nothing, so that whatever index begins with the club would do, and each page would read all that came before it. Where the server
/// counted nothing yet it guesses the same, so the statements of a page name each row by its whole key as well.
pub async fn settle(tx: &mut ClubTx) -> Result<(), StoreError> {
    let set = "set local idle_in_transaction_session_timeout = '60s'; set local statement_timeout = '60s'; \
               set local plan_cache_mode = force_generic_plan";
    sqlx::raw_sql(set).execute(tx.conn()).await?;
    Ok(())
}

/// Whether the club has nothing that an archive of a club brings.
pub async fn is_empty(tx: &mut ClubTx) -> Result<bool, StoreError> {
    let club = tx.club.0;
    // All others hang from these.
    let roots = tables::imported().filter(|one| matches!(one.comes, Comes::ByItself(_) | Comes::InGroups(_)));
    let none: Vec<String> =
        roots.map(|one| format!("not exists (select from {} where club_id = $1)", one.name)).collect();
    // Names that stand in the code.
    let text = format!("select {}", none.join(" and "));
    Ok(sqlx::query_scalar(AssertSqlSafe(text)).bind(club).fetch_one(tx.conn()).await?)
}

/// Whether a group is there.
pub async fn has_group(tx: &mut ClubTx, id: GroupId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let there = sqlx::query_scalar!(
        r#"select exists (select from groups where club_id = $1 and id = $2 and deleted_at is null) as "there!""#,
        club,
        id.0
    );
    Ok(there.fetch_one(tx.conn()).await?)
}

/// Inserts rows of a table, an array of objects; each as it is, or none. What phones must learn of them was announced.
pub async fn insert(tx: &mut ClubTx, table: &Table, rows: &Value) -> Result<(), Refused> {
    let club = tx.club.0;
    let (table, columns) = (table.name, table.columns);
    let wanted: Vec<&str> = columns.split_whitespace().collect();
    let picked: Vec<String> = wanted.iter().map(|column| format!("u.{column}")).collect();
    // Names that stand in the code.
    let text = format!(
        "insert into {table} as x (club_id, {}) select c.id, {} from clubs c \
         cross join jsonb_populate_recordset(null::{table}, $2) as u where c.id = $1",
        wanted.join(", "),
        picked.join(", ")
    );
    let conn = tx.unsynced();
    sqlx::query(AssertSqlSafe(text)).bind(club).bind(rows).execute(conn).await?;
    Ok(())
}

/// Takes the settings over; id and name of the club stay.
pub async fn configure(tx: &mut ClubTx, row: &Value) -> Result<(), Refused> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update clubs x
        set time_zone = u.time_zone, ruleset = u.ruleset, spacing_step_mm = u.spacing_step_mm, policy = u.policy,
            print_units = u.print_units, helper_links = u.helper_links, updated_at = now()
        from jsonb_populate_record(null::clubs, $2) as u
        where x.id = $1
        "#,
        club,
        row
    )
    .execute(tx.changing(Change::put(Kind::Club, club)))
    .await?;
    Ok(())
}
