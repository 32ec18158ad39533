//! Pages of runs: each shape of the filters goes along an index and reads little more than it answers.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::store::{Row, StoredRun, by_ids};
use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, SessionId};
use crate::platform::people;

/// Which runs a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    /// Only of this session.
    pub session: Option<SessionId>,
    /// Only of this athlete.
    pub athlete: Option<AthleteId>,
    /// Of sessions from this day on.
    pub from: Option<NaiveDate>,
    /// Of sessions up to this day.
    pub to: Option<NaiveDate>,
    /// Also runs that were corrected or withdrawn.
    pub all: bool,
}

impl Filter {
    /// Whether the list goes by the days of sessions, and not by id alone.
    fn by_day(&self) -> bool {
        self.from.is_some() || self.to.is_some()
    }

    /// Whether a place was one of this list.
    pub fn has(&self, place: &Place) -> bool {
        matches!(place, Place::OfDay(..)) == self.by_day()
    }
}

/// Where a run stands in a list: by its id, or by the day of its session, the session and its id.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Place {
    /// In a list by id.
    OfId(Uuid),
    /// In a list of days.
    OfDay(NaiveDate, Uuid, Uuid),
}

#[derive(sqlx::FromRow)]
struct Listed {
    held_on: NaiveDate,
    #[sqlx(flatten)]
    run: Row,
}

/// The runs that the actor sees, after `after`: by id, or with days by the day of the session, the session and the id.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Place>,
    fetch: i64,
) -> Result<Vec<(Place, StoredRun)>, StoreError> {
    if filter.by_day() {
        return of_days(tx, filter, after, fetch).await;
    }
    let after = match after {
        Some(Place::OfId(id) | Place::OfDay(_, _, id)) => Some(id),
        None => None,
    };
    let runs = if tx.actor.groups.is_some() && filter.athlete.is_none() && filter.session.is_none() {
        let athletes = grants::seen_athletes(tx).await?;
        of_athletes(tx, filter, &athletes, after, fetch).await?
    } else {
        of_one(tx, filter, after, fetch).await?
    };
    Ok(runs.into_iter().map(|run| (Place::OfId(run.id.0), run)).collect())
}

/// A list of runs: the columns of a [`Row`] but for its session, the rows come next.
macro_rules! select {
    ($session:literal, $from:literal) => {
        concat!(
            "select ",
            $session,
            ", x.id, x.rev, x.athlete_id, x.run_at, x.barrier_kind, x.height_mm, x.spacing_mm, x.approach_mm, x.barriers, \
             x.held, x.over_reached, x.crowded, x.broken, x.hits, x.fell, x.lead_leg, x.touchdown_times_ms, \
             x.timing_method, x.video_fps, x.note, x.supersedes, x.void, x.while_restricted, x.lane_plan_id, x.lane, x.round from ",
            $from
        )
    };
}

/// Narrows a list to what the actor sees and the filter lets through.
fn narrow(list: &mut Parts, tx: &ClubTx, filter: &Filter) -> Result<(), StoreError> {
    let groups = tx.actor.group_ids();
    if let Some(session) = filter.session {
        list.with(" and x.session_id = ?", session.0)?;
    }
    if let Some(athlete) = filter.athlete {
        list.with(" and x.athlete_id = ?", athlete.0)?;
        let there = " and exists (select from athletes a where a.club_id = $1 and a.id = ? and a.deleted_at is null)";
        list.with(there, athlete.0)?;
        if let Some(groups) = groups {
            list.with(" and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = ?", athlete.0)?;
            list.with(" and v.scope_id = any ((select ?::uuid[])::uuid[]))", groups)?;
        }
    } else {
        list.of_seen_athletes(tx)?;
    }
    if !filter.all {
        list.then(STANDING);
    }
    Ok(())
}

/// Neither withdrawn nor corrected.
const STANDING: &str = " and not x.void and not exists (select from runs later where later.club_id = $1 and \
                        later.supersedes = x.id offset 0)";

/// Along the ids of the club, of an athlete or of a session.
async fn of_one(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<StoredRun>, StoreError> {
    let mut list = Parts::new(tx, select!("x.session_id", "runs x where x.club_id = $1"))?;
    narrow(&mut list, tx, filter)?;
    if let Some(after) = after {
        list.with(" and x.id > ?", after)?;
    }
    list.first::<Row>(tx, "id", fetch).await?.into_iter().map(TryInto::try_into).collect()
}

/// Along the ids of each of these athletes at once.
async fn of_athletes(
    tx: &mut ClubTx,
    filter: &Filter,
    athletes: &[Uuid],
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<StoredRun>, StoreError> {
    let mut each = people::each(athletes.len(), fetch);
    let ids = loop {
        let mut list = Parts::new(tx, "select x.athlete_id, x.id from ")?;
        list.with("unnest((select ?::uuid[])::uuid[]) as a (id) cross join lateral (select * from (", athletes)?;
        list.then("select x.athlete_id, x.id from runs x where x.club_id = $1 and x.athlete_id = a.id");
        if let Some(after) = after {
            list.with(" and x.id > ?", after)?;
        }
        if !filter.all {
            list.then(STANDING);
        }
        list.with(" order by x.id limit 201) first limit (select ?::bigint)) x", each)?;
        let found = list.all(tx).await?;
        if let Some(ids) = people::merged(found, each, fetch) {
            break ids;
        }
        each = (2 * each).min(fetch);
    };
    let mut runs = by_ids(tx, &ids).await?;
    runs.sort_unstable_by_key(|run| run.id.0);
    Ok(runs)
}

/// Along the days of the sessions, and the runs of each.
async fn of_days(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Place>,
    fetch: i64,
) -> Result<Vec<(Place, StoredRun)>, StoreError> {
    let mut list = Parts::new(
        tx,
        select!("s.held_on, s.id as session_id", "(select y.id, y.held_on from sessions y where y.club_id = $1"),
    )?;
    if let Some(from) = filter.from {
        list.with(" and y.held_on >= ?", from)?;
    }
    if let Some(to) = filter.to {
        list.with(" and y.held_on <= ?", to)?;
    }
    if let Some(Place::OfDay(day, session, _)) = after {
        list.with(" and (y.held_on, y.id) >= (?", day)?;
        list.with(", ?)", session)?;
    }
    list.then(" order by y.held_on, y.id offset 0) s cross join lateral (");
    list.then("select x.* from runs x where x.club_id = $1 and x.session_id = s.id");
    narrow(&mut list, tx, filter)?;
    list.then(" offset 0) x");
    if let Some(Place::OfDay(_, session, id)) = after {
        list.with(" where (s.id <> ?", session)?;
        list.with(" or x.id > ?)", id)?;
    }
    let rows: Vec<Listed> = list.first(tx, "held_on, session_id, id", fetch).await?;
    rows.into_iter()
        .map(|row| {
            let place = Place::OfDay(row.held_on, row.run.session_id, row.run.id);
            Ok((place, row.run.try_into()?))
        })
        .collect()
}
