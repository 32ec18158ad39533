//! Turns the places of a page into records, each as its own resource shows it.

use std::collections::{HashMap, HashSet};

use uuid::Uuid;

use super::model::Type;
use super::pager::{Item, Sent};
use super::places::Position;
use super::shapes::{Change, Removed};
use super::store;
use super::visibility::{Reason, Seq};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::grants;
use crate::platform::ids::{self, GroupId};
use crate::platform::people::{self, Origin};
use crate::platform::record::Record;
use crate::resources::{
    age_groups, assessments, athletes, barrier_configurations, clubs, competition_specs, equipment, groups, lane_plans,
    race_tests, recommendations, runs, sessions, venues, wellbeing_records,
};

/// The most bytes of records on a page, unless a single one is larger.
pub const MAX_BYTES: usize = 1024 * 1024;

/// The records of one type that are there.
pub async fn pull(tx: &mut ClubTx, kind: Type, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    match kind {
        Type::Group => groups::sync::pull(tx, ids).await,
        Type::Venue => venues::sync::pull(tx, ids).await,
        Type::Equipment => equipment::sync::pull(tx, ids).await,
        Type::BarrierConfiguration => barrier_configurations::sync::pull(tx, ids).await,
        Type::Athlete => athletes::sync::pull(tx, ids).await,
        Type::Session => sessions::sync::pull(tx, ids).await,
        Type::Measurement => athletes::sync::pull_measurements(tx, ids).await,
        Type::Attendance => sessions::sync::pull_attendance(tx, ids).await,
        Type::LanePlan => lane_plans::sync::pull(tx, ids).await,
        Type::Run => runs::sync::pull(tx, ids).await,
        Type::Assessment => assessments::sync::pull(tx, ids).await,
        Type::Decision => recommendations::sync::pull(tx, ids).await,
        Type::RaceTest => race_tests::sync::pull(tx, ids).await,
        Type::RaceEntry => race_tests::sync::pull_entries(tx, ids).await,
        Type::RaceResult => race_tests::sync::pull_results(tx, ids).await,
        Type::Club => clubs::sync::pull(tx).await,
        Type::AgeGroup => age_groups::sync::pull(tx, ids).await,
        Type::CompetitionSpec => competition_specs::sync::pull(tx, ids).await,
        Type::WellbeingRecord => wellbeing_records::sync::pull(tx, ids).await,
    }
}

/// Those of these records that the actor may see: of a session or an athlete that they see now, or club-wide.
///
/// # Errors
/// Database errors.
pub async fn seen(tx: &mut ClubTx, kind: Type, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = pull(tx, kind, ids).await?;
    let id = |record: &Record, name: &str| record.data.get(name).and_then(ids::read);
    let root = |record: &Record| match kind {
        Type::Athlete | Type::Session => Some(record.id),
        Type::LanePlan | Type::RaceTest => id(record, "session_id"),
        Type::Measurement
        | Type::Attendance
        | Type::Run
        | Type::Assessment
        | Type::Decision
        | Type::RaceEntry
        | Type::RaceResult
        | Type::WellbeingRecord => id(record, "athlete_id"),
        Type::Group
        | Type::Venue
        | Type::Equipment
        | Type::BarrierConfiguration
        | Type::Club
        | Type::AgeGroup
        | Type::CompetitionSpec => None,
    };
    let roots: Vec<Uuid> = found.iter().filter_map(root).collect();
    let of_session = matches!(kind, Type::Session | Type::LanePlan | Type::RaceTest);
    let visible: HashSet<Uuid> = if of_session {
        grants::visible_sessions(tx, &roots).await?.into_keys().collect()
    } else {
        grants::visible_athletes(tx, &roots).await?.into_keys().collect()
    };
    let sees = |record: &Record| match root(record) {
        Some(root) => visible.contains(&root),
        None if kind == Type::Group => tx.actor.sees(GroupId(record.id)),
        // Somebody who left sees nothing of the club any more, and has no group.
        None => tx.actor.groups.as_ref().is_none_or(|groups| !groups.is_empty()),
    };
    Ok(found.into_iter().filter(sees).collect())
}

/// About whom a stored fact is, and who recorded it; none when the id is free.
///
/// # Errors
/// Database errors.
pub async fn origins(tx: &mut ClubTx, kind: Type, id: Uuid) -> Result<Vec<Origin>, StoreError> {
    match kind {
        Type::Measurement => athletes::sync::origins(tx, &[id]).await,
        Type::Run => runs::sync::origins(tx, &[id]).await,
        Type::Assessment => assessments::sync::origins(tx, &[id]).await,
        Type::Decision => recommendations::sync::origins(tx, &[id]).await,
        Type::RaceResult => race_tests::sync::origins(tx, &[id]).await,
        Type::WellbeingRecord => wellbeing_records::sync::origins(tx, &[id]).await,
        _ => Ok(Vec::new()),
    }
}

/// Whether a fact is stored that the actor may learn of: about an athlete whom they see, or recorded by themselves.
///
/// # Errors
/// Database errors.
pub async fn knows(tx: &mut ClubTx, kind: Type, id: Uuid) -> Result<bool, StoreError> {
    let origins = origins(tx, kind, id).await?;
    Ok(origins.len() > people::hidden(tx, &origins).await?.len())
}

/// Leaves out what is about athletes who are withheld from whom the page is for; the numbers of it.
async fn withhold(
    tx: &mut ClubTx,
    found: &mut HashMap<(Type, Uuid), Record>,
) -> Result<HashMap<(Type, Uuid), Seq>, StoreError> {
    let about = |record: &Record| record.data.get("athlete_id").and_then(ids::read);
    let athletes: Vec<Uuid> = found.values().filter_map(about).collect();
    let seen = grants::visible_athletes(tx, &athletes).await?;
    let withheld = found.extract_if(|_, record| about(record).is_some_and(|athlete| !seen.contains_key(&athlete)));
    Ok(withheld.map(|(key, record)| (key, record.rev)).collect())
}

/// The changes of a page; when they grow too large, also where the page was cut. `head` is the last number of the log: what is gone
/// without a stub is told with it, because an earlier page may have shown the record with any number before.
pub async fn fill(tx: &mut ClubTx, items: &[Item], head: Seq) -> Result<(Vec<Change>, Option<Position>), StoreError> {
    // A page may name a record twice: for its own change, and for that of its session.
    let mut wanted: HashMap<Type, HashSet<Uuid>> = HashMap::new();
    for item in items.iter().filter(|item| item.sent == Sent::Current) {
        wanted.entry(item.kind).or_default().insert(item.id);
    }
    let mut found: HashMap<(Type, Uuid), Record> = HashMap::new();
    for (kind, ids) in wanted {
        let ids: Vec<Uuid> = ids.into_iter().collect();
        found.extend(pull(tx, kind, &ids).await?.into_iter().map(|record| ((kind, record.id), record)));
    }
    let mut stubs = match tx.audience() {
        Some(_) => withhold(tx, &mut found).await?,
        None => HashMap::new(),
    };
    // Who is withheld from an audience may be seen by others.
    let gone = if tx.audience().is_some() { "changed" } else { "deleted" };
    let current = |item: &&Item| item.sent == Sent::Current && !found.contains_key(&(item.kind, item.id));
    let mut missing: HashMap<Type, Vec<Uuid>> = HashMap::new();
    for item in items.iter().filter(current) {
        missing.entry(item.kind).or_default().push(item.id);
    }
    for (kind, ids) in missing {
        stubs.extend(store::stubs(tx, kind, &ids).await?.into_iter().map(|(id, rev)| ((kind, id), rev)));
    }
    let (mut changes, mut bytes) = (Vec::with_capacity(items.len()), 0);
    let mut last = None;
    for item in items {
        let (rev, data, removed) = match (item.sent, found.get(&(item.kind, item.id))) {
            (Sent::Current, Some(record)) => (record.rev, Some(record.data.clone()), None),
            (Sent::Current, None) => (stubs.get(&(item.kind, item.id)).copied().unwrap_or(head), None, Some(gone)),
            (Sent::Removed(Reason::Deleted, rev), _) => (rev, None, Some("deleted")),
            (Sent::Removed(Reason::Changed, rev), _) => (rev, None, Some("changed")),
        };
        bytes += 150 + data.as_ref().map_or(0, |data| data.to_string().len());
        if bytes > MAX_BYTES && !changes.is_empty() {
            return Ok((changes, last));
        }
        last = Some(item.position);
        let removed = removed.map(|reason| Removed { reason });
        changes.push(Change { kind: item.kind.as_str(), id: item.id, rev, data, removed });
    }
    Ok((changes, None))
}
