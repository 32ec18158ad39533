//! Filing assessments: the one way in, for the assessments' own route and for phones.

use std::collections::HashMap;

use chrono::Utc;
use uuid::Uuid;

use super::model::Assessment;
use super::shapes::Fields;
use super::store::{self, Known};
use crate::platform::batch::{self, Decision, Item};
use crate::platform::db::ClubTx;
use crate::platform::fault::{Fault, Faults};
use crate::platform::grants;
use crate::platform::ids::AssessmentId;
use crate::platform::problem::Problem;

/// Refuses an assessment whose athlete, session or superseded assessment is not there for the caller.
fn check_references(
    one: &Assessment,
    known: &Known,
    replaced: &mut HashMap<Uuid, Uuid>,
    id: Uuid,
) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    if !known.athletes.contains(&one.athlete.0) {
        faults.add("/athlete_id", "unknown_id", "there is no such athlete in your groups");
    }
    if one.session.is_some_and(|session| !known.sessions.contains_key(&session.0)) {
        faults.add("/session_id", "unknown_id", "there is no such session for your groups");
    }
    if let Some(earlier) = one.supersedes {
        let stored = known.superseded.get(&earlier.0).map(|(athlete, later)| (*athlete == one.athlete.0, *later));
        let rule = ("assessment", "must be an assessment of the same athlete");
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
) -> Result<(Vec<Item<Assessment>>, Vec<Decision>), Problem> {
    let names = |one: &Fields| (one.id.0, one.supersedes.map(|earlier| earlier.0));
    let part = async |tx: &mut ClubTx, part: &[Fields], from: usize| file_part(tx, part, |at| prefix(from + at)).await;
    batch::in_parts(tx, sent, names, part).await
}

async fn file_part(
    tx: &mut ClubTx,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<Assessment>>, Vec<Decision>), Problem> {
    let now = Utc::now();
    let ids: Vec<Uuid> = sent.iter().map(|fields| fields.id.0).collect();
    let mut taken = store::by_ids(tx, &ids).await?;
    let hidden = store::hidden(tx, &taken).await?;
    taken.retain(|id, _| !hidden.contains(id));
    let athletes: Vec<Uuid> = taken.values().map(|(one, _)| one.athlete.0).collect();
    let erased = grants::erased(tx, &athletes).await?;
    let parsed: Vec<_> = sent.iter().map(|fields| (fields.id.0, Assessment::from(fields).parse(now))).collect();
    let new = || parsed.iter().filter(|(id, _)| !taken.contains_key(id)).filter_map(|(_, one)| one.as_ref().ok());
    let athletes: Vec<Uuid> = new().map(|one| one.athlete.0).collect();
    let sessions: Vec<Uuid> = new().filter_map(|one| one.session).map(|id| id.0).collect();
    let superseded: Vec<Uuid> = new().filter_map(|one| one.supersedes).map(|id| id.0).collect();
    let known = store::known(tx, &athletes, &sessions, &superseded).await?;
    // What was said about a deleted athlete is gone; a repeat of it is still the same fact.
    let repeated = |one: &mut Assessment| {
        if erased.contains(&one.athlete.0) {
            one.note = None;
        }
    };
    let check = |one: &Assessment, id, replaced: &mut _| check_references(one, &known, replaced, id);
    let items = batch::judge(parsed, &taken, repeated, check, prefix);
    let decisions = batch::decide(&items, &taken, &hidden);
    let fresh: Vec<(AssessmentId, &Assessment)> =
        batch::fresh(&items, &decisions).into_iter().map(|(id, one)| (AssessmentId(id), one)).collect();
    store::insert(tx, &fresh).await?;
    Ok((items, decisions))
}
