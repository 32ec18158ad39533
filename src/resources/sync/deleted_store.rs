//! Which deleted records a member may know of.

use sqlx::AssertSqlSafe;
use uuid::Uuid;

use crate::platform::db::tables::{Comes, TABLES, Table};
use crate::platform::db::{ClubTx, Kind, StoreError};
use crate::platform::grants;
use crate::platform::ids::AthleteId;
use crate::platform::people::People;

/// What a deleted record was seen with.
#[derive(sqlx::FromRow)]
struct Stub {
    athlete: Option<Uuid>,
    session: Option<Uuid>,
    recorded_by: Option<Uuid>,
}

/// The table of a type whose records can be deleted for good: an attendance is set again under its id.
fn table(kind: &str) -> Option<&'static Table> {
    let of = |one: &&Table| one.comes.kind().is_some_and(|known| known.as_str() == kind) && one.has("deleted_at");
    TABLES.iter().find(of).filter(|one| one.name != "attendance")
}

/// The stub of a deleted record.
async fn stub(tx: &mut ClubTx, table: &Table, id: Uuid) -> Result<Option<Stub>, StoreError> {
    let club = tx.club.0;
    let part = |column| if table.has(column) { column } else { "null::uuid" };
    // Names that stand in the code.
    let text = format!(
        "select {} as athlete, {} as session, {} as recorded_by from {} \
         where club_id = $1 and id = $2 and deleted_at is not null",
        part("athlete_id"),
        part("session_id"),
        part("recorded_by"),
        table.name
    );
    Ok(sqlx::query_as(AssertSqlSafe(text)).bind(club).bind(id).fetch_optional(tx.conn()).await?)
}

/// Whether a record of a type was deleted and the actor saw it, or still sees what it belonged to. What was hidden from
/// them is as unknown as what never was.
pub async fn told(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<bool, StoreError> {
    let Some(table) = table(kind) else { return Ok(false) };
    let Some(stub) = stub(tx, table, id).await? else { return Ok(false) };
    if tx.actor.groups.is_none() || stub.recorded_by == Some(tx.actor.account.0) {
        return Ok(true);
    }
    if let Some(athlete) = stub.athlete.map(AthleteId) {
        return Ok(People::of(tx, [athlete]).await?.sees(athlete));
    }
    if let Some(session) = stub.session {
        return Ok(!grants::visible_sessions(tx, &[session]).await?.is_empty());
    }
    let grouped = matches!(table.comes, Comes::InGroups(_) | Comes::ByItself(Kind::Group));
    Ok(!grouped || saw(tx, kind, id).await?)
}

/// Whether the actor ever had a group of a record with groups when it was deleted: then the feed tells them as well.
async fn saw(tx: &mut ClubTx, kind: &str, id: Uuid) -> Result<bool, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let saw = sqlx::query_scalar!(
        r#"
        select exists (
          select from scope_grant g
          where g.club_id = $1 and g.member_id = $2
            and (g.scope_id = $4 or exists (
              select from club_change c
              where c.club_id = $1 and c.kind = $3 and c.entity_id = $4 and c.op = 'remove' and c.before_scopes is not null
                and (g.scope_id = any (c.before_scopes) or g.scope_id = '00000000-0000-0000-0000-000000000000')
            ))
        ) as "saw!"
        "#,
        club,
        member,
        kind,
        id
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(saw)
}
