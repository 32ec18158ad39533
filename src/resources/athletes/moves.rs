//! Many athletes from groups to groups at once: judged by where everybody was before, so that nobody moves twice.

use std::collections::{BTreeSet, HashSet};

use chrono::{Datelike, NaiveDate};
use uuid::Uuid;

use super::model::{Athlete, Birth, Status};
use super::shapes::Fields;
use super::store;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::stored::Stored;

/// Some athletes, and where they go.
#[derive(Clone, Debug)]
pub struct Move {
    /// The group that they leave, which they must be in.
    pub from: Option<GroupId>,
    /// The group that they come to.
    pub to: Option<GroupId>,
    /// Only those born in these years, both included.
    pub born: (Option<i16>, Option<i16>),
    /// Only these; without them everybody of the group who has not left the squad.
    pub athletes: Option<HashSet<AthleteId>>,
}

impl Move {
    fn takes(&self, id: AthleteId, one: &Athlete) -> bool {
        let year = match one.birth {
            Birth::Date(date) => date.year(),
            Birth::Year(year) => i32::from(year),
        };
        let (from, to) = self.born;
        let named = self.athletes.as_ref().map_or(one.status != Status::Left, |named| named.contains(&id));
        named
            && self.from.is_none_or(|group| one.groups.contains(&group))
            && from.is_none_or(|from| year >= i32::from(from))
            && to.is_none_or(|to| year <= i32::from(to))
    }
}

/// An athlete whom a move takes.
#[derive(Debug)]
pub struct Moved {
    /// As they were.
    pub before: Stored<AthleteId, Athlete>,
    /// As they are from now on, or why not.
    pub after: Result<Athlete, Vec<Fault>>,
}

impl Moved {
    /// Whether they end up elsewhere.
    pub fn changes(&self) -> bool {
        self.after.as_ref().is_ok_and(|after| after.groups != self.before.value.groups)
    }
}

/// Those whom the moves take, and where each ends up. Whoever a group takes in stays in it, whatever another move takes them out of.
pub fn plan(athletes: Vec<Stored<AthleteId, Athlete>>, moves: &[Move], today: NaiveDate) -> Vec<Moved> {
    let moved = |before: Stored<AthleteId, Athlete>| {
        let taken: Vec<&Move> = moves.iter().filter(|one| one.takes(before.id, &before.value)).collect();
        if taken.is_empty() {
            return None;
        }
        let mut groups: BTreeSet<GroupId> = before.value.groups.iter().copied().collect();
        for from in taken.iter().filter_map(|one| one.from) {
            groups.remove(&from);
        }
        groups.extend(taken.iter().filter_map(|one| one.to));
        let fields = Fields { group_ids: groups.into_iter().collect(), ..Fields::from(&before.value) };
        let after = fields.parse(today);
        Some(Moved { before, after })
    };
    athletes.into_iter().filter_map(moved).collect()
}

/// Everybody of the club.
///
/// # Errors
/// Database errors.
pub async fn everyone(tx: &mut ClubTx) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    store::everyone(tx).await
}

/// Those of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn those(tx: &mut ClubTx, ids: &[AthleteId]) -> Result<Vec<Stored<AthleteId, Athlete>>, StoreError> {
    let ids: Vec<Uuid> = ids.iter().map(|id| id.0).collect();
    let mut found = store::by_ids(tx, &ids).await?;
    found.sort_unstable_by_key(|one| one.id.0);
    Ok(found)
}

/// Writes where everybody ends up who ends up elsewhere.
///
/// # Errors
/// Database errors.
pub async fn save(tx: &mut ClubTx, moved: &[Moved]) -> Result<(), StoreError> {
    let mut edits: Vec<store::Edit<'_>> = Vec::with_capacity(moved.len());
    for one in moved.iter().filter(|one| one.changes()) {
        edits.extend(one.after.as_ref().ok().map(|after| (one.before.id, &one.before.value, after)));
    }
    if edits.is_empty() { Ok(()) } else { store::save_all(tx, &edits).await }
}
