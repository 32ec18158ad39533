//! Lane plans as phones carry them.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

use super::cards::cautions;
use super::http::view;
use super::judge::{self, Place, Question};
use super::model;
use super::request::Request;
use super::session_store;
use super::shapes::{Content, LaneView};
use super::sight::{self, After, Seen};
use super::store;
use crate::compute::lane_plan::{self, Candidate};
use crate::compute::set_out::{LaneSetting, set_out};
use crate::compute::units::Length;
use crate::platform::access::Recorder;
use crate::platform::body;
use crate::platform::db::{ClubTx, Db, Kind, Prepared, StoreError};
use crate::platform::fault::{Fault, Faults};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, EquipmentId, LanePlanId, SessionId};
use crate::platform::lanes::Lanes;
use crate::platform::ops::{Editable, Method, Op};
use crate::platform::patch;
use crate::platform::people::People;
use crate::platform::problem::Problem;
use crate::platform::record::Record;
use crate::resources::advice::Memory;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    let found = sight::seen(tx, found).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &view(one)?)).collect()
}

/// A lane plan as phones send it: a computed one, with athletes moved by hand.
#[derive(Debug, Deserialize, Serialize)]
pub struct Fields {
    session_id: SessionId,
    request: Request,
    #[serde(flatten)]
    content: Content,
}

/// Edits of lane plans.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Seen;
    type Fields = Fields;
    const WHAT: &'static str = "lane plan";
    const KIND: Kind = Kind::LanePlan;

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Seen)>, Problem> {
        let found = store::seen(tx, LanePlanId(id)).await?;
        let found = sight::seen(tx, found.into_iter().collect()).await?.pop();
        Ok(found.map(|found| (found.rev, found.value)))
    }

    fn fields(value: &Seen) -> Result<Fields, Problem> {
        let (request, content) = value.shown()?;
        Ok(Fields { session_id: value.plan.session, request, content })
    }

    async fn parse(tx: &mut ClubTx, fields: Fields, before: Option<&Seen>) -> Result<Seen, Problem> {
        let Fields { session_id, mut request, mut content } = fields;
        let mut faults = Faults::new();
        // Who is left out is for the service to say.
        content.not_computed.clear();
        let info = session_store::session(tx, session_id).await?;
        if info.is_none() {
            faults.add("/session_id", "unknown_id", "there is no such session for your groups");
        }
        if before.is_some_and(|before| before.plan.session != session_id) {
            faults.add("/session_id", "other_session", "a plan stays with its session");
        }
        check_lanes(&content, &mut faults);
        // Whom the request names as well: a plan is sent anew with what is recorded of everybody in it, so that a name that its author
        // may not know would tell when something is.
        let sent = sight::everybody(&content).map(|id| ("/lanes".to_owned(), id));
        let asked = request.named().map(|(at, id)| (format!("/request{at}"), id));
        let sent: Vec<(String, AthleteId)> = sent.chain(asked).collect();
        let earlier = before.map(|before| before.plan.people.clone()).unwrap_or_default();
        let people = People::of(tx, sent.iter().map(|(_, id)| *id).chain(earlier)).await?;
        for (pointer, id) in sent.iter().filter(|(_, id)| !people.sees(*id)) {
            faults.add(pointer.as_str(), "unknown_id", format!("there is no athlete {id} in your groups"));
        }
        unknown_equipment(tx, &content, before, &mut faults).await?;
        faults.add_all("", unsafe_lanes(&content, before));
        let earlier = before.and_then(|before| serde_json::from_value(before.plan.content.clone()).ok());
        let (broken, known_at) = judge::judge(tx, session_id, &mut content, earlier.as_ref()).await?;
        faults.add_all("", broken);
        if let Some(info) = &info {
            judge::rest(tx, info.held_on, &mut content).await?;
        }
        if let Some(before) = before {
            sight::rejoin(&mut faults, (&mut request, &mut content), &before.plan, &people)?;
        }
        faults.finish(Some(()))?;
        // Whoever moved athletes by hand has proved nothing; and the cautions stand beside every plan.
        content.proven_optimal = false;
        content.alternatives.clear();
        content.cautions = cautions(info.and_then(|info| info.surface));
        request.id = None;
        let plan = sight::kept(session_id, &request, content)?;
        // Whom its author does not see nobody looked at: what came of them since stays said.
        let unseen = before.filter(|before| before.plan.people.iter().any(|athlete| !people.sees(*athlete)));
        let known_at = unseen.map_or(known_at, |before| before.known_at);
        Ok(Seen { plan, people, known_at, after: After::default() })
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Seen) -> Result<bool, Problem> {
        Ok(store::insert(tx, LanePlanId(id), &value.plan, value.known_at).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Seen, _: &Seen) -> Result<(), Problem> {
        Ok(store::save(tx, LanePlanId(id), &value.plan, value.known_at).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, before: &Seen) -> Result<(), Problem> {
        let people: Vec<Uuid> = before.plan.people.iter().map(|athlete| athlete.0).collect();
        grants::require_people(tx, &people, Self::WHAT).await?;
        Ok(store::remove(tx, before.plan.session, LanePlanId(id)).await?)
    }
}

/// Checks that each round has each lane once.
fn check_lanes(content: &Content, faults: &mut Faults) {
    if content.lanes.is_empty() || content.lanes.len() > lane_plan::MAX_LANES * lane_plan::MAX_ROUNDS {
        faults.add("/lanes", "length", "must have 1 to 12 lanes a round");
    }
    let run_out = Length::from_metres(content.run_out_m).unwrap_or_default();
    let mut seen = HashSet::new();
    for (at, lane) in content.lanes.iter().enumerate() {
        if !(1..=lane_plan::MAX_ROUNDS).contains(&(lane.round as usize)) {
            let detail = format!("must be from 1 to {}", lane_plan::MAX_ROUNDS);
            faults.add(format!("/lanes/{at}/round"), "out_of_range", detail);
        }
        let configuration = lane.configuration();
        if configuration.is_none() {
            let detail = "must name a kind of barrier, and its lengths in metres, not finer than 0.001";
            faults.add(format!("/lanes/{at}"), "value", detail);
        }
        let counted = (1..=model::MAX_BARRIERS).contains(&lane.barriers);
        if !counted {
            let detail = format!("must be from 1 to {}", model::MAX_BARRIERS);
            faults.add(format!("/lanes/{at}/barriers"), "out_of_range", detail);
        }
        let drawn =
            configuration.filter(|_| counted).map(|(_, candidate)| no_marks(&candidate, lane.barriers, run_out));
        if let Some(detail) = drawn.flatten() {
            faults.add(format!("/lanes/{at}"), "value", detail);
        }
        if !seen.insert((lane.round, lane.lane)) {
            faults.add(format!("/lanes/{at}/lane"), "twice", "stands in this round already");
        }
    }
}

/// Why a lane cannot be set out, if so. Sheets and cards of a session are drawn from all its lanes: one like this would leave none of them.
fn no_marks(lane: &Candidate, barriers: u32, run_out: Length) -> Option<String> {
    // Cards say where the feet come down behind a barrier, also in a lane of one.
    let barriers = u8::try_from(barriers.max(2)).unwrap_or(u8::MAX);
    let setting = LaneSetting { approach: lane.approach, spacing: lane.spacing, barriers, run_out };
    set_out(&setting).err().map(|error| error.to_string())
}

/// Parses stored plans once more: what an import wrote has to be what a request may say. Advice is asked of nobody in them, because
/// whoever reads a plan is told what came after it.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    for one in store::by_ids(tx, ids).await? {
        let (_, content) = sight::parse(&one.value)?;
        let mut faults = Faults::new();
        check_lanes(&content, &mut faults);
        faults.finish(Some(()))?;
    }
    Ok(())
}

/// Judges the places of plans that a push brings, in the lane of computing and with no connection in hand; those of a session that
/// comes with the same push, or of people whom the caller does not see, are not among them.
///
/// # Errors
/// Database errors; 503 when too much is being computed.
pub async fn prepare(
    db: &Db,
    who: &Recorder,
    lanes: &Lanes,
    plans: &[&Op],
) -> Result<HashMap<Uuid, Prepared>, Problem> {
    if plans.is_empty() {
        return Ok(HashMap::new());
    }
    let turn = lanes.squads.turn(who.who()).await?;
    let (mut tx, _) = who.read(db).await?;
    let mut questions = Vec::new();
    for op in plans {
        // What cannot be read is refused with the same words when it is carried out.
        let Some(fields) = sent(&mut tx, op).await? else { continue };
        questions.extend(Question::load(&mut tx, fields.session_id, Place::all(&fields.content)).await?);
    }
    drop(tx);
    turn.run(move || {
        let memory = Memory::default();
        let answers = questions.iter().flat_map(|question| question.answers(&memory));
        answers.filter_map(|(key, one)| Some((key, Ok(serde_json::to_value(one).ok()?)))).collect()
    })
    .await
}

/// A plan as an edit would leave it, when that can be told.
async fn sent(tx: &mut ClubTx, op: &Op) -> Result<Option<Fields>, Problem> {
    match op.method {
        Method::Put => Ok(body::from_value(Value::Object(op.data.clone())).ok()),
        Method::Patch => {
            let Some((_, before)) = Edits::find(tx, op.id).await? else { return Ok(None) };
            Ok(patch::merge(&Edits::fields(&before)?, &op.data).ok())
        }
        Method::Delete => Ok(None),
    }
}

/// Names lanes that nobody may run, but for a layout that was there before.
fn unsafe_lanes(content: &Content, before: Option<&Seen>) -> Vec<Fault> {
    let layout = |content: &Content| {
        let lanes = content.lanes.iter().filter_map(LaneView::configuration);
        let lanes: Vec<_> = lanes.map(|(_, candidate)| (candidate.spacing, candidate.approach)).collect();
        (lanes, Length::from_metres(content.run_out_m).unwrap_or_default())
    };
    let (lanes, run_out) = layout(content);
    let earlier = before.and_then(|before| serde_json::from_value::<Content>(before.plan.content.clone()).ok());
    let same = earlier.is_some_and(|earlier| layout(&earlier) == (lanes.clone(), run_out));
    if same { Vec::new() } else { model::laid_out(&lanes, run_out) }
}

/// Names barriers that the club does not have; those that the plan already took may have been given away since.
async fn unknown_equipment(
    tx: &mut ClubTx,
    content: &Content,
    before: Option<&Seen>,
    faults: &mut Faults,
) -> Result<(), StoreError> {
    let mut known: HashSet<EquipmentId> = store::equipment(tx).await?.iter().map(|one| EquipmentId(one.id)).collect();
    let earlier = before.and_then(|before| serde_json::from_value::<Content>(before.plan.content.clone()).ok());
    known.extend(earlier.iter().flat_map(|content| &content.stock_used).map(|one| one.equipment_id));
    for (at, one) in content.stock_used.iter().enumerate().filter(|(_, one)| !known.contains(&one.equipment_id)) {
        let pointer = format!("/stock_used/{at}/equipment_id");
        faults.add(pointer, "unknown_id", format!("there is no equipment {} in the club", one.equipment_id));
    }
    Ok(())
}
