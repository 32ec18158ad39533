//! A club's own specifications and age groups, as the mathematics takes them.

use std::borrow::Cow;

use super::lengths::length;
use super::store::day;
use crate::compute::specs::{AgeGroup, AgeRule, Confidence, Environment, Spec};
use crate::compute::units::Sex;
use crate::platform::db::{ClubTx, StoreError};

/// The club's own specifications.
pub(super) async fn own_specs(tx: &mut ClubTx) -> Result<Vec<Spec>, StoreError> {
    let club = tx.club.0;
    let specs = sqlx::query!(
        r#"
        select ruleset, event_code, environment, sex, age_group, race_distance_mm, barriers, height_mm, to_first_mm,
          between_mm, run_in_mm, valid_from, valid_to, source
        from competition_specs
        where club_id = $1 and deleted_at is null
        order by id
        "#,
        club
    )
    .fetch_all(tx.conn())
    .await?;
    let corrupt = || StoreError::Corrupt("competition specification");
    specs
        .into_iter()
        .map(|row| {
            let metres = |mm: i32| length(mm, "competition specification");
            Ok(Spec {
                ruleset: Cow::Owned(row.ruleset),
                event_code: Cow::Owned(row.event_code),
                environment: Environment::from_word(&row.environment).ok_or_else(corrupt)?,
                sex: Sex::from_word(&row.sex),
                age_group: Cow::Owned(row.age_group),
                race_distance: metres(row.race_distance_mm)?,
                barriers: u8::try_from(row.barriers).map_err(|_| corrupt())?,
                height: metres(row.height_mm)?,
                to_first: metres(row.to_first_mm)?,
                between: metres(row.between_mm)?,
                run_in: metres(row.run_in_mm)?,
                sources: Cow::Borrowed(""),
                confidence: Confidence::Club,
                note: Cow::Owned(row.source),
                valid_from: Some(day(row.valid_from)?),
                valid_to: row.valid_to.map(day).transpose()?,
            })
        })
        .collect()
}

/// The club's own age groups.
pub(super) async fn own_age_groups(tx: &mut ClubTx) -> Result<Vec<AgeGroup>, StoreError> {
    let club = tx.club.0;
    let groups = sqlx::query!(
        r#"
        select ruleset, age_group, min_age, max_age, rule, valid_from, valid_to, source
        from age_groups
        where club_id = $1 and deleted_at is null
        order by id
        "#,
        club
    )
    .fetch_all(tx.conn())
    .await?;
    let corrupt = || StoreError::Corrupt("age group");
    groups
        .into_iter()
        .map(|row| {
            let age = |age: Option<i16>| age.map(u8::try_from).transpose().map_err(|_| corrupt());
            Ok(AgeGroup {
                ruleset: Cow::Owned(row.ruleset),
                code: Cow::Owned(row.age_group),
                sex: None,
                min_age: age(row.min_age)?,
                max_age: age(row.max_age)?,
                rule: AgeRule::from_word(&row.rule).ok_or_else(corrupt)?,
                sources: Cow::Borrowed(""),
                confidence: Confidence::Club,
                note: Cow::Owned(row.source),
                valid_from: Some(day(row.valid_from)?),
                valid_to: row.valid_to.map(day).transpose()?,
            })
        })
        .collect()
}
