//! Rows behind progress that advice does not read: ratings one by one, and when what was measured and rated last.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::compute::board::Measured;
use crate::compute::decision::{Criterion, Rating, Ratings};
use crate::compute::progress::Rated;
use crate::platform::dates;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::GroupId;

/// The number of the latest change in the club: as long as it stays, so does every answer.
pub async fn version(tx: &mut ClubTx) -> Result<i64, StoreError> {
    let club = tx.club.0;
    let seq = sqlx::query_scalar!("select seq from club_clock where club_id = $1", club).fetch_one(tx.conn()).await?;
    Ok(seq)
}

/// The name of a group that the actor sees.
pub async fn group_name(tx: &mut ClubTx, id: GroupId) -> Result<Option<String>, StoreError> {
    let club = tx.club.0;
    let name = sqlx::query_scalar!(
        "select name from groups where club_id = $1 and id = $2 and deleted_at is null",
        club,
        id.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(name.filter(|_| tx.actor.sees(id)))
}

/// Assessments in order, earliest first, with their ids.
pub type Assessed = (Vec<Uuid>, Vec<Rated>);

/// The assessments of each of these athletes between two days (both included).
pub async fn rated(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<HashMap<Uuid, Assessed>, StoreError> {
    let (club, zone, (from, end)) = (tx.club.0, tx.zone().await?, tx.span(from, to).await?);
    let rows = sqlx::query!(
        r#"
        select x.id, x.athlete_id, x.assessed_at, x.lead_leg, x.trail_leg, x.walkover, x.take_off, x.landing, x.posture,
          x.rhythm, x.arms
        from assessments x
        where x.club_id = $1 and x.athlete_id = any ($2) and not x.void
          and x.assessed_at >= $3 and x.assessed_at < $4
          and not exists (
            select from assessments later
            where later.club_id = $1 and later.supersedes = x.id
          )
        order by x.athlete_id, x.assessed_at, x.id
        "#,
        club,
        athletes,
        from,
        end
    )
    .fetch_all(tx.conn())
    .await?;
    let rating = |level: Option<i16>| level.and_then(|level| u8::try_from(level).ok()).and_then(Rating::from_level);
    let mut found: HashMap<Uuid, Assessed> = HashMap::new();
    for row in rows {
        let ratings = Ratings {
            lead_leg: rating(row.lead_leg),
            trail_leg: rating(row.trail_leg),
            walkover: rating(row.walkover),
            take_off: rating(row.take_off),
            landing: rating(row.landing),
            posture: rating(row.posture),
            rhythm: rating(row.rhythm),
            arms: rating(row.arms),
        };
        let (ids, rated) = found.entry(row.athlete_id).or_default();
        ids.push(row.id);
        rated.push(Rated { day: dates::day_of(row.assessed_at, zone).to_epoch_days(), ratings });
    }
    Ok(found)
}

/// When each of these athletes was measured last, up to a day; by measurements that advice rests on.
pub async fn last_measured(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    to: NaiveDate,
) -> Result<HashMap<Uuid, Measured>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select m.athlete_id,
          max(m.measured_on) filter (where m.kind = 'stature_m') as stature,
          max(m.measured_on) filter (where m.kind in ('sprint_30m_s', 'sprint_50m_s')) as sprint
        from measurements m
        where m.club_id = $1 and m.athlete_id = any ($2) and m.measured_on <= $3 and m.deleted_at is null and not m.implausible
        group by m.athlete_id
        "#,
        club,
        athletes,
        to
    )
    .fetch_all(tx.conn())
    .await?;
    let day = |on: Option<NaiveDate>| on.map(|on| on.to_epoch_days());
    Ok(rows
        .into_iter()
        .map(|row| (row.athlete_id, Measured { stature: day(row.stature), sprint: day(row.sprint) }))
        .collect())
}

/// The latest days of rating, in the order of [`Criterion::ALL`], days since 1970-01-01.
pub type LastRated = [Option<i32>; Criterion::ALL.len()];

/// When each criterion of each athlete was rated last, up to a day.
pub async fn last_rated(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    to: NaiveDate,
) -> Result<HashMap<Uuid, LastRated>, StoreError> {
    let (club, zone, (_, end)) = (tx.club.0, tx.zone().await?, tx.span(to, to).await?);
    let rows = sqlx::query!(
        r#"
        select x.athlete_id,
          max(x.assessed_at) filter (where x.lead_leg is not null) as lead_leg,
          max(x.assessed_at) filter (where x.trail_leg is not null) as trail_leg,
          max(x.assessed_at) filter (where x.walkover is not null) as walkover,
          max(x.assessed_at) filter (where x.take_off is not null) as take_off,
          max(x.assessed_at) filter (where x.landing is not null) as landing,
          max(x.assessed_at) filter (where x.posture is not null) as posture,
          max(x.assessed_at) filter (where x.rhythm is not null) as rhythm,
          max(x.assessed_at) filter (where x.arms is not null) as arms
        from assessments x
        where x.club_id = $1 and x.athlete_id = any ((select $2::uuid[])::uuid[]) and not x.void and x.assessed_at < $3
          and not exists (
            select from assessments later
            where later.club_id = $1 and later.supersedes = x.id
          )
        group by x.athlete_id
        "#,
        club,
        athletes,
        end
    )
    .fetch_all(tx.conn())
    .await?;
    let day = |at: Option<DateTime<Utc>>| at.map(|at| dates::day_of(at, zone).to_epoch_days());
    Ok(rows
        .into_iter()
        .map(|row| {
            let days = [
                row.lead_leg,
                row.trail_leg,
                row.walkover,
                row.take_off,
                row.landing,
                row.posture,
                row.rhythm,
                row.arms,
            ];
            (row.athlete_id, days.map(day))
        })
        .collect())
}
