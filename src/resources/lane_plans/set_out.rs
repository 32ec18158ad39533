//! The set-out sheet of a lane plan over HTTP: JSON, CSV, SVG or a document for people.

use actix_web::http::header::VARY;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::cards;
use super::http::{Beside, load};
use super::session_store::SessionInfo;
use super::set_out_page::page;
use super::shapes::{Content, LaneView, PlacedView, nobody};
use crate::compute::english::AS_ADVISED;
use crate::compute::set_out::{LaneSetting, Mark, set_out};
use crate::compute::units::{BarrierKind, Length};
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{Db, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::AthleteId;
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::render::set_out::{Sheet, SheetLane, csv, svg};
use crate::resources::advice::{CautionView, WallView, overtaken_note, vocabulary};

/// A tape mark.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TapeMark)]
struct MarkView {
    /// Distance from the start line, metres, to the centimetre.
    #[schema(minimum = 0, maximum = 1000, example = 12.0)]
    at_m: f64,
    /// `start`, `barrier`, `landing`, `stride_1`, `stride_2`, `stride_3`, `take_off` or `run_out_end`.
    #[schema(value_type = vocabulary::TapeMarkPlace)]
    mark: &'static str,
    /// The barrier it belongs to: the barrier itself, the one just cleared, or for a take-off the coming one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20, example = 1)]
    barrier: Option<u8>,
}

/// An athlete of a lane, and what to know before the first run.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SetOutAthlete)]
struct RunnerView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    display_name: String,
    /// How the lane differs from the advice, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120, example = "one step closer than advised")]
    difference: Option<String>,
    /// Probability that an interval is held here.
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    hold_probability: f64,
    /// Whether a coach has to confirm before the athlete runs.
    needs_confirmation: bool,
    /// Why the athlete may not run here, if so.
    #[serde(skip_serializing_if = "Option::is_none")]
    not_permitted: Option<WallView>,
    /// Whether something came after the plan was made that this lane does not heed: a report, a restriction, another status, a fall
    /// that no coach has cleared, a coach's decision for another lane, or another surface than it was made for. Plan anew.
    overtaken: bool,
    /// Cautions of this athlete.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

impl From<&PlacedView> for RunnerView {
    fn from(one: &PlacedView) -> Self {
        Self {
            athlete_id: one.athlete_id,
            display_name: one.display_name.clone(),
            difference: one.difference.clone(),
            hold_probability: one.hold_probability,
            needs_confirmation: one.needs_confirmation,
            not_permitted: one.not_permitted.clone(),
            overtaken: one.overtaken,
            cautions: one.cautions.clone(),
        }
    }
}

/// What the printed sheet says beside a name: what differs from the advice, and what needs a coach's eye.
pub(super) fn note(one: &PlacedView) -> String {
    let not_here = match (&one.not_permitted, one.overtaken) {
        (wall, true) => Some(overtaken_note(wall.as_ref())),
        (Some(wall), false) => Some(format!("not permitted: {}", wall.text)),
        (None, false) => None,
    };
    let not_here = not_here.as_deref().map(|words| words.trim_end_matches('.'));
    let difference = one.difference.as_deref().filter(|words| *words != AS_ADVISED);
    let confirm = one.needs_confirmation.then_some("coach confirms");
    let personal = one.cautions.iter().filter_map(|caution| match caution.code() {
        "after_fall" => Some("after a fall"),
        "thin_evidence" => Some("thin evidence"),
        "beyond_advice" => Some("beyond the advice"),
        _ => None,
    });
    not_here.into_iter().chain(difference).chain(confirm).chain(personal).collect::<Vec<_>>().join(", ")
}

/// The marks of one lane.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SetOutLane)]
struct LaneMarks {
    /// Its number.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    lane: u32,
    /// The round in which it stands like this, from 1.
    #[schema(minimum = 1, maximum = 4, example = 1)]
    round: u32,
    /// Who runs here, and what to know of each.
    #[schema(max_items = 300)]
    athletes: Vec<RunnerView>,
    /// Athletes of other groups in this lane, whom you do not see.
    #[serde(skip_serializing_if = "nobody")]
    #[schema(minimum = 0, maximum = 300, example = 2)]
    others: usize,
    /// The marks, by distance.
    #[schema(max_items = 200)]
    marks: Vec<MarkView>,
}

/// Where the tape marks go.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SetOut)]
pub(super) struct View {
    /// The lanes, round by round.
    #[schema(max_items = 48)]
    lanes: Vec<LaneMarks>,
    /// Cautions; show them wherever the sheet is shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

fn marks(lane: &LaneView, run_out_m: f64) -> Result<(BarrierKind, Length, Length, u8, Vec<Mark>), Problem> {
    let corrupt = || Problem::from(StoreError::Corrupt("lane plan"));
    let metres = |m: f64| Length::from_metres(m).map_err(|_| corrupt());
    let kind = BarrierKind::from_word(&lane.barrier_kind).ok_or_else(corrupt)?;
    let barriers = u8::try_from(lane.barriers).map_err(|_| corrupt())?;
    let (height, spacing) = (metres(lane.height_m)?, metres(lane.spacing_m)?);
    let setting = LaneSetting { approach: metres(lane.approach_m)?, spacing, barriers, run_out: metres(run_out_m)? };
    let marks = set_out(&setting).map_err(|error| Problem::new(Code::Conflict, format!("No set-out: {error}.")))?;
    Ok((kind, height, spacing, barriers, marks))
}

/// Who runs in a lane, as the sheet says it.
fn names(lane: &LaneView) -> Vec<String> {
    let others = match lane.others {
        0 => None,
        1 => Some("1 other".to_owned()),
        count => Some(format!("{count} others")),
    };
    lane.athletes.iter().map(|one| one.display_name.clone()).chain(others).collect()
}

/// The rounds of a plan; one at least.
pub(super) fn rounds(content: &Content) -> u32 {
    content.lanes.iter().map(|lane| lane.round).max().unwrap_or(1)
}

/// The plan, ready to print.
pub(super) fn sheet(info: SessionInfo, content: &Content, rounds: u32) -> Result<Sheet, Problem> {
    let rounds = u8::try_from(rounds).map_err(|_| StoreError::Corrupt("lane plan"))?;
    let lanes = content.lanes.iter().map(|lane| {
        let (barrier_kind, height, spacing, barriers, marks) = marks(lane, content.run_out_m)?;
        Ok(SheetLane {
            lane: u8::try_from(lane.lane).map_err(|_| StoreError::Corrupt("lane plan"))?,
            round: u8::try_from(lane.round).map_err(|_| StoreError::Corrupt("lane plan"))?,
            barrier_kind,
            height,
            spacing,
            barriers,
            marks,
            athletes: names(lane),
            notes: lane.athletes.iter().map(note).collect(),
        })
    });
    Ok(Sheet {
        club: info.club,
        session_date: info.held_on.to_string(),
        venue: info.venue.map(|(name, ..)| name).unwrap_or_default(),
        lanes: lanes.collect::<Result<_, Problem>>()?,
        rounds,
        cautions: content.cautions.iter().map(|one| one.text.clone()).collect(),
    })
}

/// The sheet of a plan as JSON.
///
/// # Errors
/// When the plan does not parse.
pub(super) fn json(content: &Content) -> Result<View, Problem> {
    let lane = |lane: &LaneView| {
        let (.., marks) = marks(lane, content.run_out_m)?;
        let mark = |mark: &Mark| MarkView { at_m: mark.at_tape(), mark: mark.kind.as_str(), barrier: mark.barrier };
        let athletes = lane.athletes.iter().map(RunnerView::from).collect();
        let marks = marks.iter().map(mark).collect();
        Ok(LaneMarks { lane: lane.lane, round: lane.round, athletes, others: lane.others, marks })
    };
    Ok(View {
        lanes: content.lanes.iter().map(lane).collect::<Result<_, Problem>>()?,
        cautions: content.cautions.clone(),
    })
}

/// What is wanted of a sheet.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Only this round; without it the SVG shows the first, everything else all of them.
    #[param(minimum = 1, maximum = 4, example = 1)]
    round: Option<u32>,
}

/// Where the tape marks go.
///
/// A plan in rounds has a sheet for each. The SVG is a printable sheet of one round. Both it and the page are in the units
/// that the club prints (`print_units`). The page shows all rounds, with who rests, is absent, or
/// came or went after they were planned, boxes to tick and every caution, for a phone and for A4.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/lane-plans/{lane_plan_id}/set-out", impl_for = get_set_out, tag = "lane_plans",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, image/svg+xml, text/html or application/pdf")),
    responses(
        (status = 200, description = "The sheet", content(
            (View = "application/json"),
            (String = "text/csv"),
            (String = "image/svg+xml"),
            (String = "text/html")
        )),
        (status = 406, description = "None of them is acceptable"),
        (status = 409, description = "There is nothing to draw: everybody rests or waits"),
        (status = 422, description = "The plan has no such round")
    )
)]
async fn get_set_out(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<Wanted>,
) -> Result<HttpResponse, Problem> {
    let format = choose(&req, &[Format::Csv, Format::Svg])?;
    let mut tx = permit.read(&db).await?;
    let (info, found) = load(&mut tx, &req).await?;
    let (_, mut content) = found.value.shown()?;
    let beside = match format {
        Format::Paper(_) => Beside::of(&mut tx, info.held_on, &found.value.plan, &mut content).await?,
        _ => Beside::default(),
    };
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    // The surface may have been noted after the plan was made.
    let now = cards::cautions(info.surface).into_iter();
    let more: Vec<CautionView> = now.filter(|one| content.cautions.iter().all(|told| told.text != one.text)).collect();
    content.cautions.extend(more);
    let rounds = rounds(&content);
    if let Some(round) = params.0.round.or((format == Format::Svg).then_some(1)) {
        if !(1..=rounds).contains(&round) {
            let detail = format!("must be from 1 to {rounds}, the rounds of this plan");
            return Err(Problem::invalid(vec![Fault::at("/round", "out_of_range", detail)]));
        }
        content.lanes.retain(|lane| lane.round == round);
    }
    if content.lanes.is_empty() && format == Format::Svg {
        return Err(Problem::new(Code::Conflict, "There is no lane to draw: everybody rests or waits."));
    }
    let broken = |_| Problem::new(Code::Internal, "The sheet could not be drawn.");
    let mut answer = HttpResponse::Ok();
    answer.insert_header((VARY, "accept")).insert_header(("cache-control", "private, no-cache"));
    Ok(match format {
        Format::Csv => answer
            .content_type("text/csv; charset=utf-8")
            .insert_header(("content-disposition", "attachment; filename=\"set-out.csv\""))
            .body(csv(&sheet(info, &content, rounds)?).map_err(broken)?),
        Format::Svg => {
            answer.content_type("image/svg+xml").body(svg(&sheet(info, &content, rounds)?, measure).map_err(broken)?)
        }
        Format::Paper(form) => {
            let drawn = page(&sheet(info, &content, rounds)?, &content, &beside, measure);
            paper::Desk(&permit, &db, &lanes).answer(form, measure, drawn).await?
        }
        _ => answer.json(json(&content)?),
    })
}

routes!(get_set_out);
