//! The JSON of heats.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::entries_store::Entrant;
use super::readiness_shapes::ReadinessView;
use super::shapes::SpecificationView;
use super::store::StoredTest;
use crate::compute::decision::Caution;
use crate::compute::race::{Expected, LaneDraw};
use crate::platform::ids::{AthleteId, RaceTestId};
use crate::resources::advice::{CautionView, WallView, overtaken_note, vocabulary};

fn balanced() -> String {
    "balanced".to_owned()
}

fn ranked() -> String {
    "ranked".to_owned()
}

/// An athlete with a heat or a lane of the coach's choice.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RacePin, example = json!({"athlete_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "heat": 1, "lane": 4}))]
pub struct PinFields {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// The heat, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 60, example = 1)]
    pub heat: Option<u8>,
    /// The lane.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 12, example = 4)]
    pub lane: Option<u8>,
}

/// What a coach asks of the heats.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RaceHeatsRequest, example = json!({"seeding": "balanced", "lanes": 6, "handicap": true}))]
pub struct Request {
    /// `balanced` (each heat has the same mix) or `like_times` (similar times together, fastest heat last).
    #[serde(default = "balanced")]
    #[schema(value_type = vocabulary::Seeding)]
    pub seeding: String,
    /// Lanes of the track; those of the session's venue when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 12, example = 6)]
    pub lanes: Option<u8>,
    /// Whether every other lane stays free, as between beginners.
    #[serde(default)]
    pub every_other_lane: bool,
    /// Heats wanted; the fewest that hold everybody when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 60, example = 2)]
    pub heats: Option<u8>,
    /// `ranked` (the faster draw the middle lanes) or `lots` (everybody draws from all).
    #[serde(default = "ranked")]
    #[schema(value_type = vocabulary::LaneDraw)]
    pub lane_draw: String,
    /// Seed of the draw; one is made up, stored and shown when absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 4_294_967_295_u32, example = 2026, value_type = Option<i64>)]
    pub seed: Option<u32>,
    /// Whether the slower start first, so that all finish together in expectation.
    #[serde(default)]
    pub handicap: bool,
    /// Longest start offset, seconds (default 10).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.1, maximum = 60, example = 5)]
    pub max_offset_s: Option<f64>,
    /// Athletes with a heat or a lane of the coach's choice; when read, those that you see.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 120)]
    pub pins: Vec<PinFields>,
    /// Pairs of athletes who do not run in the same heat; when read, those of whom you see both.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub apart: Vec<[AthleteId; 2]>,
}

/// What is stored of a draw beside the places.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub struct Drawn {
    /// What was asked, with the seed that was used.
    pub request: Request,
    /// Whether every arrangement was compared.
    pub exact: bool,
}

/// What an athlete is expected to run.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ExpectedTime)]
pub struct ExpectedView {
    /// Seconds.
    #[schema(minimum = 0, maximum = 600, example = 12.84)]
    pub time_s: f64,
    /// Standard error of the next time about it, seconds.
    #[schema(minimum = 0, maximum = 600, example = 0.31)]
    pub sd_s: f64,
    /// What it rests on: `recent_tests`, `rhythm`, `speed` or `limit`.
    #[schema(value_type = vocabulary::ExpectedBasis)]
    pub basis: &'static str,
    /// The same in a sentence.
    #[schema(max_length = 200, example = "Median of the races over the same course in the last eight weeks.")]
    pub text: &'static str,
}

/// Seconds of milliseconds.
pub fn seconds(ms: impl Into<f64>) -> f64 {
    ms.into() / 1_000.0
}

impl From<Expected> for ExpectedView {
    fn from(one: Expected) -> Self {
        Self {
            time_s: seconds(one.time_ms),
            sd_s: seconds(one.sd_ms),
            basis: one.basis.as_str(),
            text: one.basis.text(),
        }
    }
}

/// An athlete in a lane.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceLane)]
pub struct LaneView {
    /// The lane.
    #[schema(minimum = 1, maximum = 12, example = 4)]
    pub lane: i16,
    /// The athlete; absent when of a group that you do not see.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub athlete_id: Option<AthleteId>,
    /// How the squad calls them.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: Option<String>,
    /// The expected time; absent when nothing is on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expected: Option<ExpectedView>,
    /// Start after the first of the heat, seconds; absent without a handicap.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 60, example = 1.25)]
    pub start_offset_s: Option<f64>,
    /// What to know of the handicap.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200, example = "No expected time: no handicap, starts with the first.")]
    pub handicap_note: Option<&'static str>,
    /// Whether a coach entered the athlete although not ready.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub coach_accepts: bool,
    /// Something came after the draw: a report of pain, illness or injury, a restriction, another status, a fall, or another surface.
    /// The athlete rests, or has to be looked at again. Draw anew. Absent otherwise.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub overtaken: bool,
    /// Why the athlete rests, where a report, a restriction or another status came after the draw.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_permitted: Option<WallView>,
    /// Cautions about this athlete.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub cautions: Vec<CautionView>,
}

/// A heat.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceHeat)]
pub struct HeatView {
    /// Its number, in running order.
    #[schema(minimum = 1, maximum = 60, example = 1)]
    pub heat: i16,
    /// Mean expected time of those who have one, seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 12.9)]
    pub mean_expected_s: Option<f64>,
    /// The lanes in use, in order.
    #[schema(max_items = 12)]
    pub lanes: Vec<LaneView>,
}

/// An athlete who is entered and not in a heat.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceNotPlaced)]
pub struct NotPlacedView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Why.
    #[schema(max_length = 500, example = "A restriction stands until 2026-12-01.")]
    pub explanation: String,
    /// Something came after the draw: the athlete may run by now, or has to be looked at again. Draw anew. Absent otherwise.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub overtaken: bool,
}

/// The heats of a race test.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceHeats)]
pub struct HeatsView {
    /// The race test.
    pub race_test_id: RaceTestId,
    /// Number of the race test's last change; the `ETag` begins with it.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// Its name.
    #[schema(max_length = 80, example = "Autumn test")]
    pub name: String,
    /// The day of the session.
    #[schema(example = "2026-11-24")]
    pub held_on: NaiveDate,
    /// What it is run over.
    pub specification: SpecificationView,
    /// What was asked, with the seed of the draw.
    pub request: Request,
    /// How lanes were drawn, with its source.
    #[schema(max_length = 600, example = "Wholly by lot among the middle lanes that are needed.")]
    pub lane_rule: &'static str,
    /// Whether every arrangement of the heats was compared; large fields are improved by swaps instead.
    pub exact: bool,
    /// Largest less smallest mean expected time of a heat, seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 600, example = 0.04)]
    pub spread_of_means_s: Option<f64>,
    /// The heats, in running order.
    #[schema(max_items = 60)]
    pub heats: Vec<HeatView>,
    /// Who of your groups is entered and not in a heat.
    #[schema(max_items = 120)]
    pub not_placed: Vec<NotPlacedView>,
    /// Cautions: for everybody, and each that stands with a lane that you see.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

/// Why somebody is not placed when nothing else is known.
const RESTS: &str = "A restriction covers the day: rests.";
/// How somebody who is not ready runs all the same.
const ACCEPT: &str = " Put the athlete into coach_accepts of the entries to run all the same.";

fn mean(times: &[f64]) -> Option<f64> {
    #[allow(clippy::cast_precision_loss)] // at most twelve
    let mean = times.iter().sum::<f64>() / times.len() as f64;
    (!times.is_empty()).then(|| (mean * 1e3).round() / 1e3)
}

fn lane(one: &Entrant, lane: i16, drawn: &Drawn, slowest_ms: Option<u32>) -> LaneView {
    if one.name.is_none() {
        return LaneView {
            lane,
            athlete_id: None,
            display_name: None,
            expected: None,
            start_offset_s: None,
            handicap_note: None,
            coach_accepts: false,
            overtaken: false,
            not_permitted: None,
            cautions: vec![],
        };
    }
    let gap = slowest_ms.zip(one.expected).map(|(slowest, expected)| slowest - expected.time_ms);
    let offset = one.offset_ms.and_then(|ms| u32::try_from(ms).ok());
    let handicap_note = match (drawn.request.handicap, one.expected, offset.zip(gap)) {
        (true, None, _) => Some("No expected time: no handicap, starts with the first."),
        (true, Some(_), None) => Some("Nobody else in the heat has an expected time: no handicap."),
        (true, Some(_), Some((offset, gap))) if offset < gap => {
            Some("Cut off by the longest offset: expected to finish before the others.")
        }
        _ => None,
    };
    let readiness = one.readiness.as_ref();
    let overtaken = readiness.filter(|seen| seen.overtaken);
    LaneView {
        lane,
        athlete_id: Some(one.athlete),
        display_name: one.name.clone(),
        expected: one.expected.map(ExpectedView::from),
        start_offset_s: offset.map(seconds),
        handicap_note,
        coach_accepts: one.coach_accepts,
        overtaken: overtaken.is_some(),
        not_permitted: overtaken.filter(|seen| !seen.a_coach_may_accept()).and_then(|seen| seen.wall.clone()),
        cautions: readiness.map_or_else(Vec::new, |seen| seen.cautions.clone()),
    }
}

impl HeatsView {
    /// The heats of a race test that was drawn.
    pub fn new(test: &StoredTest, mut drawn: Drawn, entrants: &[Entrant]) -> Self {
        // Who draws names only people whom they see; whoever reads it later may see fewer of them.
        let seen = |id: &AthleteId| entrants.iter().any(|one| one.visible() && one.athlete == *id);
        drawn.request.pins.retain(|pin| seen(&pin.athlete_id));
        drawn.request.apart.retain(|pair| pair.iter().all(&seen));
        let mut by_heat: BTreeMap<i16, Vec<(&Entrant, i16)>> = BTreeMap::new();
        for one in entrants {
            if let Some((heat, lane)) = one.place {
                by_heat.entry(heat).or_default().push((one, lane));
            }
        }
        let heats: Vec<HeatView> = by_heat
            .into_iter()
            .map(|(heat, places)| {
                let times: Vec<u32> =
                    places.iter().filter_map(|(one, _)| one.expected).map(|one| one.time_ms).collect();
                let known: Vec<f64> = times.iter().map(|ms| seconds(*ms)).collect();
                let slowest = times.iter().max().copied();
                let lanes = places.iter().map(|(one, at)| lane(one, *at, &drawn, slowest));
                HeatView { heat, mean_expected_s: mean(&known), lanes: lanes.collect() }
            })
            .collect();
        let means: Vec<f64> = heats.iter().filter_map(|heat| heat.mean_expected_s).collect();
        let high = means.iter().copied().fold(f64::MIN, f64::max);
        let low = means.iter().copied().fold(f64::MAX, f64::min);
        let resting = entrants.iter().filter(|one| one.place.is_none() && one.visible()).map(|one| {
            let readiness = one.readiness.as_ref();
            let soft = readiness.is_some_and(ReadinessView::a_coach_may_accept);
            let remedy = if soft && !one.coach_accepts { ACCEPT } else { "" };
            let wall = readiness.and_then(|seen| seen.wall.as_ref());
            let overtaken = readiness.is_some_and(|seen| seen.overtaken);
            let explanation = match (&one.unusable, wall) {
                (Some(unusable), _) => unusable.words(),
                (None, None) if overtaken => format!("Not placed at the draw; {}.", overtaken_note(None)),
                (None, wall) => format!("{}{remedy}", wall.map_or(RESTS, |wall| &wall.text)),
            };
            let display_name = one.name.clone().unwrap_or_default();
            NotPlacedView { athlete_id: one.athlete, display_name, explanation, overtaken }
        });
        let not_placed = resting.collect();
        let lanes = || heats.iter().flat_map(|heat| &heat.lanes);
        let has = |one: &Caution| lanes().any(|lane| lane.cautions.iter().any(|said| said.code() == one.code()));
        let own = Caution::ALL.iter().filter(|one| !Caution::BASE.contains(one) && has(one));
        let cautions = Caution::BASE.iter().chain(own).map(CautionView::from).collect();
        Self {
            race_test_id: test.id,
            rev: test.rev,
            name: test.value.test.name.clone(),
            held_on: test.value.held_on,
            specification: (&test.value.test.specification).into(),
            lane_rule: LaneDraw::from_word(&drawn.request.lane_draw).map_or("", LaneDraw::text),
            exact: drawn.exact,
            spread_of_means_s: (means.len() > 1).then(|| ((high - low) * 1e3).round() / 1e3),
            heats,
            not_placed,
            cautions,
            request: drawn.request,
        }
    }
}
