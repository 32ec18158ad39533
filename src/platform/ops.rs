//! Edits that name the version they were made on, and the facts beside them: how one item of a phone's push is carried
//! out, whichever resource it is about.

use serde::de::{DeserializeOwned, Error};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

use super::batch::{Decision, Item};
use super::body;
use super::db::{ClubTx, Kind};
use super::fault::Fault;
use super::fault_code::FaultCode;
use super::patch as merge_patch;
use super::problem::{Code, Problem};
use super::words::{spelt, words};

words! {
    /// What an item does.
    Method as PushMethod { /// Creates or replaces.
        Put = "PUT", /// Changes some fields (merge patch).
        Patch = "PATCH", /// Deletes.
        Delete = "DELETE" }
}

spelt! {
    /// Fields of an athlete that are merged together; which field is in which stands in `x-merge-group`.
    FieldGroup {
        "name": "How the athlete is called.",
        "birth": "Sex and birth.",
        "contact": "Consent.",
        "technique": "Lead leg, strides of the approach, experience.",
        "status": "Whether the athlete trains.",
        "groups": "The groups."
    }
}

/// One item of a push.
#[derive(Clone, Debug)]
pub struct Op {
    /// What it does.
    pub method: Method,
    /// The record.
    pub id: Uuid,
    /// Whether the record must not be there.
    pub if_none_match: bool,
    /// The version that must be stored.
    pub if_match: Option<i64>,
    /// The version that a merge patch was made on.
    pub base_rev: Option<i64>,
    /// The record or patch, without `id` and `rev`.
    pub data: Map<String, Value>,
}

/// A field group that was not applied, because it changed since the version the edit was made on.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = PushConflict)]
pub struct Conflict {
    /// The group.
    #[schema(value_type = FieldGroup)]
    pub group: &'static str,
    /// Number of its last change.
    #[schema(minimum = 1, example = 8840)]
    pub current_rev: i64,
    /// What you sent.
    #[schema(value_type = Object)]
    pub yours: Value,
    /// What is stored.
    #[schema(value_type = Object)]
    pub current: Value,
}

/// An item that was carried out, at least in part.
#[derive(Clone, Debug, Default)]
pub struct Done {
    /// 200, 201, or 409 when some field groups were not applied.
    pub status: u16,
    /// The version so far; a commit may give a newer one.
    pub rev: i64,
    /// Whether it was so before.
    pub replayed: bool,
    /// Whether the answer is the one given before: its version stays, whatever this commit gives.
    pub answered: bool,
    /// The field groups that were applied.
    pub applied: Vec<&'static str>,
    /// Those that were not.
    pub conflicts: Vec<Conflict>,
}

impl Done {
    /// Carried out now.
    pub fn now(status: u16, rev: i64) -> Self {
        Self { status, rev, ..Self::default() }
    }

    /// It was so before.
    pub fn before(rev: i64) -> Self {
        Self { status: 200, rev, replayed: true, ..Self::default() }
    }

    /// It was carried out before, and answered with this.
    pub fn answered(status: u16, rev: i64) -> Self {
        Self { status, rev, replayed: true, answered: true, ..Self::default() }
    }
}

/// What became of a recorded fact.
#[derive(Debug)]
pub enum Fact {
    /// It is stored now, or was before with this version.
    Stored(Done),
    /// Its id is taken by other content.
    Clash,
    /// Its id is taken by a fact that its recorder must not learn of.
    Hidden,
    /// It was not stored.
    Refused(Problem),
}

/// What became of each fact of a batch.
pub fn facts<T>(items: Vec<Item<T>>, decisions: &[Decision]) -> Vec<Fact> {
    let one = |(item, decision): (Item<T>, &Decision)| match (decision, item.value) {
        (_, Err(problem)) => Fact::Refused(problem),
        (Decision::Insert, _) => Fact::Stored(Done::now(201, 0)),
        (Decision::Unchanged(rev), _) => Fact::Stored(Done::before(rev.unwrap_or(0))),
        (Decision::Hidden, _) => Fact::Hidden,
        (Decision::Clash | Decision::Refused, _) => Fact::Clash,
    };
    items.into_iter().zip(decisions).map(one).collect()
}

/// Where recorded facts say when they were, by the phone's clock: the type, the field, and whether it is a day.
const CLOCKS: [(&str, &str, bool); 5] = [
    ("run", "/run_at", false),
    ("assessment", "/assessed_at", false),
    ("measurement", "/measured_on", true),
    ("wellbeing_record", "/reported_on", true),
    ("decision", "/on", true),
];

/// The field in which facts of a type say when they were, and whether it is a day; none where they do not.
pub fn clock_of(kind: &str) -> Option<(&'static str, bool)> {
    CLOCKS.into_iter().find(|(of, ..)| *of == kind).map(|(_, field, day)| (&field[1..], day))
}

/// Whether a time that can be read does not fit: a clock may have been wrong.
fn is_off(fault: &Fault) -> bool {
    let off = [FaultCode::OutOfRange, FaultCode::OtherDay, FaultCode::Order].into_iter().any(|code| fault.is(code));
    off && CLOCKS.iter().any(|(_, field, _)| fault.pointer.as_deref() == Some(field))
}

/// Whether a refused fact may still be filed: what it belongs to is missing or hidden, a clock was wrong, or somebody else
/// corrected the same before. What cannot be read is broken, whatever it says.
pub fn can_be_held(problem: &Problem) -> bool {
    let held = |fault: &Fault| is_off(fault) || fault.is(FaultCode::UnknownId) || fault.is(FaultCode::Superseded);
    !problem.faults().is_empty() && problem.faults().iter().all(held)
}

/// A kind of record whose edits name the version they were made on.
#[allow(async_fn_in_trait)] // used inside this crate only
pub trait Editable {
    /// The record.
    type Value: PartialEq;
    /// Its JSON.
    type Fields: Serialize + DeserializeOwned;
    /// What people call it.
    const WHAT: &'static str;
    /// What the change log calls it.
    const KIND: Kind;

    /// The record with its version, when the actor sees it.
    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Self::Value)>, Problem>;
    /// Its JSON.
    fn fields(value: &Self::Value) -> Result<Self::Fields, Problem>;
    /// Parses its JSON and checks what it refers to; `before` is what it replaces.
    async fn parse(tx: &mut ClubTx, fields: Self::Fields, before: Option<&Self::Value>)
    -> Result<Self::Value, Problem>;
    /// Inserts it; false when the id is taken.
    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Self::Value) -> Result<bool, Problem>;
    /// Saves it.
    async fn save(tx: &mut ClubTx, id: Uuid, value: &Self::Value, before: &Self::Value) -> Result<(), Problem>;
    /// Deletes it.
    async fn remove(tx: &mut ClubTx, id: Uuid, before: &Self::Value) -> Result<(), Problem>;
}

/// `pull` and `Edits` of a resource whose records stand by themselves: what phones read and edit of it.
///
/// Takes what people call it, its kind, the name of its id in paths, its model, its id and how its JSON parses; `store`, `Fields`
/// and `View` are those of the resource.
macro_rules! plain_records {
    ($what:literal, $kind:ident, $param:literal, $value:ty, $id:path, $parse:expr) => {
        /// The records of these ids that are there.
        ///
        /// # Errors
        /// Database errors.
        pub async fn pull(
            tx: &mut $crate::platform::db::ClubTx,
            ids: &[uuid::Uuid],
        ) -> Result<Vec<$crate::platform::record::Record>, $crate::platform::db::StoreError> {
            let found = store::by_ids(tx, ids).await?;
            found.iter().map(|one| $crate::platform::record::Record::of(one.id, one.rev, &View::from(one))).collect()
        }

        /// Its edits.
        #[derive(Debug)]
        pub struct Edits;

        impl $crate::platform::ops::Editable for Edits {
            type Value = $value;
            type Fields = Fields;
            const WHAT: &'static str = $what;
            const KIND: $crate::platform::db::Kind = $crate::platform::db::Kind::$kind;

            async fn find(
                tx: &mut $crate::platform::db::ClubTx,
                id: uuid::Uuid,
            ) -> Result<Option<(i64, $value)>, $crate::platform::problem::Problem> {
                Ok(store::find(tx, $id(id)).await?.map(|found| (found.rev, found.value)))
            }

            fn fields(value: &$value) -> Result<Fields, $crate::platform::problem::Problem> {
                Ok(Fields::from(value))
            }

            async fn parse(
                _: &mut $crate::platform::db::ClubTx,
                fields: Fields,
                _: Option<&$value>,
            ) -> Result<$value, $crate::platform::problem::Problem> {
                Ok($parse(fields)?)
            }

            async fn insert(
                tx: &mut $crate::platform::db::ClubTx,
                id: uuid::Uuid,
                value: &$value,
            ) -> Result<bool, $crate::platform::problem::Problem> {
                Ok(store::insert(tx, $id(id), value).await?)
            }

            async fn save(
                tx: &mut $crate::platform::db::ClubTx,
                id: uuid::Uuid,
                value: &$value,
                _: &$value,
            ) -> Result<(), $crate::platform::problem::Problem> {
                Ok(store::save(tx, $id(id), value).await?)
            }

            async fn remove(
                tx: &mut $crate::platform::db::ClubTx,
                id: uuid::Uuid,
                _: &$value,
            ) -> Result<(), $crate::platform::problem::Problem> {
                Ok(store::remove(tx, $id(id)).await?)
            }
        }

        impl $crate::platform::routed::Routed for Edits {
            type View = View;
            const PARAM: &'static str = $param;

            fn view(id: uuid::Uuid, rev: i64, value: $value) -> View {
                View::from(&$crate::platform::stored::Stored { id: $id(id), rev, value })
            }
        }
    };
}
pub(crate) use plain_records;

/// Reads the version that an item names: a number; or its digits as text, which is how phones wrote it until records and feed
/// agreed, and how it still stands in their outboxes and journals.
///
/// # Errors
/// When it is neither, or below 0.
pub fn read_rev<'de, D: Deserializer<'de>>(reader: D) -> Result<Option<i64>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Spelt {
        Number(i64),
        Text(String),
    }
    let rev = match Option::<Spelt>::deserialize(reader) {
        Ok(None) => return Ok(None),
        Ok(Some(Spelt::Number(rev))) => Some(rev),
        Ok(Some(Spelt::Text(text))) => text.parse().ok(),
        Err(_) => None,
    };
    rev.filter(|rev| *rev >= 0).map(Some).ok_or_else(|| D::Error::custom("must be a rev, such as 8600"))
}

/// Checks the version that an edit was made on.
///
/// # Errors
/// 428 without one, 412 when it is another.
pub fn require(op: &Op, rev: i64) -> Result<(), Problem> {
    match op.if_match {
        Some(sent) if sent == rev => Ok(()),
        Some(_) => Err(Problem::new(Code::Stale, "The record changed since; rebase on `current` and send it again.")),
        None => Err(Problem::new(Code::PreconditionRequired, "Send if_match with the rev of the version you edited.")),
    }
}

/// Carries out one edit.
///
/// # Errors
/// Whatever refuses it; nothing is written then.
pub async fn edit<E: Editable>(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    let found = E::find(tx, op.id).await?;
    let Some((rev, before)) = found else {
        return create::<E>(tx, op).await;
    };
    match op.method {
        Method::Put if op.if_none_match => {
            let sent = body::from_value(Value::Object(op.data.clone()))?;
            if E::parse(tx, sent, Some(&before)).await? == before {
                return Ok(Done::before(rev));
            }
            return Err(Problem::new(Code::Conflict, "This id is already used by a record with other content."));
        }
        Method::Put => {
            require(op, rev)?;
            replace::<E>(tx, op.id, &before, body::from_value(Value::Object(op.data.clone()))?).await?;
        }
        Method::Patch => {
            require(op, rev)?;
            patch::<E>(tx, op.id, &before, &op.data).await?;
        }
        Method::Delete => {
            require(op, rev)?;
            E::remove(tx, op.id, &before).await?;
        }
    }
    Ok(Done::now(200, rev))
}

async fn replace<E: Editable>(
    tx: &mut ClubTx,
    id: Uuid,
    before: &E::Value,
    fields: E::Fields,
) -> Result<E::Value, Problem> {
    let value = E::parse(tx, fields, Some(before)).await?;
    if value != *before {
        E::save(tx, id, &value, before).await?;
    }
    Ok(value)
}

/// Changes a record by a merge patch; the record as it is then.
///
/// # Errors
/// Whatever refuses it.
pub async fn patch<E: Editable>(
    tx: &mut ClubTx,
    id: Uuid,
    before: &E::Value,
    data: &Map<String, Value>,
) -> Result<E::Value, Problem> {
    let fields = merge_patch::merge(&E::fields(before)?, data)?;
    replace::<E>(tx, id, before, fields).await
}

async fn create<E: Editable>(tx: &mut ClubTx, op: &Op) -> Result<Done, Problem> {
    if op.method != Method::Put || op.if_match.is_some() {
        return Err(Problem::not_found(E::WHAT));
    }
    if !op.if_none_match {
        let detail = "Send if_none_match \"*\" to create, or if_match to replace.";
        return Err(Problem::new(Code::PreconditionRequired, detail));
    }
    let value = E::parse(tx, body::from_value(Value::Object(op.data.clone()))?, None).await?;
    if !E::insert(tx, op.id, &value).await? {
        return Err(Problem::gone());
    }
    Ok(Done::now(201, 0))
}
