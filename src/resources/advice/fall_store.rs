//! Falls, of runs and of races, and whether a coach cleared the return: read here for advice, and for what came after a plan.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::compute::decision::Clearance;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::RaceTestId;

/// A fall that stands (neither corrected nor withdrawn). However long ago it was, it counts from when it was recorded until a coach
/// clears it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fall {
    /// The day of its session.
    pub(super) on: NaiveDate,
    /// When it was recorded.
    pub(super) recorded_at: DateTime<Utc>,
    /// The race test in which it was; none for a run.
    pub(super) race: Option<RaceTestId>,
    /// Whether a coach cleared the return after that.
    pub(super) cleared: bool,
}

/// The falls of these athletes in sessions up to a day.
///
/// # Errors
/// Database errors.
pub(super) async fn falls(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
) -> Result<HashMap<Uuid, Vec<Fall>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select f.athlete_id as "athlete_id!", f.held_on as "held_on!", f.created_at as "recorded_at!: DateTime<Utc>",
          f.race_test_id,
          (
            select max(d.decided_at)
            from recommendations d
            where d.club_id = $1 and d.athlete_id = f.athlete_id and d.clears_return
          ) as "cleared_at: DateTime<Utc>"
        from (
          select r.athlete_id, s.held_on, r.created_at, null::uuid as race_test_id
          from runs r
          join sessions s on s.club_id = $1 and s.id = r.session_id
          where r.club_id = $1 and r.athlete_id = any ((select $2::uuid[])::uuid[]) and r.fell and not r.void and s.held_on <= $3
            and not exists (
              select from runs later
              where later.club_id = $1 and later.supersedes = r.id
            )
          union all
          select x.athlete_id, s.held_on, x.created_at, x.race_test_id
          from race_results x
          join race_tests t on t.club_id = $1 and t.id = x.race_test_id
          join sessions s on s.club_id = $1 and s.id = t.session_id
          where x.club_id = $1 and x.athlete_id = any ((select $2::uuid[])::uuid[]) and x.fell and not x.void and s.held_on <= $3
            and not exists (
              select from race_results later
              where later.club_id = $1 and later.supersedes = x.id
            )
        ) f
        "#,
        club,
        athletes,
        on
    )
    .fetch_all(tx.conn())
    .await?;
    let mut found: HashMap<Uuid, Vec<Fall>> = HashMap::new();
    for row in rows {
        let cleared = row.cleared_at.is_some_and(|cleared| cleared > row.recorded_at);
        let race = row.race_test_id.map(RaceTestId);
        let fall = Fall { on: row.held_on, recorded_at: row.recorded_at, race, cleared };
        found.entry(row.athlete_id).or_default().push(fall);
    }
    Ok(found)
}

/// The fall among these that was recorded last.
pub(super) fn last<'a>(falls: impl IntoIterator<Item = &'a Fall>) -> Option<Fall> {
    falls.into_iter().max_by_key(|fall| fall.recorded_at).copied()
}

impl Fall {
    /// Whether a coach has to clear the return: of several falls the one recorded last says so for all, since a word clears all before it.
    pub(super) const fn clearance(self) -> Clearance {
        if self.cleared { Clearance::Given } else { Clearance::Pending }
    }
}
