//! The JSON of race tests, entries and heats.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::entries_store::Entrant;
use super::model::{RaceTest, Specification};
use super::readiness_shapes::EntrantView;
use super::store::StoredTest;
use crate::compute::units::Length;
use crate::platform::ids::{AthleteId, RaceTestId, SessionId};
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// A competition specification by its names.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceSpecName, example = json!({"event_code": "75H", "age_group": "U15", "sex": "F"}))]
pub struct SpecFields {
    /// Rule set; the club's when absent.
    #[schema(min_length = 1, max_length = 40, example = "UKA")]
    pub ruleset: Option<String>,
    /// Event.
    #[schema(min_length = 1, max_length = 20, example = "75H")]
    pub event_code: String,
    /// Code of the age group.
    #[schema(min_length = 1, max_length = 60, example = "U15")]
    pub age_group: String,
    /// `F` or `M`; needed where the sexes race over different barriers.
    #[schema(value_type = Option<vocabulary::Sex>)]
    pub sex: Option<String>,
    /// `indoor` or `outdoor`; needed where the event has both.
    #[schema(value_type = Option<vocabulary::Environment>)]
    pub environment: Option<String>,
}

/// Dimensions of one's own.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceDimensions, example = json!({"race_distance_m": 60, "barriers": 6, "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}))]
pub struct DimensionFields {
    /// Start to finish, metres.
    #[schema(minimum = 10, maximum = 400, example = 60)]
    pub race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 6)]
    pub barriers: u8,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.6)]
    pub height_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 1, maximum = 50, example = 11.5)]
    pub approach_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 40, example = 7)]
    pub spacing_m: f64,
    /// Whether the spacing is shorter than what these athletes will race over.
    #[serde(default)]
    pub discounted: bool,
}

/// A new race test: `spec` or `dimensions`, one of the two.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewRaceTest, example = json!({"session_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "spec": {"event_code": "75H", "age_group": "U15", "sex": "F"}}))]
pub struct New {
    /// Client-made UUID (version 7); makes the create repeatable.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<RaceTestId>,
    /// The session it is part of.
    pub session_id: SessionId,
    /// Its name; the event when absent.
    #[schema(min_length = 1, max_length = 80, example = "Autumn test")]
    pub name: Option<String>,
    /// `planned` (default) or `held`.
    #[schema(value_type = Option<super::model::State>)]
    pub state: Option<String>,
    /// How times are taken: `hand` (default), `tap`, `video` or `gate`.
    #[schema(value_type = Option<super::model::Method>)]
    pub timing_method: Option<String>,
    /// A competition specification.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spec: Option<SpecFields>,
    /// Dimensions of one's own, such as a discounted specification.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dimensions: Option<DimensionFields>,
}

impl From<&RaceTest> for New {
    /// A stored race test as it was sent, without what it is run over, which stays.
    fn from(test: &RaceTest) -> Self {
        let Fields { name, state, timing_method } = test.into();
        Self {
            id: None,
            session_id: test.session,
            name: Some(name),
            state: Some(state),
            timing_method: Some(timing_method),
            spec: None,
            dimensions: None,
        }
    }
}

/// What of a race test can change.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceTestFields, example = json!({"state": "held"}))]
pub struct Fields {
    /// Its name.
    #[schema(min_length = 1, max_length = 80, example = "Autumn test")]
    pub name: String,
    /// `planned` or `held`.
    #[schema(value_type = super::model::State)]
    pub state: String,
    /// How times are taken, unless a result says otherwise: `hand`, `tap`, `video` or `gate`.
    #[schema(value_type = super::model::Method)]
    pub timing_method: String,
}

impl From<&RaceTest> for Fields {
    fn from(test: &RaceTest) -> Self {
        Self {
            name: test.name.clone(),
            state: test.state.as_str().to_owned(),
            timing_method: test.timing.as_str().to_owned(),
        }
    }
}

/// What a race test is run over.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = RaceSpecification)]
pub struct SpecificationView {
    /// Rule set with its edition, when taken from one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 40, example = "UKA-2024")]
    pub ruleset: Option<String>,
    /// Event, when taken from a rule set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 20, example = "75H")]
    pub event_code: Option<String>,
    /// `indoor` or `outdoor`, when taken from a rule set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::Environment>)]
    pub environment: Option<String>,
    /// `F`, `M` or `X` for both, when taken from a rule set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<vocabulary::SpecSex>)]
    pub sex: Option<String>,
    /// Code of the age group, when taken from a rule set.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60, example = "U15")]
    pub age_group: Option<String>,
    /// Start to finish, metres.
    #[schema(minimum = 10, maximum = 1000, example = 75)]
    pub race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    pub barriers: u8,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.05, maximum = 1.1, example = 0.762)]
    pub height_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 1, maximum = 100, example = 11.5)]
    pub approach_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 100, example = 7.5)]
    pub spacing_m: f64,
    /// Last barrier to the finish, metres.
    #[schema(minimum = 0, maximum = 1000, example = 11)]
    pub run_in_m: f64,
    /// Whether the spacing is shorter than what these athletes will race over.
    pub discounted: bool,
}

impl From<&Specification> for SpecificationView {
    fn from(spec: &Specification) -> Self {
        let course = spec.course;
        Self {
            ruleset: spec.ruleset.clone(),
            event_code: spec.event_code.clone(),
            environment: spec.environment.clone(),
            sex: spec.sex.clone(),
            age_group: spec.age_group.clone(),
            race_distance_m: course.race_distance.metres(),
            barriers: course.barriers,
            height_m: course.height.metres(),
            approach_m: course.approach.metres(),
            spacing_m: course.spacing.metres(),
            run_in_m: course.run_in().map_or(0.0, Length::metres),
            discounted: spec.discounted,
        }
    }
}

/// A race test.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceTest)]
pub struct View {
    /// The id.
    pub id: RaceTestId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The session it is part of.
    pub session_id: SessionId,
    /// The day of the session.
    #[schema(example = "2026-11-24")]
    pub held_on: NaiveDate,
    /// Name, state and timing.
    #[serde(flatten)]
    pub fields: Fields,
    /// What it is run over.
    pub specification: SpecificationView,
    /// Who of your groups is entered.
    #[schema(max_items = 120)]
    pub athlete_ids: Vec<AthleteId>,
    /// The same with how ready each of them is, and whether a coach entered them all the same.
    #[schema(max_items = 120)]
    pub entries: Vec<EntrantView>,
    /// Whether heats were drawn since the entries last changed.
    pub drawn: bool,
}

impl View {
    /// A race test with those of its entries that the caller sees.
    pub fn new(stored: &StoredTest, entrants: &[Entrant]) -> Self {
        Self {
            id: stored.id,
            rev: stored.rev,
            session_id: stored.value.test.session,
            held_on: stored.value.held_on,
            fields: (&stored.value.test).into(),
            specification: (&stored.value.test.specification).into(),
            athlete_ids: entrants.iter().filter(|one| one.visible()).map(|one| one.athlete).collect(),
            entries: EntrantView::of(entrants),
            drawn: stored.value.draw.is_some(),
        }
    }
}

/// A race test in a list.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceTestSummary)]
pub struct Summary {
    /// The id.
    pub id: RaceTestId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The session it is part of.
    pub session_id: SessionId,
    /// The day of the session.
    #[schema(example = "2026-11-24")]
    pub held_on: NaiveDate,
    /// Name, state and timing.
    #[serde(flatten)]
    pub fields: Fields,
    /// What it is run over.
    pub specification: SpecificationView,
}

impl From<&StoredTest> for Summary {
    fn from(stored: &StoredTest) -> Self {
        Self {
            id: stored.id,
            rev: stored.rev,
            session_id: stored.value.test.session,
            held_on: stored.value.held_on,
            fields: (&stored.value.test).into(),
            specification: (&stored.value.test.specification).into(),
        }
    }
}

/// A page of race tests.
pub type Page = page::Page<Summary>;

/// Who is entered.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceEntries, example = json!({"athlete_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"]}))]
pub struct Entries {
    /// The athletes, each once.
    #[schema(max_items = 120)]
    pub athlete_ids: Vec<AthleteId>,
    /// Those of them whom you enter although they are not ready: you have read what is in the way and what to heed.
    #[serde(default)]
    #[schema(max_items = 120)]
    pub coach_accepts: Vec<AthleteId>,
}
