//! The JSON of recommendations.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::estimate::{EstimateView, HoldView, date, rounded};
use super::region::RegionView;
use super::word::WordView;
use crate::compute::advice::Advice;
use crate::compute::approach::Approach;
use crate::compute::decision::{Caution, Configuration, Fit};
use crate::compute::specs::Applicable;
use crate::compute::units::Length;
use crate::platform::ids::{AthleteId, GroupId};
use crate::resources::advice::vocabulary;
use crate::resources::advice::{CautionView, MissingView, NotComputedView, Person, ReasonView};

/// What an athlete runs over.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = ConfigurationRun)]
pub struct ConfigurationView {
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    height_m: f64,
    /// Spacing, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.25)]
    spacing_m: f64,
}

/// Where the athlete runs now.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = CurrentConfiguration)]
pub struct CurrentView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    barrier_kind: String,
    /// Height and spacing.
    #[serde(flatten)]
    configuration: ConfigurationView,
    /// P(hold) here.
    #[serde(skip_serializing_if = "Option::is_none")]
    hold_probability: Option<HoldView>,
}

/// The lane that fits one athlete: the spacing, to 0.10 m, that should hold with at least the club's `first_lane_hold` and
/// has something in hand (about a third of the way to certainty).
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = FittingLane)]
pub struct FittingView {
    /// Height and spacing.
    #[serde(flatten)]
    configuration: ConfigurationView,
    /// Start line to the first barrier, metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 5, maximum = 50, example = 11.5)]
    approach_m: Option<f64>,
    /// P(hold) there.
    hold_probability: HoldView,
    /// Whether `first_lane_hold` is reached; otherwise no spacing reaches it and this one comes closest.
    reached: bool,
}

impl FittingView {
    fn new(fit: Fit, approach: Approach) -> Self {
        Self {
            configuration: ConfigurationView { height_m: fit.height.metres(), spacing_m: fit.spacing.metres() },
            approach_m: Some(approach.at(fit.spacing).metres()),
            hold_probability: fit.hold.into(),
            reached: fit.reached,
        }
    }
}

/// What to do next.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = Decision)]
pub struct DecisionView {
    /// `step_up_spacing`, `step_up_height`, `change_barrier_kind`, `consolidate`, `step_in`, `lower_height`,
    /// `rest_and_refer` or `race_test`.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub kind: String,
    /// Stage of the progression.
    #[schema(value_type = vocabulary::Stage)]
    stage: String,
    /// What to run over; absent for rest and refer.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::BarrierKind>)]
    pub barrier_kind: Option<String>,
    /// Height, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    pub height_m: Option<f64>,
    /// Spacing, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 6.5)]
    pub spacing_m: Option<f64>,
    /// Start line to the first barrier, metres: that of the target, or what the athlete's `approach_strides` take at that spacing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 5, maximum = 50, example = 11.5)]
    approach_m: Option<f64>,
    /// P(hold) there.
    #[serde(skip_serializing_if = "Option::is_none")]
    hold_probability: Option<HoldView>,
    /// The lane that fits the athlete best over that height today, of those permitted; absent for rest and refer.
    #[serde(skip_serializing_if = "Option::is_none")]
    fitting_lane: Option<FittingView>,
    /// Whether a coach has to confirm before the athlete runs it.
    needs_confirmation: bool,
    /// The coach's word that this follows; absent where none stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    word: Option<WordView>,
    /// The last day on which this holds; compute anew afterwards and after every session.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    valid_until: NaiveDate,
}

/// The cautions as codes with sentences.
pub fn cautions(list: &[Caution]) -> Vec<CautionView> {
    list.iter().map(Into::into).collect()
}

/// The specification to train towards.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
pub struct TargetView {
    /// Rule set.
    #[schema(max_length = 40, example = "UKA-2024")]
    ruleset: String,
    /// Event.
    #[schema(max_length = 20, example = "75H")]
    event_code: String,
    /// Age group.
    #[schema(max_length = 40, example = "U15")]
    age_group: String,
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.762)]
    height_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 0, maximum = 20, example = 7.5)]
    spacing_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 0, maximum = 50, example = 11.5)]
    approach_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    barriers: u8,
    /// Where the figures were read.
    #[schema(max_length = 1000, example = "Olympic factoid: up and over (England Athletics, 2024)")]
    source: String,
    /// `page` (read on the page named), `memory` (not read: check before relying on it) or `club` (your own).
    #[schema(value_type = vocabulary::Confidence)]
    confidence: String,
    /// Whether it applies for sure; with only a birth year on file it may not.
    certain: bool,
    /// Whether the athlete is younger than every age group on file and this is what the youngest races over: for
    /// orientation, not to race over.
    provisional: bool,
    /// The first day on which it applies, for a coming target.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    applies_from: Option<NaiveDate>,
}

impl TargetView {
    fn new(one: &Applicable<'_>, applies_from: Option<NaiveDate>) -> Self {
        let spec = one.spec;
        let read: Vec<String> = spec
            .sources()
            .map(|source| match source.year {
                Some(year) => format!("{} ({}, {year})", source.title, source.publisher),
                None => format!("{} ({})", source.title, source.publisher),
            })
            .collect();
        Self {
            ruleset: spec.ruleset.to_string(),
            event_code: spec.event_code.to_string(),
            age_group: spec.age_group.to_string(),
            height_m: spec.height.metres(),
            spacing_m: spec.between.metres(),
            approach_m: spec.to_first.metres(),
            barriers: spec.barriers,
            source: if read.is_empty() { spec.note.to_string() } else { read.join("; ") },
            confidence: spec.confidence.as_str().to_owned(),
            certain: one.certain,
            provisional: one.provisional,
            applies_from,
        }
    }
}

/// What one athlete should do next, and why.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = Recommendation)]
pub struct View {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// The day the advice is for.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub on: NaiveDate,
    /// What is believed about the athlete.
    estimate: EstimateView,
    /// Where the athlete runs now; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    current: Option<CurrentView>,
    /// What to do next.
    pub decision: DecisionView,
    /// Where the athlete may run today.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    permitted: Option<RegionView>,
    /// Three plain sentences, at most 60 words: what was seen and what it implies; what to do; what would change it.
    #[schema(
        max_length = 3000,
        example = "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, so a step up is open. Open the spacing to 6.75 m, still over hurdles at 0.60 m: expect 80 % of intervals held (likely 65 to 90 %). Step back if the athlete falls, holds under 50 % of 8 or more intervals, or hits over 20 % of barriers."
    )]
    explanation: String,
    /// Why, in the order in which it reads.
    #[schema(max_items = 30)]
    reasons: Vec<ReasonView>,
    /// What a step up still needs.
    #[schema(max_items = 30)]
    missing: Vec<MissingView>,
    /// Cautions; show them wherever the advice is shown.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
    /// The specification to train towards, when one is on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    target: Option<TargetView>,
    /// The one after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    next_target: Option<TargetView>,
    /// Why there is no target, and how to add one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500, example = "No specification is on file for this age group.")]
    no_target: Option<String>,
    /// The same as a stable code: `unknown_ruleset`, `not_in_force`, `no_age_group`, `no_specification`,
    /// `grade_decides`, `rule_not_stated`, or `no_sprint_specification` where only other events are on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::NoTargetCode>)]
    no_target_code: Option<String>,
}

fn view_of(configuration: Configuration) -> ConfigurationView {
    ConfigurationView { height_m: configuration.height.metres(), spacing_m: configuration.spacing.metres() }
}

impl View {
    /// The view of advice.
    pub fn new(athlete_id: AthleteId, on: NaiveDate, advice: &Advice<'_>, heights: &[Length], step: Length) -> Self {
        let decision = &advice.decision;
        let no_target = advice.target.is_none().then(|| {
            let why = advice.no_target.map_or("No sprint-hurdle specification is on file.", |reason| reason.sentence());
            format!("{why} A club admin can add one with POST /v1/clubs/{{club_id}}/competition-specs.")
        });
        let no_target_code = advice
            .target
            .is_none()
            .then(|| advice.no_target.map_or("no_sprint_specification", |reason| reason.as_str()).to_owned());
        Self {
            athlete_id,
            on,
            estimate: EstimateView::new(&advice.estimate, heights, step),
            current: decision.current.map(|current| CurrentView {
                barrier_kind: current.barrier_kind.as_str().to_owned(),
                configuration: view_of(current),
                hold_probability: decision.hold_current.map(Into::into),
            }),
            decision: DecisionView::new(advice),
            permitted: Some(RegionView::from(&decision.region)),
            explanation: decision.explanation(),
            reasons: decision.reasons.iter().map(Into::into).collect(),
            missing: decision.missing.iter().map(Into::into).collect(),
            cautions: cautions(&decision.cautions),
            target: advice.target.as_ref().map(|target| TargetView::new(target, None)),
            next_target: advice
                .next_target
                .as_ref()
                .map(|(from, target)| TargetView::new(target, Some(date(from.days())))),
            no_target,
            no_target_code,
        }
    }
}

impl DecisionView {
    fn new(advice: &Advice<'_>) -> Self {
        let decision = &advice.decision;
        Self {
            kind: decision.kind.as_str().to_owned(),
            stage: decision.stage.as_str().to_owned(),
            barrier_kind: decision.proposed.map(|to| to.barrier_kind.as_str().to_owned()),
            height_m: decision.proposed.map(|to| to.height.metres()),
            spacing_m: decision.proposed.map(|to| to.spacing.metres()),
            approach_m: decision.proposed.map(|to| advice.approach.at(to.spacing).metres()),
            hold_probability: decision.hold_proposed.map(Into::into),
            fitting_lane: decision.fit.map(|fit| FittingView::new(fit, advice.approach)),
            needs_confirmation: decision.needs_confirmation,
            word: decision.governed.as_ref().map(Into::into),
            valid_until: date(decision.valid_until),
        }
    }
}

/// The advice for one athlete of a group, in short.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShortView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    display_name: String,
    /// Mean of the comfortable limit, metres.
    #[schema(minimum = 3.5, maximum = 10, example = 6.62)]
    comfortable_limit_m: f64,
    /// What to do next.
    decision: DecisionView,
    /// Three plain sentences, at most 60 words: what was seen and what it implies; what to do; what would change it.
    #[schema(
        max_length = 3000,
        example = "Pain or an injury was reported. No running over barriers: rest, and refer the athlete for medical advice. Running resumes only when a coach confirms it and any medical advice allows it."
    )]
    explanation: String,
    /// Cautions of this athlete beside those that hold for everybody.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

impl ShortView {
    /// The short view of advice.
    pub fn new(person: &Person, advice: &Advice<'_>) -> Self {
        Self {
            athlete_id: person.id,
            display_name: person.display_name.clone(),
            comfortable_limit_m: rounded(advice.estimate.limit_m.mean),
            decision: DecisionView::new(advice),
            explanation: advice.decision.explanation(),
            cautions: advice.decision.own_cautions().map(Into::into).collect(),
        }
    }
}

/// How many athletes got a decision.
#[derive(Debug, Serialize, ToSchema)]
pub struct DecisionCount {
    /// The decision.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub kind: &'static str,
    /// Athletes.
    #[schema(minimum = 0, example = 9)]
    pub athletes: usize,
}

/// The advice for a group.
#[derive(Debug, Serialize, ToSchema)]
pub struct GroupAdvice {
    /// The group.
    pub group_id: GroupId,
    /// The day the advice is for.
    pub on: NaiveDate,
    /// How many athletes got which decision.
    #[schema(max_items = 8)]
    pub counts: Vec<DecisionCount>,
    /// One entry for each athlete of the group who has not left, by name; but for those in `not_computed`.
    #[schema(max_items = 300)]
    pub athletes: Vec<ShortView>,
    /// Athletes without advice, because something on file about them cannot be used: what, and the remedy.
    #[schema(max_items = 300)]
    pub not_computed: Vec<NotComputedView>,
    /// Cautions that hold for everybody; show them wherever the advice is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}
