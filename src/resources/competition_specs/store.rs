//! Rows of competition specifications of the club's own.

use super::model::Own;
use crate::compute::specs::Environment;
use crate::compute::units::Sex;
use crate::platform::db::{ClubTx, StoreError, plain_store};
use crate::platform::ids::CompetitionSpecId;
use crate::resources::advice::{length, mm};

/// What does not parse when a row does not.
const WHAT: &str = "competition specification";

plain_store! {
    CompetitionSpec, CompetitionSpecId, Own, "competition_specs";
    "ruleset, event_code, environment, sex, age_group, race_distance_mm, barriers, height_mm, to_first_mm, between_mm, run_in_mm, \
     valid_from, valid_to, source" = "$4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17";
    row => Own {
        ruleset: row.ruleset,
        event_code: row.event_code,
        environment: Environment::from_word(&row.environment).ok_or(StoreError::Corrupt(WHAT))?,
        sex: Sex::from_word(&row.sex),
        age_group: row.age_group,
        race_distance: length(row.race_distance_mm, WHAT)?,
        barriers: u8::try_from(row.barriers).map_err(|_| StoreError::Corrupt(WHAT))?,
        height: length(row.height_mm, WHAT)?,
        to_first: length(row.to_first_mm, WHAT)?,
        between: length(row.between_mm, WHAT)?,
        run_in: length(row.run_in_mm, WHAT)?,
        valid_from: row.valid_from,
        valid_to: row.valid_to,
        source: row.source,
    };
    value => value.ruleset, value.event_code, value.environment.as_str(), value.sex.map_or("X", Sex::as_str), value.age_group,
        mm(value.race_distance), i16::from(value.barriers), mm(value.height), mm(value.to_first), mm(value.between),
        mm(value.run_in), value.valid_from, value.valid_to, value.source;
    writable check_overlap;
}

/// Refuses a second specification of the same race on the same days. One writer at a time looks, so that
/// two cannot both find the days free.
async fn check_overlap(tx: &mut ClubTx, id: CompetitionSpecId, value: &Own) -> Result<(), StoreError> {
    let club = tx.club.0;
    tx.alone_in_club().await?;
    let other = sqlx::query_scalar!(
        r#"
        select id
        from competition_specs
        where club_id = $1 and id <> $2 and ruleset = $3 and event_code = $4 and environment = $5 and sex = $6
          and age_group = $7 and deleted_at is null
          and daterange(valid_from, valid_to, '[]') && daterange($8, $9, '[]')
        limit 1
        "#,
        club,
        id.0,
        value.ruleset,
        value.event_code,
        value.environment.as_str(),
        value.sex.map_or("X", Sex::as_str),
        value.age_group,
        value.valid_from,
        value.valid_to
    )
    .fetch_optional(tx.conn())
    .await?;
    match other {
        None => Ok(()),
        Some(other) => Err(StoreError::Conflict(format!(
            "The specification {other} is for the same race on some of these days. End it with valid_to first."
        ))),
    }
}
