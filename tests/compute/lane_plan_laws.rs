//! What the training value of a lane must keep to.

use lanewright::compute::lane_plan::{Athlete, Candidate, Lane, Objective, Problem, StockItem};
use lanewright::compute::units::{BarrierKind, Length};
use proptest::prelude::*;

/// One athlete with a logistic hold curve over spacings 2 cm apart, and no limit but the curve.
fn alone(limit: f64, width: f64, hold_target: f64) -> Problem {
    let candidates: Vec<Candidate> = (400..1_000_u32)
        .step_by(2)
        .map(|cm| Length::from_mm(cm * 10))
        .map(|spacing| Candidate {
            kind: BarrierKind::Wicket,
            height: Length::from_mm(300),
            spacing,
            approach: Length::from_mm(12_000),
        })
        .collect();
    let hold = candidates.iter().map(|one| 1.0 / (1.0 + f64::exp((one.spacing.metres() - limit) / width))).collect();
    Problem {
        athletes: vec![Athlete {
            id: 1,
            width_m: width,
            height_cost: 1.0,
            permitted_height: Length::from_mm(300),
            hold,
            excluded: Vec::new(),
            target: 0,
        }],
        candidates,
        lanes: vec![Lane { number: 1, straight: Length::from_mm(100_000) }],
        capacity: 1,
        barriers_min: 3,
        barriers_max: 6,
        run_out: Length::from_mm(5_000),
        stock: vec![StockItem { id: 1, kind: BarrierKind::Wicket, heights: vec![Length::from_mm(300)], count: 20 }],
        pins: Vec::new(),
        apart: Vec::new(),
        hold_target,
        height_penalty: 0.05,
        lanes_max: 12,
        last_time: None,
        objective: Objective::Total,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(200) })]

    #[test]
    fn training_is_worth_most_where_the_rhythm_is_as_likely_to_hold_as_wanted(
        limit in 6.0..8.5_f64, width in 0.1..0.4_f64, wanted in 0.55..0.93_f64,
    ) {
        let problem = alone(limit, width, wanted);
        let regrets = problem.regret_units(0);
        let best = regrets.iter().position(|regret| *regret == Some(0)).unwrap();
        // One step of 2 cm moves the probability by at most 0.02 / (4 w).
        prop_assert!((problem.athletes[0].hold[best] - wanted).abs() <= 0.02 / (4.0 * width) + 1e-6);
        let regrets: Vec<i64> = regrets.into_iter().flatten().collect();
        prop_assert!(regrets.iter().all(|regret| (0..=1_000_000_000).contains(regret)));
        let falls = |pair: &[i64]| pair[0] >= pair[1];
        prop_assert!(regrets[..=best].windows(2).all(falls), "regret falls up to the best spacing");
        prop_assert!(regrets[best..].windows(2).all(|pair| pair[0] <= pair[1]), "and rises beyond it");
    }
}
