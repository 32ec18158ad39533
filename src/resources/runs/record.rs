//! Filing runs: the one way in, for the runs' own route and for phones.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::lanes_store;
use super::model::{Filed, LaneOf, Run};
use super::shapes::Fields;
use super::store::{self, Known};
use crate::platform::batch::{self, Decision, Item};
use crate::platform::db::ClubTx;
use crate::platform::fault::{Fault, Faults};
use crate::platform::grants;
use crate::platform::ids::RunId;
use crate::platform::problem::Problem;
use crate::platform::renewals;
use crate::resources::advice;

/// Refuses a run whose session, athlete or superseded run is not there for the caller.
fn check_references(run: &Run, known: &Known, replaced: &mut HashMap<Uuid, Uuid>, id: Uuid) -> Result<(), Vec<Fault>> {
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
    faults.finish(Some(()))
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
    let names = |one: &Fields| (one.id.0, one.supersedes.map(|earlier| earlier.0));
    let part = async |tx: &mut ClubTx, part: &[Fields], from: usize| file_part(tx, part, |at| prefix(from + at)).await;
    batch::in_parts(tx, sent, names, part).await
}

async fn file_part(
    tx: &mut ClubTx,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<Run>>, Vec<Decision>), Problem> {
    let now = Utc::now();
    let ids: Vec<Uuid> = sent.iter().map(|fields| fields.id.0).collect();
    let stored = store::by_ids(tx, &ids).await?;
    let mut taken: HashMap<Uuid, (Run, i64)> =
        stored.into_iter().map(|one| (one.id.0, (one.value.run, one.rev))).collect();
    let hidden = store::hidden(tx, &taken).await?;
    taken.retain(|id, _| !hidden.contains(id));
    let athletes: Vec<Uuid> = taken.values().map(|(one, _)| one.athlete.0).collect();
    let erased = grants::erased(tx, &athletes).await?;
    let plans: Vec<Uuid> = sent.iter().filter_map(|fields| fields.lane).map(|lane| lane.lane_plan_id.0).collect();
    let lanes = lanes_store::stands(tx, &plans).await?;
    let parse = |fields: &Fields| {
        let lane = fields.lane.map(LaneOf::from);
        // What is stored already stood there, whatever became of the plan.
        let stored = taken.get(&fields.id.0).map(|(run, _)| run).filter(|run| run.lane == lane);
        let planned = || lane.and_then(|lane| lanes.get(&(fields.session_id, lane))).cloned();
        let stands = lane.and(stored.map(Run::stands)).or_else(planned);
        (fields.id.0, fields.parse(now, stands.as_ref()))
    };
    let parsed: Vec<_> = sent.iter().map(parse).collect();
    let new = || parsed.iter().filter(|(id, _)| !taken.contains_key(id)).filter_map(|(_, one)| one.as_ref().ok());
    let sessions: Vec<Uuid> = new().map(|one| one.session.0).collect();
    let athletes: Vec<Uuid> = new().map(|one| one.athlete.0).collect();
    let superseded: Vec<Uuid> = new().filter_map(|one| one.supersedes).map(|id| id.0).collect();
    let known = store::known(tx, &sessions, &athletes, &superseded).await?;
    // What was said about a deleted athlete is gone; a repeat of it is still the same fact.
    let repeated = |one: &mut Run| {
        if erased.contains(&one.athlete.0) {
            one.note = None;
        }
    };
    let check = |one: &Run, id, replaced: &mut _| check_references(one, &known, replaced, id);
    let items = batch::judge(parsed, &taken, repeated, check, prefix);
    let decisions = batch::decide(&items, &taken, &hidden);
    let fresh = batch::fresh(&items, &decisions);
    // A run against a report or restriction is kept like any other: it happened. The flag says so.
    let day_of = |run: &Run| known.sessions.get(&run.session.0).map(|day| (run.athlete.0, *day));
    let ran: Vec<(Uuid, NaiveDate)> = fresh.iter().filter_map(|(_, run)| day_of(run)).collect();
    let against = advice::against_rest(tx, &ran).await?;
    let flagged = |run: &Run| day_of(run).is_some_and(|day| against.contains(&day));
    let filed: Vec<(RunId, Filed)> = fresh
        .into_iter()
        .map(|(id, run)| (RunId(id), Filed { while_restricted: flagged(run), run: run.clone() }))
        .collect();
    store::insert(tx, &filed).await?;
    // Entries in race tests and plans of those days and later say who fell since.
    let fallen = || filed.iter().map(|(_, one)| &one.run).filter(|run| run.fell || run.supersedes.is_some());
    if let Some(from) = fallen().filter_map(day_of).map(|(_, day)| day).min() {
        let people: Vec<Uuid> = fallen().map(|run| run.athlete.0).collect();
        renewals::entries(tx, &people, from).await?;
        renewals::plans(tx, Some(&people), Some(from)).await?;
    }
    Ok((items, decisions))
}
