//! Rows of training groups.

use uuid::Uuid;

use super::model::Group;
use crate::platform::db::{ClubTx, Parts, StoreError, plain_writes};
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

plain_writes! {
    Group, GroupId, Group, "groups" unique "groups_name";
    "name, season, archived" = "$4, $5, $6";
    group => group.name, group.season, group.archived;
    writable check_id;
    made see;
    removable check_empty;
}

/// What a member sees is kept as scopes: a group, the club, or the nil id for all of it. So no group has the id of one of
/// the other two.
async fn check_id(tx: &mut ClubTx, id: GroupId, _: &Group) -> Result<(), StoreError> {
    if id.0 == tx.club.0 || id.0.is_nil() {
        let detail = "must be an id of the group's own: neither that of the club nor the nil id";
        return Err(StoreError::Invalid(vec![Fault::at("/id", "reserved_id", detail)]));
    }
    Ok(())
}

/// Whoever made it sees it.
fn see(tx: &mut ClubTx, id: GroupId) {
    tx.actor.made(id);
}

/// A group goes when no athlete, no session and no member belongs to it any more.
async fn check_empty(tx: &mut ClubTx, id: GroupId) -> Result<(), StoreError> {
    if grants::occupied(tx, id).await? {
        return Err(StoreError::Conflict(
            "Athletes, sessions or members still belong to this group. Archive it, or move them to another group first."
                .to_owned(),
        ));
    }
    Ok(())
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
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from groups r where r.club_id = $1 and r.id = i.one offset 0) x
        where x.deleted_at is null
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
