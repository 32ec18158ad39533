//! Decided recommendations as phones carry them.

use actix_web::web::Data;
use serde_json::{Map, Value};
use uuid::Uuid;

use super::decided::DecisionFields;
use super::decisions::{decided, view};
use super::http::for_athlete;
use super::model::Choice;
use super::store;
use crate::platform::body;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, RecommendationId};
use crate::platform::ops::{Done, Fact};
use crate::platform::people::{self, Origin};
use crate::platform::problem::Problem;
use crate::platform::record::Record;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &view(one)?)).collect()
}

/// About whom these decisions are, and who took them; of those that are there.
///
/// # Errors
/// Database errors.
pub async fn origins(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Origin>, StoreError> {
    store::origins(tx, ids).await
}

/// Files a decision that a phone recorded, with the advice of that day as the service gives it now.
///
/// # Errors
/// Database errors.
pub async fn push(tx: &mut ClubTx, id: Uuid, data: &Map<String, Value>) -> Result<Fact, Problem> {
    let mut data = data.clone();
    let athlete = data.remove("athlete_id").unwrap_or_default();
    let parsed = body::from_value::<AthleteId>(athlete)
        .map_err(|_| Problem::invalid(vec![Fault::at("/athlete_id", "type", "must be the id of an athlete")]))
        .and_then(|athlete| Ok((athlete, body::from_value::<DecisionFields>(Value::Object(data))?)))
        .and_then(|(athlete, sent)| {
            let instead = (sent.barrier_kind.as_deref(), sent.height_m, sent.spacing_m);
            let choice = Choice::parse(&sent.outcome, sent.reason.as_deref(), instead, sent.clears_return)?;
            Ok((athlete, sent.on, choice))
        });
    let (athlete, on, choice) = match parsed {
        Ok(parsed) => parsed,
        Err(problem) => return Ok(Fact::Refused(problem)),
    };
    // What is taken by a decision that the actor must not learn of is judged like a new one.
    let origins = store::origins(tx, &[id]).await?;
    let hidden = !people::hidden(tx, &origins).await?.is_empty();
    if !hidden && let Some(known) = known(tx, athlete, id, &choice).await? {
        return Ok(known);
    }
    if !store::sees_athlete(tx, athlete).await? {
        let fault = Fault::at("/athlete_id", "unknown_id", "there is no such athlete in your groups");
        return Ok(Fact::Refused(Problem::invalid(vec![fault])));
    }
    // What a memory keeps never changes an answer, so an empty one does here.
    let advice = match for_athlete(tx, athlete, on, Data::default()).await {
        Ok(advice) => advice,
        Err(problem) if problem.status() < 500 => return Ok(Fact::Refused(problem)),
        Err(problem) => return Err(problem),
    };
    if hidden {
        return Ok(Fact::Hidden);
    }
    let decided = decided(advice, choice)?;
    if store::insert(tx, RecommendationId(id), &decided).await? {
        return Ok(Fact::Stored(Done::now(201, 0)));
    }
    // The same push has come twice, and the other one was faster.
    let known = known(tx, athlete, id, &decided.choice).await?;
    Ok(known.unwrap_or_else(|| Fact::Refused(Problem::gone())))
}

/// What a decision is whose id is taken.
async fn known(tx: &mut ClubTx, athlete: AthleteId, id: Uuid, choice: &Choice) -> Result<Option<Fact>, StoreError> {
    let found = store::by_ids(tx, &[id]).await?.pop();
    Ok(found.map(|found| {
        let mut sent = choice.clone();
        // The words about a deleted athlete are gone; a repeat of the decision is still the same.
        if found.value.choice.reason.as_deref() == Some("") {
            sent.reason.clone_from(&found.value.choice.reason);
        }
        let same = found.value.athlete == athlete && found.value.choice == sent;
        if same { Fact::Stored(Done::before(found.rev)) } else { Fact::Clash }
    }))
}
