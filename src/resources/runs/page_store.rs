//! Pages of runs: each shape of the filters goes along an index and reads little more than it answers.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::store::{Row, StoredRun, by_ids};
use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, SessionId};
use crate::platform::{page, people};

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
    /// What lets only those through that were neither withdrawn nor corrected, unless all are asked for.
    fn standing(&self) -> &'static str {
        if self.all {
            return "";
        }
        " and not x.void and not exists (select from runs later where later.club_id = $1 and later.supersedes = x.id \
         offset 0)"
    }

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
    let runs = match seen(tx, filter).await? {
        Some(athletes) => of_athletes(tx, filter, &athletes, after, fetch).await?,
        None => of_one(tx, filter, after, fetch).await?,
    };
    Ok(runs.into_iter().map(|run| (Place::OfId(run.id.0), run)).collect())
}

/// The athletes whose runs are looked for one by one: the one asked for, or all of an actor who sees some.
async fn seen(tx: &mut ClubTx, filter: &Filter) -> Result<Option<Vec<Uuid>>, StoreError> {
    match filter.athlete {
        Some(athlete) => Ok(Some(grants::visible_athletes(tx, &[athlete.0]).await?.into_keys().collect())),
        None if tx.actor.groups.is_none() => Ok(None),
        None => grants::seen_athletes(tx).await.map(Some),
    }
}

/// A list of runs: the columns of a [`Row`], the rows come next.
macro_rules! select {
    ($from:literal) => {
        concat!(
            "select x.id, x.rev, x.session_id, x.athlete_id, x.run_at, x.barrier_kind, x.height_mm, x.spacing_mm, \
             x.approach_mm, x.barriers, x.held, x.over_reached, x.crowded, x.broken, x.hits, x.fell, x.lead_leg, \
             x.touchdown_times_ms, x.timing_method, x.video_fps, x.note, x.supersedes, x.void, x.while_restricted, \
             x.lane_plan_id, x.lane, x.round from ",
            $from
        )
    };
}

/// Only what is of a session and an athlete `a`, behind an id. As bounds over the columns of the index of sessions and athletes:
/// the server takes no other for them, whatever it knows of its tables.
fn of_both(list: &mut Parts, session: Uuid, after: Uuid) -> Result<(), StoreError> {
    list.with(" and x.session_id = ? and (x.session_id, x.athlete_id) <= (?, a.id)", session)?;
    list.with(" and (x.session_id, x.athlete_id, x.id) >= (?, a.id", session)?;
    list.with(", ?)", after)
}

/// Along the ids of the club or of a session, of whoever is there.
async fn of_one(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Uuid>,
    fetch: i64,
) -> Result<Vec<StoredRun>, StoreError> {
    let mut list = Parts::new(tx, select!("runs x where x.club_id = $1"))?;
    list.with(" and x.id >= ?", page::from(after))?;
    if let Some(session) = filter.session {
        list.with(" and x.session_id = ?", session.0)?;
    }
    list.of_seen_athletes(tx)?;
    list.then(filter.standing());
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
        list.then("select x.athlete_id, x.id from runs x where x.club_id = $1");
        match filter.session {
            Some(session) => of_both(&mut list, session.0, page::from(after))?,
            None => list.with(" and x.athlete_id = a.id and x.id >= ?", page::from(after))?,
        }
        list.then(filter.standing());
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

/// Along the days of the sessions: so many sessions, and twice as many each time, until their runs fill the page.
async fn of_days(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<Place>,
    fetch: i64,
) -> Result<Vec<(Place, StoredRun)>, StoreError> {
    let athletes = seen(tx, filter).await?;
    // In a session one athlete runs a few times, a squad many.
    let mut count = if filter.athlete.is_some() { (fetch / 4).max(2) } else { 1 };
    let wanted = usize::try_from(fetch).unwrap_or(usize::MAX);
    let (mut found, mut from) = (Vec::new(), after);
    loop {
        let sessions = sessions(tx, filter, from, count).await?;
        let mut rows = of_sessions(tx, filter, athletes.as_deref(), &sessions, from).await?;
        let days: HashMap<Uuid, NaiveDate> = sessions.iter().copied().collect();
        let place = |row: &Row| days.get(&row.session_id).map(|day| Place::OfDay(*day, row.session_id, row.id));
        rows.sort_unstable_by_key(|row| (days.get(&row.session_id).copied(), row.session_id, row.id));
        for row in rows {
            let place = place(&row).ok_or(StoreError::Corrupt("run"))?;
            found.push((place, row.try_into()?));
        }
        let last =
            sessions.last().filter(|_| found.len() < wanted && sessions.len() >= usize::try_from(count).unwrap_or(0));
        let Some((session, day)) = last else { break };
        // Behind the last run that this session can have.
        from = Some(Place::OfDay(*day, *session, Uuid::max()));
        count = (2 * count).min(200);
    }
    found.truncate(wanted);
    Ok(found)
}

/// The next sessions by day and id, that of the place itself among them.
async fn sessions(
    tx: &mut ClubTx,
    filter: &Filter,
    from: Option<Place>,
    count: i64,
) -> Result<Vec<(Uuid, NaiveDate)>, StoreError> {
    let mut list = Parts::new(tx, "select y.id, y.held_on from sessions y where y.club_id = $1")?;
    if let Some(from) = filter.from {
        list.with(" and y.held_on >= ?", from)?;
    }
    if let Some(to) = filter.to {
        list.with(" and y.held_on <= ?", to)?;
    }
    if let Some(session) = filter.session {
        list.with(" and y.id = ?", session.0)?;
    }
    if let Some(Place::OfDay(day, session, id)) = from {
        list.then(if id.is_max() { " and (y.held_on, y.id) > (" } else { " and (y.held_on, y.id) >= (" });
        list.with("?", day)?;
        list.with(", ?)", session)?;
    }
    list.first(tx, "held_on, id", count).await
}

/// The first runs of each of these sessions, behind a place; in each those of every athlete, or of these.
async fn of_sessions(
    tx: &mut ClubTx,
    filter: &Filter,
    athletes: Option<&[Uuid]>,
    sessions: &[(Uuid, NaiveDate)],
    from: Option<Place>,
) -> Result<Vec<Row>, StoreError> {
    let ids: Vec<Uuid> = sessions.iter().map(|(id, _)| *id).collect();
    let mut list = Parts::new(tx, select!(""))?;
    list.with("unnest((select ?::uuid[])::uuid[]) as s (id)", ids)?;
    if let Some(athletes) = athletes {
        list.with(" cross join unnest((select ?::uuid[])::uuid[]) as a (id)", athletes)?;
    }
    list.then(" cross join lateral (select x.* from runs x where x.club_id = $1 and x.session_id = s.id");
    if athletes.is_some() {
        // As bounds: see `of_both`.
        list.then(" and (x.session_id, x.athlete_id) >= (s.id, a.id) and (x.session_id, x.athlete_id) <= (s.id, a.id)");
    } else {
        // Below no id, so that the index of sessions by id is gone along.
        list.with(" and x.id >= ?", Uuid::nil())?;
        list.of_seen_athletes(tx)?;
    }
    list.then(filter.standing());
    if let Some(Place::OfDay(_, session, id)) = from {
        list.with(" and (x.session_id <> ?", session)?;
        list.with(" or x.id > ?)", id)?;
    }
    list.then(" order by x.id limit 201) x");
    list.all(tx).await
}
