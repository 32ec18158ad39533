//! Filing results: the one way in, for the race tests' own route and for phones.

use std::collections::HashMap;

use uuid::Uuid;

use super::outcome::{Filed, Outcome};
use super::results_shapes::Fields;
use super::results_store;
use super::store::StoredTest;
use crate::platform::batch::{self, Decision, Item};
use crate::platform::db::ClubTx;
use crate::platform::fault::{Fault, Faults};
use crate::platform::grants::{self, SeenAthlete};
use crate::platform::ids::RaceResultId;
use crate::platform::problem::Problem;
use crate::platform::renewals;
use crate::resources::advice;

/// What the results refer to.
struct Known {
    athletes: HashMap<Uuid, SeenAthlete>,
    superseded: HashMap<Uuid, (Uuid, Uuid, Option<Uuid>)>,
}

/// Refuses a result whose athlete or superseded result is not there for the caller.
fn check_references(
    one: &Outcome,
    known: &Known,
    replaced: &mut HashMap<Uuid, Uuid>,
    id: Uuid,
) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    if !known.athletes.contains_key(&one.athlete.0) {
        faults.add("/athlete_id", "unknown_id", "there is no such athlete in your groups");
    }
    if let Some(earlier) = one.supersedes {
        let same = |athlete: Uuid, test: Uuid| (athlete, test) == (one.athlete.0, one.test.0);
        let stored = known.superseded.get(&earlier.0).map(|(athlete, test, later)| (same(*athlete, *test), *later));
        let rule = ("result", "must be a result of the same athlete in this race test");
        batch::check_correction(&mut faults, (id, earlier.0), stored, replaced, rule);
    }
    faults.finish(Some(()))
}

/// Parses, checks and inserts results of a race test that are new; `prefix` gives the JSON pointer of an item.
///
/// # Errors
/// Database errors; what is wrong with an item stands in the item.
pub async fn file(
    tx: &mut ClubTx,
    test: &StoredTest,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<Outcome>>, Vec<Decision>), Problem> {
    let names = |one: &Fields| (one.id.0, one.supersedes.map(|earlier| earlier.0));
    let part =
        async |tx: &mut ClubTx, part: &[Fields], from: usize| file_part(tx, test, part, |at| prefix(from + at)).await;
    batch::in_parts(tx, sent, names, part).await
}

async fn file_part(
    tx: &mut ClubTx,
    test: &StoredTest,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<Outcome>>, Vec<Decision>), Problem> {
    let ids: Vec<Uuid> = sent.iter().map(|fields| fields.id.0).collect();
    let stored = results_store::by_ids(tx, &ids).await?;
    let hidden = results_store::hidden(tx, &stored).await?;
    let seen = stored.into_iter().filter(|(id, _)| !hidden.contains(id));
    let taken: HashMap<Uuid, (Outcome, i64)> = seen.map(|(id, (one, rev))| (id, (one.outcome, rev))).collect();
    let athletes: Vec<Uuid> = taken.values().map(|(one, _)| one.athlete.0).collect();
    let erased = grants::erased(tx, &athletes).await?;
    let parsed: Vec<_> = sent.iter().map(|fields| (fields.id.0, fields.parse(test.id, &test.value.test))).collect();
    let new = || parsed.iter().filter(|(id, _)| !taken.contains_key(id)).filter_map(|(_, one)| one.as_ref().ok());
    let athletes: Vec<Uuid> = new().map(|one| one.athlete.0).collect();
    let superseded: Vec<Uuid> = new().filter_map(|one| one.supersedes).map(|id| id.0).collect();
    let known = Known {
        athletes: grants::visible_athletes(tx, &athletes).await?,
        superseded: results_store::superseded(tx, &superseded).await?,
    };
    // What was said about a deleted athlete is gone; a repeat of it is still the same fact.
    let repeated = |one: &mut Outcome| {
        if erased.contains(&one.athlete.0) {
            one.note = None;
        }
    };
    let check = |one: &Outcome, id, replaced: &mut _| check_references(one, &known, replaced, id);
    let items = batch::judge(parsed, &taken, repeated, check, prefix);
    let decisions = batch::decide(&items, &taken, &hidden);
    let fresh = batch::fresh(&items, &decisions);
    // A race against a report or restriction is kept like any other, as a run is: it happened. The flag says so.
    let on = test.value.held_on;
    let ran: Vec<_> = fresh.iter().filter(|(_, one)| one.started()).map(|(_, one)| (one.athlete.0, on)).collect();
    let against = advice::against_rest(tx, &ran).await?;
    let flagged = |one: &Outcome| one.started() && against.contains(&(one.athlete.0, on));
    let filed: Vec<(RaceResultId, Filed)> = fresh
        .into_iter()
        .map(|(id, one)| (RaceResultId(id), Filed { while_restricted: flagged(one), outcome: one.clone() }))
        .collect();
    results_store::insert(tx, &filed).await?;
    // Entries and plans of that day and later say who fell since.
    let fell = |one: &&Outcome| one.fell || one.supersedes.is_some();
    let fallen: Vec<Uuid> = filed.iter().map(|(_, one)| &one.outcome).filter(fell).map(|one| one.athlete.0).collect();
    if !fallen.is_empty() {
        renewals::entries(tx, &fallen, on).await?;
        renewals::plans(tx, Some(&fallen), Some(on)).await?;
    }
    Ok((items, decisions))
}
