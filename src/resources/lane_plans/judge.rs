//! What the advice of the day says of athletes whom somebody put into lanes by hand: where their region ends, and how many barriers
//! they may have.
//!
//! A plan that the service computes obeys every region. One that a phone sends was made at the track: it is kept, and each place
//! in it says what the service knows of it, whatever the phone wrote there.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::answer::rounded;
use super::model::{most_barriers, too_many_barriers};
use super::session_store;
use super::shapes::{AdvisedView, Content, LaneView, PlacedView};
use crate::compute::advice::{Advice, Record, Setting};
use crate::compute::bounds::barriers_most;
use crate::compute::day::Day;
use crate::compute::decision::{Configuration, Decision, Wall};
use crate::compute::standing::Standing;
use crate::compute::units::Length;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, ClubId, SessionId};
use crate::platform::problem::Problem;
use crate::resources::advice::{self, CautionView, Memory, NotComputedView, Person, UnusableView, WallView};

/// An athlete in a lane.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) athlete: AthleteId,
    at: Configuration,
}

impl Place {
    /// Every place of a plan.
    pub(super) fn all(content: &Content) -> Vec<Self> {
        let lanes = content.lanes.iter().filter_map(|lane| Some((lane, lane.configuration()?.1.configuration())));
        lanes.flat_map(|(lane, at)| lane.athletes.iter().map(move |one| Self { athlete: one.athlete_id, at })).collect()
    }

    /// The name under which its judgement waits for the transaction of a session's plan.
    pub(super) fn key(&self, session: SessionId) -> Uuid {
        let (kind, height, spacing) = (self.at.barrier_kind.as_str(), self.at.height.mm(), self.at.spacing.mm());
        Uuid::new_v5(&session.0, format!("{} {kind} {height} {spacing}", self.athlete).as_bytes())
    }
}

/// What advice says of a place.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub(super) struct Judgement {
    advised: Option<AdvisedView>,
    difference: Option<String>,
    needs_confirmation: bool,
    cautions: Vec<CautionView>,
    hold_probability: f64,
    not_permitted: Option<WallView>,
    /// Why there is no advice.
    #[serde(default)]
    unusable: Option<UnusableView>,
    /// The most barriers of a lane for the athlete, and those of the race.
    barriers: (u32, Option<u32>),
    /// The moment up to which it heeds what is on file.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    known_at: DateTime<Utc>,
}

/// The advised configuration with what should hold there, as a plan shows it.
pub(super) fn advised(decision: &Decision) -> Option<AdvisedView> {
    let to = decision.region.advised()?;
    Some(AdvisedView {
        barrier_kind: to.barrier_kind.as_str().to_owned(),
        height_m: to.height.metres(),
        spacing_m: to.spacing.metres(),
        hold_probability: rounded(decision.hold_proposed.map_or(0.0, |hold| hold.mean)),
    })
}

/// The cautions of one athlete beside those that hold for everybody.
pub(super) fn personal(decision: &Decision) -> Vec<CautionView> {
    decision.own_cautions().map(CautionView::from).collect()
}

impl Judgement {
    fn of(advice: &Advice<'_>, at: Configuration, step: Length, known_at: DateTime<Utc>) -> Self {
        let decision = &advice.decision;
        let at = decision.region.settled(at).unwrap_or(at);
        let hold = advice.estimate.hold_mean(at.height, at.spacing).clamp(0.0, 1.0);
        let wall: Option<Wall> = decision.region.check(at, hold).err();
        let standing = decision.region.advised().map(|best| Standing {
            here: at,
            hold_here: hold,
            best,
            hold_best: decision.hold_proposed.map_or(0.0, |hold| hold.mean),
            regret: 0.0,
            step,
            pinned: false,
        });
        Self {
            advised: advised(decision),
            difference: standing.map(|standing| standing.difference()),
            needs_confirmation: decision.needs_confirmation || wall.is_some(),
            cautions: personal(decision),
            hold_probability: rounded(hold),
            not_permitted: wall.as_ref().map(WallView::from),
            unusable: None,
            barriers: most_barriers(advice),
            known_at,
        }
    }

    /// That of somebody about whom nothing can be computed: a coach looks, and who rests or is hurt stays out of every lane.
    fn without_advice(record: &Record, unusable: UnusableView, on: Day, known_at: DateTime<Utc>) -> Self {
        Self {
            advised: None,
            difference: None,
            needs_confirmation: true,
            cautions: Vec::new(),
            hold_probability: 0.0,
            not_permitted: record.closed(on.days()).as_ref().map(WallView::from),
            unusable: Some(unusable),
            barriers: (barriers_most(None), None),
            known_at,
        }
    }

    /// Writes it beside the athlete; what the client wrote there goes.
    fn write(&self, to: &mut PlacedView) {
        to.advised.clone_from(&self.advised);
        to.difference.clone_from(&self.difference);
        to.needs_confirmation = self.needs_confirmation;
        to.cautions.clone_from(&self.cautions);
        to.hold_probability = self.hold_probability;
        to.not_permitted.clone_from(&self.not_permitted);
        // The lane may be another one now.
        (to.standing, to.weight, to.overtaken) = (None, None, false);
    }
}

/// What the judgements of places are computed from.
pub(super) struct Question {
    club: ClubId,
    session: SessionId,
    on: Day,
    people: Vec<Person>,
    setting: Setting,
    places: Vec<Place>,
    known_at: DateTime<Utc>,
}

impl Question {
    /// Reads it; nothing without a place, or when the actor sees no such session.
    pub(super) async fn load(
        tx: &mut ClubTx,
        session: SessionId,
        places: Vec<Place>,
    ) -> Result<Option<Self>, StoreError> {
        if places.is_empty() {
            return Ok(None);
        }
        let known_at = Utc::now();
        let Some(info) = session_store::session(tx, session).await? else { return Ok(None) };
        let ids: Vec<AthleteId> = places.iter().map(|place| place.athlete).collect();
        let people = advice::load_for_session(tx, &ids, session, info.held_on).await?;
        let (setting, on) = (advice::setting(tx).await?, advice::day(info.held_on)?);
        Ok(Some(Self { club: tx.club, session, on, people, setting, places, known_at }))
    }

    /// Computes them, by [`Place::key`]; athletes whom the actor does not see have none.
    pub(super) fn answers(&self, memory: &Memory) -> HashMap<Uuid, Judgement> {
        let step = self.setting.policy.spacing_step;
        let mut found = HashMap::with_capacity(self.places.len());
        for person in &self.people {
            let advice = memory.advise(self.club, person, &self.setting, self.on);
            for place in self.places.iter().filter(|place| place.athlete == person.id) {
                let judgement = match &advice {
                    Ok(advice) => Judgement::of(advice, place.at, step, self.known_at),
                    Err(why) => Judgement::without_advice(&person.record, why.view().unusable, self.on, self.known_at),
                };
                found.insert(place.key(self.session), judgement);
            }
        }
        found
    }
}

/// Judges every place of a plan that somebody made by hand, with what was computed before the transaction, or here where the session
/// is not older than the push; a lane with more barriers than its athletes may have is a fault unless `before` has it. Also tells the
/// moment up to which all of it heeds what is on file. Whom nothing can be computed for is named, and keeps nobody from their place.
///
/// # Errors
/// Database errors.
pub(super) async fn judge(
    tx: &mut ClubTx,
    session: SessionId,
    content: &mut Content,
    before: Option<&Content>,
) -> Result<(Vec<Fault>, DateTime<Utc>), Problem> {
    let mut known: HashMap<Uuid, Judgement> = HashMap::new();
    let mut open = Vec::new();
    for place in Place::all(content) {
        let key = place.key(session);
        match tx.prepared.get(&key) {
            Some(Ok(ready)) => {
                let ready = serde_json::from_value(ready.clone()).map_err(|_| StoreError::Corrupt("lane plan"))?;
                known.insert(key, ready);
            }
            _ => open.push(place),
        }
    }
    if let Some(question) = Question::load(tx, session, open).await? {
        // What a memory keeps never changes an answer, so an empty one does here.
        known.extend(question.answers(&Memory::default()));
    }
    let mut faults = Vec::new();
    for (at, lane) in content.lanes.iter_mut().enumerate() {
        let Some((number, candidate)) = lane.configuration() else { continue };
        let mut most: Option<(u32, Option<u32>)> = None;
        for one in &mut lane.athletes {
            let place = Place { athlete: one.athlete_id, at: candidate.configuration() };
            let Some(judgement) = known.get(&place.key(session)) else { continue };
            judgement.write(one);
            most = most.into_iter().chain([judgement.barriers]).min();
        }
        let was = |old: &LaneView| (old.round, old.configuration(), old.barriers);
        let stands = before.is_some_and(|before| {
            before.lanes.iter().any(|old| was(old) == (lane.round, Some((number, candidate)), lane.barriers))
        });
        let most = most.filter(|(most, _)| lane.barriers > *most && !stands);
        faults.extend(most.map(|most| too_many_barriers(&format!("/lanes/{at}/barriers"), most)));
    }
    content.not_computed = left_out(session, content, before, &known);
    let known_at = known.values().map(|one| one.known_at).min().unwrap_or_else(Utc::now);
    Ok((faults, known_at))
}

/// For whom nothing can be computed: those whom the plan of before left out and who have no place by now, and those who have one.
fn left_out(
    session: SessionId,
    content: &Content,
    before: Option<&Content>,
    known: &HashMap<Uuid, Judgement>,
) -> Vec<NotComputedView> {
    let placed = Place::all(content);
    let has_place = |athlete: AthleteId| {
        placed.iter().any(|place| place.athlete == athlete)
            || content.resting.iter().any(|one| one.athlete_id == athlete)
    };
    let earlier = before.into_iter().flat_map(|before| &before.not_computed);
    let mut found: Vec<NotComputedView> = earlier.filter(|one| !has_place(one.athlete_id)).cloned().collect();
    for place in &placed {
        let Some(unusable) = known.get(&place.key(session)).and_then(|one| one.unusable.clone()) else { continue };
        // In one of its lanes or in several, somebody is named once.
        if found.iter().all(|one| one.athlete_id != place.athlete) {
            found.push(NotComputedView { athlete_id: place.athlete, display_name: String::new(), unusable });
        }
    }
    found
}

/// Writes beside those who rest in a plan what keeps them from running, if anything on file does; what the client wrote there goes.
///
/// # Errors
/// Database errors.
pub(super) async fn rest(tx: &mut ClubTx, on: NaiveDate, content: &mut Content) -> Result<(), StoreError> {
    let resting: Vec<Uuid> = content.resting.iter().map(|one| one.athlete_id.0).collect();
    let walls = advice::closed(tx, &resting, on).await?;
    for one in &mut content.resting {
        one.not_permitted = walls.get(&one.athlete_id.0).map(WallView::from);
        one.overtaken = false;
    }
    Ok(())
}
