//! What of a plan one member sees: whom they do not see is counted in the lane, without id and figures. And what came after it: who
//! rests on its day by now or no longer does, comes back, fell or was decided on otherwise, and that the surface is wet or uneven, is
//! said wherever the plan is read.

use std::collections::HashMap;
use std::mem;

use chrono::{DateTime, Utc};
use serde_json::Value;

use super::request::Request;
use super::shapes::{AdvisedView, Content, LaneView};
use super::store::{self, Made, Plan, StoredPlan};
use crate::compute::decision::{Surface, Wall};
use crate::compute::units::BarrierKind;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Faults;
use crate::platform::ids::{AthleteId, LanePlanId, SessionId};
use crate::platform::people::People;
use crate::platform::stored::Stored;
use crate::resources::advice::{self, Planned, Since, WallView, tell_surface, told_surface};

/// A plan with those of its people whom the actor sees.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The plan as it is kept, whole.
    pub plan: Plan,
    /// Whom the actor sees.
    pub people: People,
    /// The moment up to which the plan heeds what is on file.
    pub known_at: DateTime<Utc>,
    /// What came after it.
    pub after: After,
}

/// What came after a plan and is not in it.
#[derive(Clone, Debug, Default)]
pub struct After {
    /// What is known by now of each of its people.
    since: HashMap<AthleteId, Since>,
    /// What is wrong with the surface by now; none for a plan that was made this moment.
    surface: Option<Option<Surface>>,
}

impl After {
    /// Marks in what is shown of a plan whom it no longer suits. Made for another surface it suits nobody.
    fn mark(&self, content: &mut Content) {
        let now = self.surface.filter(|surface| *surface != told_surface(&content.cautions));
        for lane in &mut content.lanes {
            let rigid = now.flatten().filter(|_| lane.barrier_kind == BarrierKind::Hurdle.as_str());
            let forbids = rigid.map(|surface| WallView::from(&Wall::Surface { surface }));
            for one in &mut lane.athletes {
                let told = one.not_permitted.take();
                let advised = one.advised.as_ref().and_then(AdvisedView::configuration);
                let since = self.since.get(&one.athlete_id);
                let over = since.is_some_and(|since| since.overtakes(told.as_ref(), advised));
                one.overtaken = over || now.is_some();
                let closed = since.and_then(|since| since.closed(told.as_ref()));
                let is_over =
                    |wall: &WallView| since.is_some() && wall.is_closed() || now.is_some() && wall.is_of_surface();
                one.not_permitted = closed.or_else(|| forbids.clone()).or(told.filter(|wall| !is_over(wall)));
                if let Some(surface) = now {
                    tell_surface(surface, &mut one.cautions);
                }
            }
        }
        for one in &mut content.resting {
            // Of whoever rests without a reason of the service a coach said so, and nothing came since.
            let told = one.not_permitted.is_some() || one.waiting.is_some();
            let Some(since) = self.since.get(&one.athlete_id).filter(|_| told) else { continue };
            one.overtaken = since.rests_otherwise(one.not_permitted.as_ref());
            one.not_permitted = since.closed(one.not_permitted.as_ref());
        }
        if let Some(surface) = now {
            tell_surface(surface, &mut content.cautions);
        }
    }
}

/// What the service writes beside an athlete.
const BESIDE: [&str; 9] = [
    "advised",
    "difference",
    "needs_confirmation",
    "cautions",
    "hold_probability",
    "not_permitted",
    "overtaken",
    "standing",
    "weight",
];

/// One plan is the same for everybody, whatever advice says of its people by now.
impl PartialEq for Seen {
    fn eq(&self, other: &Self) -> bool {
        let (ours, theirs) = (&self.plan, &other.plan);
        (ours.session, &ours.request, &ours.people) == (theirs.session, &theirs.request, &theirs.people)
            && laid_out(&ours.content) == laid_out(&theirs.content)
    }
}

/// What is planned, without what the service writes beside people and the plan.
fn laid_out(content: &Value) -> Value {
    let mut content = content.clone();
    if let Some(plan) = content.as_object_mut() {
        plan.retain(|name, _| !["cautions", "not_computed"].contains(&name.as_str()));
    }
    let lanes = content.get_mut("lanes").and_then(Value::as_array_mut).into_iter().flatten();
    lanes.filter_map(|lane| lane.get_mut("athletes")).for_each(bare);
    content.get_mut("resting").into_iter().for_each(bare);
    content
}

/// Takes what the service writes from beside the athletes of a list.
fn bare(list: &mut Value) {
    for one in list.as_array_mut().into_iter().flatten().filter_map(Value::as_object_mut) {
        one.retain(|name, _| !BESIDE.contains(&name.as_str()));
    }
}

/// What is asked and planned in a plan, whoever sees it.
///
/// # Errors
/// When what is kept does not parse.
pub fn parse(plan: &Plan) -> Result<(Request, Content), StoreError> {
    let corrupt = |_| StoreError::Corrupt("lane plan");
    let request = serde_json::from_value(plan.request.clone()).map_err(corrupt)?;
    Ok((request, serde_json::from_value(plan.content.clone()).map_err(corrupt)?))
}

impl Seen {
    /// What is asked and planned in it, as the actor sees it.
    ///
    /// # Errors
    /// When what is kept does not parse.
    pub fn shown(&self) -> Result<(Request, Content), StoreError> {
        let (mut request, mut content) = parse(&self.plan)?;
        let sees = |athlete: AthleteId| self.people.sees(athlete);
        let name = |athlete: AthleteId| self.people.name(athlete).unwrap_or_default().to_owned();
        for lane in &mut content.lanes {
            let all = lane.athletes.len();
            lane.athletes.retain(|one| sees(one.athlete_id));
            lane.others = all - lane.athletes.len();
            for one in &mut lane.athletes {
                one.display_name = name(one.athlete_id);
            }
        }
        self.after.mark(&mut content);
        // That somebody rests says something about them, so those of other groups are not even counted.
        content.resting.retain(|one| sees(one.athlete_id));
        content.resting.iter_mut().for_each(|one| one.display_name = name(one.athlete_id));
        content.not_expected.retain(|one| sees(one.athlete_id));
        content.not_expected.iter_mut().for_each(|one| one.display_name = name(one.athlete_id));
        content.not_computed.retain(|one| sees(one.athlete_id));
        content.not_computed.iter_mut().for_each(|one| one.display_name = name(one.athlete_id));
        let ids = request.athlete_ids.take().map(|ids| ids.into_iter().filter(|id| sees(*id)).collect::<Vec<_>>());
        request.athlete_ids = ids.filter(|ids| !ids.is_empty());
        request.pins.retain(|pin| sees(pin.athlete_id));
        request.apart.retain(|pair| pair.iter().all(|id| sees(*id)));
        Ok((request, content))
    }
}

/// A plan as its reader sees it, with id and version.
pub type SeenPlan = Stored<LanePlanId, Seen>;

/// The plans with those of their people whom the actor sees.
///
/// # Errors
/// Database errors.
pub async fn seen(tx: &mut ClubTx, found: Vec<StoredPlan>) -> Result<Vec<SeenPlan>, StoreError> {
    let people = People::of(tx, found.iter().flat_map(|one| one.value.people.clone())).await?;
    let made = store::made(tx, &found.iter().map(|one| one.id.0).collect::<Vec<_>>()).await?;
    let planned: Vec<Planned<'_>> = found
        .iter()
        .filter_map(|one| {
            let Made { on, known_at, .. } = *made.get(&one.id.0)?;
            Some(Planned { id: one.id.0, people: &one.value.people, on, known_at, race: None })
        })
        .collect();
    let mut since = advice::since_planned(tx, &planned).await?;
    let with = |one: StoredPlan| {
        let after = After {
            since: since.remove(&one.id.0).unwrap_or_default(),
            surface: made.get(&one.id.0).map(|made| made.surface),
        };
        let known_at = made.get(&one.id.0).map_or_else(Utc::now, |made| made.known_at);
        Stored { id: one.id, rev: one.rev, value: Seen { plan: one.value, people: people.clone(), known_at, after } }
    };
    Ok(found.into_iter().map(with).collect())
}

/// The plan as it is kept: ids and figures of everybody, names of nobody. Names are those of the day a plan is read.
///
/// # Errors
/// When it cannot be written as JSON.
pub fn kept(session: SessionId, request: &Request, mut content: Content) -> Result<Plan, StoreError> {
    for lane in &mut content.lanes {
        lane.others = 0;
        for one in &mut lane.athletes {
            one.display_name.clear();
            one.overtaken = false;
        }
    }
    for one in &mut content.resting {
        one.display_name.clear();
        one.overtaken = false;
    }
    content.not_expected.iter_mut().for_each(|one| one.display_name.clear());
    content.not_computed.iter_mut().for_each(|one| one.display_name.clear());
    let corrupt = |_| StoreError::Corrupt("lane plan");
    let mut people: Vec<AthleteId> = everybody(&content).collect();
    people.extend(request.named().map(|(_, athlete)| athlete));
    people.sort_unstable();
    people.dedup();
    Ok(Plan {
        session,
        request: serde_json::to_value(request).map_err(corrupt)?,
        content: serde_json::to_value(content).map_err(corrupt)?,
        people,
    })
}

/// Everybody who runs, rests, is not expected or left out in a plan.
pub fn everybody(content: &Content) -> impl Iterator<Item = AthleteId> {
    let run = content.lanes.iter().flat_map(|lane| &lane.athletes).map(|one| one.athlete_id);
    let absent = content.not_expected.iter().map(|one| one.athlete_id);
    let left_out = content.not_computed.iter().map(|one| one.athlete_id);
    run.chain(content.resting.iter().map(|one| one.athlete_id)).chain(absent).chain(left_out)
}

/// Puts back into an edit whom its author does not see: they stay in their lanes, and those lanes as they are.
///
/// # Errors
/// When what is kept does not parse.
pub fn rejoin(
    faults: &mut Faults,
    (request, content): (&mut Request, &mut Content),
    before: &Plan,
    people: &People,
) -> Result<(), StoreError> {
    let (asked, planned) = parse(before)?;
    let sees = |athlete: AthleteId| people.sees(athlete);
    let shared = |lane: &&LaneView| lane.athletes.iter().any(|one| !sees(one.athlete_id));
    for lane in planned.lanes.iter().filter(shared) {
        let setting = |of: &LaneView| (of.round, of.configuration(), of.barriers);
        let same = |to: &&mut LaneView| setting(to) == setting(lane);
        let Some(to) = content.lanes.iter_mut().find(same) else {
            let detail = format!("lane {} is also run by athletes of other groups: leave it as it is", lane.lane);
            faults.add("/lanes", "others", detail);
            continue;
        };
        to.athletes =
            joined(&lane.athletes, mem::take(&mut to.athletes), |one| sees(one.athlete_id), |one| one.athlete_id);
    }
    let resting = mem::take(&mut content.resting);
    content.resting = joined(&planned.resting, resting, |one| sees(one.athlete_id), |one| one.athlete_id);
    let absent = mem::take(&mut content.not_expected);
    content.not_expected = joined(&planned.not_expected, absent, |one| sees(one.athlete_id), |one| one.athlete_id);
    if let Some(ids) = asked.athlete_ids.filter(|ids| ids.iter().any(|id| !sees(*id))) {
        let sent = request.athlete_ids.take().unwrap_or_default();
        request.athlete_ids = Some(joined(&ids, sent, |id| sees(*id), |id| *id));
    }
    let pins = mem::take(&mut request.pins);
    request.pins = joined(&asked.pins, pins, |pin| sees(pin.athlete_id), |pin| pin.athlete_id);
    let apart = mem::take(&mut request.apart);
    request.apart = joined(&asked.apart, apart, |pair| pair.iter().all(|id| sees(*id)), |pair| *pair);
    Ok(())
}

/// What was sent, with what its author was not shown of `before`: in the old order when they sent back what they saw.
fn joined<T: Clone, K: PartialEq>(
    before: &[T],
    sent: Vec<T>,
    seen: impl Fn(&T) -> bool,
    key: impl Fn(&T) -> K,
) -> Vec<T> {
    let shown = before.iter().filter(|one| seen(one)).map(&key);
    if shown.eq(sent.iter().map(&key)) {
        let mut sent = sent.into_iter();
        let place = |one: &T| if seen(one) { sent.next() } else { Some(one.clone()) };
        return before.iter().filter_map(place).collect();
    }
    let hidden = before.iter().filter(|one| !seen(one)).cloned();
    sent.into_iter().chain(hidden).collect()
}
