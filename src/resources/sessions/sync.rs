//! Sessions and attendances as phones carry them.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

use super::model::{Session, State};
use super::rests_store::{self, Leaving};
use super::shapes::{Fields, View};
use super::{presence_store, store};
use crate::platform::body;
use crate::platform::db::{ClubTx, Kind, StoreError};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId, SessionId};
use crate::platform::ops::{self, Done, Editable, Method, Op};
use crate::platform::problem::{Code, Problem};
use crate::platform::record::Record;
use crate::platform::routed::Routed;
use crate::platform::stored::Stored;

/// That an athlete came to a session.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AttendanceRecord)]
pub struct AttendanceView {
    /// UUID version 5 of the athlete's 16 bytes in the namespace of the session's id.
    id: Uuid,
    /// Number of the last change.
    #[schema(minimum = 0, example = 42)]
    rev: i64,
    /// The session.
    session_id: SessionId,
    /// The athlete.
    athlete_id: AthleteId,
}

/// The sessions of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &View::from(one))).collect()
}

/// The attendances of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull_attendance(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = presence_store::by_ids(tx, ids).await?;
    let view = |one: &presence_store::Presence| {
        let view = AttendanceView { id: one.id, rev: one.rev, session_id: one.session, athlete_id: one.athlete };
        Record::of(one.id, one.rev, &view)
    };
    found.iter().filter(|one| !one.gone).map(view).collect()
}

/// Edits of session.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Session;
    type Fields = Fields;
    const WHAT: &'static str = "session";
    const KIND: Kind = Kind::Session;

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Session)>, Problem> {
        Ok(store::find(tx, SessionId(id)).await?.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Session) -> Result<Fields, Problem> {
        Ok(Fields::from(value))
    }

    async fn parse(tx: &mut ClubTx, fields: Fields, before: Option<&Session>) -> Result<Session, Problem> {
        let value = fields.parse(tx.today().await?)?;
        let known = before.map_or(&[][..], |session| session.groups.as_slice());
        let added: Vec<GroupId> = value.groups.iter().copied().filter(|group| !known.contains(group)).collect();
        grants::require(tx, &added, "/group_ids").await?;
        Ok(value)
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Session) -> Result<bool, Problem> {
        Ok(store::insert(tx, SessionId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Session, before: &Session) -> Result<(), Problem> {
        let out: Vec<GroupId> = before.groups.iter().copied().filter(|group| !value.groups.contains(group)).collect();
        if !out.is_empty() {
            grants::require_assigned(tx, &out)?;
            let rests = rests_store::of(tx, SessionId(id), Some(Leaving { out: &out, stay: &value.groups })).await?;
            keep(&rests, "Athletes of a group that you take out have")?;
        }
        if (value.state == State::Cancelled) != (before.state == State::Cancelled) {
            grants::require_all(tx, &before.groups, Self::WHAT)?;
        }
        Ok(store::save(tx, SessionId(id), value, before).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, before: &Session) -> Result<(), Problem> {
        grants::require_all(tx, &before.groups, Self::WHAT)?;
        keep(&rests_store::of(tx, SessionId(id), None).await?, "This session has")?;
        Ok(store::remove(tx, SessionId(id), &before.groups).await?)
    }
}

/// Refuses what would part records from their session.
fn keep(rests: &[String], who: &str) -> Result<(), Problem> {
    if rests.is_empty() {
        return Ok(());
    }
    let detail = format!(
        "{who} {} in it, and the session stays as their record. Set its state to cancelled instead: all of it is kept.",
        rests.join(", ")
    );
    Err(Problem::new(Code::Conflict, detail))
}

impl Routed for Edits {
    type View = View;
    const PARAM: &'static str = "session_id";

    fn view(id: Uuid, rev: i64, value: Session) -> View {
        View::from(&Stored { id: SessionId(id), rev, value })
    }
}

/// The pair of an attendance.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AttendanceFields)]
pub struct Pair {
    /// The session.
    session_id: SessionId,
    /// The athlete who came.
    athlete_id: AthleteId,
}

/// An attendance, when the actor sees its session and its athlete.
async fn seen(tx: &mut ClubTx, id: Uuid) -> Result<Option<presence_store::Presence>, StoreError> {
    let found = presence_store::by_ids(tx, &[id]).await?.pop();
    let (session, athlete) = found.map_or((Uuid::nil(), Uuid::nil()), |one| (one.session.0, one.athlete.0));
    let session = !grants::visible_sessions(tx, &[session]).await?.is_empty();
    let athlete = !grants::visible_athletes(tx, &[athlete]).await?.is_empty();
    Ok(found.filter(|_| session && athlete))
}

/// Notes that an athlete came, or takes it back; twice is once.
///
/// # Errors
/// Whatever refuses it.
pub async fn attend(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    let found = seen(tx, op.id).await?;
    let pair = match (&found, op.data.is_empty()) {
        (Some(found), true) => Pair { session_id: found.session, athlete_id: found.athlete },
        _ => body::from_value(Value::Object(op.data.clone()))?,
    };
    if store::attendance_id(pair.session_id, pair.athlete_id) != op.id {
        let detail = "must be the UUID version 5 of the athlete's 16 bytes in the namespace of the session's id";
        return Err(Problem::invalid(vec![Fault::at("/id", "derived_id", detail)]));
    }
    if store::find(tx, pair.session_id).await?.is_none() {
        return Err(Problem::not_found("session"));
    }
    if grants::visible_athletes(tx, &[pair.athlete_id.0]).await?.is_empty() {
        return Err(Problem::not_found("athlete"));
    }
    match (op.method, found) {
        (Method::Put, Some(found)) if !found.gone => Ok(Done::before(found.rev)),
        (Method::Put, found) => {
            let rev = found.map_or(0, |found| found.rev);
            if !op.if_none_match {
                ops::require(op, rev)?;
            }
            store::set_attendance(tx, pair.session_id, &[pair.athlete_id], &[]).await?;
            Ok(Done::now(201, rev))
        }
        (Method::Delete, Some(found)) if !found.gone => {
            ops::require(op, found.rev)?;
            store::set_attendance(tx, pair.session_id, &[], &[pair.athlete_id]).await?;
            Ok(Done::now(200, found.rev))
        }
        (Method::Delete, Some(_)) => Err(Problem::gone()),
        (Method::Delete, None) => Err(Problem::not_found("attendance")),
        (Method::Patch, _) => Err(Problem::invalid(vec![Fault::at("/method", "word", "must be PUT or DELETE")])),
    }
}
