//! What the prior must keep to, and the lanes that schools and youth races publish.

#![allow(clippy::unwrap_used, clippy::too_many_lines)] // helpers of tests; tables of cases

use lanewright_compute::estimate::{Settings, estimate};
use lanewright_compute::prior::{
    Experience, GroupLimit, Predictor, Prior, PriorError, PriorInputs, PriorPolicy, predict, stature_at,
};
use lanewright_compute::units::{Length, Sex};
use proptest::prelude::*;

const NOVICE: PriorInputs = PriorInputs::unknown(Sex::Female, Experience::Novice);

fn prior(inputs: &PriorInputs) -> Prior {
    predict(inputs, &PriorPolicy::default()).unwrap()
}

/// The longest spacing over wickets, on a grid of 1 cm, that is held with 0.8.
fn spacing_held_with_80_percent(prior: &Prior) -> f64 {
    let before_any_run = estimate(prior, &[], 20_000, &Settings::default()).unwrap();
    let held = |mm: &u32| before_any_run.hold(Length::from_mm(300), Length::from_mm(*mm)).mean;
    let best = (450..900).map(|cm| cm * 10).filter(|mm| held(mm) >= 0.8).max();
    Length::from_mm(best.unwrap()).metres()
}

/// Lanes of grade 5: Namikata primary school, mini-hurdles, 3 December 2020. Race of 11 to 12 years at 7.0 m: M. Watanabe,
/// H. Takeda, Rikujo Kyogi Kiyo 11, 1998.
#[test]
fn a_child_of_median_stature_starts_in_a_published_lane() {
    for sex in [Sex::Female, Sex::Male] {
        for (age, lanes) in [(10.0, 5.5..=7.0), (11.0, 5.5..=7.0), (12.0, 6.0..=7.5)] {
            let (stature, _) = stature_at(sex, age);
            let inputs = PriorInputs { stature_m: Some(stature), ..PriorInputs::unknown(sex, Experience::Novice) };
            let spacing = spacing_held_with_80_percent(&prior(&inputs));
            assert!(lanes.contains(&spacing), "{sex:?} {age}: {spacing} m");
        }
    }
}

#[test]
fn every_predictor_is_used_and_named() {
    let age = PriorInputs { age_y: Some(12.5), ..NOVICE };
    let group = PriorInputs { group: Some(GroupLimit { mean_m: 6.6, sd_m: 0.5 }), ..NOVICE };
    let stature = PriorInputs { stature_m: Some(1.5), ..age };
    let leg = PriorInputs { leg_length_m: Some(0.72), ..stature };
    let sprint = PriorInputs { sprint_30m_s: Some(5.4), ..leg };
    let both = PriorInputs { sprint_50m_s: Some(8.5), ..sprint };
    for (inputs, named) in [
        (NOVICE, &[][..]),
        (group, &[Predictor::Group]),
        (age, &[Predictor::AgeAndSex]),
        (stature, &[Predictor::Stature]),
        (leg, &[Predictor::LegLength]),
        (sprint, &[Predictor::LegLength, Predictor::Sprint30m]),
        (both, &[Predictor::LegLength, Predictor::Sprint50m]),
    ] {
        assert_eq!(prior(&inputs).basis.iter().collect::<Vec<_>>(), named);
    }
}

#[test]
fn an_impossible_input_is_refused_by_its_name() {
    let inputs = [
        (PriorInputs { stature_m: Some(0.89), ..NOVICE }, "stature_m"),
        (PriorInputs { stature_m: Some(f64::NAN), ..NOVICE }, "stature_m"),
        (PriorInputs { sprint_50m_s: Some(20.1), ..NOVICE }, "sprint_50m_s"),
        (PriorInputs { sprint_30m_s: Some(2.9), ..NOVICE }, "sprint_30m_s"),
        (PriorInputs { sprint_30m_s: Some(8.0), sprint_50m_s: Some(7.0), ..NOVICE }, "sprint_30m_s"),
        (PriorInputs { leg_length_m: Some(1.4), ..NOVICE }, "leg_length_m"),
        (PriorInputs { leg_length_m: Some(1.0), stature_m: Some(1.4), ..NOVICE }, "leg_length_m"),
        (PriorInputs { age_y: Some(3.0), ..NOVICE }, "age_y"),
        (PriorInputs { group: Some(GroupLimit { mean_m: 2.0, sd_m: 0.5 }), ..NOVICE }, "group.mean_m"),
        (PriorInputs { group: Some(GroupLimit { mean_m: 6.0, sd_m: -0.5 }), ..NOVICE }, "group.sd_m"),
    ];
    for (inputs, name) in inputs {
        match predict(&inputs, &PriorPolicy::default()) {
            Err(PriorError::Input { field, .. }) => assert_eq!(field, name),
            other => panic!("{name}: {other:?}"),
        }
    }
}

#[test]
fn an_impossible_constant_is_refused_by_its_name() {
    let policy = PriorPolicy { error_correlation: 1.0, ..PriorPolicy::default() };
    assert_eq!(predict(&NOVICE, &policy), Err(PriorError::Policy("error_correlation")));
    let policy = PriorPolicy { leg_sd_m: 0.1, ..PriorPolicy::default() };
    assert_eq!(predict(&NOVICE, &policy), Err(PriorError::Policy("leg_sd_m")));
}

#[test]
fn the_mean_stays_within_the_bounds_of_the_policy() {
    let giant = PriorInputs { stature_m: Some(2.3), ..PriorInputs::unknown(Sex::Male, Experience::Trained) };
    assert_eq!(prior(&giant).mean_m.to_bits(), 9.6_f64.to_bits());
    let slow = PriorInputs { sprint_50m_s: Some(20.0), ..NOVICE };
    assert_eq!(prior(&slow).mean_m.to_bits(), 4.0_f64.to_bits());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn taller_longer_legged_or_faster_never_lowers_the_mean(
        stature in 1.0..2.1_f64, legs in 0.44..0.52_f64, fifty in 5.5..15.0_f64, more in 0.0..0.1_f64,
        use_legs: bool, use_sprint: bool, correlation in 0.0..0.9_f64,
    ) {
        let policy = PriorPolicy { error_correlation: correlation, ..PriorPolicy::default() };
        let base = PriorInputs {
            stature_m: Some(stature),
            leg_length_m: use_legs.then_some(legs * stature),
            sprint_50m_s: use_sprint.then_some(fifty),
            ..NOVICE
        };
        let mean = |inputs: PriorInputs| predict(&inputs, &policy).unwrap().mean_m;
        let before = mean(base);
        let taller = mean(PriorInputs { stature_m: Some(stature + more), ..base });
        let longer_legs = base.leg_length_m.map(|leg| leg + more);
        let faster = base.sprint_50m_s.map(|t| t - more);
        prop_assert!(taller >= before);
        let longer_legged = mean(PriorInputs { leg_length_m: longer_legs, ..base });
        let faster = mean(PriorInputs { sprint_50m_s: faster, ..base });
        prop_assert!(longer_legged >= before);
        prop_assert!(faster >= before);
    }

    #[test]
    fn two_predictors_are_never_worse_than_the_better_and_never_too_sure(
        correlation in 0.0..0.9_f64, body in 0.3..1.0_f64, sprint in 0.3..1.0_f64,
    ) {
        let policy = PriorPolicy {
            error_correlation: correlation,
            stature_sd_m: body,
            sprint_50m_sd_m: sprint,
            ..PriorPolicy::default()
        };
        let inputs = PriorInputs { stature_m: Some(1.5), sprint_50m_s: Some(8.5), ..NOVICE };
        let sd = predict(&inputs, &policy).unwrap().sd_m;
        prop_assert!(sd <= body.min(sprint) + 1e-12 && sd >= 0.30);
    }
}
