//! Rows of training groups.

use chrono::Utc;
use uuid::Uuid;

use super::model::Group;
use crate::platform::db::{Change, ClubTx, Kind, Parts, StoreError};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::GroupId;
use crate::platform::page;
use crate::platform::stored::Stored;

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    name: String,
    season: Option<String>,
    archived: bool,
}

impl From<Row> for Stored<GroupId, Group> {
    fn from(row: Row) -> Self {
        let value = Group { name: row.name, season: row.season, archived: row.archived };
        Self { id: GroupId(row.id), rev: row.rev, value }
    }
}

/// Inserts a group; false when the id is taken already.
///
/// What a member sees is kept as scopes: a group, the club, or the nil id for all of it. So no group has the id of one of
/// the other two.
pub async fn insert(tx: &mut ClubTx, id: GroupId, group: &Group) -> Result<bool, StoreError> {
    let club = tx.club.0;
    if id.0 == club || id.0.is_nil() {
        let detail = "must be an id of the group's own: neither that of the club nor the nil id";
        return Err(StoreError::Invalid(vec![Fault::at("/id", "reserved_id", detail)]));
    }
    let done = sqlx::query!(
        r#"
        insert into groups as x (club_id, id, name, season, created_at, updated_at, archived)
        values ($1, $2, $3, $4, $5, $5, $6)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        group.name,
        group.season,
        Utc::now(),
        group.archived
    )
    .execute(tx.changing(Change::put(Kind::Group, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("groups_name"))?;
    let fresh = done.rows_affected() == 1;
    if fresh {
        tx.actor.made(id);
    }
    Ok(fresh)
}

/// The group, when the actor sees it.
pub async fn find(tx: &mut ClubTx, id: GroupId) -> Result<Option<Stored<GroupId, Group>>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    Ok(found.filter(|group| tx.actor.sees(group.id)))
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Stored<GroupId, Group>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, name, season, archived
        from groups
        where club_id = $1 and id = any ((select $2::uuid[])::uuid[]) and deleted_at is null
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// The groups that the actor sees, archived ones too or not, by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    archived: bool,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<Stored<GroupId, Group>>, StoreError> {
    let mut list =
        Parts::new(tx, "select id, rev, name, season, archived from groups where club_id = $1 and deleted_at is null")?;
    if !archived {
        list.then(" and not archived");
    }
    if let Some(groups) = tx.actor.group_ids() {
        list.with(" and id = any (?)", groups)?;
    }
    list.with(" and id >= ?", page::from(after))?;
    let rows: Vec<Row> = list.first(tx, "id", fetch).await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// Saves a changed group.
pub async fn save(tx: &mut ClubTx, id: GroupId, group: &Group) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update groups
        set name = $3, season = $4, updated_at = $5, archived = $6
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        group.name,
        group.season,
        Utc::now(),
        group.archived
    )
    .execute(tx.changing(Change::put(Kind::Group, id)))
    .await
    .map_err(|error| StoreError::from(error).conflict_on("groups_name"))?;
    Ok(())
}

/// Deletes a group that no athlete, no session and no member belongs to any more.
pub async fn remove(tx: &mut ClubTx, id: GroupId) -> Result<(), StoreError> {
    let club = tx.club.0;
    if grants::occupied(tx, id).await? {
        return Err(StoreError::Conflict(
            "Athletes, sessions or members still belong to this group. Archive it, or move them to another group first."
                .to_owned(),
        ));
    }
    sqlx::query!(
        "update groups set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Group, id)))
    .await?;
    Ok(())
}
