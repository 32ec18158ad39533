//! The JSON of the cards of a session.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::cards_store::Note;
use super::shapes::{Content, LaneView, NotExpectedView, RestingView};
use super::sheets::unsaid;
use crate::compute::advice::Advice;
use crate::compute::approach::Approach;
use crate::compute::board::Weeks;
use crate::compute::card::{Watch, last_time, strides, watch};
use crate::compute::decision::{Caution, Configuration, Surface};
use crate::compute::progress::TrainingDay;
use crate::compute::units::Length;
use crate::platform::db::StoreError;
use crate::platform::ids::{AssessmentId, AthleteId, ClubId, LanePlanId, SessionId};
use crate::resources::advice::{BlockFields, CautionView, NotComputedView, Person, WallView, vocabulary};

/// What is run over.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardConfiguration)]
pub struct ConfigurationView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    pub spacing_m: f64,
}

impl From<Configuration> for ConfigurationView {
    fn from(one: Configuration) -> Self {
        let barrier_kind = one.barrier_kind.as_str().to_owned();
        Self { barrier_kind, height_m: one.height.metres(), spacing_m: one.spacing.metres() }
    }
}

/// What an athlete did the last time they ran.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardLastTime)]
pub struct LastTimeView {
    /// The day.
    pub on: NaiveDate,
    /// What was run over most.
    pub main: ConfigurationView,
    /// Runs.
    #[schema(minimum = 1, example = 4)]
    pub runs: u32,
    /// Intervals.
    #[schema(minimum = 0, example = 16)]
    pub intervals: u32,
    /// Intervals in which the rhythm held.
    #[schema(minimum = 0, example = 13)]
    pub held: u32,
    /// Barriers hit.
    #[schema(minimum = 0, example = 1)]
    pub hits: u32,
    /// Whether the athlete went down.
    pub fell: bool,
    /// Where these runs are listed.
    #[schema(max_length = 300)]
    runs_href: String,
}

impl LastTimeView {
    fn new(day: &TrainingDay, athlete: AthleteId, club: ClubId) -> Self {
        let on = NaiveDate::from_epoch_days(day.day).unwrap_or_default();
        Self {
            on,
            main: day.main.into(),
            runs: day.load.runs,
            intervals: day.load.intervals,
            held: day.load.held,
            hits: day.load.hits,
            fell: day.load.falls > 0,
            runs_href: format!("/v1/clubs/{club}/runs?athlete_id={athlete}&from={on}&to={on}"),
        }
    }
}

/// Where an athlete runs today.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardToday)]
pub struct TodayView {
    /// The plan.
    lane_plan_id: LanePlanId,
    /// The lane.
    #[schema(minimum = 1, maximum = 12, example = 2)]
    pub lane: u32,
    /// The round, from 1.
    #[schema(minimum = 1, maximum = 4, example = 1)]
    pub round: u32,
    /// What stands there.
    pub configuration: ConfigurationView,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub barriers: u32,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 0, maximum = 50, example = 12.0)]
    pub approach_m: f64,
    /// Strides to the first barrier: those that a coach counted, in a lane with that approach; for whom none were counted eight
    /// (common practice), where the approach is long enough for them.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20, example = 8)]
    pub approach_strides: Option<u8>,
    /// Where the feet come down after a barrier, metres behind it: landing, then strides 1 to 3.
    #[schema(min_items = 4, max_items = 4, example = json!([0.74, 1.91, 3.38, 4.78]))]
    pub strides_m: Vec<f64>,
    /// How the lane differs from the advice, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120, example = "one step closer than advised")]
    pub difference: Option<String>,
    /// Probability that an interval is held there, as of the plan.
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    pub hold_probability: f64,
    /// Why the athlete may not run there: a hand-made plan asks too much, a report or restriction stands, or the surface forbids it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_permitted: Option<WallView>,
    /// Something came after the plan was made that this lane does not heed: a report, a restriction, another status, a fall that no
    /// coach has cleared, a coach's decision for another lane, or another surface than it was made for. Plan anew.
    pub overtaken: bool,
}

/// What to watch, and what usually corrects it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardWatch)]
pub struct WatchView {
    /// The weakest rated criterion.
    #[schema(value_type = vocabulary::Criterion)]
    criterion: &'static str,
    /// Its rating: 0 not yet, 1 emerging, 2 secure.
    #[schema(minimum = 0, maximum = 2, example = 1)]
    rating: u32,
    /// What is usually behind it.
    #[schema(max_length = 200, example = "a take-off too close, or hips low at take-off")]
    look_first_at: &'static str,
    /// What usually corrects it: common practice.
    #[schema(max_length = 200, example = "mark the take-off, ask for a tall last step, and lower the barrier")]
    correction: &'static str,
    /// Where that is written.
    #[schema(max_length = 300, example = "common practice, no source")]
    source: &'static str,
    /// The same as sentences.
    #[schema(
        max_length = 500,
        example = "Watch the trail leg, rated emerging. Look first at a foot that is not turned out. Do twice as many lead drills."
    )]
    pub text: String,
}

impl From<Watch> for WatchView {
    fn from(one: Watch) -> Self {
        Self {
            criterion: one.criterion.as_str(),
            rating: one.rating.level(),
            look_first_at: one.correction.look_first_at,
            correction: one.correction.correction,
            source: one.correction.source,
            text: one.text(),
        }
    }
}

/// What a coach noted of an athlete.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardNote)]
pub struct NoteView {
    /// The assessment that holds it.
    assessment_id: AssessmentId,
    /// When.
    pub at: DateTime<Utc>,
    /// The day on which that was, in the club's time zone.
    pub on: NaiveDate,
    /// The note.
    #[schema(max_length = 500, example = "Trail knee drops when tired")]
    pub note: String,
}

/// The next step.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CardNextStep)]
pub struct NextStepView {
    /// What is advised.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// What to run over; absent for rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<ConfigurationView>,
    /// Why, and what to do.
    #[schema(
        max_length = 3000,
        example = "All 16 intervals held at 6.25 m. Move the low barriers from 6.25 m to 6.50 m apart."
    )]
    pub explanation: String,
    /// Whether a coach has to confirm before the athlete runs it.
    pub needs_confirmation: bool,
}

/// The card of one athlete.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SessionCard)]
pub struct CardView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// The last day before the session on which they ran; absent before the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_time: Option<LastTimeView>,
    /// Where they run in the session's latest lane plan; absent without one, and for whom it has no lane.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub today: Option<TodayView>,
    /// Why they run in no lane: rest, or no place in the plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 3000, example = "Pain, illness or an injury was reported.")]
    pub no_lane: Option<String>,
    /// What to watch; absent when nothing is rated, or all of it secure under race conditions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub watch: Option<WatchView>,
    /// The next step.
    pub next_step: NextStepView,
    /// What coaches noted of them in the last four weeks, latest first.
    #[schema(max_items = 3)]
    pub notes: Vec<NoteView>,
    /// What to heed with this athlete, beside the cautions that hold for everybody.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

/// The cards of those who come to a session.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SessionCards)]
pub struct View {
    /// The session.
    pub session_id: SessionId,
    /// Its day.
    pub held_on: NaiveDate,
    /// What the coaches noted of the session.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 1000, example = "Lane 3 is worn at 20 m")]
    pub note: Option<String>,
    /// What is done, in order, as the session keeps it; empty while nobody planned it.
    #[schema(max_items = 40)]
    pub blocks: Vec<BlockFields>,
    /// Whom the cards are for: those who are noted as present (`attendance`), or before anybody was, who is expected (`groups`).
    #[schema(value_type = vocabulary::PeopleFrom)]
    pub people_from: &'static str,
    /// One card for each, by name; but for those in `not_computed`.
    #[schema(max_items = 300)]
    pub cards: Vec<CardView>,
    /// Those who have no card, because something on file about them cannot be used: what, and the remedy.
    #[schema(max_items = 300)]
    pub not_computed: Vec<NotComputedView>,
    /// With `groups`: members who missed each of the last three sessions, and have no card.
    #[schema(max_items = 300)]
    pub not_expected: Vec<NotExpectedView>,
    /// Cautions; show them wherever the cards are shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

impl View {
    /// What helpers need of it: the cards of those who run in a lane today, without what coaches noted and planned.
    #[must_use]
    pub fn for_helpers(mut self) -> Self {
        self.note = None;
        self.blocks.clear();
        self.not_expected.clear();
        self.not_computed.clear();
        self.cards.retain(|card| card.today.is_some());
        for card in &mut self.cards {
            card.notes.clear();
            card.no_lane = None;
            if let Some(today) = &mut card.today {
                unsaid(&mut today.not_permitted);
            }
        }
        self
    }
}

/// The session's latest plan, as its reader sees it.
pub type Planned = (LanePlanId, Content);

/// Makes the card of one athlete on the day of a session (days since 1970-01-01).
///
/// # Errors
/// When the stored plan does not parse.
pub fn card(
    (club, on, arms_count): (ClubId, i32, bool),
    person: &Person,
    advice: &Advice<'_>,
    planned: Option<&Planned>,
    notes: &[Note],
) -> Result<CardView, StoreError> {
    let (decision, record) = (&advice.decision, &person.record);
    let closed = decision.region.closed().map(|wall| wall.text());
    let waits = planned.and_then(|(_, plan)| plan.resting.iter().find(|one| one.athlete_id == person.id));
    // A plan made before a report still has a lane for who rests now: today's advice outranks it.
    let today = match (planned, &closed) {
        (Some((id, plan)), None) => {
            plan.lanes.iter().find_map(|lane| place(*id, lane, person.id, advice.approach)).transpose()?
        }
        _ => None,
    };
    let jump = Weeks::of(&record.runs, on).jumps().then_some(&Caution::LoadJump);
    Ok(CardView {
        athlete_id: person.id,
        display_name: person.display_name.clone(),
        last_time: last_time(&record.runs, on).map(|day| LastTimeView::new(&day, person.id, club)),
        no_lane: closed.or_else(|| waits.filter(|_| today.is_none()).map(without_lane)),
        today,
        watch: watch(&record.ratings, arms_count).map(Into::into),
        next_step: NextStepView {
            decision: decision.kind.as_str(),
            to: decision.proposed.map(Into::into),
            explanation: decision.explanation(),
            needs_confirmation: decision.needs_confirmation,
        },
        notes: notes
            .iter()
            .map(|one| NoteView { assessment_id: one.id, at: one.at, on: one.on, note: one.text.clone() })
            .collect(),
        cautions: decision.own_cautions().chain(jump).map(CautionView::from).collect(),
    })
}

/// Why somebody who may run has no lane. That they rested when the plan was made is no reason any more.
fn without_lane(one: &RestingView) -> String {
    match one.waiting {
        Some(_) => one.explanation.clone(),
        None => "Rested when the lanes were planned, and may run now: plan anew.".to_owned(),
    }
}

/// Where an athlete stands in a lane, if in this one.
fn place(
    plan: LanePlanId,
    lane: &LaneView,
    athlete: AthleteId,
    own: Approach,
) -> Option<Result<TodayView, StoreError>> {
    let placed = lane.athletes.iter().find(|one| one.athlete_id == athlete)?;
    let metres = |m: f64| Length::from_metres(m).map_err(|_| StoreError::Corrupt("lane plan"));
    let feet = || {
        let (approach, spacing) = (metres(lane.approach_m)?, metres(lane.spacing_m)?);
        let behind = strides(approach, spacing).map_err(|_| StoreError::Corrupt("lane plan"))?;
        Ok((own.strides(approach, spacing), behind))
    };
    Some(feet().map(|(approach_strides, behind)| TodayView {
        lane_plan_id: plan,
        lane: lane.lane,
        round: lane.round,
        configuration: ConfigurationView {
            barrier_kind: lane.barrier_kind.clone(),
            height_m: lane.height_m,
            spacing_m: lane.spacing_m,
        },
        barriers: lane.barriers,
        approach_m: lane.approach_m,
        approach_strides,
        strides_m: behind.map(|at| f64::from((at.mm() + 5) / 10) / 100.0).into(),
        difference: placed.difference.clone(),
        hold_probability: placed.hold_probability,
        not_permitted: placed.not_permitted.clone(),
        overtaken: placed.overtaken,
    }))
}

/// What everybody heeds, and what is wrong with the surface of the session.
pub fn cautions(surface: Option<Surface>) -> Vec<CautionView> {
    Caution::BASE.iter().copied().chain(surface.map(Caution::of_surface)).map(|one| CautionView::from(&one)).collect()
}
