//! Rows of decided recommendations.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::model::{Choice, Decided, Outcome};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::ids::{AthleteId, GroupId, RecommendationId};
use crate::platform::page;
use crate::platform::people::{People, origins};
use crate::platform::renewals;
use crate::platform::stored::Stored;
use crate::resources::advice::mm;

/// A decided recommendation as it is stored.
pub type StoredDecided = Stored<RecommendationId, Decided>;

struct Row {
    id: Uuid,
    rev: i64,
    athlete_id: Uuid,
    on_date: NaiveDate,
    advice: serde_json::Value,
    outcome: String,
    barrier_kind: Option<String>,
    height_mm: Option<i32>,
    spacing_mm: Option<i32>,
    reason: Option<String>,
    clears_return: bool,
    coach_accepts: bool,
    until_date: Option<NaiveDate>,
    decided_at: DateTime<Utc>,
}

impl TryFrom<Row> for StoredDecided {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("recommendation");
        let length = |mm: Option<i32>| mm.and_then(|mm| u32::try_from(mm).ok()).map(Length::from_mm);
        let kind =
            row.barrier_kind.as_deref().map(|word| BarrierKind::from_word(word).ok_or_else(corrupt)).transpose()?;
        let chosen = kind.zip(length(row.height_mm)).zip(length(row.spacing_mm));
        let value = Decided {
            athlete: AthleteId(row.athlete_id),
            on: row.on_date,
            advice: row.advice,
            choice: Choice {
                outcome: Outcome::parse(&row.outcome).map_err(|_| corrupt())?,
                reason: row.reason,
                chosen: chosen.map(|((kind, height), spacing)| (kind, height, spacing)),
                clears_return: row.clears_return,
                coach_accepts: row.coach_accepts,
                until: row.until_date,
            },
            decided_at: row.decided_at,
        };
        Ok(Self { id: RecommendationId(row.id), rev: row.rev, value })
    }
}

/// Whether the actor sees a group.
pub async fn group_exists(tx: &mut ClubTx, id: GroupId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let found = sqlx::query_scalar!(
        r#"select exists (select from groups where club_id = $1 and id = $2 and deleted_at is null) as "found!""#,
        club,
        id.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(found && tx.actor.sees(id))
}

/// Whether the actor sees an athlete.
pub async fn sees_athlete(tx: &mut ClubTx, id: AthleteId) -> Result<bool, StoreError> {
    Ok(People::of(tx, [id]).await?.sees(id))
}

origins!("recommendations", "decided_by");

/// Inserts a decision; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: RecommendationId, decided: &Decided) -> Result<bool, StoreError> {
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let chosen = decided.choice.chosen;
    let done = sqlx::query!(
        r#"
        insert into recommendations as x
          (club_id, id, athlete_id, on_date, advice, outcome, barrier_kind, height_mm, spacing_mm, reason,
           clears_return, decided_by, decided_at, coach_accepts, until_date)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        decided.athlete.0,
        decided.on,
        decided.advice,
        decided.choice.outcome.as_str(),
        chosen.map(|(kind, ..)| kind.as_str()),
        chosen.map(|(_, height, _)| mm(height)),
        chosen.map(|(.., spacing)| mm(spacing)),
        decided.choice.reason,
        decided.choice.clears_return,
        actor,
        decided.decided_at,
        decided.choice.coach_accepts,
        decided.choice.until
    )
    .execute(tx.changing(Change::put(Kind::Recommendation, id).under(decided.athlete)))
    .await?;
    let fresh = done.rows_affected() == 1;
    if fresh {
        // Plans of the days for which it stands say whether they heed it; a fall that it clears may mark earlier ones.
        let from = Some(decided.on).filter(|_| !decided.choice.clears_return);
        renewals::plans(tx, Some(&[decided.athlete.0]), from).await?;
    }
    Ok(fresh)
}

/// A decision, when the actor sees its athlete.
pub async fn find(tx: &mut ClubTx, id: RecommendationId) -> Result<Option<StoredDecided>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    // Nobody is looked for when nothing was found, so that the answer takes as long as for one that is hidden.
    let seen = sees_athlete(tx, found.as_ref().map_or(AthleteId(Uuid::nil()), |one| one.value.athlete)).await?;
    Ok(found.filter(|_| seen))
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<StoredDecided>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select x.id, x.rev, x.athlete_id, x.on_date, x.advice, x.outcome, x.barrier_kind, x.height_mm, x.spacing_mm,
          x.reason, x.clears_return, x.coach_accepts, x.until_date, x.decided_at
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from recommendations r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// The decisions on one athlete, by id, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    athlete: AthleteId,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<StoredDecided>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select x.id, x.rev, x.athlete_id, x.on_date, x.advice, x.outcome, x.barrier_kind, x.height_mm, x.spacing_mm,
          x.reason, x.clears_return, x.coach_accepts, x.until_date, x.decided_at
        from recommendations x
        where x.club_id = $1 and x.athlete_id = $2 and x.id >= $3
        order by x.id
        limit $4
        "#,
        club,
        athlete.0,
        page::from(after),
        fetch
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}
