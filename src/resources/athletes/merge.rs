//! Edits of athletes by field groups: two phones that change different groups do not clash.

use serde_json::{Map, Value};
use uuid::Uuid;

use super::erase_store;
use super::model::{Athlete, Experience, Leg};
use super::shapes::{Fields, New};
use super::store;
use crate::platform::body;
use crate::platform::db::ClubTx;
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::ops::{self, Conflict, Done, Method, Op};
use crate::platform::problem::{Code, Problem};
use crate::platform::stored::Stored;

/// The field groups: name, fields.
pub const GROUPS: [(&str, &[&str]); 6] = [
    ("name", &["display_name"]),
    ("birth", &["sex", "birth_date", "birth_year"]),
    ("contact", &["consent_on"]),
    ("technique", &["preferred_lead_leg", "approach_strides", "experience"]),
    ("status", &["status"]),
    ("groups", &["group_ids"]),
];

/// Number of the last change of each of [`GROUPS`]; -1 when it changed in this transaction.
pub type GroupRevs = [i64; 6];

/// The fields of a field group of three.
fn technique(one: &Athlete) -> (Option<Leg>, Option<u8>, Experience) {
    (one.preferred_lead_leg, one.approach_strides, one.experience)
}

/// Which of [`GROUPS`] differ.
pub fn touched(before: &Athlete, after: &Athlete) -> [bool; 6] {
    [
        before.display_name != after.display_name,
        before.sex != after.sex || before.birth != after.birth,
        before.consent_on != after.consent_on,
        technique(before) != technique(after),
        before.status != after.status,
        before.groups != after.groups,
    ]
}

/// The field groups that a patch is about.
pub fn groups_of(patch: &Map<String, Value>) -> Vec<&'static str> {
    let about = |fields: &[&str]| fields.iter().any(|field| patch.contains_key(*field));
    GROUPS.iter().filter(|(_, fields)| about(fields)).map(|(group, _)| *group).collect()
}

/// The fields of a group that an object has.
fn only(object: &Map<String, Value>, fields: &[&str]) -> Map<String, Value> {
    object.iter().filter(|(name, _)| fields.contains(&name.as_str())).map(|(k, v)| (k.clone(), v.clone())).collect()
}

fn object(athlete: &Athlete) -> Map<String, Value> {
    match serde_json::to_value(Fields::from(athlete)) {
        Ok(Value::Object(fields)) => fields,
        _ => Map::new(),
    }
}

/// Saves an athlete and checks the groups that change.
async fn save(tx: &mut ClubTx, before: &Stored<AthleteId, Athlete>, after: &Athlete) -> Result<(), Problem> {
    grants::require_moved(tx, &before.value.groups, &after.groups, "/group_ids").await?;
    if before.value != *after {
        store::save(tx, before.id, after, &before.value).await?;
    }
    Ok(())
}

/// Carries out one edit of an athlete.
///
/// # Errors
/// Whatever refuses it.
pub async fn edit(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    let id = AthleteId(op.id);
    let found = store::find(tx, id).await?;
    match (op.method, found) {
        (Method::Put, found) => put(tx, op, found).await,
        (_, None) => Err(Problem::not_found("athlete")),
        (Method::Patch, Some(found)) => merge(tx, op, found).await,
        (Method::Delete, Some(found)) => {
            ops::require(op, found.rev)?;
            grants::require_assigned(tx, &found.value.groups)?;
            erase_store::remove(tx, id, &found.value.groups).await?;
            Ok(Done::now(200, found.rev))
        }
    }
}

async fn put(tx: &mut ClubTx, op: &Op, found: Option<Stored<AthleteId, Athlete>>) -> Result<Done, Problem> {
    if !op.if_none_match {
        let detail = "Create an athlete with if_none_match \"*\"; change one with PATCH and base_rev.";
        return Err(Problem::new(Code::PreconditionRequired, detail));
    }
    let mut data = op.data.clone();
    data.insert("id".to_owned(), op.id.to_string().into());
    let new = body::from_value::<New>(Value::Object(data))?.parse(tx.today().await?)?;
    if let Some(found) = found {
        if found.value == new.athlete {
            return Ok(Done::before(found.rev));
        }
        return Err(Problem::new(Code::Conflict, "This id is already used by an athlete with other content."));
    }
    grants::require(tx, &new.athlete.groups, "/group_ids").await?;
    if !store::insert(tx, std::slice::from_ref(&new)).await? {
        return Err(Problem::gone());
    }
    Ok(Done::now(201, 0))
}

async fn merge(tx: &mut ClubTx, op: &Op, found: Stored<AthleteId, Athlete>) -> Result<Done, Problem> {
    let Some(base) = op.base_rev else {
        return Err(Problem::new(Code::PreconditionRequired, "Send base_rev: the rev of the version you edited."));
    };
    let known = |name: &String| GROUPS.iter().any(|(_, fields)| fields.contains(&name.as_str()));
    let unknown: Vec<Fault> = op
        .data
        .keys()
        .filter(|name| !known(name))
        .map(|name| Fault::at(format!("/{name}"), "unknown_field", "is not a field of an athlete that can be merged"))
        .collect();
    if !unknown.is_empty() {
        return Err(Problem::invalid(unknown));
    }
    let revs = store::group_revs(tx, found.id).await?;
    let mut fields = object(&found.value);
    let mut done = Done::now(200, found.rev);
    for ((group, names), rev) in GROUPS.iter().zip(revs) {
        let yours = only(&op.data, names);
        if yours.is_empty() {
            continue;
        }
        let current = only(&fields, names);
        let mut merged = current.clone();
        for (name, value) in &yours {
            if value.is_null() {
                merged.remove(name);
            } else {
                merged.insert(name.clone(), value.clone());
            }
        }
        if rev > base && merged != current {
            let (yours, current) = (Value::Object(yours), Value::Object(current));
            done.conflicts.push(Conflict { group, current_rev: rev, yours, current });
            continue;
        }
        done.applied.push(group);
        fields.retain(|name, _| !names.contains(&name.as_str()));
        fields.extend(merged);
    }
    let merged: Fields = body::from_value(Value::Object(fields))?;
    let after = merged.parse(tx.today().await?)?;
    save(tx, &found, &after).await?;
    if !done.conflicts.is_empty() {
        done.status = 409;
    }
    Ok(done)
}

/// The pair of a membership.
#[derive(serde::Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = GroupMembership)]
pub struct Pair {
    /// The group.
    group_id: GroupId,
    /// The athlete.
    athlete_id: AthleteId,
}

/// Puts an athlete into a group or takes them out; twice is once.
///
/// # Errors
/// Whatever refuses it.
pub async fn membership(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    let pair: Pair = body::from_value(Value::Object(op.data.clone()))?;
    if Uuid::new_v5(&pair.group_id.0, pair.athlete_id.0.as_bytes()) != op.id {
        let detail = "must be the UUID version 5 of the athlete's 16 bytes in the namespace of the group's id";
        return Err(Problem::invalid(vec![Fault::at("/id", "derived_id", detail)]));
    }
    let found = store::find(tx, pair.athlete_id).await?.ok_or_else(|| Problem::not_found("athlete"))?;
    let inside = found.value.groups.contains(&pair.group_id);
    let mut after = found.value.clone();
    match (op.method, inside) {
        (Method::Put, true) | (Method::Delete, false) => return Ok(Done::before(found.rev)),
        (Method::Put, false) => {
            after.groups.push(pair.group_id);
            after.groups.sort_unstable();
        }
        (Method::Delete, true) => {
            let [.., rev] = store::group_revs(tx, found.id).await?;
            if op.if_match.is_none_or(|sent| rev > sent) {
                ops::require(op, rev)?;
            }
            after.groups.retain(|group| *group != pair.group_id);
            if after.groups.is_empty() {
                return Err(Problem::invalid(vec![Fault::at("/group_id", "last", "is the athlete's last group")]));
            }
        }
        (Method::Patch, _) => {
            return Err(Problem::invalid(vec![Fault::at("/method", "word", "must be PUT or DELETE")]));
        }
    }
    save(tx, &found, &after).await?;
    Ok(Done::now(if op.method == Method::Put { 201 } else { 200 }, found.rev))
}
