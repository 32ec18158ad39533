//! The JSON of an estimate.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::estimate::{Estimate, Hold};
use crate::compute::units::Length;
use crate::resources::advice::vocabulary;

/// The date of a day number, days since 1970-01-01.
pub fn date(days: i32) -> NaiveDate {
    NaiveDate::from_epoch_days(days).unwrap_or_default()
}

/// To the thousandth.
pub fn rounded(value: f64) -> f64 {
    (value * 1_000.0).round() / 1_000.0
}

/// A length with its uncertainty, metres.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
pub struct LimitView {
    /// Mean.
    #[schema(minimum = 3.5, maximum = 10, example = 6.62)]
    mean: f64,
    /// 5 % quantile.
    #[schema(minimum = 3.5, maximum = 10, example = 6.31)]
    p05: f64,
    /// Median.
    #[schema(minimum = 3.5, maximum = 10, example = 6.61)]
    p50: f64,
    /// 95 % quantile.
    #[schema(minimum = 3.5, maximum = 10, example = 6.95)]
    p95: f64,
}

/// A probability that an interval is held, with its 90 % interval.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
pub struct HoldView {
    /// Mean.
    #[schema(minimum = 0, maximum = 1, example = 0.84)]
    mean: f64,
    /// 5 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.66)]
    p05: f64,
    /// 95 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.97)]
    p95: f64,
}

impl From<Hold> for HoldView {
    fn from(hold: Hold) -> Self {
        Self { mean: rounded(hold.mean), p05: rounded(hold.p05), p95: rounded(hold.p95) }
    }
}

/// P(hold) at one height and spacing.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
pub struct HoldPoint {
    /// Height of the barriers, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    height_m: f64,
    /// Spacing, metres.
    #[schema(minimum = 2, maximum = 15, example = 6.25)]
    spacing_m: f64,
    /// The probability.
    #[serde(flatten)]
    hold: HoldView,
}

/// What an estimate has seen.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
pub struct EvidenceView {
    /// Runs.
    #[schema(minimum = 0, example = 24)]
    runs: u32,
    /// Intervals of these runs.
    #[schema(minimum = 0, example = 96)]
    intervals: u32,
    /// Days with runs.
    #[schema(minimum = 0, example = 6)]
    days: u32,
    /// The last of these days.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    last_run_on: Option<NaiveDate>,
}

/// What is believed about the athlete's comfortable limit.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = Estimate)]
pub struct EstimateView {
    /// The spacing at which an interval over a wicket of 0.30 m is as likely held as over-reached, metres.
    comfortable_limit_m: LimitView,
    /// Spacing lost per metre of barrier height, metres per metre.
    #[schema(minimum = 0.2, maximum = 2.6, example = 1.1)]
    height_cost: f64,
    /// How sharply the rhythm breaks around the limit, metres.
    #[schema(minimum = 0.1, maximum = 0.4, example = 0.21)]
    width_m: f64,
    /// Share of the starting uncertainty that remains, 0 to 1; above 0.5 the estimate rests mostly on body and age.
    #[schema(minimum = 0, maximum = 1, example = 0.18)]
    prior_share: f64,
    /// What it started from.
    #[schema(value_type = Vec<vocabulary::PriorBasis>, max_items = 6)]
    prior_basis: Vec<String>,
    /// What it has seen.
    evidence: EvidenceView,
    /// P(hold) around the limit for the heights the club owns, on the club's spacing grid.
    #[schema(max_items = 1000)]
    hold_curve: Vec<HoldPoint>,
}

impl EstimateView {
    /// The view of an estimate, with the curve at these heights on this spacing grid.
    pub fn new(estimate: &Estimate, heights: &[Length], step: Length) -> Self {
        let limit = estimate.limit_m;
        let curve = heights
            .iter()
            .flat_map(|height| grid_around(estimate, *height, step).into_iter().map(move |spacing| (*height, spacing)))
            .map(|(height, spacing)| HoldPoint {
                height_m: height.metres(),
                spacing_m: spacing.metres(),
                hold: estimate.hold(height, spacing).into(),
            })
            .collect();
        let evidence = estimate.evidence;
        Self {
            comfortable_limit_m: LimitView {
                mean: rounded(limit.mean),
                p05: rounded(limit.p05),
                p50: rounded(limit.p50),
                p95: rounded(limit.p95),
            },
            height_cost: rounded(estimate.height_cost),
            width_m: rounded(estimate.width_m),
            prior_share: rounded(estimate.prior_share),
            prior_basis: estimate.prior.basis.iter().map(|one| one.as_str().to_owned()).collect(),
            evidence: EvidenceView {
                runs: evidence.runs,
                intervals: evidence.intervals,
                days: evidence.days,
                last_run_on: evidence.last_day.map(date),
            },
            hold_curve: curve,
        }
    }
}

/// Grid spacings from a metre below to half a metre above the limit at a height: where the curve falls.
fn grid_around(estimate: &Estimate, height: Length, step: Length) -> Vec<Length> {
    let limit = estimate.limit_at(height).mean;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 2 to 15 m in whole steps
    let steps = |metres: f64| (metres.clamp(2.0, 15.0) * 1_000.0 / f64::from(step.mm())) as u32;
    let (from, to) = (steps(limit - 1.0) + 1, steps(limit + 0.5));
    (from..=to).take(40).map(|n| Length::from_mm(n * step.mm())).collect()
}
