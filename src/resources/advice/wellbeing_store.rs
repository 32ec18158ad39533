//! Who rests and who is back, and what the surface is: read here for advice, plans, race tests and the flag of runs alike.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::store::day;
use crate::compute::day::Day;
use crate::compute::decision::Surface;
use crate::compute::wellbeing::{Break, Report, Standing, What, standing};
use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::ids::SessionId;

/// The reports and restrictions of these athletes that stand (neither corrected nor withdrawn), as known for a day; with the first
/// clearance of each and the last day for which a coach confirmed a return after both were recorded.
pub(super) async fn breaks(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
) -> Result<HashMap<Uuid, Vec<Break>>, StoreError> {
    let found = recorded(tx, athletes, on).await?;
    Ok(found.into_iter().map(|(athlete, all)| (athlete, all.into_iter().map(|(one, _)| one).collect())).collect())
}

/// The same, each with the moment at which it was recorded.
pub(super) async fn recorded(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
) -> Result<HashMap<Uuid, Vec<(Break, DateTime<Utc>)>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select w.athlete_id, w.created_at, w.kind, w.reported_on, w.until, c.cleared_on as "cleared_on?",
          (
            select max(d.on_date)
            from recommendations d
            where d.club_id = $1 and d.athlete_id = w.athlete_id and d.clears_return and d.on_date <= $3
              and d.decided_at > greatest(w.created_at, c.recorded_at)
          ) as confirmed_on
        from wellbeing_records w
        left join lateral (
          select y.reported_on as cleared_on, y.created_at as recorded_at
          from wellbeing_records y
          where y.club_id = $1 and y.clears = w.id and not y.void and y.reported_on <= $3
            and not exists (
              select from wellbeing_records later
              where later.club_id = $1 and later.supersedes = y.id
            )
          order by y.reported_on, y.created_at
          limit 1
        ) c on true
        where w.club_id = $1 and w.athlete_id = any ((select $2::uuid[])::uuid[]) and w.kind <> 'clearance' and not w.void and w.reported_on <= $3
          and not exists (
            select from wellbeing_records later
            where later.club_id = $1 and later.supersedes = w.id
          )
        order by w.athlete_id, w.reported_on, w.id
        "#,
        club,
        athletes,
        on
    )
    .fetch_all(tx.conn())
    .await?;
    let days = |date: Option<NaiveDate>| date.map(day).transpose().map(|day| day.map(Day::days));
    let mut found: HashMap<Uuid, Vec<(Break, DateTime<Utc>)>> = HashMap::new();
    for row in rows {
        let what = match Report::from_word(&row.kind) {
            Some(report) => What::Report(report),
            None if row.kind == "restriction" => What::Restriction { until: days(row.until)? },
            None => return Err(StoreError::Corrupt("well-being record")),
        };
        let one = Break {
            what,
            on: day(row.reported_on)?.days(),
            cleared_on: days(row.cleared_on)?,
            confirmed_on: days(row.confirmed_on)?,
        };
        found.entry(row.athlete_id).or_default().push((one, row.created_at));
    }
    Ok(found)
}

/// What reports, restrictions and clearances come to for each of these athletes on a day; nothing for whom there are none.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn standings(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
) -> Result<HashMap<Uuid, Standing>, StoreError> {
    let today = day(on)?.days();
    let found = breaks(tx, athletes, on).await?;
    Ok(found.into_iter().map(|(athlete, breaks)| (athlete, standing(&breaks, today))).collect())
}

/// Those of these athletes and days on which a report or restriction stood, as far as it is known now.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn against_rest(
    tx: &mut ClubTx,
    ran: &[(Uuid, NaiveDate)],
) -> Result<HashSet<(Uuid, NaiveDate)>, StoreError> {
    let Some(last) = ran.iter().map(|(_, on)| *on).max() else { return Ok(HashSet::new()) };
    let athletes: Vec<Uuid> = ran.iter().map(|(athlete, _)| *athlete).collect::<HashSet<_>>().into_iter().collect();
    let found = breaks(tx, &athletes, last).await?;
    let rests = |(athlete, on): &&(Uuid, NaiveDate)| {
        found.get(athlete).is_some_and(|breaks| breaks.iter().any(|one| one.stands(on.to_epoch_days())))
    };
    Ok(ran.iter().filter(rests).copied().collect())
}

/// What is wrong with the surface for each of these athletes on a day: of one session, or of those of their groups that the
/// actor sees.
pub(super) async fn surfaces(
    tx: &mut ClubTx,
    athletes: &[Uuid],
    on: NaiveDate,
    session: Option<SessionId>,
) -> Result<HashMap<Uuid, Surface>, StoreError> {
    let mut list = Parts::new(tx, "select u.athlete_id, s.surface from sessions s")?;
    list.with(" cross join unnest((select ?::uuid[])::uuid[]) as u (athlete_id)", athletes)?;
    list.then(" where s.club_id = $1 and s.deleted_at is null and s.surface is not null");
    if let Some(session) = session {
        list.with(" and s.id = ?", session.0)?;
    } else {
        list.with(" and s.held_on = ? and s.state <> 'cancelled'", on)?;
        list.then(
            " and exists (select from session_scope x join athlete_scope a on a.club_id = $1 and \
             a.athlete_id = u.athlete_id and a.scope_id = x.scope_id where x.club_id = $1 and x.session_id = s.id",
        );
        if let Some(groups) = tx.actor.group_ids() {
            list.with(" and x.scope_id = any ((select ?::uuid[])::uuid[])", groups)?;
        }
        list.then(" offset 0)");
    }
    list.then(" order by u.athlete_id, s.id");
    let rows: Vec<(Uuid, String)> = list.all(tx).await?;
    let mut found: HashMap<Uuid, Surface> = HashMap::new();
    for (athlete, word) in rows {
        let surface = Surface::from_word(&word).ok_or(StoreError::Corrupt("session"))?;
        // Of two sessions the one on a wet surface is named.
        let named = found.entry(athlete).or_insert(surface);
        *named = surface.min(*named);
    }
    Ok(found)
}
