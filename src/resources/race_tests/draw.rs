//! Heats over HTTP.

use std::collections::HashSet;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::draw_shapes::{Drawn, HeatsView, LaneView, PinFields, Request};
use super::entries_store::{self, Entrant, Placed};
use super::http::load;
use super::loading::{Field, Runner};
use super::pages::start_list_page;
use super::readiness_shapes::Looked;
use super::shapes::View;
use super::store::{self, StoredTest};
use crate::compute::race::{
    Entry, HeatsError, LaneDraw, MAX_LANES, Pin, Seeding, Wish, draw_lanes, handicap, heats, usable_lanes,
};
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::fault::Faults;
use crate::platform::ids::AthleteId;
use crate::platform::lanes::Lanes;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch};
use crate::render::start_list::{StartRow, csv};
use crate::resources::advice::overtaken_note;

/// Longest start offset when none is given (s).
const MAX_OFFSET_S: f64 = 10.0;

/// What was asked, parsed.
#[derive(Debug)]
struct Asked {
    wish: Wish,
    draw: LaneDraw,
    seed: u32,
    handicap: bool,
    max_offset_ms: u32,
}

/// A seed for a draw that names none: the random part of a new id.
fn new_seed() -> u32 {
    let bytes = Uuid::new_v4().into_bytes();
    u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
}

/// Parses the request; `lanes` are those of the venue.
fn parse(request: &Request, lanes: Option<i16>, entrants: &[Entrant]) -> Result<Asked, Problem> {
    let mut faults = Faults::new();
    let seeding = Seeding::from_word(&request.seeding).ok_or("must be balanced or like_times");
    let seeding = faults.take("/seeding", "word", seeding);
    let draw = LaneDraw::from_word(&request.lane_draw).ok_or("must be ranked or lots");
    let draw = faults.take("/lane_draw", "word", draw);
    let lanes = request.lanes.or_else(|| lanes.and_then(|lanes| u8::try_from(lanes).ok()).map(|n| n.min(MAX_LANES)));
    let lanes = lanes
        .filter(|lanes| (1..=MAX_LANES).contains(lanes))
        .ok_or("must be from 1 to 12; without it the session needs a venue");
    let lanes = faults.take("/lanes", "out_of_range", lanes);
    let offset = request.max_offset_s.unwrap_or(MAX_OFFSET_S);
    if !(0.1..=60.0).contains(&offset) {
        faults.add("/max_offset_s", "out_of_range", "must be from 0.1 to 60 seconds");
    }
    let entered = |id: &AthleteId| entrants.iter().any(|one| one.visible() && one.athlete == *id);
    let unknown = |id: &AthleteId| format!("no athlete {id} of your groups is entered");
    for (at, pin) in request.pins.iter().enumerate().filter(|(_, pin)| !entered(&pin.athlete_id)) {
        faults.add(format!("/pins/{at}/athlete_id"), "unknown_id", unknown(&pin.athlete_id));
    }
    for (at, pair) in request.apart.iter().enumerate() {
        for (side, id) in pair.iter().enumerate().filter(|(_, id)| !entered(id)) {
            faults.add(format!("/apart/{at}/{side}"), "unknown_id", unknown(id));
        }
    }
    if request.pins.len() > 120 || request.apart.len() > 100 {
        faults.add("/pins", "length", "must be at most 120 pins and 100 pairs");
    }
    let pin = |one: &PinFields| Pin { athlete: one.athlete_id.0.as_u128(), heat: one.heat, lane: one.lane };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 100 to 60 000, or refused above
    let asked = seeding.zip(draw).zip(lanes).map(|((seeding, draw), lanes)| Asked {
        wish: Wish {
            lanes: usable_lanes(lanes, request.every_other_lane),
            heats: request.heats,
            seeding,
            pins: request.pins.iter().map(pin).collect(),
            apart: request.apart.iter().map(|[a, b]| (a.0.as_u128(), b.0.as_u128())).collect(),
        },
        draw,
        seed: request.seed.unwrap_or_else(new_seed),
        handicap: request.handicap,
        max_offset_ms: (offset * 1_000.0).round() as u32,
    });
    Ok(faults.finish(asked)?)
}

/// A refusal of the heats as faults of the request.
fn refused(error: HeatsError, wish: &Wish) -> Problem {
    let pin = |athlete: u128| {
        let at = wish.pins.iter().position(|pin| pin.athlete == athlete).unwrap_or(0);
        format!("/pins/{at}")
    };
    let (pointer, code) = match error {
        HeatsError::Entries(_) => {
            let detail = "Nobody who is entered can run; enter athletes with PUT .../entries first.";
            return Problem::new(Code::Conflict, detail);
        }
        HeatsError::Lanes(_) => ("/lanes".to_owned(), "out_of_range"),
        HeatsError::Count { .. } => ("/heats".to_owned(), "heats"),
        HeatsError::Twice(athlete) if !wish.pins.iter().any(|pin| pin.athlete == athlete) => {
            ("/apart".to_owned(), "twice")
        }
        HeatsError::Twice(athlete) => (pin(athlete), "twice"),
        HeatsError::NotEntered(athlete) => (pin(athlete), "unknown_id"),
        HeatsError::PinOutside(athlete) => (pin(athlete), "out_of_range"),
        HeatsError::PinClash(_, athlete) | HeatsError::PinsFull(athlete) => (pin(athlete), "full"),
        HeatsError::PinnedTogether(..) | HeatsError::Apart => ("/apart".to_owned(), "apart"),
    };
    let mut faults = Faults::new();
    faults.add(pointer, code, error.to_string());
    match faults.finish::<()>(None) {
        Err(faults) => Problem::invalid(faults),
        Ok(()) => Problem::new(Code::Invalid, error.to_string()),
    }
}

/// Heats, lanes and starts of those who may run; everybody who is entered is in the answer.
fn compute(
    runners: &[Runner],
    accepted: &HashSet<AthleteId>,
    mut asked: Asked,
    on: NaiveDate,
    looked_at: DateTime<Utc>,
) -> Result<(Vec<Placed>, bool), Problem> {
    let (running, resting): (Vec<&Runner>, Vec<&Runner>) =
        runners.iter().partition(|runner| runner.runs(accepted.contains(&runner.athlete)));
    let runs = |athlete: u128| running.iter().any(|runner| runner.athlete.0.as_u128() == athlete);
    asked.wish.pins.retain(|pin| runs(pin.athlete));
    asked.wish.apart.retain(|(a, b)| runs(*a) && runs(*b));
    let entry = |runner: &&Runner| Entry {
        athlete: runner.athlete.0.as_u128(),
        expected_ms: runner.expected.map(|expected| expected.time_ms),
    };
    let entries: Vec<Entry> = running.iter().map(entry).collect();
    let found = heats(&entries, &asked.wish).map_err(|error| refused(error, &asked.wish))?;
    let runner_of = |athlete: u128| running.iter().find(|runner| runner.athlete.0.as_u128() == athlete).copied();
    let placed = |runner: &Runner, place: Option<(i16, i16)>, offset_ms: Option<i32>| {
        let readiness = Looked::new(&runner.readiness, on, looked_at).kept()?;
        Ok::<_, StoreError>(Placed { athlete: runner.athlete, expected: runner.expected, place, offset_ms, readiness })
    };
    let lane_pins: Vec<(u128, u8)> =
        asked.wish.pins.iter().filter_map(|pin| pin.lane.map(|lane| (pin.athlete, lane))).collect();
    let mut all: Vec<Placed> = Vec::with_capacity(runners.len());
    for (heat, ranked) in (1_u8..).zip(&found.heats) {
        let drawn = draw_lanes(ranked, &lane_pins, &asked.wish.lanes, asked.draw, asked.seed, heat);
        let drawn = drawn.iter().filter_map(|one| Some((one.lane, runner_of(one.athlete)?)));
        let drawn: Vec<(u8, &Runner)> = drawn.collect();
        let expected: Vec<_> = drawn.iter().map(|(_, runner)| runner.expected).collect();
        let starts = handicap(&expected, asked.max_offset_ms);
        for ((lane, runner), start) in drawn.into_iter().zip(starts) {
            let offset = start.offset_ms.filter(|_| asked.handicap).and_then(|ms| i32::try_from(ms).ok());
            all.push(placed(runner, Some((i16::from(heat), i16::from(lane))), offset)?);
        }
    }
    for runner in resting {
        all.push(placed(runner, None, None)?);
    }
    Ok((all, found.exact))
}

/// The heats of the race test in the path.
async fn heats_view(tx: &mut ClubTx, found: &StoredTest) -> Result<HeatsView, Problem> {
    let draw = found.value.draw.clone().ok_or_else(|| {
        Problem::new(Code::NotFound, "This race test has no heats yet. Draw them with a POST to this path.")
    })?;
    let drawn: Drawn = serde_json::from_value(draw).map_err(|_| StoreError::Corrupt("race test"))?;
    Ok(HeatsView::new(found, drawn, &entries_store::entrants(tx, found.id).await?))
}

/// Computes and stores heats, lanes and, with a handicap, the starts.
///
/// Everybody who is entered takes part, athletes of groups that you do not see included; of those you learn the lane only. How
/// ready each athlete is, is looked at again, and the cautions stand with the lane; who rests or is restricted on the day, is
/// no longer ready and not among those whom a coach accepted, or has something on file that cannot be used, is not placed, and
/// `not_placed` says why. Drawing again replaces the heats; the same seed gives the same draw.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}/heats", impl_for = create_race_heats, tag = "race_tests",
    responses(
        (status = 200, description = "Drawn", body = HeatsView),
        (status = 409, description = "Nobody who is entered can run")
    )
)]
async fn create_race_heats(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    body: Body<Request>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let mut request = body.read()?;
    let entrants = entries_store::entrants(&mut tx, found.id).await?;
    version.require::<SquadRead>(&tx, found.rev, &View::new(&found, &entrants))?;
    let info = store::session(&mut tx, found.value.test.session).await?.ok_or_else(|| Problem::not_found("session"))?;
    drop(tx);
    let asked = parse(&request, info.lanes, &entrants)?;
    request.seed = Some(asked.seed);
    let ids: Vec<AthleteId> = entrants.iter().map(|one| one.athlete).collect();
    let turn = lanes.squads.turn(permit.who()).await?;
    let mut tx = permit.read(&db).await?;
    // The draw knows everybody who is entered, whoever asks and for whom; the answer shows only those that the caller sees.
    tx.actor.groups = None;
    tx.see_as(None).await?;
    let looked_at = Utc::now();
    let field = Field::load(&mut tx, &ids, found.value.test.session, found.value.held_on).await?;
    drop(tx);
    let (course, class) = (found.value.test.specification.course, found.value.test.timing.class());
    let on = found.value.held_on;
    let accepted = entrants.iter().filter(|one| one.coach_accepts).map(|one| one.athlete).collect();
    let drawn = turn.run(move || {
        let runners = field.runners(&course, class);
        compute(&runners, &accepted, asked, on, looked_at)
    });
    let (placed, exact) = drawn.await??;
    let draw = serde_json::to_value(Drawn { request, exact }).map_err(|_| StoreError::Corrupt("race test"))?;
    let mut tx = permit.write(&db).await?;
    tx.alone(found.id.0).await?;
    let again = load(&mut tx, &req).await?;
    let entrants = entries_store::entrants(&mut tx, found.id).await?;
    version.require::<SquadRead>(&tx, again.rev, &View::new(&again, &entrants))?;
    entries_store::place(&mut tx, &again, &entrants, &draw, &placed).await?;
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let body = heats_view(&mut tx, &found).await?;
    Ok(stored::changed(found.rev, &body))
}

/// What came of an athlete since the draw.
pub(super) fn since(lane: &LaneView) -> impl Iterator<Item = String> + '_ {
    lane.overtaken.then(|| format!("{}.", overtaken_note(lane.not_permitted.as_ref()))).into_iter()
}

/// The start list as a file.
fn start_list(req: &HttpRequest, rev: i64, view: &HeatsView) -> Result<HttpResponse, Problem> {
    let rows: Vec<StartRow> = view
        .heats
        .iter()
        .flat_map(|heat| {
            heat.lanes.iter().map(|lane| StartRow {
                heat: heat.heat,
                lane: lane.lane,
                athlete: lane.display_name.clone().unwrap_or_default(),
                expected_s: lane.expected.as_ref().map(|one| (one.time_s, one.sd_s)),
                basis: lane.expected.as_ref().map_or("", |one| one.basis),
                start_offset_s: lane.start_offset_s,
                cautions: since(lane).chain(lane.cautions.iter().map(|one| one.text.clone())).collect(),
            })
        })
        .collect();
    let file = csv(&view.name, &view.held_on.to_string(), &rows)
        .map_err(|_| Problem::new(Code::Internal, "The start list could not be written."))?;
    Ok(stored::file(req, rev, "text/csv; charset=utf-8", "start-list.csv", file))
}

/// Reads the heats.
///
/// The CSV and the page are the start list.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}/heats", impl_for = get_race_heats, tag = "race_tests",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, text/html or application/pdf")),
    responses(
        (status = 200, description = "The heats", content(
            (HeatsView = "application/json"),
            (String = "text/csv"),
            (String = "text/html")
        )),
        (status = 304, description = "Unchanged")
    )
)]
async fn get_race_heats(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let format = choose(&req, &[Format::Csv])?;
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let body = heats_view(&mut tx, &found).await?;
    let measure = paper::measure(&mut tx, format).await?;
    match format {
        Format::Csv => start_list(&req, found.rev, &body),
        Format::Paper(form) => {
            drop(tx);
            let drawn = start_list_page(&body, measure);
            paper::Desk(&permit, &db, &lanes).versioned(&req, found.rev, (form, measure), drawn).await
        }
        _ => Ok(stored::read(&req, found.rev, &body)),
    }
}

routes!(create_race_heats, get_race_heats);
