//! What coaches decided on recommendations, over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::decided::{DecidedPage, DecidedView, DecisionFields};
use super::http::{Question, decided_day};
use super::model::{Choice, Decided};
use super::store::{self, StoredDecided};
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{Db, Kind, StoreError};
use crate::platform::ids::{AthleteId, RecommendationId};
use crate::platform::lanes::Lanes;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, Stored};
use crate::resources::advice::Memory;

pub(super) fn view(stored: &StoredDecided) -> Result<DecidedView, StoreError> {
    let decided = &stored.value;
    let advice = serde_json::from_value(decided.advice.clone()).map_err(|_| StoreError::Corrupt("recommendation"))?;
    let chosen = decided.choice.chosen;
    Ok(DecidedView {
        id: stored.id,
        rev: stored.rev,
        athlete_id: decided.athlete,
        on: decided.on,
        outcome: decided.choice.outcome.as_str().to_owned(),
        reason: decided.choice.reason.clone(),
        barrier_kind: chosen.map(|(kind, ..)| kind.as_str().to_owned()),
        height_m: chosen.map(|(_, height, _)| height.metres()),
        spacing_m: chosen.map(|(.., spacing)| spacing.metres()),
        clears_return: decided.choice.clears_return,
        until: decided.choice.until,
        coach_accepts: decided.choice.coach_accepts,
        decided_at: decided.decided_at,
        advice,
    })
}

/// What is kept of a decision: the advice as it was given and the choice.
pub(super) fn decided(advice: super::shapes::View, choice: Choice) -> Result<Decided, StoreError> {
    Ok(Decided {
        athlete: advice.athlete_id,
        on: advice.on,
        advice: serde_json::to_value(&advice).map_err(|_| StoreError::Corrupt("recommendation"))?,
        choice,
        decided_at: DateTime::from_timestamp_micros(Utc::now().timestamp_micros()).unwrap_or_default(),
    })
}

/// Answers a decision that is stored already.
fn repeated(
    req: &HttpRequest,
    found: &StoredDecided,
    athlete: AthleteId,
    choice: &Choice,
) -> Result<HttpResponse, Problem> {
    stored::same_or_conflict(&(found.value.athlete, &found.value.choice), &(athlete, choice))?;
    Ok(stored::created(req, false, found.id, found.rev, &view(found)?))
}

/// Records what you decided on the recommendation of a day; it is kept with the advice as it was given.
///
/// The word governs: advice, fitting lane and lane plans follow what you accepted or chose until the next decision, its last day
/// (`until`, or `valid_until` of the advice), or evidence against it: a fall or report of pain, under half of 8 or more
/// intervals held, or over a fifth of 8 or more barriers hit since, there or on anything easier (numbers of the club's policy).
/// What you accepted also ends when 8 or more intervals since lead the rules to a step up; what you chose instead does not.
/// An override without a configuration ends the word before it. What you choose instead of the advice stays inside the hard
/// walls: 422 names the first in the way (`resting`, `left`, `restricted`, `pain_reported`, `not_owned`, `target_height` or
/// `target_spacing`). Inside a soft one, 422 names it as well, and `coach_accepts` is the second confirmation that opens it. After
/// a fall, and after a report or restriction that has ended, `clears_return` is the coach's word that the athlete may run as
/// advised again: it never allows a wider lane that day, and until it is given no soft wall opens; nor does any early on the way back, or on a wet or uneven surface. A report or restriction that
/// stands is ended by a clearance among the well-being records, not by this.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/recommendation/decisions", impl_for = create_decision, tag = "recommendations",
    responses(
        (status = 201, description = "Recorded", body = DecidedView),
        (status = 200, description = "Was there already", body = DecidedView)
    )
)]
async fn create_decision(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    body: Body<DecisionFields>,
) -> Result<HttpResponse, Problem> {
    let athlete = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let mut tx = permit.read(&db).await?;
    if !store::sees_athlete(&mut tx, athlete).await? {
        return Err(Problem::not_found("athlete"));
    }
    let sent = body.read()?;
    let (id, on, choice) = (sent.id, sent.on, sent.choice()?);
    if let Some(id) = id
        && let Some(found) = store::find(&mut tx, id).await?
    {
        return repeated(&req, &found, athlete, &choice);
    }
    drop(tx);
    let turn = lanes.athletes.turn(permit.who()).await?;
    let mut tx = permit.read(&db).await?;
    let on = decided_day(&mut tx, on).await?;
    let question = Question::load(&mut tx, athlete, on).await?;
    drop(tx);
    let (advice, choice) = turn.run(move || (question.answer_to(&memory, &choice), choice)).await?;
    let decided = decided(advice?, choice)?;
    let id = id.unwrap_or_else(RecommendationId::new);
    let mut tx = permit.create(&db, id).await?;
    // Moved or erased while it was computed: what is said of somebody erased would stay.
    if !store::sees_athlete(&mut tx, athlete).await? {
        return Err(Problem::not_found("athlete"));
    }
    if !store::insert(&mut tx, id, &decided).await? {
        // It came twice at once, and the other one was faster.
        let found = store::find(&mut tx, id).await?.ok_or_else(Problem::gone)?;
        return repeated(&req, &found, athlete, &decided.choice);
    }
    let rev = tx.commit().await?.of(Kind::Recommendation, id, 0);
    Ok(stored::created(&req, true, id, rev, &view(&Stored { id, rev, value: decided })?))
}

/// Lists what was decided on an athlete's recommendations, oldest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/recommendation/decisions", impl_for = list_decisions, tag = "recommendations",
    responses((status = 200, description = "A page", body = DecidedPage))
)]
async fn list_decisions(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<PageParams>,
) -> Result<HttpResponse, Problem> {
    let athlete = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let wanted = params.0.parse::<Uuid>()?;
    let mut tx = permit.read(&db).await?;
    if !store::sees_athlete(&mut tx, athlete).await? {
        return Err(Problem::not_found("athlete"));
    }
    let rows = store::page(&mut tx, athlete, wanted.after, wanted.fetch()).await?;
    let (rows, next_cursor) = wanted.cut(rows, |row| row.id.0);
    let body = DecidedPage { items: rows.iter().map(view).collect::<Result<_, StoreError>>()?, next_cursor };
    Ok(page::answer(&req, &body))
}

/// Reads a decided recommendation.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/recommendation/decisions/{decision_id}", impl_for = get_decision, tag = "recommendations",
    responses((status = 200, description = "The decision", body = DecidedView), (status = 304, description = "Unchanged"))
)]
async fn get_decision(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let athlete = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let id = RecommendationId(path_id(&req, "decision_id", "decision")?);
    let mut tx = permit.read(&db).await?;
    let found = store::find(&mut tx, id).await?.filter(|found| found.value.athlete == athlete);
    let found = found.ok_or_else(|| Problem::not_found("decision"))?;
    Ok(stored::read(&req, found.rev, &view(&found)?))
}

routes!(create_decision, list_decisions, get_decision);
