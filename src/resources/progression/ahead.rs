//! The JSON of what is to be expected: the race test, the steps on the way, and what holds them up.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::figures::{ConfigurationView, HoldView, date, rounded};
use crate::compute::progress::{Dates, Forecast, HeldUp, Status, StepAhead};
use crate::resources::advice::{HeldUpCode, vocabulary};

/// The dates by which something is advised with a probability, if it is advised within 26 weeks at all; how likely that is stands
/// beside them. All absent where it is likelier to take longer.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ReachedBy {
    /// With 5 %: where the 90 % range begins.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p05: Option<NaiveDate>,
    /// With 25 %: where the 50 % range begins.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p25: Option<NaiveDate>,
    /// The middle: with 50 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p50: Option<NaiveDate>,
    /// With 75 %: where the 50 % range ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p75: Option<NaiveDate>,
    /// With 95 %: where the 90 % range ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p95: Option<NaiveDate>,
}

impl From<Dates> for ReachedBy {
    fn from(days: Dates) -> Self {
        let [p05, p25, p50, p75, p95] = days.map(|day| day.map(date));
        Self { p05, p25, p50, p75, p95 }
    }
}

/// When the race test over a target is likely to be advised, if training goes on as in recent weeks: the club's own rules,
/// asked on every training day to come.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = TargetForecast)]
pub struct ForecastView {
    /// `reached` (advised today), `expected` (within 26 weeks more likely than not), `not_within_26_weeks`, or
    /// `not_before_gate`: not before what `held_up_by` lists is done, whatever is trained.
    #[schema(value_type = vocabulary::ForecastStatus)]
    pub status: &'static str,
    /// The probability of holding an interval that a step up asks for: the club's `min_hold_mean`.
    #[schema(minimum = 0, maximum = 1, example = 0.8)]
    pub hold_wanted: f64,
    /// The probability of holding an interval there now.
    pub hold_now: HoldView,
    /// The dates; none with `not_before_gate`.
    pub reached_by: ReachedBy,
    /// With `not_before_gate`: the dates if all that `held_up_by` lists were done today.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub if_passed_today: Option<ReachedBy>,
    /// The probability that it is advised today; 0 with `not_before_gate`.
    #[schema(minimum = 0, maximum = 1, example = 0)]
    probability_now: f64,
    /// The probability that it is advised within 26 weeks; with `not_before_gate`, if all that `held_up_by` lists were done
    /// today.
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    pub probability_within_26_weeks: f64,
    /// Spacing of the target less that run now, metres; absent without a current configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -20, maximum = 20, example = 1.25)]
    spacing_gap_m: Option<f64>,
    /// Height of the target less that run now, metres; absent without a current configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -1.2, maximum = 1.2, example = 0.162)]
    height_gap_m: Option<f64>,
    /// Spacing of the target less the estimated limit over its height, metres.
    #[schema(minimum = -10, maximum = 20, example = 0.83)]
    pub limit_gap_m: f64,
}

impl From<&Forecast> for ForecastView {
    fn from(forecast: &Forecast) -> Self {
        let gated = forecast.status == Status::NotBeforeGate;
        let days = if gated { Dates::default() } else { forecast.days };
        Self {
            status: forecast.status.as_str(),
            hold_wanted: forecast.hold_wanted,
            hold_now: forecast.hold_now.into(),
            reached_by: days.into(),
            if_passed_today: gated.then(|| forecast.days.into()),
            probability_now: if gated { 0.0 } else { rounded(forecast.probability_now) },
            probability_within_26_weeks: rounded(forecast.probability_within),
            spacing_gap_m: forecast.gap.spacing_m.map(rounded),
            height_gap_m: forecast.gap.height_m.map(rounded),
            limit_gap_m: rounded(forecast.gap.limit_m),
        }
    }
}

/// A step on the way.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = StepAhead)]
pub struct StepView {
    /// What is likeliest to be advised, as in a recommendation.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// Where it leads.
    pub to: ConfigurationView,
    /// The probability that it is this step and no other.
    #[schema(minimum = 0, maximum = 1, example = 0.7)]
    pub likely: f64,
    /// The probability that a step is advised within 26 weeks, this or another.
    #[schema(minimum = 0, maximum = 1, example = 0.94)]
    pub probability_within_26_weeks: f64,
    /// When a step is advised, this or another; if something holds the athlete up, counted from the day on which it ends as if
    /// that were today.
    pub advised_by: ReachedBy,
    /// The same as a sentence.
    #[schema(
        max_length = 300,
        example = "Next, between 2026-04-27 and 2026-05-18 (94 % likely within 26 weeks): low barriers at 0.50 m, 6.25 m apart."
    )]
    pub text: String,
}

impl From<&StepAhead> for StepView {
    fn from(step: &StepAhead) -> Self {
        Self {
            decision: step.kind.as_str(),
            to: step.to.into(),
            likely: rounded(step.likely),
            probability_within_26_weeks: rounded(step.probability_within),
            advised_by: step.days.into(),
            text: step.text(),
        }
    }
}

/// Something that stands before every step up and no training brings.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = HeldUp)]
pub struct HeldUpView {
    /// Stable code, for programs and translations.
    #[schema(value_type = HeldUpCode)]
    pub code: &'static str,
    /// What it is.
    #[schema(max_length = 300, example = "A step up needs the trail leg rated secure (not rated yet).")]
    pub text: String,
    /// What would change it.
    #[schema(max_length = 300, example = "Rate the trail leg; the dates hold if it is rated secure today.")]
    pub remedy: String,
}

impl From<&HeldUp> for HeldUpView {
    fn from(one: &HeldUp) -> Self {
        Self { code: one.code(), text: one.text(), remedy: one.remedy() }
    }
}

#[cfg(test)]
mod tests {
    use utoipa::PartialSchema;

    use super::*;
    use crate::compute::day::Day;
    use crate::compute::decision::{Configuration, Criterion, DecisionKind, Missing, Rating};
    use crate::compute::units::{BarrierKind, Length};

    /// The example of a field in the document.
    fn example<T: PartialSchema>(field: &str) -> String {
        let schema = serde_json::to_value(T::schema()).unwrap();
        schema["properties"][field]["example"].as_str().unwrap().to_owned()
    }

    #[test]
    fn the_examples_of_the_document_are_worded_as_the_answers_are() {
        let on = |month, day| Day::from_ymd(2026, month, day);
        let step = StepAhead {
            kind: DecisionKind::StepUpSpacing,
            to: Configuration {
                barrier_kind: BarrierKind::LowBarrier,
                height: Length::from_mm(500),
                spacing: Length::from_mm(6_250),
            },
            likely: 0.7,
            days: [on(4, 27), on(5, 2), on(5, 6), on(5, 11), on(5, 18)],
            probability_within: 0.94,
        };
        assert_eq!(example::<StepView>("text"), StepView::from(&step).text);
        let rating = Missing::Rating { criterion: Criterion::TrailLeg, seen: None, needed: Rating::Secure };
        let held_up = HeldUpView::from(&HeldUp::Missing(rating));
        assert_eq!(example::<HeldUpView>("text"), held_up.text);
        assert_eq!(example::<HeldUpView>("remedy"), held_up.remedy);
    }
}
