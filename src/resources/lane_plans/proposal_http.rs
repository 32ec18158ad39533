//! A proposed session over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::Deserialize;
use utoipa::IntoParams;

use super::cards_http::latest_plan;
use super::http::who_comes;
use super::proposal::{Inputs, View};
use super::session_store;
use super::store;
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::ids::SessionId;
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::{self, Memory};

/// Shortest and longest session, minutes.
const MINUTES: (u32, u32) = (20, 240);
/// Minutes when none are asked for.
const MINUTES_USUAL: u32 = 90;
/// Most coaches.
const COACHES_MOST: usize = 20;

/// What there is for the session.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ProposalParams {
    /// Minutes, warm-up included (default 90).
    #[param(minimum = 20, maximum = 240, default = 90, example = 90)]
    minutes: Option<u32>,
    /// Coaches who watch (default 1): so many drills over barriers, and lanes, go on at once.
    #[param(minimum = 1, maximum = 20, default = 1, example = 2)]
    coaches: Option<usize>,
}

impl ProposalParams {
    fn parse(&self) -> Result<(u32, usize), Problem> {
        let minutes = self.minutes.unwrap_or(MINUTES_USUAL);
        let coaches = self.coaches.unwrap_or(1);
        let (least, most) = MINUTES;
        if !(least..=most).contains(&minutes) {
            let detail = format!("must be from {least} to {most}");
            return Err(Problem::malformed(Fault::of("minutes", "out_of_range", detail)));
        }
        if !(1..=COACHES_MOST).contains(&coaches) {
            let detail = format!("must be from 1 to {COACHES_MOST}");
            return Err(Problem::malformed(Fault::of("coaches", "out_of_range", detail)));
        }
        Ok((minutes, coaches))
    }
}

/// Proposes what to do in a session: drills by stage with their dose, the lanes, who is where when, and what to carry.
///
/// For whoever comes, as with the cards. Three groups, before the technique gate, over wickets and over barriers, do the drills that
/// their stages ask for and their lanes of the latest lane plan, so that everything ends as early as coaches and set-ups allow: that
/// order is exact. Where the minutes do not reach, drills are left out by a rule, and told; on a wet or uneven surface nothing is race-like. Nothing is stored: change the blocks and
/// send them with PATCH to the session. Doses are common practice, each with its source. Whoever has something on file that cannot be
/// used stands in `not_computed` with what is wrong and the remedy, and in no block.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/proposal", impl_for = get_session_proposal, tag = "lane_plans",
    responses(
        (status = 200, description = "The proposal", body = View)
    )
)]
async fn get_session_proposal(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<ProposalParams>,
) -> Result<HttpResponse, Problem> {
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let asked = params.0.parse()?;
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    let info = session_store::session(&mut tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let (_, coming, _) = who_comes(&mut tx, session, info.held_on).await?;
    let people = advice::load_for_session(&mut tx, &coming, session, info.held_on).await?;
    let planned = latest_plan(&mut tx, session).await?;
    let equipment = store::equipment(&mut tx).await?;
    let setting = advice::setting(&mut tx).await?;
    let (club, on) = (tx.club, advice::day(info.held_on)?);
    drop(tx);
    let body = turn.run(move || {
        let advise = |person| Ok((person, memory.advise(club, person, &setting, on)?.decision));
        let (people, not_computed) = advice::computed(people.iter().map(advise));
        let (session, surface) = ((session, info.held_on), info.surface);
        View::new(&Inputs { session, surface, asked, people, not_computed, planned, equipment })
    });
    let body = body.await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body))
}

routes!(get_session_proposal);
