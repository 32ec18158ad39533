//! What came after a lane plan that its lanes do not heed: a coach's decision, a fall. Reports and restrictions are beside this.

use std::collections::HashMap;

use uuid::Uuid;

use super::word_store::configuration;
use crate::compute::decision::Configuration;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::AthleteId;

/// What came after a plan for one of its people.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Since {
    /// Whether a fall was recorded, in a run or a race of a day up to the plan's.
    pub fell: bool,
    /// What a coach decided last that stands on the plan's day; the configuration, none where the decision names none.
    pub said: Option<Option<Configuration>>,
}

impl Since {
    /// Whether the plan no longer holds for somebody for whom it was made with this advice.
    pub fn overtakes(&self, advised: Option<Configuration>) -> bool {
        self.fell || self.said.is_some_and(|said| said.is_none() || said != advised)
    }
}

/// What came after each of these plans, for whom of its people something did.
///
/// # Errors
/// Database errors; a row that does not parse.
#[allow(clippy::too_many_lines)] // one statement, and what its rows say
pub async fn since(tx: &mut ClubTx, plans: &[Uuid]) -> Result<HashMap<Uuid, HashMap<AthleteId, Since>>, StoreError> {
    let mut found: HashMap<Uuid, HashMap<AthleteId, Since>> = HashMap::new();
    if plans.is_empty() {
        return Ok(found);
    }
    // Eight weeks are the longest that a word stands.
    let rows = sqlx::query!(
        r#"
        select p.id as plan, d.athlete_id, d.outcome, d.barrier_kind, d.height_mm, d.spacing_mm,
          d.advice #>> '{decision,barrier_kind}' as advised_kind,
          round((d.advice #>> '{decision,height_m}')::numeric * 1000)::integer as advised_height_mm,
          round((d.advice #>> '{decision,spacing_m}')::numeric * 1000)::integer as advised_spacing_mm
        from lane_plans p
        join sessions s on s.club_id = $1 and s.id = p.session_id
        join recommendations d on d.club_id = $1 and d.athlete_id = any (p.people)
          and d.on_date between s.held_on - 56 and s.held_on and d.decided_at > coalesce(p.known_at, p.created_at)
        where p.club_id = $1 and p.id = any ((select $2::uuid[])::uuid[])
          and coalesce(d.until_date, (d.advice #>> '{decision,valid_until}')::date, d.on_date) >= s.held_on
        order by p.id, d.athlete_id, d.on_date, d.decided_at, d.id
        "#,
        tx.club.0,
        plans
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        let advised = configuration(row.advised_kind.as_deref(), row.advised_height_mm, row.advised_spacing_mm)?;
        let own = configuration(row.barrier_kind.as_deref(), row.height_mm, row.spacing_mm)?;
        let said = if row.outcome == "accepted" { advised } else { own };
        // The latest governs, and stands last.
        found.entry(row.plan).or_default().entry(AthleteId(row.athlete_id)).or_default().said = Some(said);
    }
    // A run is recorded within days, also by a phone without signal: a week before the plan is far enough back.
    let fallen = sqlx::query!(
        r#"
        select p.id as "plan!", r.athlete_id as "athlete_id!"
        from lane_plans p
        join sessions d on d.club_id = $1 and d.id = p.session_id
        join sessions s on s.club_id = $1
          and s.held_on between coalesce(p.known_at, p.created_at)::date - 7 and d.held_on
        join runs r on r.club_id = $1 and r.session_id = s.id and r.athlete_id = any (p.people)
        where p.club_id = $1 and p.id = any ((select $2::uuid[])::uuid[]) and r.fell and not r.void
          and r.created_at > coalesce(p.known_at, p.created_at)
          and not exists (
            select from runs later
            where later.club_id = $1 and later.supersedes = r.id
          )
        union
        select p.id, x.athlete_id
        from lane_plans p
        join sessions d on d.club_id = $1 and d.id = p.session_id
        join sessions s on s.club_id = $1
          and s.held_on between coalesce(p.known_at, p.created_at)::date - 7 and d.held_on
        join race_tests t on t.club_id = $1 and t.session_id = s.id
        join race_results x on x.club_id = $1 and x.race_test_id = t.id and x.athlete_id = any (p.people)
        where p.club_id = $1 and p.id = any ((select $2::uuid[])::uuid[]) and x.fell and not x.void
          and x.created_at > coalesce(p.known_at, p.created_at)
          and not exists (
            select from race_results later
            where later.club_id = $1 and later.supersedes = x.id
          )
        "#,
        tx.club.0,
        plans
    )
    .fetch_all(tx.conn())
    .await?;
    for row in fallen {
        found.entry(row.plan).or_default().entry(AthleteId(row.athlete_id)).or_default().fell = true;
    }
    Ok(found)
}
