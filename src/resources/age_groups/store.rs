//! Rows of age groups.

use super::model::Group;
use crate::compute::specs::AgeRule;
use crate::platform::db::{ClubTx, StoreError, plain_store};
use crate::platform::ids::AgeGroupId;

plain_store! {
    AgeGroup, AgeGroupId, Group, "age_groups";
    "ruleset, age_group, min_age, max_age, rule, valid_from, valid_to, source" = "$4, $5, $6, $7, $8, $9, $10, $11";
    row => Group {
        ruleset: row.ruleset,
        code: row.age_group,
        min_age: row.min_age,
        max_age: row.max_age,
        rule: AgeRule::from_word(&row.rule).ok_or(StoreError::Corrupt("age group"))?,
        valid_from: row.valid_from,
        valid_to: row.valid_to,
        source: row.source,
    };
    value => value.ruleset, value.code, value.min_age, value.max_age, value.rule.as_str(), value.valid_from, value.valid_to,
        value.source;
    writable check_overlap;
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
