//! The JSON of a proposed session.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::cards::{Planned, cautions};
use super::model::Equipment;
use super::shapes::Content;
use crate::compute::decision::{Decision, Stage, Surface};
use crate::compute::session_plan::{Ask, BANDS, Block, Drill, SessionPlan, foot_lengths, propose};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::ids::{AthleteId, LanePlanId, SessionId};
use crate::resources::advice::{BlockFields, CautionView, NotComputedView, Person, vocabulary};

/// Said beside every dose.
const COMMON_PRACTICE: &str = "Doses, rests and drills are common practice and design choices, not what a trial has shown: change them \
                               as you see fit.";
/// Athletes of one lane where no lane plan says it.
const LANE_OF: usize = 6;

/// Who does a block.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProposedAthlete)]
pub struct AthleteView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    display_name: String,
}

/// What stands behind a block of the proposal.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProposedBlock)]
pub struct ExplainedView {
    /// Its place in `blocks`, from 0.
    #[schema(minimum = 0, maximum = 39, example = 1)]
    block: usize,
    /// The drill; absent for the warm-up and the end.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::DrillCode>)]
    drill: Option<&'static str>,
    /// What it teaches.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200, example = "posture and the trail leg's path")]
    teaches: Option<&'static str>,
    /// Where its dose is written, and what of it is a design choice.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 300, example = "Notes, a complete hurdle practice: 3 x 4 barriers")]
    source: Option<&'static str>,
    /// The spacing as a number of foot-lengths of 0.30 m.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 67, example = 11.0)]
    foot_lengths: Option<f64>,
    /// Lines that go at once.
    #[schema(minimum = 1, example = 2)]
    lines: usize,
    /// Whether a coach stands at it.
    supervised: bool,
    /// Who does it, of those that you see.
    #[schema(max_items = 300)]
    athletes: Vec<AthleteView>,
}

/// A drill that was left out for want of minutes.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = LeftOutDrill)]
pub struct LeftOutView {
    /// The drill.
    #[schema(value_type = vocabulary::DrillCode)]
    drill: &'static str,
    /// What a coach calls it.
    #[schema(max_length = 120, example = "Cycle drill, three quick steps between")]
    name: &'static str,
    /// The lowest stage of the group whose it is.
    #[schema(value_type = vocabulary::Stage)]
    stage: &'static str,
}

/// Barriers for drills, beside those of the lanes.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProposedEquipment)]
pub struct EquipmentView {
    /// Foam or low barriers, whichever stand lower; absent when the club owns neither: a hurdle gives way to nobody.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    barrier_kind: Option<&'static str>,
    /// Its lowest height, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1.5, example = 0.4)]
    height_m: Option<f64>,
    /// How many to carry out.
    #[schema(minimum = 0, example = 8)]
    carry: u32,
    /// How many of these the club lacks: flat marks or sticks that give way stand in for them.
    #[schema(minimum = 0, example = 0)]
    lacking: u32,
}

/// Barriers that go somewhere else between two drills.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProposedMove)]
pub struct MoveView {
    /// The minute from which they are free.
    #[schema(minimum = 0, example = 25)]
    from_min: u32,
    /// The minute by which they must stand.
    #[schema(minimum = 0, example = 30)]
    to_min: u32,
    /// How many stand afterwards.
    #[schema(minimum = 0, example = 5)]
    barriers: u32,
    /// How far apart, metres.
    #[schema(minimum = 0, maximum = 20, example = 4.5)]
    spacing_m: f64,
}

/// A proposal of what to do in a session.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SessionProposal)]
pub struct View {
    /// The session.
    session_id: SessionId,
    /// Its day.
    held_on: NaiveDate,
    /// The lane plan whose lanes it uses; absent without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    lane_plan_id: Option<LanePlanId>,
    /// The blocks, as a session keeps them: send them with PATCH to make them its own, changed as you like. They name nobody.
    #[schema(max_items = 40)]
    blocks: Vec<BlockFields>,
    /// What stands behind each block, and who does it.
    #[schema(max_items = 40)]
    explained: Vec<ExplainedView>,
    /// The minute in which all is over.
    #[schema(minimum = 20, example = 84)]
    ends_min: u32,
    /// Minutes that even the least takes beyond those asked for; 0 when it fits.
    #[schema(minimum = 0, example = 0)]
    short_by_min: u32,
    /// What was left out for want of minutes.
    #[schema(max_items = 40)]
    left_out: Vec<LeftOutView>,
    /// Barriers for drills, beside those of the lanes.
    equipment: EquipmentView,
    /// What is moved between drills.
    #[schema(max_items = 40)]
    moves: Vec<MoveView>,
    /// Who rests, of those that you see: they come, and run over nothing.
    #[schema(max_items = 300)]
    resting: Vec<AthleteView>,
    /// Who comes and stands in no block, because something on file about them cannot be used: what, and the remedy.
    #[schema(max_items = 300)]
    not_computed: Vec<NotComputedView>,
    /// What the doses rest on.
    #[schema(max_length = 300, example = "Doses are common practice: change them as you see fit.")]
    common_practice: &'static str,
    /// Cautions; show them wherever the proposal is shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

/// What a proposal is made from.
pub struct Inputs<'a> {
    /// The session and its day.
    pub session: (SessionId, NaiveDate),
    /// What is wrong with the surface.
    pub surface: Option<Surface>,
    /// Minutes and coaches.
    pub asked: (u32, usize),
    /// Who comes, with what is advised.
    pub people: Vec<(&'a Person, Decision)>,
    /// Who comes and is left out.
    pub not_computed: Vec<NotComputedView>,
    /// The session's latest plan.
    pub planned: Option<Planned>,
    /// The club's barriers.
    pub equipment: Vec<Equipment>,
}

fn named(person: &Person) -> AthleteView {
    AthleteView { athlete_id: person.id, display_name: person.display_name.clone() }
}

fn band(stage: Stage) -> usize {
    BANDS.iter().position(|band| band.contains(&stage)).unwrap_or_default()
}

/// Lanes in which each band runs, and whether two run in one.
fn lanes(plan: Option<&Content>, stages: &BTreeMap<AthleteId, Stage>) -> ([usize; 3], bool) {
    let Some(plan) = plan else {
        let of = |at: usize| stages.values().filter(|stage| band(**stage) == at).count().div_ceil(LANE_OF).max(1);
        return ([of(0), of(1), of(2)], false);
    };
    let mut found: [BTreeSet<u32>; 3] = Default::default();
    let mut shared = false;
    for lane in &plan.lanes {
        let here: BTreeSet<usize> =
            lane.athletes.iter().filter_map(|one| stages.get(&one.athlete_id)).map(|stage| band(*stage)).collect();
        shared |= here.len() > 1;
        for at in here {
            found[at].insert(lane.lane);
        }
    }
    (found.map(|lanes| lanes.len().max(1)), shared)
}

/// The softest barriers that the club owns, at their lowest, and how many the lanes leave over.
fn soft(equipment: &[Equipment], plan: Option<&Content>) -> Option<(BarrierKind, Length, u32)> {
    let lowest = |one: &Equipment| Some((*one.heights.iter().min()?, one.kind));
    let gives_way = |one: &&Equipment| matches!(one.kind, BarrierKind::Foam | BarrierKind::LowBarrier);
    // A hurdle at its lowest is none: where nothing gives way, the plan says how many marks or ropes are lacking.
    let (height, kind) = equipment.iter().filter(gives_way).filter_map(lowest).min()?;
    let used = |id: uuid::Uuid| -> u32 {
        let of = plan.into_iter().flat_map(|plan| &plan.stock_used).filter(|one| one.equipment_id.0 == id);
        of.map(|one| one.count).sum()
    };
    let same = equipment.iter().filter(|one| one.kind == kind && one.heights.contains(&height));
    Some((kind, height, same.map(|one| one.count.saturating_sub(used(one.id))).sum()))
}

impl View {
    /// Proposes a session.
    pub fn new(of: &Inputs<'_>) -> Self {
        let (running, resting): (Vec<_>, Vec<_>) =
            of.people.iter().partition(|(_, decision)| decision.region.closed().is_none());
        let stages: Vec<Stage> = running.iter().map(|(_, decision)| decision.stage).collect();
        let by_id = running.iter().map(|(person, decision)| (person.id, decision.stage)).collect();
        let plan = of.planned.as_ref().map(|(_, plan)| plan);
        let (lanes, lanes_shared) = lanes(plan, &by_id);
        let soft = soft(&of.equipment, plan);
        let soft_barriers = soft.map_or(0, |(.., count)| count);
        let (minutes, coaches) = of.asked;
        let found = propose(&Ask {
            minutes,
            coaches,
            stages: &stages,
            lanes,
            lanes_shared,
            soft_barriers,
            surface: of.surface,
        });
        let height = soft.map(|(_, height, _)| height);
        let explained = |(at, block): (usize, &Block)| {
            let doers = block.athletes.iter().filter_map(|at| running.get(*at)).map(|(person, _)| named(person));
            explain(at, block, doers.collect())
        };
        Self {
            session_id: of.session.0,
            held_on: of.session.1,
            lane_plan_id: of.planned.as_ref().map(|(id, _)| *id),
            blocks: found.blocks.iter().map(|one| fields(one, height)).collect(),
            explained: found.blocks.iter().enumerate().map(explained).collect(),
            ends_min: found.ends,
            short_by_min: found.short_by,
            left_out: found.left_out.iter().map(left_out).collect(),
            equipment: EquipmentView {
                barrier_kind: soft.map(|(kind, ..)| kind.as_str()),
                height_m: height.map(Length::metres),
                carry: found.carry,
                lacking: found.lacking,
            },
            moves: moves(&found),
            resting: resting.iter().map(|(person, _)| named(person)).collect(),
            not_computed: of.not_computed.clone(),
            common_practice: COMMON_PRACTICE,
            cautions: cautions(of.surface),
        }
    }
}

fn left_out((stage, drill): &(Stage, Drill)) -> LeftOutView {
    LeftOutView { drill: drill.code, name: drill.name, stage: stage.as_str() }
}

fn moves(found: &SessionPlan) -> Vec<MoveView> {
    let view = |one: &crate::compute::session_plan::Move| MoveView {
        from_min: one.from_minute,
        to_min: one.to_minute,
        barriers: one.barriers,
        spacing_m: one.spacing.metres(),
    };
    found.moves.iter().map(view).collect()
}

fn explain(at: usize, block: &Block, athletes: Vec<AthleteView>) -> ExplainedView {
    let apart = block.drill.and_then(|drill| drill.set_up.spacing());
    ExplainedView {
        block: at,
        drill: block.drill.map(|one| one.code),
        teaches: block.drill.map(|one| one.teaches),
        source: block.drill.map(|one| one.source),
        foot_lengths: apart.map(foot_lengths),
        lines: block.lines,
        supervised: block.drill.is_none_or(|one| one.is_supervised()),
        athletes,
    }
}

/// A block as a session keeps it.
fn fields(block: &Block, height: Option<Length>) -> BlockFields {
    let count = |value: u32| u16::try_from(value).ok();
    let base = BlockFields {
        stage: block.stage.as_str().to_owned(),
        start_min: count(block.start),
        minutes: count(block.minutes),
        ..BlockFields::default()
    };
    let Some(drill) = block.drill else {
        let (name, note) = if block.start == 0 {
            ("Warm-up", "Before any barrier; walkovers are drills, not a warm-up on their own. Common practice.")
        } else {
            ("End", "Come down, and carry the barriers back. Common practice.")
        };
        return BlockFields { drill: name.to_owned(), note: Some(note.to_owned()), ..base };
    };
    let apart = drill.set_up.spacing();
    BlockFields {
        drill: drill.name.to_owned(),
        sets: Some(drill.sets),
        repeats: Some(drill.repeats),
        barriers: (drill.barriers > 0).then_some(drill.barriers),
        side: Some(drill.side.as_str().to_owned()),
        spacing_m: apart.map(Length::metres),
        height_m: height.filter(|_| apart.is_some()).map(Length::metres),
        rest_s: count(drill.rest_s),
        note: Some(format!("Teaches {}. Dose: common practice.", drill.teaches)),
        ..base
    }
}
