//! Which records are about a day before the first that a phone keeps, as rows.
//!
//! What was recorded or planned in a session is about its day: runs, attendances, lane plans, race tests with their
//! entries and results, and assessments that name one. The day of a session may change, and theirs with it. An
//! assessment without a session is about the day of its claimed time in UTC, a decision about its own.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::{Type, Types};
use super::pager::{Child, Dated};
use super::places::RootId;
use crate::platform::db::{ClubTx, StoreError};

/// Those of these records that are there and about a day before `day`. That one was deleted is always told: it may have gone
/// just before its session moved, which takes back what is there alone.
pub async fn old(
    tx: &mut ClubTx,
    records: &[(Type, Uuid)],
    day: NaiveDate,
) -> Result<HashSet<(Type, Uuid)>, StoreError> {
    let mut ids: HashMap<Type, Vec<Uuid>> = HashMap::new();
    for (kind, id) in records {
        ids.entry(*kind).or_default().push(*id);
    }
    let mut found = HashSet::new();
    for (kind, ids) in ids {
        found.extend(old_of(tx, kind, &ids, day).await?.into_iter().map(|id| (kind, id)));
    }
    Ok(found)
}

/// Those of these records of a type that are there and about a day before `day`.
async fn old_of(tx: &mut ClubTx, kind: Type, ids: &[Uuid], day: NaiveDate) -> Result<Vec<Uuid>, StoreError> {
    let club = tx.club.0;
    /// Records `x` whose day is in a column.
    macro_rules! before {
        ($from:tt, $day:tt) => {
            sqlx::query_scalar!(
                "select x.id from " + $from + " where x.club_id = $1 and x.id = any ($2) and " + $day + " < $3",
                club,
                ids,
                day
            )
            .fetch_all(tx.conn())
            .await?
        };
    }
    Ok(match kind {
        Type::Attendance => before!(
            "attendance x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "s.held_on"
        ),
        Type::LanePlan => before!(
            "lane_plans x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "s.held_on"
        ),
        Type::Run => before!("runs x join sessions s on s.club_id = $1 and s.id = x.session_id", "s.held_on"),
        Type::Assessment => before!(
            "assessments x left join sessions s on s.club_id = $1 and s.id = x.session_id",
            "coalesce(s.held_on, (x.assessed_at at time zone 'UTC')::date)"
        ),
        Type::Decision => before!("recommendations x", "x.on_date"),
        Type::RaceTest => before!(
            "race_tests x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "s.held_on"
        ),
        Type::RaceEntry => before!(
            "race_entries x join race_tests t on t.club_id = $1 and t.id = x.race_test_id \
             join sessions s on s.club_id = $1 and s.id = t.session_id",
            "s.held_on"
        ),
        Type::RaceResult => before!(
            "race_results x join race_tests t on t.club_id = $1 and t.id = x.race_test_id \
             join sessions s on s.club_id = $1 and s.id = t.session_id",
            "s.held_on"
        ),
        Type::Group
        | Type::Venue
        | Type::Equipment
        | Type::BarrierConfiguration
        | Type::Athlete
        | Type::Session
        | Type::Measurement
        | Type::Club
        | Type::AgeGroup
        | Type::CompetitionSpec
        | Type::WellbeingRecord => Vec::new(),
    })
}

/// The live records of these types whose day is that of a session, by type and id, after `after`; with whether it lies
/// before `day`.
pub async fn dated(
    tx: &mut ClubTx,
    (session, types, day): (Uuid, Types, NaiveDate),
    after: Option<(Type, Uuid)>,
    limit: usize,
) -> Result<Vec<Dated>, StoreError> {
    let mut found = Vec::new();
    for kind in types.iter().filter(|kind| after.is_none_or(|(last, _)| last <= *kind)) {
        let last = after.filter(|(last, _)| *last == kind).map(|(_, id)| id);
        let left = limit.saturating_sub(found.len());
        if left > 0 {
            found.extend(dated_of(tx, kind, (session, day), last, left).await?);
        }
    }
    Ok(found)
}

/// The live records of a type whose day is that of a session, by id.
#[allow(clippy::too_many_lines)] // an arm for each type
async fn dated_of(
    tx: &mut ClubTx,
    kind: Type,
    (session, day): (Uuid, NaiveDate),
    after: Option<Uuid>,
    limit: usize,
) -> Result<Vec<Dated>, StoreError> {
    let (club, limit) = (tx.club.0, i64::try_from(limit).unwrap_or(i64::MAX));
    /// Records `x` of a session, with the athlete below whom each is sent.
    macro_rules! of_session {
        ($from:tt, $athlete:tt) => {
            sqlx::query_as!(
                Row,
                "select x.id, x.rev, "
                    + $athlete
                    + " as \"athlete?\", s.held_on < $3 as \"old!\" from "
                    + $from
                    + " where x.club_id = $1 and s.id = $2 and ($4::uuid is null or x.id > $4) order by x.id limit $5",
                club,
                session,
                day,
                after,
                limit
            )
            .fetch_all(tx.conn())
            .await?
        };
    }
    let rows = match kind {
        Type::Attendance => of_session!(
            "attendance x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "x.athlete_id"
        ),
        Type::LanePlan => of_session!(
            "lane_plans x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "null::uuid"
        ),
        Type::Run => of_session!("runs x join sessions s on s.club_id = $1 and s.id = x.session_id", "x.athlete_id"),
        Type::Assessment => {
            of_session!("assessments x join sessions s on s.club_id = $1 and s.id = x.session_id", "x.athlete_id")
        }
        Type::RaceTest => of_session!(
            "race_tests x join sessions s on s.club_id = $1 and s.id = x.session_id and x.deleted_at is null",
            "null::uuid"
        ),
        Type::RaceEntry => of_session!(
            "race_entries x join race_tests t on t.club_id = $1 and t.id = x.race_test_id and t.deleted_at is null \
             join sessions s on s.club_id = $1 and s.id = t.session_id",
            "x.athlete_id"
        ),
        Type::RaceResult => of_session!(
            "race_results x join race_tests t on t.club_id = $1 and t.id = x.race_test_id \
             join sessions s on s.club_id = $1 and s.id = t.session_id",
            "x.athlete_id"
        ),
        Type::Group
        | Type::Venue
        | Type::Equipment
        | Type::BarrierConfiguration
        | Type::Athlete
        | Type::Session
        | Type::Measurement
        | Type::Decision
        | Type::Club
        | Type::AgeGroup
        | Type::CompetitionSpec
        | Type::WellbeingRecord => Vec::new(),
    };
    let child = |row: Row| {
        let above = row.athlete.map(|id| RootId { id, kind: Type::Athlete });
        let root = above.unwrap_or(RootId { id: session, kind: Type::Session });
        Dated { child: Child { root, kind, id: row.id }, rev: row.rev, old: row.old }
    };
    Ok(rows.into_iter().map(child).collect())
}

struct Row {
    id: Uuid,
    rev: i64,
    athlete: Option<Uuid>,
    old: bool,
}
