//! Calculators on any figures.

use std::collections::BTreeSet;

use lanewright::compute::advice::{Record, RunRecord, Setting, advise};
use lanewright::compute::day::Day;
use lanewright::compute::decision::{Clearance, Policy, Rating, Ratings, Stock, Surface, Word};
use lanewright::compute::estimate::{RunCounts, Settings, estimate};
use lanewright::compute::lane_plan::{
    Athlete, Budget, Candidate, Lane, Objective, Pin, PlanError, Problem, StockItem, plan,
};
use lanewright::compute::prior::{Experience, GroupLimit, PriorInputs, PriorPolicy, predict};
use lanewright::compute::rhythm::{
    Calibration, Schedule, Series, Shape, Timing, analyse, compare, courses, event_codes, final_time, valid_range_s,
};
use lanewright::compute::set_out::{LaneSetting, set_out};
use lanewright::compute::specs::Birth;
use lanewright::compute::units::{BarrierKind, Length, Sex};
use lanewright::compute::wellbeing::{Break, Report, What};

use crate::machine::{Bytes, fuzz};

fn length(bytes: &mut Bytes<'_>, most_mm: u32) -> Length {
    Length::from_mm(if bytes.byte() == 0 { bytes.u32() } else { bytes.u32() % most_mm })
}

fn touchdowns(bytes: &mut Bytes<'_>) -> Vec<Option<f64>> {
    let mut at = 0.0;
    (0..bytes.below(23))
        .map(|_| match bytes.byte() {
            0..20 => None,
            20..40 => Some(bytes.near(0.0, 130.0)),
            _ => {
                at += if bytes.byte() < 20 {
                    f64::from(bytes.below(400)) / 100.0
                } else {
                    0.9 + f64::from(bytes.below(60)) / 100.0
                };
                Some(at)
            }
        })
        .collect()
}

#[test]
fn touchdown_series_give_finite_figures_or_a_reason() {
    fuzz("touchdowns", &[], |input| {
        let mut bytes = Bytes(input);
        let method = bytes.pick(&["hand", "tap", "video", "gate", "sundial"]);
        let fps = bytes.bool().then(|| i64::from(bytes.below(1_200)));
        let Ok(timing) = Timing::parse(method, fps) else { return false };
        let codes = event_codes();
        let of_event = courses(bytes.pick(&codes));
        let course = bytes.pick(&of_event);
        let times = touchdowns(&mut bytes);
        // A spacing as runs have it: from 1 to 20 m.
        let spacing = Length::from_mm(1_000 + bytes.u32() % 19_000);
        let (low, high) = valid_range_s(&course);
        let final_s = bytes.near(low, high);
        let schedule = Schedule::new(&course, final_s, &Shape::default());
        assert_eq!(schedule.is_ok(), (low..=high).contains(&final_s));
        if let Ok(found) = analyse(spacing, &times, timing) {
            assert_eq!(found.intervals.len() + 1, times.len());
            assert!(found.used <= found.intervals.len());
            for pace in found.intervals.iter().filter_map(|one| one.pace).chain(found.mean) {
                for figure in [pace.time_s, pace.speed_mps, pace.stride_rate_hz] {
                    assert!(figure.value > 0.0 && figure.value.is_finite());
                    assert!(figure.sd >= 0.0 && figure.sd.is_finite());
                }
            }
            for finding in &found.findings {
                assert!((1..=times.len()).contains(&finding.touchdown) && finding.text.ends_with('.'));
            }
            if let Some(fade) = found.fade {
                assert!(fade.p05 <= fade.slope && fade.slope <= fade.p95 && fade.timing_sd.is_finite());
            }
            if let Ok(schedule) = &schedule {
                assert!(schedule.touchdown_times_s.windows(2).all(|pair| pair[0] < pair[1]));
                assert!(schedule.run_in_s() > 0.0);
                let rows = compare(&times, &found, schedule);
                assert!(rows.iter().all(|row| row.difference_s.is_none_or(f64::is_finite)));
            }
        }
        let race = Series { touchdown_times_s: times.clone(), final_time_s: final_s, timing };
        let club = Calibration::learn(&course, &[race.clone(), race]);
        assert!(club.weights.iter().all(|weight| (0.0..=1.0).contains(weight)));
        if let Ok(found) = final_time(&course, &club, &times, timing) {
            let order = [found.p05, found.p25, found.p50, found.p75, found.p95];
            assert!(order.windows(2).all(|pair| pair[0] <= pair[1]), "{found:?}");
            assert!(found.mean.is_finite() && found.p05 >= low - 0.01 && found.p95 <= high + 0.01, "{found:?}");
            return true;
        }
        false
    });
}

#[test]
fn any_runs_give_an_estimate_in_range_or_a_reason() {
    fuzz("estimate", &[], |input| {
        let mut bytes = Bytes(input);
        let inputs = PriorInputs {
            age_y: bytes.bool().then(|| bytes.near(4.0, 100.0)),
            stature_m: bytes.bool().then(|| bytes.near(0.9, 2.3)),
            leg_length_m: bytes.bool().then(|| bytes.near(0.35, 1.3)),
            sprint_30m_s: bytes.bool().then(|| bytes.near(3.0, 12.0)),
            sprint_50m_s: bytes.bool().then(|| bytes.near(5.0, 20.0)),
            group: bytes.bool().then(|| GroupLimit { mean_m: bytes.near(3.5, 10.0), sd_m: bytes.near(0.1, 2.0) }),
            ..PriorInputs::unknown(bytes.pick(&[Sex::Female, Sex::Male]), bytes.pick(&EXPERIENCES))
        };
        let Ok(prior) = predict(&inputs, &PriorPolicy::default()) else { return false };
        assert!((4.0..=9.6).contains(&prior.mean_m) && (0.1..=2.0).contains(&prior.sd_m), "{prior:?}");
        let runs: Vec<RunCounts> = (0..bytes.below(12))
            .map(|_| RunCounts {
                day: if bytes.byte() == 0 {
                    i32::from_le_bytes([bytes.byte(), 0, bytes.byte(), 127])
                } else {
                    day(&mut bytes)
                },
                height: length(&mut bytes, 1_200),
                spacing: length(&mut bytes, 12_000),
                held: bytes.below(6),
                over_reached: bytes.below(6),
                crowded: bytes.below(4),
                broken: bytes.below(3),
            })
            .collect();
        let Ok(found) = estimate(&prior, &runs, 20_000 + i32::from(bytes.byte()), &Settings::default()) else {
            return false;
        };
        let limit = found.limit_m;
        assert!(3.4 < limit.p05 && limit.p05 <= limit.p50 && limit.p50 <= limit.p95 && limit.p95 < 10.1, "{limit:?}");
        assert!((0.0..=1.000_001).contains(&found.prior_share) && found.width_m > 0.0);
        let hold = found.hold(length(&mut bytes, 1_200), length(&mut bytes, 12_000));
        assert!(0.0 <= hold.p05 && hold.p05 <= hold.p95 && hold.p95 <= 1.0 && (0.0..=1.0).contains(&hold.mean));
        true
    });
}

const EXPERIENCES: [Experience; 2] = [Experience::Novice, Experience::Trained];

fn day(bytes: &mut Bytes<'_>) -> i32 {
    20_000 + i32::from(bytes.below(260))
}

fn run_record(bytes: &mut Bytes<'_>) -> RunRecord {
    RunRecord {
        day: day(bytes),
        barrier_kind: bytes.pick(&BarrierKind::ALL),
        height: length(bytes, 1_100),
        spacing: Length::from_mm(bytes.pick(&[6_000, 6_250, 6_500, 8_500, 12_000, 1_500])),
        barriers: bytes.below(20),
        held: bytes.below(19),
        over_reached: bytes.below(9),
        crowded: bytes.below(9),
        broken: bytes.below(5),
        hits: bytes.below(4),
        fell: bytes.byte() < 20,
    }
}

fn rest(bytes: &mut Bytes<'_>) -> Break {
    let what = match bytes.byte() % 4 {
        0 => What::Restriction { until: bytes.bool().then(|| day(bytes)) },
        _ => What::Report(bytes.pick(&Report::ALL)),
    };
    let on = day(bytes);
    Break { what, on, cleared_on: bytes.bool().then(|| day(bytes)), confirmed_on: bytes.bool().then(|| day(bytes)) }
}

fn rating(bytes: &mut Bytes<'_>) -> Option<Rating> {
    Rating::from_level(bytes.byte() % 5)
}

fn word(bytes: &mut Bytes<'_>) -> Word {
    let run = run_record(bytes);
    Word {
        at: run.configuration(),
        overridden: bytes.byte() < 128,
        coach_accepts: bytes.byte() < 128,
        on: run.day,
        since: run.day,
        until: day(bytes),
        overtaken: bytes.byte() < 20,
        gate_rated: rating(bytes),
    }
}

#[test]
fn any_record_gets_advice_in_words_or_a_reason() {
    fuzz("advice", &[], |input| {
        let mut bytes = Bytes(input);
        let stock = (0..bytes.below(4))
            .map(|_| Stock {
                kind: bytes.pick(&BarrierKind::ALL),
                heights: (0..bytes.below(4)).map(|_| length(&mut bytes, 1_100)).collect(),
            })
            .collect();
        let setting = Setting {
            ruleset: bytes.pick(&["WA", "UKA", "nowhere"]).to_owned(),
            specs: Vec::new(),
            age_groups: Vec::new(),
            stock,
            policy: Policy::default(),
            start: PriorPolicy::default(),
        };
        let on = Day::from_days(20_000 + i32::from(bytes.below(400))).unwrap();
        let record = Record {
            sex: bytes.pick(&[Sex::Female, Sex::Male]),
            birth: Birth::Year(1_900 + i32::from(bytes.below(130))),
            experience: bytes.pick(&EXPERIENCES),
            stature_m: bytes.bool().then(|| bytes.near(0.9, 2.3)),
            leg_length_m: None,
            sprint_30m_s: bytes.bool().then(|| bytes.near(3.0, 12.0)),
            sprint_50m_s: None,
            approach_strides: bytes.pick(&[None, Some(4), Some(8), Some(12)]),
            status: lanewright::compute::decision::Status::Active,
            breaks: (0..bytes.below(3)).map(|_| rest(&mut bytes)).collect(),
            surface: bytes.pick(&[None, None, None, Some(Surface::Wet), Some(Surface::Uneven)]),
            ratings: Ratings {
                lead_leg: rating(&mut bytes),
                trail_leg: rating(&mut bytes),
                walkover: rating(&mut bytes),
                ..Ratings::default()
            },
            clearance: bytes.pick(&[Clearance::NotNeeded, Clearance::Pending, Clearance::Given]),
            word: (bytes.byte() < 90).then(|| word(&mut bytes)),
            runs: (0..bytes.below(10)).map(|_| run_record(&mut bytes)).collect(),
        };
        let Ok(advice) = advise(&record, &setting, on) else { return false };
        let decision = advice.decision;
        let text = decision.explanation();
        assert!(text.ends_with('.') && !text.contains("NaN") && !text.contains("inf "), "{text}");
        assert!(text.split_whitespace().count() <= 75, "{text}");
        assert!(!decision.reasons.is_empty() && decision.cautions.len() >= 10);
        for hold in decision.hold_current.into_iter().chain(decision.hold_proposed) {
            assert!((0.0..=1.0).contains(&hold.mean), "{hold:?}");
        }
        true
    });
}

/// A share from 0 to 1, seldom anything at all.
fn share(bytes: &mut Bytes<'_>) -> f64 {
    if bytes.byte() == 1 { bytes.near(0.0, 1.0) } else { f64::from(bytes.u16()) / f64::from(u16::MAX) }
}

/// A small problem, mostly one that can be read: what noise alone makes is refused before it is planned.
fn problem(bytes: &mut Bytes<'_>) -> Problem {
    let candidates: Vec<Candidate> = (0..=bytes.below(8))
        .map(|i| Candidate {
            kind: bytes.pick(&BarrierKind::ALL),
            height: Length::from_mm(bytes.pick(&[300, 450, 600])),
            spacing: Length::from_mm(5_500 + 250 * u32::from(if bytes.byte() == 1 { bytes.below(8) } else { i })),
            approach: Length::from_mm(bytes.pick(&[11_000, 12_000])),
        })
        .collect();
    let many = u16::try_from(candidates.len()).unwrap();
    let athletes: Vec<Athlete> = (0..=bytes.below(9))
        .map(|i| Athlete {
            id: u128::from(if bytes.byte() == 1 { 1 } else { i }),
            width_m: 0.02 + share(bytes),
            height_cost: 3.0 * share(bytes),
            advised_hold: share(bytes),
            advised: candidates[usize::from(bytes.below(many))].configuration(),
            hold: (0..many).map(|_| share(bytes)).collect(),
            permitted: (0..many).map(|_| bytes.byte() > 40).collect(),
            weight: 1.0 + share(bytes),
            target: 0,
        })
        .collect();
    let (people, lanes) = (u16::try_from(athletes.len()).unwrap(), 1 + bytes.below(4));
    let barriers_min = u32::from(bytes.below(6));
    Problem {
        lanes: (0..lanes)
            .map(|i| Lane { number: u32::from(1 + i), straight: Length::from_mm(30_000 + bytes.u32() % 50_000) })
            .collect(),
        capacity: usize::from(bytes.below(10)),
        barriers_min,
        barriers_max: barriers_min + u32::from(bytes.below(4)),
        run_out: Length::from_mm(bytes.u32() % 12_000),
        stock: (0..bytes.below(5))
            .map(|i| StockItem {
                id: u128::from(i),
                kind: bytes.pick(&BarrierKind::ALL),
                heights: [300, 450, 600].into_iter().filter(|_| bytes.bool()).map(Length::from_mm).collect(),
                count: u32::from(bytes.below(40)),
            })
            .collect(),
        pins: (0..bytes.below(2))
            .map(|_| Pin { athlete: u128::from(bytes.below(people)), lane: u32::from(1 + bytes.below(lanes)) })
            .collect(),
        apart: (0..bytes.below(2))
            .map(|_| (u128::from(bytes.below(people)), u128::from(bytes.below(people))))
            .collect(),
        lanes_max: 12,
        last_time: None,
        objective: bytes.pick(&[Objective::Total, Objective::Fair]),
        athletes,
        candidates,
    }
}

#[test]
fn any_problem_gets_a_plan_that_keeps_its_limits_or_a_reason() {
    fuzz("lane plan", &[], |input| {
        let mut bytes = Bytes(input);
        let budget = Budget { nodes: u64::from(bytes.below(200)) };
        let problem = problem(&mut bytes);
        let found = match plan(&problem, budget, &|| false) {
            Ok(found) => found,
            Err(PlanError::Problem(_)) => {
                assert!(problem.check().is_err());
                return false;
            }
            Err(PlanError::Infeasible(_) | PlanError::Budget) => {
                assert_eq!(problem.check(), Ok(()));
                return false;
            }
        };
        let mut placed = BTreeSet::new();
        for lane in &found.lanes {
            assert!((1..=problem.capacity).contains(&lane.athletes.len()));
            assert!((problem.barriers_min..=problem.barriers_max).contains(&lane.barriers));
            let straight = problem.lanes.iter().find(|one| one.number == lane.number).unwrap().straight;
            let needed = problem.candidates[lane.candidate].straight_mm(lane.barriers, problem.run_out);
            assert!(needed <= u64::from(straight.mm()));
            for one in &lane.athletes {
                let at = problem.athletes.iter().position(|athlete| athlete.id == one.athlete).unwrap();
                assert!(problem.permits(at, lane.candidate) && placed.insert(one.athlete));
                assert!((0.0..=2.0).contains(&one.regret) && (0.0..=1.0).contains(&one.hold));
                assert!(problem.pins.iter().all(|pin| pin.athlete != one.athlete || pin.lane == lane.number));
            }
            let here = |id: u128| lane.athletes.iter().any(|one| one.athlete == id);
            assert!(problem.apart.iter().all(|(a, b)| !here(*a) || !here(*b)));
        }
        assert_eq!(placed.len() + found.waiting.len(), problem.athletes.len());
        assert!(found.lower_bound <= found.total_regret + 1e-9 && found.largest_regret <= found.total_regret + 1e-9);
        for item in &problem.stock {
            let used: u32 = found.stock_used.iter().filter(|one| one.item == item.id).map(|one| one.count).sum();
            assert!(used <= item.count);
        }
        true
    });
}

#[test]
fn any_lane_is_set_out_in_order_or_refused() {
    fuzz("set-out", &[], |input| {
        let mut bytes = Bytes(input);
        let lane = LaneSetting {
            approach: length(&mut bytes, 50_000),
            spacing: length(&mut bytes, 20_000),
            barriers: bytes.byte(),
            run_out: length(&mut bytes, 50_000),
        };
        let Ok(marks) = set_out(&lane) else { return false };
        assert!(marks.windows(2).all(|pair| pair[0].at <= pair[1].at));
        let last = u64::from(lane.approach.mm())
            + u64::from(lane.barriers - 1) * u64::from(lane.spacing.mm())
            + u64::from(lane.run_out.mm());
        assert_eq!(marks.last().map(|mark| u64::from(mark.at.mm())), Some(last));
        true
    });
}
