//! The analysis of touchdown times: figures worked by hand, broken values, errors checked by simulation, laws.

use lanewright_compute::rhythm::{
    AgainstSchedule, Analysis, Flag, ReadingError, Schedule, Shape, Timing, analyse, compare, courses,
};
use lanewright_compute::units::Length;
use proptest::prelude::*;

use crate::rhythm_races::Dice;

const SPACING: Length = Length::from_mm(8_500);

fn found(times: &[Option<f64>], timing: Timing) -> Analysis {
    analyse(SPACING, times, timing).unwrap()
}

/// Touchdown times from a first one and intervals.
fn times(first: f64, intervals: &[f64]) -> Vec<Option<f64>> {
    let mut at = first;
    let mut all = vec![Some(first)];
    all.extend(intervals.iter().map(|interval| {
        at += interval;
        Some(at)
    }));
    all
}

fn flags(found: &Analysis) -> Vec<Vec<&'static str>> {
    found.intervals.iter().map(|one| one.reading.flags.iter().map(|flag| flag.code()).collect()).collect()
}

/// Code, touchdown and interval of each finding.
fn codes(found: &Analysis) -> Vec<(&'static str, usize, Option<usize>)> {
    found.findings.iter().map(|one| (one.flag.code(), one.touchdown, one.interval)).collect()
}

fn close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9, "{found} instead of {wanted}");
}

#[test]
fn speeds_stride_rates_and_their_errors_are_those_worked_by_hand() {
    let run = found(&times(2.6, &[1.0, 1.25]), Timing::Hand);
    let pace = run.intervals[1].pace.unwrap();
    close(pace.time_s.value, 1.25);
    close(pace.time_s.sd, 0.10);
    close(pace.speed_mps.value, 6.8);
    close(pace.speed_mps.sd, 6.8 * 0.08);
    close(pace.stride_rate_hz.value, 3.2);
    close(pace.stride_rate_hz.sd, 3.2 * 0.08);
    let mean = run.mean.unwrap();
    // Two neighbours: the mark between them cancels, so the mean has half the error of one interval, not 0.7 of it.
    close(mean.time_s.value, 1.125);
    close(mean.time_s.sd, 0.05);
    close(mean.speed_mps.value, 8.5 / 1.125);
    assert!(run.consistency.is_none() && run.fade.is_none() && run.findings.is_empty());
}

#[test]
fn a_missing_touchdown_leaves_out_both_intervals_that_it_touches() {
    let mut run = times(2.6, &[1.1, 1.1, 1.1, 1.1]);
    run[2] = None;
    let run = found(&run, Timing::Gate);
    assert_eq!(flags(&run), [vec![], vec!["missing"], vec!["missing"], vec![]]);
    assert_eq!(codes(&run), [("missing", 3, None)]);
    assert_eq!((run.used, run.intervals[1].reading.time_s), (2, None));
    // Not neighbours: the error of their mean is 0.005 / sqrt 2.
    close(run.mean.unwrap().time_s.sd, 0.005 / 2.0_f64.sqrt());
    let ends = found(&[None, Some(3.0), Some(4.0), None], Timing::Gate);
    assert_eq!(codes(&ends), [("missing", 1, None), ("missing", 4, None)]);
    assert_eq!(ends.used, 1);
}

#[test]
fn times_that_do_not_rise_are_reported_and_everything_they_touch_is_left_out() {
    let run = found(&[2.6, 3.7, 3.5, 5.9, 7.0].map(Some), Timing::Tap);
    assert_eq!(codes(&run), [("not_monotonic", 3, Some(2))]);
    assert_eq!(flags(&run), [vec!["doubtful_mark"], vec!["not_monotonic"], vec!["doubtful_mark"], vec![]]);
    assert_eq!(run.used, 1);
    let across = found(&[Some(2.6), Some(3.7), None, Some(3.6), Some(4.7)], Timing::Tap);
    assert_eq!(codes(&across), [("missing", 3, None), ("not_monotonic", 4, None)]);
    assert_eq!(across.used, 0);
    assert!(across.mean.is_none());
    let equal = found(&[2.6, 2.6, 3.7].map(Some), Timing::Tap);
    assert_eq!(codes(&equal), [("not_monotonic", 2, Some(1))]);
}

#[test]
fn interval_times_that_nobody_runs_are_reported_and_left_out() {
    let short = found(&times(2.6, &[1.1, 0.3, 0.8, 1.1, 1.1]), Timing::Video(60));
    assert_eq!(codes(&short), [("too_short", 3, Some(2))]);
    assert_eq!(flags(&short), [vec!["doubtful_mark"], vec!["too_short"], vec!["doubtful_mark"], vec![], vec![]]);
    let long = found(&times(2.6, &[1.1, 1.1, 4.5, 1.1, 1.1]), Timing::Video(60));
    assert_eq!(codes(&long), [("too_long", 4, Some(3))]);
    assert_eq!(long.used, 2);
    let edges = found(&times(2.6, &[0.6, 3.0]), Timing::Video(60));
    assert_eq!(edges.used, 2);
}

#[test]
fn a_forgotten_tap_is_recognised_and_only_its_interval_is_left_out() {
    for (multiple, words) in
        [(2.0, "about 2 times"), (3.0, "about 3 times"), (1.8, "about 2 times"), (3.2, "about 3 times")]
    {
        let run = found(&times(2.6, &[1.08, 1.10, multiple * 1.09, 1.09, 1.12]), Timing::Tap);
        assert_eq!(codes(&run), [("forgotten_tap", 4, Some(3))], "{multiple}");
        assert!(run.findings[0].text.contains(words), "{}", run.findings[0].text);
        assert_eq!(run.used, 4);
        close(run.intervals[2].reading.time_s.unwrap(), multiple * 1.09);
        assert!(run.intervals[2].pace.is_none());
    }
    // Nothing to compare with, but half of it can be run.
    assert_eq!(codes(&found(&times(2.6, &[3.4]), Timing::Tap)), [("forgotten_tap", 2, Some(1))]);
    assert_eq!(codes(&found(&times(2.6, &[6.5]), Timing::Tap)), [("too_long", 2, Some(1))]);
    // Slow athletes are not forgetful.
    assert!(found(&times(3.6, &[2.0, 2.1, 2.2, 2.3]), Timing::Tap).findings.is_empty());
}

#[test]
fn a_broken_interval_is_one_that_neither_the_clock_nor_the_others_explain() {
    let intervals = [1.08, 1.10, 1.09, 1.45, 1.11, 1.10];
    let exact = found(&times(2.6, &intervals), Timing::Video(120));
    assert_eq!(codes(&exact), [("broken", 5, Some(4))]);
    assert!(exact.findings[0].text.contains("0.350 s longer") || exact.findings[0].text.contains("0.355 s longer"));
    // It was run like that: it stays in the figures.
    assert_eq!(exact.used, 6);
    // A stopwatch cannot tell.
    assert!(found(&times(2.6, &[1.08, 1.10, 1.09, 1.40, 1.11, 1.10]), Timing::Hand).findings.is_empty());
    // An even fade of 14 % is no break.
    let fading: Vec<f64> = (0..9).map(|k| 1.0 + 0.14 / 8.0 * f64::from(k)).collect();
    assert!(found(&times(2.6, &fading), Timing::Gate).findings.is_empty());
}

#[test]
fn what_is_no_time_at_all_is_refused() {
    let refused = |times: &[Option<f64>]| analyse(SPACING, times, Timing::Tap).unwrap_err();
    assert_eq!(refused(&[Some(1.0)]), ReadingError::Length);
    assert_eq!(refused(&[Some(1.0); 21]), ReadingError::Length);
    for wrong in [0.0, -1.0, 120.5, f64::NAN, f64::INFINITY] {
        assert_eq!(refused(&[Some(2.6), Some(wrong)]), ReadingError::OutOfRange(1));
    }
}

/// Interval times with a spread of their own, read with a clock whose marks are shared.
fn simulated(own_sd: f64, slope: f64, timing: Timing, dice: &mut Dice) -> Vec<Option<f64>> {
    let mark = timing.interval_sd_s() / 2.0_f64.sqrt();
    let intervals: Vec<f64> = (0..9).map(|k| 1.1 + slope * f64::from(k) + dice.normal(own_sd)).collect();
    times(2.6, &intervals).into_iter().map(|time| time.map(|time| time + dice.normal(mark))).collect()
}

#[test]
fn the_clock_is_taken_out_of_the_consistency() {
    let mut dice = Dice::new(21);
    let (mut squares, mut held, mut told, runs) = (0.0, 0, 0, 600);
    for _ in 0..runs {
        let found = found(&simulated(0.04, 0.0, Timing::Video(25), &mut dice), Timing::Video(25)).consistency.unwrap();
        squares += found.cv * found.cv;
        held += usize::from((found.p05..=found.p95).contains(&(0.04 / 1.1)));
        told += usize::from(found.distinguishable);
    }
    let cv = (squares / f64::from(runs)).sqrt();
    println!("cv {cv:.4} of {:.4}; 90 % intervals held {held} of {runs}; told apart {told}", 0.04 / 1.1);
    assert!((cv - 0.04 / 1.1).abs() < 0.001, "{cv}");
    assert!((0.86..0.94).contains(&(held as f64 / f64::from(runs))), "{held}");
    assert!(told as f64 > 0.8 * f64::from(runs), "{told}");
}

#[test]
fn a_spread_that_the_clock_alone_makes_is_not_told_apart_from_it() {
    let mut dice = Dice::new(22);
    let runs = 600;
    let mut told = 0;
    for _ in 0..runs {
        let run = found(&simulated(0.0, 0.0, Timing::Video(25), &mut dice), Timing::Video(25));
        let consistency = run.consistency.unwrap();
        assert!(consistency.cv >= 0.0 && consistency.p05 >= 0.0 && consistency.p05 <= consistency.p95);
        told += usize::from(consistency.distinguishable);
    }
    println!("spread of the clock alone called real in {told} of {runs} runs");
    assert!((0.02..0.09).contains(&(told as f64 / f64::from(runs))), "{told}");
}

#[test]
fn fade_is_found_with_an_interval_that_holds_and_the_error_that_the_clock_gives_it() {
    let mut dice = Dice::new(23);
    let (mut held, mut sum, mut squares, runs) = (0, 0.0, 0.0, 600);
    for _ in 0..runs {
        let fade = found(&simulated(0.0, 0.015, Timing::Video(25), &mut dice), Timing::Video(25)).fade.unwrap();
        held += usize::from((fade.p05..=fade.p95).contains(&0.015));
        sum += fade.slope;
        squares += (fade.slope - 0.015) * (fade.slope - 0.015);
    }
    let (mean, sd) = (sum / f64::from(runs), (squares / f64::from(runs)).sqrt());
    let told = found(&simulated(0.0, 0.0, Timing::Video(25), &mut dice), Timing::Video(25)).fade.unwrap().timing_sd;
    println!("fade {mean:.5}, spread {sd:.5}, told {told:.5}; intervals held {held} of {runs}");
    assert!((mean - 0.015).abs() < 2e-4, "{mean}");
    // The shared marks make it much smaller than for independent intervals, 0.0163 / sqrt 60 = 0.0021.
    assert!((sd / told - 1.0).abs() < 0.35 && told < 0.0016, "{sd} {told}");
    assert!(held as f64 / f64::from(runs) >= 0.88, "{held}");
}

#[test]
fn fade_of_a_handful_of_intervals_is_never_surer_than_the_clock() {
    let fade = found(&times(2.6, &[1.1, 1.1, 1.1]), Timing::Hand).fade.unwrap();
    close(fade.slope, 0.0);
    // Slope of a line through three neighbours: (third - first) / 2, error 0.1 / sqrt 2.
    close(fade.timing_sd, 0.1 / 2.0_f64.sqrt());
    assert!(fade.p95 > 0.11 && fade.p05 < -0.11);
}

#[test]
fn a_run_is_compared_with_the_schedule_up_to_where_its_barriers_are_sure() {
    let schedule = Schedule::new(&courses("100H")[0], 14.0, &Shape::default()).unwrap();
    let mut run: Vec<Option<f64>> = schedule.touchdown_times_s.iter().map(|time| Some(time + 0.05)).collect();
    let compared = |run: &[Option<f64>]| compare(run, &found(run, Timing::Gate), &schedule);
    let all = compared(&run);
    assert_eq!(all.len(), 10);
    assert!(all.iter().all(|one| (one.difference_s.unwrap() - 0.05).abs() < 1e-9));
    assert!(all[0].interval_difference_s.is_none());
    assert!(all[1..].iter().all(|one| one.interval_difference_s.unwrap().abs() < 1e-9));
    let present = |all: &[AgainstSchedule]| all.iter().map(|one| one.difference_s.is_some()).collect::<Vec<_>>();
    run[3] = Some(run[2].unwrap() + 0.1);
    assert_eq!(present(&compared(&run))[..6], [true, true, false, false, true, true]);
    let mut run: Vec<Option<f64>> = schedule.touchdown_times_s.iter().copied().map(Some).collect();
    run.remove(4);
    assert_eq!(codes(&found(&run, Timing::Gate)), [("forgotten_tap", 5, Some(4))]);
    assert_eq!(present(&compared(&run)), [true, true, true, true, false, false, false, false, false]);
}

fn any_times() -> impl Strategy<Value = Vec<Option<f64>>> {
    let time = prop_oneof![4 => (0.01_f64..30.0).prop_map(Some), 1 => Just(None)];
    let mess = prop::collection::vec(time, 2..=20);
    let run = (1.5_f64..4.0, prop::collection::vec(0.2_f64..3.8, 1..19)).prop_map(|(first, gaps)| times(first, &gaps));
    prop_oneof![mess, run]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn whatever_comes_in_only_intervals_that_can_be_run_go_into_the_figures(times in any_times(), hand in any::<bool>()) {
        let timing = if hand { Timing::Hand } else { Timing::Gate };
        let run = found(&times, timing);
        prop_assert_eq!(run.intervals.len(), times.len() - 1);
        prop_assert_eq!(run.intervals.iter().filter(|one| one.pace.is_some()).count(), run.used);
        for one in &run.intervals {
            let left_out = one.reading.flags.iter().any(|flag| *flag != Flag::Broken);
            prop_assert_eq!(one.pace.is_none(), left_out);
            if let Some(pace) = one.pace {
                prop_assert!((0.6..=3.0).contains(&pace.time_s.value));
                prop_assert!(pace.speed_mps.value > 0.0 && pace.speed_mps.sd > 0.0);
            }
        }
        prop_assert_eq!(run.consistency.is_some(), run.used >= 3);
        prop_assert_eq!(run.fade.is_some(), run.used >= 3);
        if let Some(fade) = run.fade {
            prop_assert!(fade.p05 <= fade.slope && fade.slope <= fade.p95);
        }
        for one in &run.findings {
            prop_assert!(one.touchdown >= 1 && one.touchdown <= times.len() && one.text.ends_with('.'));
        }
    }

    #[test]
    fn a_later_start_changes_no_interval(first in 1.5_f64..4.0, gaps in prop::collection::vec(0.7_f64..1.9, 2..15)) {
        let (early, late) = (found(&times(first, &gaps), Timing::Tap), found(&times(first + 20.0, &gaps), Timing::Tap));
        prop_assert_eq!(flags(&early), flags(&late));
        prop_assert!((early.mean.unwrap().time_s.value - late.mean.unwrap().time_s.value).abs() < 1e-9);
    }
}
