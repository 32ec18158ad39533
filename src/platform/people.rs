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
