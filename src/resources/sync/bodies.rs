//! Turns the places of a page into records, each as its own resource shows it.

use std::collections::HashMap;

use uuid::Uuid;

use super::model::Type;
use super::pager::{Item, Sent};
use super::places::Position;
use super::shapes::{Change, Removed};
use super::store;
use super::visibility::Reason;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::record::Record;
use crate::resources::{
    age_groups, assessments, athletes, barrier_configurations, clubs, competition_specs, equipment, groups, lane_plans,
    race_tests, recommendations, runs, sessions, venues,
};

/// The most bytes of records on a page, unless a single one is larger.
const MAX_BYTES: usize = 1024 * 1024;

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
    }
}

/// The changes of a page; when they grow too large, also where the page was cut.
pub async fn fill(tx: &mut ClubTx, items: &[Item]) -> Result<(Vec<Change>, Option<Position>), StoreError> {
    let mut wanted: HashMap<Type, Vec<Uuid>> = HashMap::new();
    for item in items.iter().filter(|item| item.sent == Sent::Current) {
        wanted.entry(item.kind).or_default().push(item.id);
    }
    let mut found: HashMap<(Type, Uuid), Record> = HashMap::new();
    for (kind, ids) in &wanted {
        found.extend(pull(tx, *kind, ids).await?.into_iter().map(|record| ((*kind, record.id), record)));
    }
    let current = |item: &&Item| item.sent == Sent::Current && !found.contains_key(&(item.kind, item.id));
    let missing: Vec<Uuid> = items.iter().filter(current).map(|item| item.id).collect();
    let stubs = if missing.is_empty() { HashMap::new() } else { store::stubs(tx, &missing).await? };
    let (mut changes, mut bytes) = (Vec::with_capacity(items.len()), 0);
    let mut last = None;
    for item in items {
        let (rev, data, removed) = match (item.sent, found.get(&(item.kind, item.id))) {
            (Sent::Current, Some(record)) => (record.rev, Some(record.data.clone()), None),
            (Sent::Current, None) => {
                (stubs.get(&(item.kind, item.id)).copied().unwrap_or(item.position.seq), None, Some("deleted"))
            }
            (Sent::Removed(Reason::Deleted, rev), _) => (rev, None, Some("deleted")),
            (Sent::Removed(Reason::Changed, rev), _) => (rev, None, Some("changed")),
        };
        bytes += 150 + data.as_ref().map_or(0, |data| data.to_string().len());
        if bytes > MAX_BYTES && !changes.is_empty() {
            return Ok((changes, last));
        }
        last = Some(item.position);
        let removed = removed.map(|reason| Removed { reason });
        changes.push(Change { kind: item.kind.as_str(), id: item.id, rev: rev.to_string(), data, removed });
    }
    Ok((changes, None))
}
