//! The rows of a club's tables as JSON, read along a cursor inside one snapshot: never more of them in memory than a page.

use sqlx::AssertSqlSafe;

use crate::platform::db::tables::Table;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::AthleteId;

/// Rows of a page.
const PAGE: u32 = 200;

/// A column as the catalogue of the database has it.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// Its type, as the database words it.
    pub kind: String,
    /// Whether it may be empty.
    pub optional: bool,
}

/// How a column is read: bytes are spelt out, places in lane plans are cut to those of one athlete.
fn read(column: &str) -> String {
    match column {
        "hash" => "encode(x.hash, 'hex') as hash".to_owned(),
        "places" => "(select coalesce(jsonb_agg((l.lane - 'athletes') || jsonb_build_object('athlete', a.one) order by l.at), '[]') \
             from jsonb_array_elements(x.plan -> 'lanes') with ordinality as l (lane, at), \
             jsonb_array_elements(l.lane -> 'athletes') as a (one) \
             where a.one ->> 'athlete_id' = '{athlete}') as places"
            .to_owned(),
        _ => format!("x.{column}"),
    }
}

/// The columns of a table that an export has, and which rows; none when it has nothing of the table.
fn part(table: &Table, athlete: Option<AthleteId>) -> Option<(&'static str, &'static str)> {
    let all = (table.columns, "");
    let part = if athlete.is_some() { table.of_athlete? } else { all };
    (!part.0.is_empty()).then_some(part)
}

/// What an export has of a table, as the catalogue describes it; none when it has nothing of it.
pub async fn columns(
    tx: &mut ClubTx,
    table: &Table,
    athlete: Option<AthleteId>,
) -> Result<Option<Vec<Column>>, StoreError> {
    let Some((names, _)) = part(table, athlete) else { return Ok(None) };
    let known: Vec<(String, String, bool)> = sqlx::query_as(
        "select attname::text, format_type(atttypid, null), not attnotnull from pg_attribute \
         where attrelid = $1::text::regclass and attnum > 0 and not attisdropped",
    )
    .bind(table.from)
    .fetch_all(tx.conn())
    .await?;
    let column = |name: &'static str| {
        let found = known.iter().find(|(known, ..)| known == name);
        let (kind, optional) = found.map_or(("jsonb", false), |(_, kind, optional)| (kind.as_str(), *optional));
        Column { name, kind: kind.to_owned(), optional }
    };
    Ok(Some(names.split_whitespace().map(column).collect()))
}

/// Gives a snapshot the time that writing what is read takes, and one way of writing moments.
pub async fn settle(tx: &mut ClubTx) -> Result<(), StoreError> {
    let set = "set local idle_in_transaction_session_timeout = '60s'; set local statement_timeout = '60s'; set local lock_timeout = '60s'; \
               set local timezone = 'UTC'";
    sqlx::raw_sql(set).execute(tx.conn()).await?;
    Ok(())
}

/// Opens a table; false when an export has nothing of it. One at a time.
pub async fn open(tx: &mut ClubTx, table: &Table, athlete: Option<AthleteId>) -> Result<bool, StoreError> {
    let Some((columns, rows)) = part(table, athlete) else { return Ok(false) };
    let columns: Vec<String> = columns.split_whitespace().map(read).collect();
    let filter = if rows.is_empty() { String::new() } else { format!(" and {rows}") };
    // Names stand in the code and ids are typed, so the text is safe.
    let text = format!(
        "declare rows no scroll cursor for select row_to_json(r)::text from \
         (select {} from {} x where x.{} = '{{club}}'{filter} order by {}) r",
        columns.join(", "),
        table.from,
        table.club,
        table.key("x")
    );
    let text = text.replace("{club}", &tx.club.to_string());
    let text = text.replace("{athlete}", &athlete.map(|id| id.to_string()).unwrap_or_default());
    sqlx::raw_sql(AssertSqlSafe(text)).execute(tx.conn()).await?;
    Ok(true)
}

/// The next rows, each as a line of JSON; none behind the last.
pub async fn next(tx: &mut ClubTx) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar(AssertSqlSafe(format!("fetch {PAGE} from rows"))).fetch_all(tx.conn()).await?)
}

/// Closes the table.
pub async fn close(tx: &mut ClubTx) -> Result<(), StoreError> {
    sqlx::raw_sql("close rows").execute(tx.conn()).await?;
    Ok(())
}
