//! Race tests, their entries and their results as phones carry them.

use serde_json::{Map, Value};
use uuid::Uuid;

use super::model::{Changeable, Named, RaceTest, Specification, State, day, dimensions};
use super::record_shapes::{EntryRecord, ResultRecord, TestRecord};
use super::results_shapes::Fields as ResultFields;
use super::results_store::StoredOutcome;
use super::shapes::New;
use super::{entries_store, record, results_store, store};
use crate::platform::body;
use crate::platform::db::{ClubTx, Kind, StoreError};
use crate::platform::fault::Fault;
use crate::platform::grants;
use crate::platform::ids::{RaceResultId, RaceTestId};
use crate::platform::ops::{self, Editable, Fact};
use crate::platform::problem::{Code, Problem};
use crate::platform::record::Record;
use crate::resources::advice;

pub use super::results_store::origins;

/// The race tests of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &TestRecord::from(one))).collect()
}

/// The entries of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull_entries(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = entries_store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &EntryRecord::try_from(one)?)).collect()
}

/// The results of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull_results(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = results_store::by_ids(tx, ids).await?;
    let view = |(id, (value, rev))| {
        let stored = StoredOutcome { id: RaceResultId(id), rev, value };
        Record::of(id, rev, &ResultRecord::from(&stored))
    };
    found.into_iter().map(view).collect()
}

/// Files a result that a phone recorded.
///
/// # Errors
/// Database errors.
pub async fn push_result(tx: &mut ClubTx, id: Uuid, data: &Map<String, Value>) -> Result<Fact, Problem> {
    let mut data = data.clone();
    data.insert("id".to_owned(), id.to_string().into());
    let at_test = |code: &str, detail: &str| Problem::invalid(vec![Fault::at("/race_test_id", code, detail)]);
    let test = body::from_value::<RaceTestId>(data.remove("race_test_id").unwrap_or_default())
        .map_err(|_| at_test("type", "must be the id of a race test"));
    let sent = test.and_then(|test| Ok((test, body::from_value::<ResultFields>(Value::Object(data))?)));
    let (test, fields) = match sent {
        Ok(sent) => sent,
        Err(problem) => return Ok(Fact::Refused(problem)),
    };
    let found = store::by_ids(tx, &[test.0]).await?.pop();
    // What is stored already is not checked again: its race test may be hidden by now.
    let taken = results_store::by_ids(tx, &[id]).await?;
    let known = taken.len() > results_store::hidden(tx, &taken).await?.len();
    let seen = match &found {
        Some(found) => known || store::session(tx, found.value.test.session).await?.is_some(),
        None => false,
    };
    let Some(found) = found.filter(|_| seen) else {
        return Ok(if known {
            Fact::Clash
        } else {
            Fact::Refused(at_test("unknown_id", "there is no such race test for your groups"))
        });
    };
    let (items, decisions) = record::file(tx, &found, &[fields], |_| String::new()).await?;
    ops::facts(items, &decisions).pop().ok_or_else(|| Problem::new(Code::Internal, "A result was lost."))
}

/// What a race test is run over.
async fn specification(tx: &mut ClubTx, new: &New, info: &store::SessionInfo) -> Result<Specification, Problem> {
    match (&new.spec, &new.dimensions) {
        (Some(spec), None) => {
            let on = day(info.held_on).ok_or_else(|| Problem::not_found("session"))?;
            let named = Named {
                ruleset: spec.ruleset.as_deref(),
                event_code: &spec.event_code,
                age_group: &spec.age_group,
                sex: spec.sex.as_deref(),
                environment: spec.environment.as_deref().or(info.environment.as_deref()),
            };
            Ok(named.find(&advice::setting(tx).await?, on)?)
        }
        (None, Some(own)) => {
            let figures = [own.race_distance_m, own.height_m, own.approach_m, own.spacing_m];
            Ok(dimensions(figures, own.barriers, own.discounted)?)
        }
        _ => Err(Problem::invalid(vec![Fault::at("/spec", "one_of", "send either spec or dimensions")])),
    }
}

/// Edits of race tests.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = RaceTest;
    type Fields = New;
    const WHAT: &'static str = "race test";
    const KIND: Kind = Kind::RaceTest;

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, RaceTest)>, Problem> {
        Ok(store::find(tx, RaceTestId(id)).await?.map(|found| (found.rev, found.value.test)))
    }

    fn fields(value: &RaceTest) -> Result<New, Problem> {
        Ok(value.into())
    }

    async fn parse(tx: &mut ClubTx, new: New, before: Option<&RaceTest>) -> Result<RaceTest, Problem> {
        let info = store::session(tx, new.session_id).await?.ok_or_else(|| {
            Problem::invalid(vec![Fault::at("/session_id", "unknown_id", "there is no such session for your groups")])
        })?;
        let specification = match before {
            Some(test) if new.spec.is_none() && new.dimensions.is_none() => test.specification.clone(),
            _ => specification(tx, &new, &info).await?,
        };
        let usual = specification.event_code.as_deref().unwrap_or("Race test");
        let Changeable { name, state, timing } = Changeable::parse(
            new.name.as_deref().unwrap_or(usual),
            new.state.as_deref().unwrap_or(State::Planned.as_str()),
            new.timing_method.as_deref().unwrap_or("hand"),
        )?;
        Ok(RaceTest { session: new.session_id, name, state, specification, timing })
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &RaceTest) -> Result<bool, Problem> {
        Ok(store::insert(tx, RaceTestId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &RaceTest, before: &RaceTest) -> Result<(), Problem> {
        let fixed = |pointer, detail| Err(Problem::invalid(vec![Fault::at(pointer, "fixed", detail)]));
        if value.session != before.session {
            return fixed("/session_id", "a race test stays in its session");
        }
        if value.specification != before.specification {
            return fixed("/spec", "what it is run over stays: times would no longer compare");
        }
        Ok(store::save(tx, RaceTestId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, before: &RaceTest) -> Result<(), Problem> {
        let entrants = entries_store::entrants(tx, RaceTestId(id)).await?;
        let people: Vec<Uuid> = entrants.iter().map(|one| one.athlete.0).collect();
        grants::require_people(tx, &people, Self::WHAT).await?;
        Ok(store::remove(tx, RaceTestId(id), before.session, &entrants).await?)
    }
}

/// Parses what is stored of these results as if it came with a request.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck_results(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    for (id, (value, rev)) in results_store::by_ids(tx, ids).await? {
        let test = value.outcome.test;
        let found = store::find(tx, test).await?.ok_or_else(|| Problem::not_found("race test"))?;
        ResultFields::from(&StoredOutcome { id: RaceResultId(id), rev, value }).parse(test, &found.value.test)?;
    }
    Ok(())
}
