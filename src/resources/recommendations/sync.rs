//! Decided recommendations as phones carry them.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use serde_json::{Map, Value};
use uuid::Uuid;

use super::decided::DecisionFields;
use super::decisions::{decided, view};
use super::http::{Question, decided_day};
use super::model::{Choice, RawChoice};
use super::shapes::View;
use super::store;
use crate::platform::access::Recorder;
use crate::platform::body;
use crate::platform::db::{ClubTx, Db, Prepared, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, RecommendationId};
use crate::platform::lanes::Lanes;
use crate::platform::ops::{Done, Fact};
use crate::platform::people;
use crate::platform::problem::Problem;
use crate::platform::record::Record;
use crate::resources::advice::Memory;

pub use super::store::origins;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &view(one)?)).collect()
}

/// Files a decision that a phone recorded, with the advice of that day as the service gives it now. What runs into a wall is
/// refused as by its own route: the coach who decided it corrects or confirms it.
///
/// # Errors
/// Database errors.
pub async fn push(tx: &mut ClubTx, id: Uuid, data: &Map<String, Value>) -> Result<Fact, Problem> {
    let (athlete, on, choice) = match read(data) {
        Ok(read) => read,
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
    let advice = match advice(tx, id, (athlete, on), &choice).await {
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

/// About whom a decision is, for which day, and what was decided.
fn read(data: &Map<String, Value>) -> Result<(AthleteId, Option<NaiveDate>, Choice), Problem> {
    let mut data = data.clone();
    let athlete = body::from_value::<AthleteId>(data.remove("athlete_id").unwrap_or_default())
        .map_err(|_| Problem::invalid(vec![Fault::at("/athlete_id", "type", "must be the id of an athlete")]))?;
    let sent = body::from_value::<DecisionFields>(Value::Object(data))?;
    Ok((athlete, sent.on, sent.choice()?))
}

/// The advice that was prepared for a decision, or the walls in its way; computed here for one from the holding area.
async fn advice(
    tx: &mut ClubTx,
    id: Uuid,
    (athlete, on): (AthleteId, Option<NaiveDate>),
    choice: &Choice,
) -> Result<View, Problem> {
    if let Some(ready) = tx.prepared.remove(&id) {
        let ready = serde_json::from_value(ready.map_err(Problem::invalid)?);
        return Ok(ready.map_err(|_| StoreError::Corrupt("recommendation"))?);
    }
    // What a memory keeps never changes an answer, so an empty one does here.
    let on = decided_day(tx, on).await?;
    Question::load(tx, athlete, on).await?.answer_to(&Memory::default(), choice)
}

/// Computes the advice that decisions of a push are filed with, and what stands in their way, in the lane of computing and with no connection in hand.
///
/// Decisions that are filed already, that are broken or whose athlete the caller does not see get none.
///
/// # Errors
/// Database errors; 503 when too much is being computed.
pub async fn prepare(
    db: &Db,
    who: &Recorder,
    lanes: &Lanes,
    decisions: &[(Uuid, &Map<String, Value>)],
) -> Result<HashMap<Uuid, Prepared>, Problem> {
    if decisions.is_empty() {
        return Ok(HashMap::new());
    }
    let turn = lanes.athletes.turn(who.who()).await?;
    let (mut tx, _) = who.read(db).await?;
    let ids: Vec<Uuid> = decisions.iter().map(|(id, _)| *id).collect();
    let known: HashSet<Uuid> = store::by_ids(&mut tx, &ids).await?.into_iter().map(|one| one.id.0).collect();
    let mut questions = Vec::new();
    for (id, data) in decisions.iter().filter(|(id, _)| !known.contains(id)) {
        let Ok((athlete, on, choice)) = read(data) else { continue };
        let question = match decided_day(&mut tx, on).await {
            Ok(on) => Question::load(&mut tx, athlete, on).await,
            Err(problem) => Err(problem),
        };
        match question {
            Ok(question) => questions.push((*id, question, choice)),
            Err(problem) if problem.status() >= 500 => return Err(problem),
            // Refused with the same words when it is filed.
            Err(_) => {}
        }
    }
    drop(tx);
    turn.run(move || {
        let memory = Memory::default();
        let answer = |(id, question, choice): (Uuid, Question, Choice)| match question.answer_to(&memory, &choice) {
            Ok(view) => Some((id, Ok(serde_json::to_value(view).ok()?))),
            Err(problem) if !problem.faults().is_empty() => Some((id, Err(problem.faults().to_vec()))),
            Err(_) => None,
        };
        let answers = questions.into_iter().filter_map(answer);
        answers.collect()
    })
    .await
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

/// Parses what is stored of these records as if it came with a request.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    for one in store::by_ids(tx, ids).await? {
        view(&one)?;
        let Choice { outcome, reason, chosen, clears_return, coach_accepts, until } = &one.value.choice;
        // The words about a deleted athlete are gone.
        if reason.as_deref() == Some("") {
            continue;
        }
        let choice = Choice::parse(&RawChoice {
            outcome: outcome.as_str(),
            reason: reason.as_deref(),
            barrier_kind: chosen.map(|(kind, ..)| kind.as_str()),
            height_m: chosen.map(|(_, height, _)| height.metres()),
            spacing_m: chosen.map(|(.., spacing)| spacing.metres()),
            clears_return: *clears_return,
            coach_accepts: *coach_accepts,
            until: *until,
        })?;
        choice.check_until(one.value.on).map_err(|fault| vec![fault])?;
    }
    Ok(())
}
