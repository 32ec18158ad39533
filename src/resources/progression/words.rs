//! The JSON of how coaches' words turned out.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::figures::{ConfigurationView, on, rounded};
use super::links::Links;
use crate::compute::advice::RunRecord;
use crate::compute::decision::Configuration;
use crate::compute::progress::{Period, Sum, Taken, TurnedOut, sums, turned_out};
use crate::platform::ids::{AthleteId, RecommendationId};
use crate::resources::advice::Said;
use crate::resources::advice::vocabulary;

/// Most overrides listed; the sums tell of all.
const OVERRIDES_MAX: usize = 100;

/// A decision of the period and how it turned out.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    /// The athlete.
    athlete: AthleteId,
    /// The decision.
    id: RecommendationId,
    /// What came of it.
    turned_out: TurnedOut,
}

/// How the decisions on an athlete turned out over a period.
pub fn outcomes(
    athlete: AthleteId,
    said: &HashMap<Uuid, Vec<Said>>,
    runs: &[RunRecord],
    height_cost: f64,
    period: Period,
) -> Vec<Outcome> {
    let said: &[Said] = said.get(&athlete.0).map_or(&[], Vec::as_slice);
    let taken: Vec<Taken> = said.iter().map(|one| one.taken).collect();
    let found = turned_out(&taken, runs, height_cost, period.to().days());
    said.iter().zip(found).map(|(said, turned_out)| Outcome { athlete, id: said.id, turned_out }).collect()
}

/// How the coaches' words of one kind turned out: what was held while they governed.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = WordsTurnedOut)]
pub struct SumView {
    /// `accepted`: the advice; overridden with something `harder` or `easier` than advised, or `otherwise`: as demanding, or
    /// without a configuration.
    #[schema(value_type = vocabulary::WordWay)]
    way: &'static str,
    /// Decisions.
    #[schema(minimum = 0, example = 6)]
    decisions: usize,
    /// Intervals run while they governed.
    #[schema(minimum = 0, example = 120)]
    intervals: u32,
    /// Share of them held; absent without any.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.62)]
    held_share: Option<f64>,
    /// The share that the advice promised for what it advised, over the same intervals; absent without any.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.81)]
    advised_hold: Option<f64>,
    /// Runs with a fall.
    #[schema(minimum = 0, example = 0)]
    falls: u32,
}

impl From<&Sum> for SumView {
    fn from(sum: &Sum) -> Self {
        Self {
            way: sum.way.as_str(),
            decisions: sum.words,
            intervals: sum.intervals,
            held_share: share(sum.held, sum.intervals),
            advised_hold: sum.advised_hold.map(rounded),
            falls: sum.falls,
        }
    }
}

/// An override and how it turned out.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = OverrideTurnedOut)]
pub struct OverrideView {
    /// The decision.
    decision_id: RecommendationId,
    /// The athlete.
    athlete_id: AthleteId,
    /// The day of the decision.
    on: NaiveDate,
    /// `harder`, `easier` or `otherwise` than advised.
    #[schema(value_type = vocabulary::OverrideWay)]
    way: &'static str,
    /// What was advised; absent for rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    advised: Option<ConfigurationView>,
    /// What the coach chose; absent where nothing was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    chosen: Option<ConfigurationView>,
    /// Intervals run while it governed.
    #[schema(minimum = 0, example = 20)]
    intervals: u32,
    /// Share of them held; absent without any.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.55)]
    held_share: Option<f64>,
    /// The share that the advice promised for what it advised.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.84)]
    advised_hold: Option<f64>,
    /// Runs with a fall.
    #[schema(minimum = 0, example = 0)]
    falls: u32,
    /// Where the decision is read.
    #[schema(max_length = 300)]
    decision_href: String,
}

/// How the coaches' words of the period turned out, accepted and overridden.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = CoachesWords)]
pub struct WordsView {
    /// One entry for each way a word can go.
    #[schema(max_items = 4)]
    ways: Vec<SumView>,
    /// The overrides, latest first, at most 100.
    #[schema(max_items = 100)]
    overrides: Vec<OverrideView>,
}

fn share(held: u32, intervals: u32) -> Option<f64> {
    (intervals > 0).then(|| rounded(f64::from(held) / f64::from(intervals)))
}

impl WordsView {
    /// The view of all decisions of a period.
    pub fn new(all: &[Outcome], links: &Links) -> Self {
        let turned: Vec<TurnedOut> = all.iter().map(|one| one.turned_out).collect();
        let mut overrides: Vec<&Outcome> = all.iter().filter(|one| one.turned_out.taken.overridden).collect();
        overrides.sort_by_key(|one| (std::cmp::Reverse(one.turned_out.taken.on), one.id.0));
        let view = |one: &Outcome| {
            let TurnedOut { taken, way, held, intervals, falls } = one.turned_out;
            let place = |at: Option<Configuration>| at.map(ConfigurationView::from);
            OverrideView {
                decision_id: one.id,
                athlete_id: one.athlete,
                on: on(taken.on),
                way: way.as_str(),
                advised: place(taken.advised),
                chosen: place(taken.chosen),
                intervals,
                held_share: share(held, intervals),
                advised_hold: taken.advised_hold.map(rounded),
                falls,
                decision_href: links.decision(one.athlete, one.id),
            }
        };
        Self {
            ways: sums(&turned).iter().map(Into::into).collect(),
            overrides: overrides.into_iter().take(OVERRIDES_MAX).map(view).collect(),
        }
    }
}
