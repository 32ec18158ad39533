//! What the loss of a lane must keep to.

use lanewright_compute::decision::Configuration;
use lanewright_compute::lane_plan::{Athlete, WEIGHT_MOST, loss, weight};
use lanewright_compute::units::{BarrierKind, Length};
use proptest::prelude::*;

fn at(height: u32, spacing: u32) -> Configuration {
    let (height, spacing) = (Length::from_mm(height), Length::from_mm(spacing));
    Configuration { barrier_kind: BarrierKind::LowBarrier, height, spacing }
}

fn advised(advised: Configuration, width_m: f64, height_cost: f64) -> Athlete {
    Athlete {
        id: 1,
        width_m,
        height_cost,
        advised,
        advised_hold: 0.85,
        hold: Vec::new(),
        permitted: Vec::new(),
        weight: 1.0,
        target: 0,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(500) })]

    #[test]
    fn a_lane_loses_nothing_as_advised_and_more_the_further_away(
        spacing in 5_000..8_500_u32, width in 0.1..0.6_f64, cost in 0.2..2.5_f64,
    ) {
        let athlete = advised(at(600, spacing), width, cost);
        prop_assert!(loss(&athlete, at(600, spacing), 0.85) == 0.0);
        let along = |height: u32, side: i64| (0..40_i64)
            .map(|k| loss(&athlete, at(height, u32::try_from(i64::from(spacing) + side * 50 * k).unwrap()), 0.9))
            .collect::<Vec<f64>>();
        let (easier, harder) = (along(600, -1), along(600, 1));
        for row in [&easier, &harder] {
            prop_assert!(row.windows(2).all(|pair| pair[0] <= pair[1]) && row.iter().all(|loss| (0.0..=1.0).contains(loss)));
        }
        prop_assert!(easier.iter().zip(&harder).all(|(easier, harder)| easier <= harder), "harder counts more");
        let lower = along(500, -1);
        prop_assert!(lower.iter().zip(&easier).all(|(lower, same)| lower > same || *same >= 1.0 - 1e-9), "so does another barrier");
    }

    #[test]
    fn a_closer_lane_that_crowds_loses_more_than_one_that_holds_as_advised(
        spacing in 5_000..8_500_u32, width in 0.1..0.6_f64, less in 0.01..0.4_f64,
    ) {
        let athlete = advised(at(600, spacing), width, 1.0);
        let closer = |hold: f64| loss(&athlete, at(600, spacing - 250), hold);
        prop_assert!((closer(0.95) - closer(0.85)).abs() < f64::EPSILON, "likelier to hold is no loss");
        prop_assert!(closer(0.85 - less) > closer(0.85) && closer(0.85 - less) <= 1.0);
        prop_assert!(closer(0.85 - less) >= closer(0.85 - less / 2.0));
    }

    #[test]
    fn a_loss_counts_more_the_more_was_lost_lately_within_bounds(
        losses in prop::collection::vec(0.0..=1.0_f64, 0..8), more in 0.0..=1.0_f64,
    ) {
        let counts = weight(&losses);
        prop_assert!((1.0..=WEIGHT_MOST).contains(&counts));
        let worse: Vec<f64> = losses.iter().map(|loss| (loss + more).min(1.0)).collect();
        prop_assert!(weight(&worse) >= counts);
    }
}
