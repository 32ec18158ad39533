//! Rows of age groups.

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::model::Group;
use crate::compute::specs::AgeRule;
use crate::platform::db::{Change, ClubTx, Kind, StoreError, plain_reads};
use crate::platform::ids::AgeGroupId;
use crate::platform::stored::Stored;

/// A club's own age group as it is stored.
pub type StoredGroup = Stored<AgeGroupId, Group>;

struct Row {
    id: Uuid,
    rev: i64,
    ruleset: String,
    age_group: String,
    min_age: Option<i16>,
    max_age: Option<i16>,
    rule: String,
    valid_from: NaiveDate,
    valid_to: Option<NaiveDate>,
    source: String,
}

impl TryFrom<Row> for StoredGroup {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("age group");
        let value = Group {
            ruleset: row.ruleset,
            code: row.age_group,
            min_age: row.min_age,
            max_age: row.max_age,
            rule: AgeRule::from_word(&row.rule).ok_or_else(corrupt)?,
            valid_from: row.valid_from,
            valid_to: row.valid_to,
            source: row.source,
        };
        Ok(Self { id: AgeGroupId(row.id), rev: row.rev, value })
    }
}

/// Refuses a second group of the same code on the same days. One writer at a time looks, so that two cannot both
/// find the days free.
async fn check_overlap(tx: &mut ClubTx, id: AgeGroupId, value: &Group) -> Result<(), StoreError> {
    let club = tx.club.0;
    tx.alone_in_club().await?;
    let other = sqlx::query_scalar!(
        r#"
        select id
        from age_groups
        where club_id = $1 and id <> $2 and ruleset = $3 and age_group = $4 and deleted_at is null
          and daterange(valid_from, valid_to, '[]') && daterange($5, $6, '[]')
        limit 1
        "#,
        club,
        id.0,
        value.ruleset,
        value.code,
        value.valid_from,
        value.valid_to
    )
    .fetch_optional(tx.conn())
    .await?;
    match other {
        None => Ok(()),
        Some(other) => Err(StoreError::Conflict(format!(
            "The age group {other} has the same code on some of these days. End it with valid_to first."
        ))),
    }
}

/// Inserts an age group of the club's own; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: AgeGroupId, value: &Group) -> Result<bool, StoreError> {
    let club = tx.club.0;
    check_overlap(tx, id, value).await?;
    let done = sqlx::query!(
        r#"
        insert into age_groups as x (club_id, id, ruleset, age_group, min_age, max_age, rule, valid_from, valid_to, source, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $11)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        value.ruleset,
        value.code,
        value.min_age,
        value.max_age,
        value.rule.as_str(),
        value.valid_from,
        value.valid_to,
        value.source,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::AgeGroup, id)))
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A club's own age group.
pub async fn find(tx: &mut ClubTx, id: AgeGroupId) -> Result<Option<StoredGroup>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop())
}

plain_reads!(StoredGroup, "ruleset, age_group, min_age, max_age, rule, valid_from, valid_to, source", "age_groups");

/// Saves a changed age group.
pub async fn save(tx: &mut ClubTx, id: AgeGroupId, value: &Group) -> Result<(), StoreError> {
    let club = tx.club.0;
    check_overlap(tx, id, value).await?;
    sqlx::query!(
        r#"
        update age_groups
        set ruleset = $3, age_group = $4, min_age = $5, max_age = $6, rule = $7, valid_from = $8, valid_to = $9, source = $10, updated_at = $11
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        value.ruleset,
        value.code,
        value.min_age,
        value.max_age,
        value.rule.as_str(),
        value.valid_from,
        value.valid_to,
        value.source,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::AgeGroup, id)))
    .await?;
    Ok(())
}

/// Deletes an age group of the club's own.
pub async fn remove(tx: &mut ClubTx, id: AgeGroupId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update age_groups set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::AgeGroup, id)))
    .await?;
    Ok(())
}
