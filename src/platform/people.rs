//! What a member sees of the people in a record that others share: the one rule that every answer asks.
//!
//! A session, a race test or a lane plan is seen by every group it is for, but each of its people only by those who see
//! the athlete. So a record is kept whole and cut when it is read, with the groups that its reader has now and the names
//! that its people have now: in answers of routes, in the feed, in the body of a conflict, on printed sheets alike. Whom a
//! reader does not see is counted, never named.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use uuid::Uuid;

use super::db::{ClubTx, StoreError};
use super::grants::{self, SeenAthlete};
use super::ids::AthleteId;

/// Those of a record's people whom the actor sees.
#[derive(Clone, Debug, Default)]
pub struct People(Arc<HashMap<Uuid, SeenAthlete>>);

impl People {
    /// Those among these athletes whom the actor sees.
    ///
    /// # Errors
    /// Database errors.
    pub async fn of(tx: &mut ClubTx, athletes: impl IntoIterator<Item = AthleteId>) -> Result<Self, StoreError> {
        let ids: Vec<Uuid> = athletes.into_iter().map(|athlete| athlete.0).collect();
        let seen = if ids.is_empty() { HashMap::new() } else { grants::visible_athletes(tx, &ids).await? };
        Ok(Self(Arc::new(seen)))
    }

    /// Whether the actor sees an athlete.
    pub fn sees(&self, athlete: AthleteId) -> bool {
        self.0.contains_key(&athlete.0)
    }

    /// How the squad calls an athlete today; none for one whom the actor does not see.
    pub fn name(&self, athlete: AthleteId) -> Option<&str> {
        self.0.get(&athlete.0).map(|one| one.display_name.as_str())
    }
}

/// How many facts of each of so many athletes to look at first, for a list of `fetch`: of all together twice as many.
pub fn each(athletes: usize, fetch: i64) -> i64 {
    let athletes = i64::try_from(athletes).unwrap_or(i64::MAX).max(1);
    (2 * fetch / athletes).clamp(4, fetch.max(4))
}

/// The first `fetch` facts by their places, from the first `each` of every athlete; none when more of each are needed: behind
/// the last of an athlete of whom there may be more, nothing is sure.
pub fn merged<Place: Copy + Ord>(mut found: Vec<(Uuid, Place)>, each: i64, fetch: i64) -> Option<Vec<Place>> {
    let (each, fetch) = (usize::try_from(each).ok()?, usize::try_from(fetch).ok()?);
    let mut last: HashMap<Uuid, (usize, Place)> = HashMap::new();
    for (athlete, place) in &found {
        let (count, highest) = last.entry(*athlete).or_insert((0, *place));
        (*count, *highest) = (*count + 1, (*highest).max(*place));
    }
    let sure = last.values().filter(|(count, _)| *count >= each).map(|(_, highest)| *highest).min();
    found.sort_unstable_by_key(|(_, place)| *place);
    let places = found.into_iter().map(|(_, place)| place).take_while(|place| sure.is_none_or(|sure| *place <= sure));
    let places: Vec<Place> = places.take(fetch).collect();
    (sure.is_none() || places.len() >= fetch).then_some(places)
}

/// About whom a recorded fact is, and who recorded it.
#[derive(Clone, Copy, Debug)]
pub struct Origin {
    /// The fact.
    pub id: Uuid,
    /// The athlete.
    pub athlete: Uuid,
    /// The account that recorded it; none when that is not kept.
    pub recorded_by: Option<Uuid>,
}

/// The facts among these that the actor must not learn of: about athletes whom they do not see, recorded by others.
///
/// What somebody recorded they know, also after its athlete left their groups: a repeat of it is answered as before.
///
/// # Errors
/// Database errors.
pub async fn hidden(tx: &mut ClubTx, facts: &[Origin]) -> Result<HashSet<Uuid>, StoreError> {
    if facts.is_empty() || tx.actor.groups.is_none() {
        return Ok(HashSet::new());
    }
    let me = tx.actor.account.0;
    let people = People::of(tx, facts.iter().map(|one| AthleteId(one.athlete))).await?;
    let known = |one: &&Origin| one.recorded_by == Some(me) || people.sees(AthleteId(one.athlete));
    Ok(facts.iter().filter(|one| !known(one)).map(|one| one.id).collect())
}

/// `origins` of a table of facts: takes its name, and its column that says who recorded one.
macro_rules! origins {
    ($table:tt, $recorder:tt) => {
        /// About whom these facts are, and who recorded them; of those that are there or were.
        ///
        /// # Errors
        /// Database errors.
        pub async fn origins(
            tx: &mut $crate::platform::db::ClubTx,
            ids: &[uuid::Uuid],
        ) -> Result<Vec<$crate::platform::people::Origin>, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            let origins = sqlx::query_as!(
                $crate::platform::people::Origin,
                "select id, athlete_id as athlete, "
                    + $recorder
                    + r#" as "recorded_by?" from "#
                    + $table
                    + " where club_id = $1 and id = any ((select $2::uuid[])::uuid[])",
                club,
                ids
            );
            Ok(origins.fetch_all(tx.conn()).await?)
        }
    };
}

/// `origins` and `hidden` of a table of facts that are recorded in batches.
macro_rules! batched {
    ($table:tt) => {
        $crate::platform::people::origins!($table, "recorded_by");

        /// Those among stored facts that the actor must not learn of.
        pub async fn hidden<T>(
            tx: &mut $crate::platform::db::ClubTx,
            taken: &std::collections::HashMap<uuid::Uuid, T>,
        ) -> Result<std::collections::HashSet<uuid::Uuid>, $crate::platform::db::StoreError> {
            if taken.is_empty() || tx.actor.groups.is_none() {
                return Ok(std::collections::HashSet::new());
            }
            let ids: Vec<uuid::Uuid> = taken.keys().copied().collect();
            let origins = origins(tx, &ids).await?;
            $crate::platform::people::hidden(tx, &origins).await
        }
    };
}
pub(crate) use {batched, origins};

#[cfg(test)]
mod tests {
    use super::*;

    /// The first `each` of the facts of every athlete: fact n is of athlete n % `athletes`, but the first hundred are all of one.
    fn found(athletes: u128, each: i64) -> Vec<(Uuid, Uuid)> {
        let of = |n: u128| Uuid::from_u128(if n < 100 { 0 } else { n % athletes });
        let each = usize::try_from(each).unwrap();
        (0..athletes)
            .flat_map(|athlete| {
                (0..1_000).map(|n| (of(n), Uuid::from_u128(n))).filter(move |one| one.0.as_u128() == athlete).take(each)
            })
            .collect()
    }

    #[test]
    fn a_list_of_many_athletes_is_that_of_all_their_facts() {
        for (athletes, fetch) in [(1, 51), (7, 2), (7, 201), (24, 51), (400, 201)] {
            let (mut each, mut rounds) = (each(athletes, fetch), 0);
            let ids = loop {
                rounds += 1;
                if let Some(ids) = merged(found(athletes as u128, each), each, fetch) {
                    break ids;
                }
                each = (2 * each).min(fetch);
            };
            let first: Vec<Uuid> = (0..u128::try_from(fetch).unwrap()).map(Uuid::from_u128).collect();
            assert_eq!(ids, first, "{athletes} athletes, {fetch}");
            assert!(rounds <= 7, "{rounds}");
        }
        assert_eq!(merged(found(5, 1_000), 1_000, 2_000).map(|ids| ids.len()), Some(1_000), "the last page");
    }
}
