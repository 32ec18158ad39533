//! Items of a push: what they are about, who may do them, and which resource carries them out.

use std::collections::HashSet;

use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::bodies;
pub use super::item_kind::Kind;
use super::model::Type;
use super::shapes::Item;
use crate::platform::access::{Recorder, Syncing, shown};
use crate::platform::body;
use crate::platform::db::{self, ClubTx, Named};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids;
use crate::platform::ops::{Done, Fact, Method, Op, edit as carry_out};
use crate::platform::problem::Problem;
use crate::platform::token::sha256;
use crate::resources::{
    age_groups, assessments, athletes, barrier_configurations, competition_specs, equipment, groups, lane_plans,
    race_tests, recommendations, runs, sessions, venues, wellbeing_records,
};

/// An item, read as far as it can be.
#[derive(Debug)]
pub struct Parsed {
    /// The operation.
    pub op_id: Uuid,
    /// The record; the operation's id when it cannot be read.
    pub id: Uuid,
    /// What it says it is about; none when that cannot be read.
    kind: Option<Kind>,
    /// What to do, or why it cannot be read.
    pub parsed: Result<(Kind, Op), Problem>,
}

/// Whether any text holds a zero character, which the database cannot keep.
fn has_zero(value: &Value) -> bool {
    match value {
        Value::String(text) => text.contains('\0'),
        Value::Array(list) => list.iter().any(has_zero),
        Value::Object(fields) => fields.iter().any(|(name, value)| name.contains('\0') || has_zero(value)),
        _ => false,
    }
}

/// The JSON with the names of each object in order, so that a client may write them in any.
fn canonical(value: &Value, out: &mut String) {
    match value {
        Value::Object(fields) => canonical_fields(fields, out),
        Value::Array(list) => {
            out.push('[');
            for value in list {
                canonical(value, out);
                out.push(',');
            }
            out.push(']');
        }
        other => out.push_str(&other.to_string()),
    }
}

fn canonical_fields(fields: &Map<String, Value>, out: &mut String) {
    let sorted: std::collections::BTreeMap<&String, &Value> = fields.iter().collect();
    out.push('{');
    for (name, value) in sorted {
        out.push_str(&Value::from(name.as_str()).to_string());
        out.push(':');
        canonical(value, out);
        out.push(',');
    }
    out.push('}');
}

/// SHA-256 of what an item says, without the version it names: a phone that sends it again may have learnt of a newer
/// one from an earlier item meanwhile.
pub fn digest(kind: Kind, op: &Op) -> Vec<u8> {
    let mut text = format!("{} {} {} {} ", op.method.as_str(), kind.word(), op.id, op.if_none_match);
    canonical_fields(&op.data, &mut text);
    sha256(text.as_bytes())
}

impl Parsed {
    /// Reads an item.
    pub fn of(op_id: Uuid, item: Map<String, Value>) -> Self {
        // An item without a readable id shares the record of no other.
        let id = ids::named(&item, "id").unwrap_or(op_id);
        let kind = item.get("type").and_then(Value::as_str).and_then(|word| Kind::parse(word).ok());
        Self { op_id, id, kind, parsed: parse(Value::Object(item)) }
    }

    /// The record whose version it changes; none when the item cannot be read.
    pub fn record(&self) -> Option<Named> {
        self.parsed.as_ref().ok().map(|(kind, op)| record(*kind, op))
    }

    /// Whether it may raise the version of plans or race tests beside its own.
    pub fn renews(&self) -> bool {
        let Ok((kind, op)) = &self.parsed else { return false };
        match kind.of_record() {
            db::Kind::Athlete | db::Kind::WellbeingRecord | db::Kind::Session | db::Kind::Recommendation => true,
            // Of runs and results those that say who fell.
            db::Kind::Run | db::Kind::RaceResult => {
                op.data.get("fell").is_some_and(|fell| *fell != Value::Bool(false))
                    || op.data.contains_key("supersedes")
            }
            _ => false,
        }
    }

    /// The records that it writes, and those that it corrects or clears; of an attendance its session.
    pub fn writes(&self) -> Vec<Uuid> {
        let Ok((kind, op)) = &self.parsed else { return Vec::new() };
        let named = |name| ids::named(&op.data, name);
        let own = if self.attends().is_some() { named("session_id") } else { Some(record(*kind, op).id) };
        own.into_iter().chain(named("supersedes")).chain(named("clears")).collect()
    }

    /// Whether it erases an athlete and this person may do that.
    pub fn erases(&self, who: &Recorder) -> bool {
        self.parsed.as_ref().is_ok_and(|(kind, op)| kind.erases(op) && kind.refusal(op, who).is_none())
    }

    /// The attendance that it notes or takes back.
    pub fn attends(&self) -> Option<Uuid> {
        let (kind, op) = self.parsed.as_ref().ok()?;
        (*kind == Kind::Record(Type::Attendance)).then_some(op.id)
    }

    /// Whether it is checked against all others of its kind.
    pub fn takes_the_club(&self) -> bool {
        matches!(&self.parsed, Ok((Kind::Record(Type::AgeGroup | Type::CompetitionSpec), _)))
    }

    /// Whether another item says the same, whatever version it names.
    pub fn says_the_same(&self, other: &Self) -> bool {
        match (&self.parsed, &other.parsed) {
            (Ok((kind, op)), Ok((other_kind, other))) => {
                let said = |op: &'_ Op| (op.method, op.id, op.if_none_match);
                kind == other_kind && said(op) == said(other) && op.data == other.data
            }
            _ => false,
        }
    }

    /// A fact from the holding area, as it would be sent now.
    pub fn held(id: Uuid, kind: &str, data: Value) -> Self {
        let item = json!({"method": "PUT", "type": kind, "id": id, "if_none_match": "*"});
        let mut item = item.as_object().cloned().unwrap_or_default();
        item.insert("data".to_owned(), data);
        Self::of(id, item)
    }

    /// The record that it should bring into being, if any.
    pub fn brings(&self) -> Option<Brought> {
        let creates = match &self.parsed {
            Ok((kind, op)) => op.method == Method::Put && (op.if_none_match || kind.is_fact(op)),
            // A broken one might have.
            Err(_) => true,
        };
        creates.then(|| Brought { kind: self.kind.map(Kind::of_record), id: self.id })
    }

    /// What a decision says, when that is what it is: it is filed with the advice of its day.
    pub fn advised(&self) -> Option<&Map<String, Value>> {
        match &self.parsed {
            Ok((kind @ Kind::Record(Type::Decision), op)) if kind.is_fact(op) => Some(&op.data),
            _ => None,
        }
    }

    /// An edit that leaves a lane plan behind, when that is what it is: its places are judged by the advice of their day.
    pub fn planned(&self) -> Option<&Op> {
        match &self.parsed {
            Ok((Kind::Record(Type::LanePlan), op)) if op.method != Method::Delete => Some(op),
            _ => None,
        }
    }

    /// The records that must be there first.
    pub fn needs(&self) -> Vec<Named> {
        let Ok((kind, op)) = &self.parsed else { return Vec::new() };
        let fields = [
            ("session_id", db::Kind::Session),
            ("athlete_id", db::Kind::Athlete),
            ("race_test_id", db::Kind::RaceTest),
            ("supersedes", kind.of_record()),
            ("clears", db::Kind::WellbeingRecord),
            ("group_id", db::Kind::Group),
            ("venue_id", db::Kind::Venue),
        ];
        let one = |(name, kind): (&str, db::Kind)| ids::named(&op.data, name).map(|id| Named { kind, id });
        let groups = op.data.get("group_ids").and_then(Value::as_array).into_iter().flatten();
        let groups = groups.filter_map(ids::read).map(|id| Named { kind: db::Kind::Group, id });
        let own = Named::new(kind.of_record(), self.id);
        fields.into_iter().filter_map(one).chain(groups).filter(|record| *record != own).collect()
    }

    /// The type, when items of it are filed together and this person may.
    pub fn bulk(&self, who: &Recorder) -> Option<Type> {
        match &self.parsed {
            Ok((kind @ Kind::Record(one @ (Type::Run | Type::Assessment)), op)) => {
                (kind.is_fact(op) && kind.barred(who).is_none()).then_some(*one)
            }
            _ => None,
        }
    }
}

/// A record that an item should bring into being; its kind is unknown when the item's type cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Brought {
    kind: Option<db::Kind>,
    id: Uuid,
}

impl Brought {
    /// Whether it is, or may be, this record.
    pub fn may_be(self, record: Named) -> bool {
        self.id == record.id && self.kind.is_none_or(|kind| kind == record.kind)
    }

    /// Whether it is, or may be, one of these.
    pub fn is_among(all: &HashSet<Self>, record: Named) -> bool {
        let id = record.id;
        [None, Some(record.kind)].into_iter().any(|kind| all.contains(&Self { kind, id }))
    }
}

fn parse(item: Value) -> Result<(Kind, Op), Problem> {
    let zero = has_zero(&item);
    let item: Item = body::from_value(item).map_err(|problem| Problem::invalid(problem.faults().to_vec()))?;
    let id = item.id;
    let mut faults = Faults::new();
    let method = faults.take("/method", "word", Method::parse(&item.method));
    let kind = faults.take("/type", "word", Kind::parse(&item.kind));
    if item.if_none_match.as_deref().is_some_and(|text| text != "*") {
        faults.add("/if_none_match", "word", "must be *");
    }
    if item.data.is_none() && method != Some(Method::Delete) {
        faults.add("/data", "missing", "is needed with PUT and PATCH");
    }
    let mut data = item.data.unwrap_or_default();
    if zero {
        faults.add("/data", "characters", "must not contain the zero character");
    }
    data.remove("rev");
    if data.remove("id").is_some_and(|inner| ids::read(&inner) != Some(id)) {
        faults.add("/data/id", "other_id", "must be the id of the item, or absent");
    }
    let Item { if_match, base_rev, .. } = item;
    let op =
        method.map(|method| Op { method, id, if_none_match: item.if_none_match.is_some(), if_match, base_rev, data });
    Ok(faults.finish(kind.zip(op))?)
}

/// The record whose version an item changes.
pub fn record(kind: Kind, op: &Op) -> Named {
    let athlete = ids::named(&op.data, "athlete_id");
    Named::new(kind.of_record(), if kind == Kind::Membership { athlete.unwrap_or(op.id) } else { op.id })
}

/// Carries out an edit.
///
/// # Errors
/// Whatever refuses it.
pub async fn edit(tx: &mut ClubTx, kind: Kind, op: &Op) -> Result<Done, Problem> {
    tx.alone(record(kind, op).id).await?;
    let done = match kind {
        Kind::Membership => athletes::merge::membership(tx, op).await,
        Kind::Record(Type::Athlete) => athletes::merge::edit(tx, op).await,
        Kind::Record(Type::Attendance) => sessions::sync::attend(tx, op).await,
        Kind::Record(Type::Group) => carry_out::<groups::sync::Edits>(tx, op).await,
        Kind::Record(Type::Venue) => carry_out::<venues::sync::Edits>(tx, op).await,
        Kind::Record(Type::Equipment) => carry_out::<equipment::sync::Edits>(tx, op).await,
        Kind::Record(Type::BarrierConfiguration) => carry_out::<barrier_configurations::sync::Edits>(tx, op).await,
        Kind::Record(Type::Session) => carry_out::<sessions::sync::Edits>(tx, op).await,
        Kind::Record(Type::LanePlan) => carry_out::<lane_plans::sync::Edits>(tx, op).await,
        Kind::Record(Type::RaceTest) => carry_out::<race_tests::sync::Edits>(tx, op).await,
        Kind::Record(Type::AgeGroup) => carry_out::<age_groups::sync::Edits>(tx, op).await,
        Kind::Record(Type::CompetitionSpec) => carry_out::<competition_specs::sync::Edits>(tx, op).await,
        Kind::Record(Type::Measurement) => athletes::sync::remove_measurement(tx, op).await,
        Kind::Record(Type::Club | Type::RaceEntry) => {
            let detail = "is read only here; its own routes change it";
            Err(Problem::invalid(vec![Fault::at("/type", "read_only", detail)]))
        }
        Kind::Record(Type::Run | Type::Assessment | Type::Decision | Type::RaceResult | Type::WellbeingRecord) => {
            let detail = "is append-only: send PUT; correct with `supersedes`, withdraw with `void`";
            Err(Problem::invalid(vec![Fault::at("/method", "append_only", detail)]))
        }
    };
    done.map_err(readable)
}

/// A shape that is wrong breaks a rule of the item, not the reading of the push.
fn readable(problem: Problem) -> Problem {
    if problem.status() == 400 { Problem::invalid(problem.faults().to_vec()) } else { problem }
}

/// Files facts of one type.
///
/// # Errors
/// Database errors.
pub async fn file(tx: &mut ClubTx, items: &[(usize, &Parsed)]) -> Result<Vec<Fact>, Problem> {
    let mut facts: Vec<Option<Fact>> = Vec::with_capacity(items.len());
    let (mut runs_sent, mut ratings) = (Vec::new(), Vec::new());
    for (_, item) in items {
        let Ok((kind, op)) = &item.parsed else {
            facts.push(Some(Fact::Refused(Problem::gone())));
            continue;
        };
        let id = Value::String(op.id.to_string());
        let fields = || op.data.iter().map(|(name, value)| (name.as_str(), value)).chain([("id", &id)]);
        let refused = |problem: Problem| Some(Fact::Refused(readable(problem)));
        facts.push(match kind {
            Kind::Record(Type::Run) => body::from_fields(fields()).map_or_else(refused, |one: runs::sync::Fields| {
                runs_sent.push(one);
                None
            }),
            Kind::Record(Type::Assessment) => {
                body::from_fields(fields()).map_or_else(refused, |one: assessments::sync::Fields| {
                    ratings.push(one);
                    None
                })
            }
            Kind::Record(Type::Measurement) => {
                Some(readable_fact(athletes::sync::push_measurement(tx, op.id, &op.data).await?))
            }
            Kind::Record(Type::RaceResult) => {
                Some(readable_fact(race_tests::sync::push_result(tx, op.id, &op.data).await?))
            }
            Kind::Record(Type::WellbeingRecord) => match body::from_fields(fields()) {
                Err(problem) => refused(problem),
                Ok(one) => wellbeing_records::sync::push(tx, &[one]).await?.pop(),
            },
            _ => Some(readable_fact(recommendations::sync::push(tx, op.id, &op.data).await?)),
        });
    }
    let mut bulk = if runs_sent.is_empty() { Vec::new() } else { runs::sync::push(tx, &runs_sent).await? };
    if !ratings.is_empty() {
        bulk.extend(assessments::sync::push(tx, &ratings).await?);
    }
    let mut bulk = bulk.into_iter();
    Ok(facts.into_iter().filter_map(|fact| fact.or_else(|| bulk.next())).collect())
}

fn readable_fact(fact: Fact) -> Fact {
    match fact {
        Fact::Refused(problem) => Fact::Refused(readable(problem)),
        other => other,
    }
}

/// The stored record as the feed has it, for a refusal; none when it is not there for the actor, or not for their token.
///
/// # Errors
/// Database errors.
pub async fn current(tx: &mut ClubTx, kind: Kind, id: Uuid) -> Result<Option<Value>, Problem> {
    if !shown::<Syncing>(tx) {
        return Ok(None);
    }
    let kind = match kind {
        Kind::Record(kind) => kind,
        Kind::Membership => Type::Athlete,
    };
    let found = bodies::seen(tx, kind, &[id]).await?.pop();
    Ok(found.map(|record| json!({"rev": record.rev, "data": record.data})))
}
