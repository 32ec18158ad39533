//! Filing runs: the one way in, for the runs' own route and for phones.

use std::collections::HashSet;

use chrono::Utc;
use uuid::Uuid;

use super::model::Run;
use super::shapes::Fields;
use super::store::{self, Known};
use crate::platform::batch::{self, Decision, Item};
use crate::platform::db::ClubTx;
use crate::platform::fault::Faults;
use crate::platform::ids::RunId;
use crate::platform::problem::Problem;

/// Refuses a run whose session, athlete or superseded run is not there for the caller.
fn check_references(run: &Run, known: &Known, replaced: &mut HashSet<Uuid>, id: Uuid) -> Result<(), Faults> {
    let mut faults = Faults::new();
    match known.sessions.get(&run.session.0) {
        None => faults.add("/session_id", "unknown_id", "there is no such session for your groups"),
        Some(day) if !run.fits_day(*day) => {
            faults.add("/run_at", "other_day", format!("is not on the day of the session, {day}"));
        }
        Some(_) => {}
    }
    if !known.athletes.contains(&run.athlete.0) {
        faults.add("/athlete_id", "unknown_id", "there is no such athlete in your groups");
    }
    if let Some(earlier) = run.supersedes {
        let stored = known.superseded.get(&earlier.0).map(|(athlete, later)| (*athlete == run.athlete.0, *later));
        let rule = ("run", "must be a run of the same athlete");
        batch::check_correction(&mut faults, (id, earlier.0), stored, replaced, rule);
    }
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

/// Parses, checks and inserts what is new; `prefix` gives the JSON pointer of an item.
///
/// What is stored already is not checked again: what it refers to may be gone by now.
///
/// # Errors
/// Database errors; what is wrong with an item stands in the item.
pub async fn file(
    tx: &mut ClubTx,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<Run>>, Vec<Decision>), Problem> {
    let now = Utc::now();
    let ids: Vec<Uuid> = sent.iter().map(|fields| fields.id.0).collect();
    let taken = store::by_ids(tx, &ids).await?;
    let athletes: Vec<Uuid> = taken.values().map(|(one, _)| one.athlete.0).collect();
    let erased = if taken.is_empty() { Vec::new() } else { store::erased(tx, &athletes).await? };
    let parsed: Vec<_> = sent.iter().map(|fields| (fields.id.0, fields.parse(now))).collect();
    let new = || parsed.iter().filter(|(id, _)| !taken.contains_key(id)).filter_map(|(_, one)| one.as_ref().ok());
    let sessions: Vec<Uuid> = new().map(|one| one.session.0).collect();
    let athletes: Vec<Uuid> = new().map(|one| one.athlete.0).collect();
    let superseded: Vec<Uuid> = new().filter_map(|one| one.supersedes).map(|id| id.0).collect();
    let known = store::known(tx, &sessions, &athletes, &superseded).await?;
    let (mut replaced, mut seen) = (HashSet::new(), HashSet::new());
    let judged = parsed.into_iter().enumerate().map(|(at, (id, one))| {
        let checked = one.and_then(|mut one| {
            if taken.contains_key(&id) {
                // What was said about a deleted athlete is gone; a repeat of it is still the same fact.
                if erased.contains(&one.athlete.0) {
                    one.note = None;
                }
                return Ok(one);
            }
            // A repeat inside the batch corrects nothing anew.
            let mut nothing = HashSet::new();
            let replaced = if seen.insert(id) { &mut replaced } else { &mut nothing };
            match check_references(&one, &known, replaced, id) {
                Ok(()) => Ok(one),
                Err(faults) => faults.finish(None),
            }
        });
        Item { id, value: checked.map_err(|faults| batch::invalid_item(&prefix(at), faults)) }
    });
    let items: Vec<Item<Run>> = judged.collect();
    let decisions = batch::decide(&items, &taken);
    let fresh: Vec<(RunId, &Run)> = items
        .iter()
        .zip(&decisions)
        .filter(|(_, decision)| **decision == Decision::Insert)
        .filter_map(|(item, _)| item.value.as_ref().ok().map(|one| (RunId(item.id), one)))
        .collect();
    store::insert(tx, &fresh).await?;
    Ok((items, decisions))
}
