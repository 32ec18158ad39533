//! The JSON of race tests, entries and results as phones carry them: each says only what it keeps itself, so that it
//! changes only with itself.

use serde::Serialize;
use utoipa::ToSchema;

use super::draw_shapes::seconds;
use super::entries_store::Entry;
use super::outcome::Filed;
use super::readiness_shapes::ReadinessView;
use super::results_shapes::Fields as ResultFields;
use super::results_store::StoredOutcome;
use super::shapes::{Fields, SpecificationView};
use super::store::StoredTest;
use crate::platform::db::StoreError;
use crate::platform::ids::{AthleteId, RaceEntryId, RaceTestId, SessionId};
use crate::resources::advice::UnusableView;

/// A race test without the day of its session and without its entries.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceTestRecord)]
pub struct TestRecord {
    /// The id.
    id: RaceTestId,
    /// Number of the last change.
    #[schema(minimum = 0, example = 42)]
    rev: i64,
    /// The session.
    session_id: SessionId,
    /// What may change.
    #[serde(flatten)]
    fields: Fields,
    /// What is run.
    specification: SpecificationView,
    /// Whether heats and lanes are drawn.
    drawn: bool,
}

impl From<&StoredTest> for TestRecord {
    fn from(stored: &StoredTest) -> Self {
        let test = &stored.value.test;
        Self {
            id: stored.id,
            rev: stored.rev,
            session_id: test.session,
            fields: test.into(),
            specification: (&test.specification).into(),
            drawn: stored.value.draw.is_some(),
        }
    }
}

/// That an athlete is entered in a race test, and where they run.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceEntry)]
pub struct EntryRecord {
    /// The id.
    id: RaceEntryId,
    /// Number of the last change.
    #[schema(minimum = 0, example = 42)]
    rev: i64,
    /// The race test.
    race_test_id: RaceTestId,
    /// The athlete.
    athlete_id: AthleteId,
    /// The heat, from 1; absent before the draw, and when the athlete rests.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 60, example = 1)]
    heat: Option<i16>,
    /// The lane.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 12, example = 4)]
    lane: Option<i16>,
    /// Start after the first of the heat, seconds; with a handicap.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 60, example = 0.8)]
    start_offset_s: Option<f64>,
    /// The time expected at the draw, seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 12.84)]
    expected_time_s: Option<f64>,
    /// Standard error of the next time about it, seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 0.31)]
    expected_sd_s: Option<f64>,
    /// Whether a coach entered the athlete although not ready.
    coach_accepts: bool,
    /// How ready the athlete is; absent for entries from before it was looked at, and where `unusable` stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    readiness: Option<ReadinessView>,
    /// What on file about the athlete could not be used when last looked at: until it is mended and the heats are drawn again, the athlete
    /// is in none.
    #[serde(skip_serializing_if = "Option::is_none")]
    unusable: Option<UnusableView>,
}

impl TryFrom<&Entry> for EntryRecord {
    type Error = StoreError;

    fn try_from(one: &Entry) -> Result<Self, StoreError> {
        let (heat, lane) = one.place.unzip();
        Ok(Self {
            id: one.id,
            rev: one.rev,
            race_test_id: one.test,
            athlete_id: one.athlete,
            heat,
            lane,
            start_offset_s: one.offset_ms.map(seconds),
            expected_time_s: one.expected.map(|expected| seconds(expected.time_ms)),
            expected_sd_s: one.expected.map(|expected| seconds(expected.sd_ms)),
            coach_accepts: one.coach_accepts,
            readiness: one.readiness.clone(),
            unusable: one.unusable.clone(),
        })
    }
}

/// A result with its race test, without places: those depend on the results of others.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceResultRecord)]
pub struct ResultRecord {
    /// Number of the last change.
    #[schema(minimum = 0, example = 42)]
    rev: i64,
    /// The race test.
    race_test_id: RaceTestId,
    /// The result.
    #[serde(flatten)]
    fields: ResultFields,
    /// That the athlete started although a report of pain, illness or injury, or a restriction, stood on the day, as far as it was
    /// known when the result was filed; absent otherwise. Such a result is kept.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    while_restricted: bool,
}

impl From<&StoredOutcome> for ResultRecord {
    fn from(stored: &StoredOutcome) -> Self {
        let Filed { outcome, while_restricted } = &stored.value;
        Self { rev: stored.rev, race_test_id: outcome.test, fields: stored.into(), while_restricted: *while_restricted }
    }
}
