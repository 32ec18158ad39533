//! What every estimate must keep to.

#![allow(clippy::unwrap_used)] // helpers of tests

use lanewright_compute::estimate::{
    Dominance, Estimate, EstimateError, Posterior, RunCounts, Settings, estimate, estimate_keeping,
};
use lanewright_compute::prior::{Basis, Prior};
use lanewright_compute::units::Length;
use proptest::prelude::*;

use crate::slow_filter::Slow;

const PRIOR: Prior = Prior { mean_m: 6.4, sd_m: 0.5, basis: Basis::of(&[]) };
const WICKET: Length = Length::from_mm(300);

fn run(day: i32, height_mm: u32, spacing_mm: u32, outcomes: [u16; 4]) -> RunCounts {
    let [held, over_reached, crowded, broken] = outcomes;
    RunCounts {
        day,
        height: Length::from_mm(height_mm),
        spacing: Length::from_mm(spacing_mm),
        held,
        over_reached,
        crowded,
        broken,
    }
}

fn history() -> Vec<RunCounts> {
    vec![
        run(20_000, 300, 6_000, [4, 0, 0, 0]),
        run(20_000, 300, 6_500, [2, 1, 0, 1]),
        run(20_000, 300, 6_500, [4, 0, 0, 0]),
        run(20_003, 500, 6_250, [3, 1, 0, 0]),
        run(20_003, 500, 4_500, [2, 0, 3, 0]),
        run(20_010, 600, 6_300, [1, 4, 0, 0]),
        run(20_010, 250, 6_300, [5, 0, 0, 0]),
        run(20_031, 762, 6_037, [3, 2, 0, 0]),
    ]
}

fn after(runs: &[RunCounts], on_day: i32) -> Estimate {
    estimate(&PRIOR, runs, on_day, &Settings::default()).unwrap()
}

#[test]
fn probability_is_conserved_by_drift_and_runs() {
    let mut posterior = Posterior::new(&PRIOR, &Settings::default()).unwrap();
    for of_day in history().chunk_by(|a, b| a.day == b.day) {
        posterior.learn(of_day).unwrap();
        assert!((posterior.mass() - 1.0).abs() < 1e-12);
        posterior.advance(of_day[0].day + 2).unwrap();
        assert!((posterior.mass() - 1.0).abs() < 1e-12);
    }
    posterior.advance(20_500).unwrap();
    assert!((posterior.mass() - 1.0).abs() < 1e-12);
    assert!(posterior.left_out() > 0.0 && posterior.left_out() < 1e-9);
}

#[test]
fn the_order_of_runs_does_not_matter() {
    let mut runs = history();
    let forwards = format!("{:?}", after(&runs, 20_040));
    runs.reverse();
    assert_eq!(format!("{:?}", after(&runs, 20_040)), forwards);
    runs.swap(0, 5);
    runs.swap(2, 3);
    assert_eq!(format!("{:?}", after(&runs, 20_040)), forwards);
}

#[test]
fn a_kept_posterior_moved_on_equals_the_whole_history() {
    let runs = history();
    let mut posterior = Posterior::new(&PRIOR, &Settings::default()).unwrap();
    posterior.learn(&runs[..3]).unwrap();
    let mut kept = posterior.clone();
    kept.learn(&runs[3..]).unwrap();
    kept.advance(20_040).unwrap();
    assert_eq!(format!("{:?}", kept.summary()), format!("{:?}", after(&runs, 20_040)));
    let earlier = kept.learn(&runs[..1]);
    assert_eq!(earlier, Err(EstimateError::Earlier { day: 20_000, known: 20_040 }));
}

#[test]
fn windows_change_nothing() {
    let runs = history();
    let mut slow = Slow::new(&PRIOR, &Settings::default(), 1);
    slow.filter(&runs, 20_045);
    let fast = after(&runs, 20_045);
    assert!((slow.mean(|cell| cell.limit_m) - fast.limit_m.mean).abs() < 1e-9);
    assert!((slow.mean(|cell| cell.height_cost) - fast.height_cost).abs() < 1e-9);
    assert!((slow.mean(|cell| cell.width_m) - fast.width_m).abs() < 1e-9);
}

#[test]
fn runs_against_all_belief_are_still_filtered_exactly() {
    let mut runs: Vec<_> = (0..12).map(|_| run(20_000, 300, 6_500, [4, 0, 0, 0])).collect();
    runs.extend((0..12).map(|_| run(20_000, 300, 6_750, [0, 4, 0, 0])));
    runs.extend((0..30).map(|_| run(20_001, 300, 9_000, [4, 0, 0, 0])));
    let mut slow = Slow::new(&PRIOR, &Settings::default(), 1);
    slow.filter(&runs, 20_001);
    let fast = after(&runs, 20_001);
    assert!((slow.mean(|cell| cell.limit_m) - fast.limit_m.mean).abs() < 1e-9);
    assert!((slow.mean(|cell| cell.width_m) - fast.width_m).abs() < 1e-9);
    let mut windowed = Posterior::new(&PRIOR, &Settings::default()).unwrap();
    windowed.learn(&runs).unwrap();
    assert!(windowed.left_out() > 1e-9);
}

#[test]
fn halving_every_step_of_the_grid_hardly_moves_the_limit() {
    let alike = |outcomes| vec![run(20_000, 300, 6_400, outcomes), run(20_007, 600, 6_200, outcomes)];
    for runs in [history()[..6].to_vec(), alike([4, 0, 0, 0]), alike([0, 4, 0, 0]), alike([2, 2, 0, 0])] {
        let mean = |fine| {
            let mut slow = Slow::new(&PRIOR, &Settings::default(), fine);
            slow.filter(&runs, 20_012);
            slow.mean(|cell| cell.limit_m)
        };
        let (coarse, fine) = (mean(1), mean(2));
        assert!((coarse - fine).abs() < 0.01, "{coarse} and {fine}");
    }
}

#[test]
fn a_longer_spacing_or_higher_barrier_is_never_less_likely_over_reached() {
    let estimate = after(&history(), 20_040);
    let chance = |height, spacing| estimate.chance_not_over_reached(Length::from_mm(height), Length::from_mm(spacing));
    for height in [200, 300, 500, 762, 1_067] {
        for spacing in (4_000..9_000).step_by(250) {
            assert!(chance(height, spacing + 50) <= chance(height, spacing) + 1e-12);
            assert!(chance(height + 76, spacing) <= chance(height, spacing) + 1e-12);
        }
    }
}

#[test]
fn quantiles_are_in_order_and_the_limit_falls_with_height() {
    let estimate = after(&history(), 20_040);
    let mut last = f64::INFINITY;
    for height in [300, 500, 762, 1_067] {
        let spread = estimate.limit_at(Length::from_mm(height));
        assert!(spread.p05 < spread.p50 && spread.p50 < spread.p95 && spread.mean < last);
        last = spread.mean;
    }
    for at in estimate.hold_curve(&[WICKET, Length::from_mm(762)], &[Length::from_mm(5_500), Length::from_mm(6_500)]) {
        assert!(0.0 < at.hold.p05 && at.hold.p05 < at.hold.mean && at.hold.mean < at.hold.p95 && at.hold.p95 < 1.0);
    }
}

#[test]
fn runs_take_over_from_the_prior() {
    let before = after(&[], 20_000);
    assert!((before.prior_share - 1.0).abs() < 1e-12);
    assert_eq!((before.dominance(), before.evidence.runs), (Dominance::Prior, 0));
    let later = after(&history(), 20_031);
    assert_eq!(later.dominance(), Dominance::Data);
    let seen = later.evidence;
    assert_eq!((seen.runs, seen.intervals, seen.days, seen.last_day), (8, 36, 4, Some(20_031)));
}

#[test]
fn runs_after_the_day_are_left_out() {
    let runs = history();
    assert_eq!(format!("{:?}", after(&runs, 20_005)), format!("{:?}", after(&runs[..5], 20_005)));
}

#[test]
fn an_interval_broken_for_no_recorded_cause_is_evidence_against_holding() {
    let hold = |outcomes| after(&[run(20_000, 300, 6_200, outcomes)], 20_000).hold(WICKET, Length::from_mm(6_200)).mean;
    assert!(hold([4, 0, 0, 0]) > hold([3, 0, 0, 1]) && hold([3, 0, 0, 1]) > hold([1, 0, 0, 3]));
}

#[test]
fn impossible_runs_and_settings_are_refused() {
    let refused = |run| estimate(&PRIOR, &[run], 20_100, &Settings::default()).err();
    let held = [4, 0, 0, 0];
    assert_eq!(refused(run(20_000, 300, 1_999, held)), Some(EstimateError::Spacing(Length::from_mm(1_999))));
    assert_eq!(refused(run(20_000, 1_501, 7_000, held)), Some(EstimateError::Height(Length::from_mm(1_501))));
    assert_eq!(refused(run(20_000, 300, 7_000, [0; 4])), Some(EstimateError::Intervals(0)));
    assert_eq!(refused(run(i32::MIN, 300, 7_000, held)), Some(EstimateError::TooLong));
    let settings = Settings { lapse: f64::NAN, ..Settings::default() };
    assert_eq!(estimate(&PRIOR, &[], 20_000, &settings).err(), Some(EstimateError::Setting("lapse")));
    let prior = Prior { sd_m: 0.0, ..PRIOR };
    assert_eq!(estimate(&prior, &[], 20_000, &Settings::default()).err(), Some(EstimateError::Prior));
}

// The same laws for any history.

prop_compose! {
    fn any_run()(
        day in 20_000..20_060_i32, height in 150..1_000_u32, spacing in 4_500..8_500_u32,
        held in 1..6_u16, over_reached in 0..4_u16, crowded in 0..3_u16, broken in 0..2_u16,
    ) -> RunCounts {
        run(day, height, spacing, [held, over_reached, crowded, broken])
    }
}

fn any_history() -> impl Strategy<Value = Vec<RunCounts>> {
    prop::collection::vec(any_run(), 0..12)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    #[test]
    fn probability_is_conserved_whatever_is_run(mut runs in any_history(), later in 0..400_i32) {
        runs.sort_by_key(|run| run.day);
        let mut posterior = Posterior::new(&PRIOR, &Settings::default()).unwrap();
        for of_day in runs.chunk_by(|a, b| a.day == b.day) {
            posterior.learn(of_day).unwrap();
            prop_assert!((posterior.mass() - 1.0).abs() < 1e-12);
        }
        posterior.advance(20_060 + later).unwrap();
        prop_assert!((posterior.mass() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn no_order_of_any_runs_matters(
        (runs, shuffled) in any_history().prop_flat_map(|runs| (Just(runs.clone()), Just(runs).prop_shuffle())),
    ) {
        prop_assert_eq!(format!("{:?}", after(&runs, 20_060)), format!("{:?}", after(&shuffled, 20_060)));
    }

    #[test]
    fn after_any_history_quantiles_are_in_order_and_more_demanding_is_never_likelier(
        runs in any_history(), height in 150..1_100_u32, spacing in 3_500..9_500_u32, more in 1..500_u32,
    ) {
        let estimate = after(&runs, 20_060);
        let not_over = |height, spacing| {
            estimate.chance_not_over_reached(Length::from_mm(height), Length::from_mm(spacing))
        };
        prop_assert!(not_over(height, spacing + more) <= not_over(height, spacing) + 1e-12);
        prop_assert!(not_over(height + more / 2, spacing) <= not_over(height, spacing) + 1e-12);
        let limit = estimate.limit_at(Length::from_mm(height));
        prop_assert!(limit.p05 <= limit.p50 && limit.p50 <= limit.p95);
        prop_assert!((limit.p05..=limit.p95).contains(&limit.mean) && limit.mean.is_finite());
        let hold = estimate.hold(Length::from_mm(height), Length::from_mm(spacing));
        prop_assert!(0.0 <= hold.p05 && hold.p05 <= hold.p95 && hold.p95 <= 1.0);
        prop_assert!((0.0..=1.0).contains(&hold.mean) && (0.0..=1.0).contains(&estimate.prior_share));
    }

    /// Held where it was over-reached before: the spacing recommended can only be longer.
    #[test]
    fn whoever_holds_what_another_over_reaches_has_the_longer_limit(
        spacing in 5_500..7_000_u32, runs in 1..6_u16, held in 0..4_u16,
    ) {
        let limit = |held: u16| {
            let one = run(20_000, 300, spacing, [held, 4 - held, 0, 0]);
            after(&vec![one; usize::from(runs)], 20_000).limit_m.mean
        };
        prop_assert!(limit(held + 1) > limit(held));
    }
}

fn bits(estimate: &Estimate) -> Vec<u64> {
    let spreads = [300, 500, 762].map(|mm| estimate.limit_at(Length::from_mm(mm)));
    let figures = spreads.iter().flat_map(|s| [s.mean, s.p05, s.p50, s.p95]);
    let hold = estimate.hold(Length::from_mm(600), Length::from_mm(6_250));
    figures.chain([estimate.width_m, estimate.height_cost, hold.mean, hold.p05, hold.p95]).map(f64::to_bits).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Newer runs, an older one, one of the last day, a changed one, a prior that moved: the same answer bit for bit.
    #[test]
    fn an_estimate_that_goes_on_from_the_last_one_is_the_one_from_scratch(
        days in prop::collection::vec((0_i32..60, 0_u32..12, 0_u16..5), 1..14),
        order in any::<prop::sample::Index>(),
        asked in 60_i32..80,
    ) {
        let mut runs: Vec<RunCounts> = Vec::new();
        let all: Vec<RunCounts> = days
            .iter()
            .map(|&(day, step, held)| run(20_000 + day, 500, 5_000 + 250 * step, [held, 4 - held, 0, 0]))
            .collect();
        let mut kept = None;
        for (i, one) in all.iter().enumerate() {
            runs.push(*one);
            let on_day = if i % 3 == 0 { 20_000 + days[i].0 } else { 20_000 + asked };
            let prior = if i == order.index(all.len()) { Prior { mean_m: 6.6, ..PRIOR } } else { PRIOR };
            let kept_one = estimate_keeping(&mut kept, &prior, &runs, on_day, &Settings::default()).unwrap();
            let scratch = estimate(&prior, &runs, on_day, &Settings::default()).unwrap();
            prop_assert_eq!(bits(&kept_one), bits(&scratch));
            let again = estimate_keeping(&mut kept, &prior, &runs, on_day, &Settings::default()).unwrap();
            prop_assert_eq!(bits(&again), bits(&scratch));
            prop_assert_eq!(kept_one.evidence, scratch.evidence);
        }
    }
}

#[test]
fn runs_that_contradict_everything_are_answered_from_scratch_while_keeping_too() {
    let mut runs: Vec<RunCounts> = (0..40).map(|i| run(20_000 + i, 300, 5_000, [0, 5, 0, 0])).collect();
    let mut kept = None;
    estimate_keeping(&mut kept, &PRIOR, &runs, 20_040, &Settings::default()).unwrap();
    runs.extend((41..60).map(|i| run(20_000 + i, 300, 9_000, [8, 0, 0, 0])));
    let kept_one = estimate_keeping(&mut kept, &PRIOR, &runs, 20_060, &Settings::default()).unwrap();
    assert_eq!(bits(&kept_one), bits(&after(&runs, 20_060)));
}
