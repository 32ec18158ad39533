//! What coaches decided on athletes' configurations.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::fall_store::Fall;
use super::lengths::length;
use super::store::day;
use crate::compute::decision::{Configuration, Rating, WORD_DAYS, Word};
use crate::compute::progress::Taken;
use crate::compute::units::BarrierKind;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::RecommendationId;

/// A decision of a coach.
#[derive(Clone, Copy, Debug)]
pub struct Said {
    /// Its id.
    pub id: RecommendationId,
    /// What was advised and chosen, and for which days.
    pub taken: Taken,
    coach_accepts: bool,
    gate_rated: Option<Rating>,
    decided_at: DateTime<Utc>,
}

impl Said {
    /// The word for the advice, beside the latest moment at which a fall was recorded; none without a configuration.
    fn word(&self, fell_at: Option<DateTime<Utc>>) -> Option<Word> {
        let Taken { on, overridden, chosen, since, until, .. } = self.taken;
        Some(Word {
            at: chosen?,
            overridden,
            coach_accepts: self.coach_accepts,
            on,
            since,
            until,
            overtaken: fell_at.is_some_and(|fell| fell > self.decided_at),
            gate_rated: self.gate_rated,
        })
    }
}

/// The latest word on each athlete that may still stand on a day, beside the falls that were recorded last.
///
/// # Errors
/// Database errors; a row that does not parse.
pub(super) async fn words(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
    fell: &HashMap<Uuid, Fall>,
) -> Result<HashMap<Uuid, Word>, StoreError> {
    let from = on - chrono::Duration::days(i64::from(WORD_DAYS));
    let found = decisions(tx, athletes, from, on).await?;
    let word = |(athlete, said): (Uuid, Vec<Said>)| {
        let word = said.last()?.word(fell.get(&athlete).map(|fall| fall.recorded_at))?;
        Some((athlete, word))
    };
    Ok(found.into_iter().filter_map(word).collect())
}

pub(super) fn configuration(
    kind: Option<&str>,
    height_mm: Option<i32>,
    spacing_mm: Option<i32>,
) -> Result<Option<Configuration>, StoreError> {
    let what = "recommendation";
    let (Some(kind), Some(height), Some(spacing)) = (kind, height_mm, spacing_mm) else { return Ok(None) };
    let barrier_kind = BarrierKind::from_word(kind).ok_or(StoreError::Corrupt(what))?;
    Ok(Some(Configuration { barrier_kind, height: length(height, what)?, spacing: length(spacing, what)? }))
}

/// The decisions on athletes for the days between two, both included, in the order in which they govern. That somebody had run on the day
/// already is told of the runs that stood when it was decided and were not withdrawn since.
///
/// # Errors
/// Database errors; a row that does not parse.
#[allow(clippy::too_many_lines)] // one statement, and what its rows say
pub async fn decisions(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<HashMap<Uuid, Vec<Said>>, StoreError> {
    let (_, end) = tx.span(from, to).await?;
    let rows = sqlx::query!(
        r#"
        select d.id, d.athlete_id, d.on_date, d.decided_at, d.outcome, d.coach_accepts, d.barrier_kind, d.height_mm,
          d.spacing_mm,
          d.advice #>> '{decision,barrier_kind}' as advised_kind,
          round((d.advice #>> '{decision,height_m}')::numeric * 1000)::integer as advised_height_mm,
          round((d.advice #>> '{decision,spacing_m}')::numeric * 1000)::integer as advised_spacing_mm,
          (d.advice #>> '{decision,hold_probability,mean}')::double precision as advised_hold,
          coalesce(d.until_date, (d.advice #>> '{decision,valid_until}')::date, d.on_date) as "until_date!",
          exists (
            select from runs r
            join sessions s on s.club_id = $1 and s.id = r.session_id
            where r.club_id = $1 and r.athlete_id = d.athlete_id and s.held_on = d.on_date and r.created_at < d.decided_at and not r.void
              and not exists (
                select from runs later
                where later.club_id = $1 and later.supersedes = r.id and (later.void or later.created_at < d.decided_at)
              )
          ) as "day_was_run!",
          (
            select min(least(x.lead_leg, x.trail_leg, x.walkover))
            from assessments x
            where x.club_id = $1 and x.athlete_id = d.athlete_id and not x.void and x.created_at > d.decided_at
              and x.assessed_at < $5
              and not exists (
                select from assessments later
                where later.club_id = $1 and later.supersedes = x.id
              )
          ) as gate_rated
        from recommendations d
        where d.club_id = $1 and d.athlete_id = any ((select $2::uuid[])::uuid[]) and d.on_date between $3 and $4
        order by d.athlete_id, d.on_date, d.decided_at, d.id
        "#,
        tx.club.0,
        athletes,
        from,
        to,
        end
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<Said>> = HashMap::new();
    for row in rows {
        let advised = configuration(row.advised_kind.as_deref(), row.advised_height_mm, row.advised_spacing_mm)?;
        let own = configuration(row.barrier_kind.as_deref(), row.height_mm, row.spacing_mm)?;
        let on = day(row.on_date)?.days();
        let taken = Taken {
            on,
            since: on + i32::from(row.day_was_run),
            until: day(row.until_date)?.days(),
            overridden: row.outcome == "overridden",
            advised,
            advised_hold: row.advised_hold,
            chosen: if row.outcome == "accepted" { advised } else { own },
        };
        found.entry(row.athlete_id).or_default().push(Said {
            id: RecommendationId(row.id),
            taken,
            coach_accepts: row.coach_accepts,
            gate_rated: row.gate_rated.and_then(|level| u8::try_from(level).ok()).and_then(Rating::from_level),
            decided_at: row.decided_at,
        });
    }
    Ok(found)
}
