//! Rows of competition specifications of the club's own.

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::model::Own;
use crate::compute::specs::Environment;
use crate::compute::units::{Length, Sex};
use crate::platform::db::{Change, ClubTx, Kind, StoreError, plain_reads};
use crate::platform::ids::CompetitionSpecId;
use crate::platform::stored::Stored;

/// A club's own competition specification as it is stored.
pub type StoredOwn = Stored<CompetitionSpecId, Own>;

struct Row {
    id: Uuid,
    rev: i64,
    ruleset: String,
    event_code: String,
    environment: String,
    sex: String,
    age_group: String,
    race_distance_mm: i32,
    barriers: i16,
    height_mm: i32,
    to_first_mm: i32,
    between_mm: i32,
    run_in_mm: i32,
    valid_from: NaiveDate,
    valid_to: Option<NaiveDate>,
    source: String,
}

impl TryFrom<Row> for StoredOwn {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("competition specification");
        let length = |mm: i32| u32::try_from(mm).map(Length::from_mm).map_err(|_| corrupt());
        let value = Own {
            ruleset: row.ruleset,
            event_code: row.event_code,
            environment: Environment::from_word(&row.environment).ok_or_else(corrupt)?,
            sex: Sex::from_word(&row.sex),
            age_group: row.age_group,
            race_distance: length(row.race_distance_mm)?,
            barriers: u8::try_from(row.barriers).map_err(|_| corrupt())?,
            height: length(row.height_mm)?,
            to_first: length(row.to_first_mm)?,
            between: length(row.between_mm)?,
            run_in: length(row.run_in_mm)?,
            valid_from: row.valid_from,
            valid_to: row.valid_to,
            source: row.source,
        };
        Ok(Self { id: CompetitionSpecId(row.id), rev: row.rev, value })
    }
}

fn mm(length: Length) -> i32 {
    i32::try_from(length.mm()).unwrap_or(i32::MAX)
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

/// Inserts a competition specification of the club's own; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: CompetitionSpecId, value: &Own) -> Result<bool, StoreError> {
    let club = tx.club.0;
    check_overlap(tx, id, value).await?;
    let done = sqlx::query!(
        r#"
        insert into competition_specs as x (club_id, id, ruleset, event_code, environment, sex, age_group, race_distance_mm, barriers, height_mm, to_first_mm, between_mm, run_in_mm, valid_from, valid_to, source, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $17)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        value.ruleset,
        value.event_code,
        value.environment.as_str(),
        value.sex.map_or("X", Sex::as_str),
        value.age_group,
        mm(value.race_distance),
        i16::from(value.barriers),
        mm(value.height),
        mm(value.to_first),
        mm(value.between),
        mm(value.run_in),
        value.valid_from,
        value.valid_to,
        value.source,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::CompetitionSpec, id)))
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A club's own competition specification.
pub async fn find(tx: &mut ClubTx, id: CompetitionSpecId) -> Result<Option<StoredOwn>, StoreError> {
    Ok(by_ids(tx, &[id.0]).await?.pop())
}

plain_reads!(
    StoredOwn,
    "ruleset, event_code, environment, sex, age_group, race_distance_mm, barriers, height_mm, \
     to_first_mm, between_mm, run_in_mm, valid_from, valid_to, source",
    "competition_specs"
);

/// Saves a changed competition specification.
pub async fn save(tx: &mut ClubTx, id: CompetitionSpecId, value: &Own) -> Result<(), StoreError> {
    let club = tx.club.0;
    check_overlap(tx, id, value).await?;
    sqlx::query!(
        r#"
        update competition_specs
        set ruleset = $3, event_code = $4, environment = $5, sex = $6, age_group = $7, race_distance_mm = $8, barriers = $9, height_mm = $10, to_first_mm = $11, between_mm = $12, run_in_mm = $13, valid_from = $14, valid_to = $15, source = $16, updated_at = $17
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        value.ruleset,
        value.event_code,
        value.environment.as_str(),
        value.sex.map_or("X", Sex::as_str),
        value.age_group,
        mm(value.race_distance),
        i16::from(value.barriers),
        mm(value.height),
        mm(value.to_first),
        mm(value.between),
        mm(value.run_in),
        value.valid_from,
        value.valid_to,
        value.source,
        Utc::now()
    )
    .execute(tx.changing(Change::put(Kind::CompetitionSpec, id)))
    .await?;
    Ok(())
}

/// Deletes a competition specification of the club's own.
pub async fn remove(tx: &mut ClubTx, id: CompetitionSpecId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        "update competition_specs set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::CompetitionSpec, id)))
    .await?;
    Ok(())
}
