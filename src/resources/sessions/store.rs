//! Rows of sessions and attendance.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::model::{Session, State, Surface};
use super::presence_store;
use crate::platform::db::{Change, ClubTx, Kind, Parts, StoreError};
use crate::platform::fault::Fault;
use crate::platform::grants::{self, ids_of};
use crate::platform::ids::{AthleteId, GroupId, SessionId, VenueId};
use crate::platform::people::People;
use crate::platform::renewals;
use crate::platform::stored::Stored;

/// A session as it is stored.
pub type StoredSession = Stored<SessionId, Session>;

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    held_on: NaiveDate,
    state: String,
    venue_id: Option<Uuid>,
    blocks: serde_json::Value,
    weather_note: Option<String>,
    surface: Option<String>,
    note: Option<String>,
    groups: Vec<Uuid>,
}

impl TryFrom<Row> for StoredSession {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = || StoreError::Corrupt("session");
        Ok(Self {
            id: SessionId(row.id),
            rev: row.rev,
            value: Session {
                held_on: row.held_on,
                state: State::parse(&row.state).map_err(|_| corrupt())?,
                groups: row.groups.into_iter().map(GroupId).collect(),
                venue: row.venue_id.map(VenueId),
                blocks: serde_json::from_value(row.blocks).map_err(|_| corrupt())?,
                weather_note: row.weather_note,
                surface: row.surface.as_deref().map(Surface::parse).transpose().map_err(|_| corrupt())?,
                note: row.note,
            },
        })
    }
}

/// Which sessions a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    /// Only this group's.
    pub group: Option<GroupId>,
    /// Only of this state.
    pub state: Option<State>,
    /// From this day on.
    pub from: Option<NaiveDate>,
    /// Up to this day.
    pub to: Option<NaiveDate>,
}

fn blocks(session: &Session) -> serde_json::Value {
    serde_json::to_value(&session.blocks).unwrap_or_default()
}

/// Refuses a venue that is not there.
async fn check_venue(tx: &mut ClubTx, venue: Option<VenueId>) -> Result<(), StoreError> {
    let Some(venue) = venue else { return Ok(()) };
    let club = tx.club.0;
    let found = sqlx::query_scalar!(
        r#"select exists (select from venues where club_id = $1 and id = $2 and deleted_at is null) as "found!""#,
        club,
        venue.0
    )
    .fetch_one(tx.conn())
    .await?;
    if found {
        return Ok(());
    }
    Err(StoreError::Invalid(vec![Fault::at("/venue_id", "unknown_id", "there is no such venue in the club")]))
}

/// Inserts a session; false when the id is taken already.
pub async fn insert(tx: &mut ClubTx, id: SessionId, session: &Session) -> Result<bool, StoreError> {
    let club = tx.club.0;
    check_venue(tx, session.venue).await?;
    let done = sqlx::query!(
        r#"
        insert into sessions as x
          (club_id, id, held_on, state, venue_id, blocks, weather_note, created_at, updated_at, surface, note)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $8, $9, $10)
        on conflict (club_id, id) do nothing
        "#,
        club,
        id.0,
        session.held_on,
        session.state.as_str(),
        session.venue.map(|venue| venue.0),
        blocks(session),
        session.weather_note,
        Utc::now(),
        session.surface.map(Surface::as_str),
        session.note
    )
    .execute(tx.changing(Change::put(Kind::Session, id).scopes(Vec::new(), ids_of(&session.groups))))
    .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    grants::place(tx, [(id, session.groups.as_slice())]).await?;
    Ok(true)
}

/// A session, when the actor sees one of its groups.
pub async fn find(tx: &mut ClubTx, id: SessionId) -> Result<Option<StoredSession>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.pop();
    Ok(found.filter(|session| tx.actor.sees_any(&session.value.groups)))
}

/// Those of these ids that are there, seen by the actor or not.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<StoredSession>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select x.id, x.rev, x.held_on, x.state, x.venue_id, x.blocks, x.weather_note, x.surface, x.note,
          array(
            select s.scope_id from session_scope s
            where s.club_id = $1 and s.session_id = x.id
            order by s.scope_id
          ) as "groups!"
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from sessions r where r.club_id = $1 and r.id = i.one offset 0) x
        where x.deleted_at is null
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

/// The sessions that the actor sees, latest day first, after `after`.
pub async fn page(
    tx: &mut ClubTx,
    filter: &Filter,
    after: Option<(NaiveDate, Uuid)>,
    fetch: i64,
) -> Result<Vec<StoredSession>, StoreError> {
    let mut list = Parts::new(
        tx,
        "select x.id, x.rev, x.held_on, x.state, x.venue_id, x.blocks, x.weather_note, x.surface, x.note, array(select s.scope_id \
         from session_scope s where s.club_id = $1 and s.session_id = x.id order by s.scope_id) as groups \
         from sessions x where x.club_id = $1 and x.deleted_at is null",
    )?;
    let of_groups = " and exists (select from session_scope v where v.club_id = $1 and v.session_id = x.id and \
                     v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
    if let Some(groups) = tx.actor.group_ids() {
        list.with(of_groups, groups)?;
    }
    if let Some(group) = filter.group {
        list.with(of_groups, vec![group.0])?;
    }
    if let Some(state) = filter.state {
        list.with(" and x.state = ?", state.as_str())?;
    }
    if let Some(from) = filter.from {
        list.with(" and x.held_on >= ?", from)?;
    }
    if let Some(to) = filter.to {
        list.with(" and x.held_on <= ?", to)?;
    }
    if let Some((day, id)) = after {
        list.with(" and (x.held_on, x.id) < (?", day)?;
        list.with(", ?)", id)?;
    }
    let rows: Vec<Row> = list.first(tx, "held_on desc, id desc", fetch).await?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Saves a changed session.
pub async fn save(tx: &mut ClubTx, id: SessionId, session: &Session, before: &Session) -> Result<(), StoreError> {
    let club = tx.club.0;
    check_venue(tx, session.venue).await?;
    let mut change = Change::put(Kind::Session, id);
    let regrouped = session.groups != before.groups;
    if regrouped {
        change = change.scopes(ids_of(&before.groups), ids_of(&session.groups));
    }
    if session.held_on != before.held_on {
        change = change.redated();
    }
    sqlx::query!(
        r#"
        update sessions
        set held_on = $3, state = $4, venue_id = $5, blocks = $6, weather_note = $7, updated_at = $8, surface = $9,
          note = $10
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        session.held_on,
        session.state.as_str(),
        session.venue.map(|venue| venue.0),
        blocks(session),
        session.weather_note,
        Utc::now(),
        session.surface.map(Surface::as_str),
        session.note
    )
    .execute(tx.changing(change))
    .await?;
    if regrouped {
        grants::unplace(tx, id).await?;
        grants::place(tx, [(id, session.groups.as_slice())]).await?;
    }
    let moved = (session.held_on != before.held_on).then(|| session.held_on.min(before.held_on));
    if moved.is_some() || session.surface != before.surface {
        renewals::of_session(tx, id, moved).await?;
    }
    Ok(())
}

/// Deletes a session; what rests on it was looked for before.
pub async fn remove(tx: &mut ClubTx, id: SessionId, groups: &[GroupId]) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update sessions
        set blocks = '[]', weather_note = null, note = null, deleted_at = $3, updated_at = $3
        where club_id = $1 and id = $2
        "#,
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.changing(Change::remove(Kind::Session, id).scopes(ids_of(groups), Vec::new())))
    .await?;
    presence_store::clear(tx, id).await?;
    grants::unplace(tx, id).await
}

/// Who was present of the athletes that the actor sees, sorted, and the version of that list: the highest change number
/// of its rows.
pub async fn attendance(tx: &mut ClubTx, session: SessionId) -> Result<(Vec<AthleteId>, i64), StoreError> {
    let club = tx.club.0;
    let mut rows = sqlx::query!(
        r#"
        select t.athlete_id, t.rev, t.deleted_at is null as "present!"
        from attendance t
        where t.club_id = $1 and t.session_id = $2
        order by t.athlete_id
        "#,
        club,
        session.0
    )
    .fetch_all(tx.conn())
    .await?;
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    rows.retain(|row| people.sees(AthleteId(row.athlete_id)));
    let rev = rows.iter().map(|row| row.rev).max().unwrap_or(0);
    let present = rows.iter().filter(|row| row.present).map(|row| AthleteId(row.athlete_id)).collect();
    Ok((present, rev))
}

/// The id of an attendance: the same for the same session and athlete on every device.
pub fn attendance_id(session: SessionId, athlete: AthleteId) -> Uuid {
    Uuid::new_v5(&session.0, athlete.0.as_bytes())
}

/// Writes who came and who did not after all; the two lists do not overlap.
pub async fn set_attendance(
    tx: &mut ClubTx,
    session: SessionId,
    came: &[AthleteId],
    gone: &[AthleteId],
) -> Result<(), StoreError> {
    let club = tx.club.0;
    let all: Vec<(AthleteId, Option<DateTime<Utc>>)> = came
        .iter()
        .map(|athlete| (*athlete, None))
        .chain(gone.iter().map(|athlete| (*athlete, Some(Utc::now()))))
        .collect();
    if all.is_empty() {
        return Ok(());
    }
    let ids: Vec<Uuid> = all.iter().map(|(athlete, _)| attendance_id(session, *athlete)).collect();
    tx.alone_all(ids.iter().copied()).await?;
    let athletes: Vec<Uuid> = all.iter().map(|(athlete, _)| athlete.0).collect();
    let ends: Vec<Option<DateTime<Utc>>> = all.iter().map(|(_, end)| *end).collect();
    let changes: Vec<Change> = all
        .iter()
        .zip(&ids)
        .map(|((_, end), id)| match end {
            None => Change::put(Kind::Attendance, *id),
            Some(_) => Change::remove(Kind::Attendance, *id),
        })
        // Like everything recorded of an athlete, it is seen by those who see the athlete.
        .zip(&all)
        .map(|(change, (athlete, _))| change.under(*athlete))
        .collect();
    sqlx::query!(
        r#"
        insert into attendance as x (club_id, id, session_id, athlete_id, created_at, updated_at, deleted_at)
        select c.id, u.id, $2, u.athlete_id, $6, $6, u.deleted_at
        from clubs c
        cross join unnest($3::uuid[], $4::uuid[], $5::timestamptz[]) as u (id, athlete_id, deleted_at)
        where c.id = $1
        on conflict (club_id, id) do update
        set deleted_at = excluded.deleted_at, updated_at = excluded.updated_at
        "#,
        club,
        session.0,
        &ids,
        &athletes,
        &ends as &[Option<DateTime<Utc>>],
        Utc::now()
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}
