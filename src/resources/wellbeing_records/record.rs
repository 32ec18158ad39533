//! Filing well-being records: the one way in, for their own route and for phones.

use std::collections::HashMap;

use uuid::Uuid;

use super::model::{RecordKind, WellbeingRecord};
use super::shapes::Fields;
use super::store::{self, Earlier, Known};
use crate::platform::batch::{self, Decision, Item};
use crate::platform::db::ClubTx;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::WellbeingRecordId;
use crate::platform::problem::Problem;
use crate::platform::renewals;

/// Refuses a record whose athlete, cleared or superseded record is not there for the caller.
fn check_references(
    one: &WellbeingRecord,
    known: &Known,
    replaced: &mut HashMap<Uuid, Uuid>,
    id: Uuid,
) -> Result<(), Vec<Fault>> {
    let mut faults = Faults::new();
    if !known.athletes.contains(&one.athlete.0) {
        faults.add("/athlete_id", "unknown_id", "there is no such athlete in your groups");
    }
    if let Some(cleared) = one.clears {
        check_clearance(&mut faults, one, known.earlier.get(&cleared.0));
    }
    if let Some(earlier) = one.supersedes {
        let found = known.earlier.get(&earlier.0);
        let stored = found.map(|earlier| (earlier.athlete == one.athlete.0, earlier.later));
        let rule = ("well-being record", "must be a record of the same athlete");
        batch::check_correction(&mut faults, (id, earlier.0), stored, replaced, rule);
        let clearance = |kind| kind == RecordKind::Clearance;
        if found.is_some_and(|earlier| clearance(earlier.kind) != clearance(one.kind)) {
            faults.add("/kind", "other_kind", "a clearance corrects a clearance, and nothing else does");
        }
    }
    faults.finish(Some(()))
}

fn check_clearance(faults: &mut Faults, one: &WellbeingRecord, cleared: Option<&Earlier>) {
    let Some(cleared) = cleared else {
        faults.add("/clears", "unknown_id", "there is no such well-being record");
        return;
    };
    if cleared.athlete != one.athlete.0 {
        faults.add("/clears", "other_athlete", "must be a record of the same athlete");
    } else if cleared.void || cleared.kind == RecordKind::Clearance {
        faults.add("/clears", "other_kind", "must be a report or a restriction");
    } else if let Some(later) = cleared.later.filter(|_| !one.void) {
        faults.add("/clears", "superseded", format!("was corrected, by {later}; clear that one if it still stands"));
    } else if cleared.kind != RecordKind::Restriction && one.reported_on < cleared.reported_on {
        faults.add("/reported_on", "order", format!("must not be before the report, {}", cleared.reported_on));
    }
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
) -> Result<(Vec<Item<WellbeingRecord>>, Vec<Decision>), Problem> {
    let names = |one: &Fields| {
        let about = [one.supersedes, one.clears].into_iter().flatten().map(|earlier| earlier.0);
        (one.id.0, about.collect::<Vec<Uuid>>())
    };
    let part = async |tx: &mut ClubTx, part: &[Fields], from: usize| file_part(tx, part, |at| prefix(from + at)).await;
    batch::in_parts(tx, sent, names, part).await
}

async fn file_part(
    tx: &mut ClubTx,
    sent: &[Fields],
    prefix: impl Fn(usize) -> String,
) -> Result<(Vec<Item<WellbeingRecord>>, Vec<Decision>), Problem> {
    let today = tx.today().await?;
    let ids: Vec<Uuid> = sent.iter().map(|fields| fields.id.0).collect();
    let mut taken = store::by_ids(tx, &ids).await?;
    let hidden = store::hidden(tx, &taken).await?;
    taken.retain(|id, _| !hidden.contains(id));
    let parsed: Vec<_> = sent.iter().map(|fields| (fields.id.0, fields.parse(today))).collect();
    let new = || parsed.iter().filter(|(id, _)| !taken.contains_key(id)).filter_map(|(_, one)| one.as_ref().ok());
    let athletes: Vec<Uuid> = new().map(|one| one.athlete.0).collect();
    let about = new().flat_map(|one| [one.supersedes, one.clears]).flatten();
    let earlier: Vec<Uuid> = about.map(|id| id.0).collect();
    let known = store::known(tx, &athletes, &earlier).await?;
    let check = |one: &WellbeingRecord, id, replaced: &mut _| check_references(one, &known, replaced, id);
    let items = batch::judge(parsed, &taken, |_| {}, check, prefix);
    let decisions = batch::decide(&items, &taken, &hidden);
    let fresh: Vec<(WellbeingRecordId, &WellbeingRecord)> =
        batch::fresh(&items, &decisions).into_iter().map(|(id, one)| (WellbeingRecordId(id), one)).collect();
    store::insert(tx, &fresh).await?;
    // Entries in race tests and plans of those days say of their people what is known now.
    let corrected = fresh.iter().flat_map(|(_, one)| [one.supersedes, one.clears]).flatten();
    let corrected = corrected.filter_map(|id| known.earlier.get(&id.0)).map(|earlier| earlier.reported_on);
    let from = fresh.iter().map(|(_, one)| one.reported_on).chain(corrected).min();
    if let Some(from) = from {
        let people: Vec<Uuid> = fresh.iter().map(|(_, one)| one.athlete.0).collect();
        renewals::entries(tx, &people, from).await?;
        renewals::plans(tx, Some(&people), Some(from)).await?;
    }
    Ok((items, decisions))
}
