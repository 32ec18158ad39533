//! Recommendations over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{Datelike, NaiveDate};
use serde::Deserialize;
use utoipa::IntoParams;

use super::model::Choice;
use super::shapes::{DecisionCount, GroupAdvice, ShortView, View, cautions};
use super::store;
use crate::compute::advice::{Advice, Setting};
use crate::compute::day::Day;
use crate::compute::decision::{Caution, DecisionKind, Region, Wall};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, ClubId, GroupId};
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::{self, Memory, Person, Unusable};

/// For which day.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct OnParams {
    /// The day the advice is for; today in the club when absent. Runs after it are left out.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    on: Option<NaiveDate>,
}

/// The days for which there is advice.
const DAYS: &str = "must be from 2000-01-01 to a year ahead";

/// A day, or today; none when there is no advice for it.
async fn advised_day(tx: &mut ClubTx, on: Option<NaiveDate>) -> Result<Option<(NaiveDate, Day)>, Problem> {
    let today = tx.today().await?;
    let on = on.unwrap_or(today);
    let day = Day::from_days(on.to_epoch_days()).filter(|_| on.year() >= 2000 && (on - today).num_days() <= 366);
    Ok(day.map(|day| (on, day)))
}

/// The day that a query asks for, or today.
async fn asked_day(tx: &mut ClubTx, on: Option<NaiveDate>) -> Result<(NaiveDate, Day), Problem> {
    let day = advised_day(tx, on).await?;
    day.ok_or_else(|| Problem::malformed(Fault::of("on", "out_of_range", DAYS)))
}

/// The day on whose advice somebody decides, or today.
pub(super) async fn decided_day(tx: &mut ClubTx, on: Option<NaiveDate>) -> Result<(NaiveDate, Day), Problem> {
    let day = advised_day(tx, on).await?;
    day.ok_or_else(|| Problem::invalid(vec![Fault::at("/on", "out_of_range", DAYS)]))
}

/// What the advice for an athlete is computed from.
pub(super) struct Question {
    club: ClubId,
    person: Person,
    setting: Setting,
    on: NaiveDate,
    day: Day,
}

impl Question {
    /// Reads it.
    pub(super) async fn load(tx: &mut ClubTx, id: AthleteId, (on, day): (NaiveDate, Day)) -> Result<Self, Problem> {
        let people = advice::load(tx, Some(&[id]), None, on).await?;
        let person = people.into_iter().next().ok_or_else(|| Problem::not_found("athlete"))?;
        Ok(Self { club: tx.club, person, setting: advice::setting(tx).await?, on, day })
    }

    /// Computes the advice.
    pub(super) fn answer(&self, memory: &Memory) -> Result<View, Problem> {
        Ok(self.view(&memory.advise(self.club, &self.person, &self.setting, self.day)?))
    }

    /// Computes the advice beside which a choice is filed; 422 names the wall in the way of what was chosen.
    pub(super) fn answer_to(&self, memory: &Memory, choice: &Choice) -> Result<View, Problem> {
        choice.check_until(self.on).map_err(|fault| Problem::invalid(vec![fault]))?;
        let advice = memory.advise(self.club, &self.person, &self.setting, self.day)?;
        if let Some(at) = choice.configuration() {
            let hold = advice.estimate.hold_mean(at.height, at.spacing);
            let may = advice.decision.may_choose(at, hold, choice.coach_accepts, choice.clears_return);
            may.map_err(|wall| Problem::invalid(vec![in_the_way(&wall, &advice.decision.region, choice)]))?;
        }
        Ok(self.view(&advice))
    }

    fn view(&self, advice: &Advice<'_>) -> View {
        View::new(self.person.id, self.on, advice, &self.setting.heights(), self.setting.policy.spacing_step)
    }
}

/// A wall as a fault of the field that runs into it, with what would open it.
fn in_the_way(wall: &Wall, region: &Region, choice: &Choice) -> Fault {
    let pointer = match wall {
        Wall::NotOwned | Wall::KindAboveAdvice { .. } => "/barrier_kind",
        Wall::TargetHeight { .. } | Wall::HeightAboveAdvice { .. } => "/height_m",
        _ if wall.is_closed() => "/outcome",
        _ => "/spacing_m",
    };
    let remedy = if wall.is_hard() || !region.opens(true) {
        "No coach's word opens this today."
    } else if !region.opens(choice.clears_return) {
        "A fall or a return is not cleared: send clears_return true with it, or stay with the advice."
    } else {
        "Send coach_accepts true when you have weighed this and want it all the same."
    };
    Fault::at(pointer, wall.code(), format!("{} {remedy}", wall.text()))
}

/// What one athlete should do next, and why. Supports a qualified coach, never replaces one.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/recommendation", impl_for = get_recommendation, tag = "recommendations",
    responses((status = 200, description = "The recommendation", body = View),
        (status = 409, description = "A measurement or run on record cannot be used; `detail` says which")
    )
)]
async fn get_recommendation(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<OnParams>,
) -> Result<HttpResponse, Problem> {
    let id = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let turn = permit.turn(&db, &lanes.athletes).await?;
    let mut tx = permit.read(&db).await?;
    let on = asked_day(&mut tx, params.0.on).await?;
    let question = Question::load(&mut tx, id, on).await?;
    drop(tx);
    let view = turn.run(move || question.answer(&memory)).await??;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(view))
}

/// What each athlete of a group should do next, in short, with counts.
///
/// Whoever has something on file that cannot be used is named in `not_computed` with what is wrong and the remedy; the others have their
/// advice.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/groups/{group_id}/recommendations", impl_for = list_recommendations, tag = "recommendations",
    responses((status = 200, description = "The recommendations", body = GroupAdvice))
)]
async fn list_recommendations(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<OnParams>,
) -> Result<HttpResponse, Problem> {
    let group = GroupId(path_id(&req, "group_id", "group")?);
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    if !store::group_exists(&mut tx, group).await? {
        return Err(Problem::not_found("group"));
    }
    let (on, day) = asked_day(&mut tx, params.0.on).await?;
    let people = advice::load(&mut tx, None, Some(group), on).await?;
    let setting = advice::setting(&mut tx).await?;
    let club = tx.club;
    drop(tx);
    let body = turn.run_with(move |turn| {
        let short = |person: &Person| {
            let advice = memory.advise(club, person, &setting, day)?;
            Ok::<_, Unusable>((advice.decision.kind, ShortView::new(person, &advice)))
        };
        group_advice(group, on, turn.each(&people, short))
    });
    let body = body.await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body))
}

fn group_advice(
    group_id: GroupId,
    on: NaiveDate,
    advised: Vec<Result<(DecisionKind, ShortView), Unusable>>,
) -> GroupAdvice {
    let (advised, not_computed) = advice::computed(advised);
    let (kinds, athletes): (Vec<DecisionKind>, Vec<ShortView>) = advised.into_iter().unzip();
    let counts = DecisionKind::ALL
        .into_iter()
        .map(|kind| DecisionCount { kind: kind.as_str(), athletes: kinds.iter().filter(|one| **one == kind).count() })
        .collect();
    GroupAdvice { group_id, on, counts, athletes, not_computed, cautions: cautions(&Caution::BASE) }
}

routes!(get_recommendation, list_recommendations);
