//! Forecasts and plateaus of simulated athletes against what then became of them, with fixed seeds.

use lanewright::compute::estimate::Settings;
use lanewright::compute::progress::{Plateau, plateau};

use crate::calibration::{squads, within};
use crate::simulation::athlete::Athlete;
use crate::simulation::calendar::SEASON_DAYS;
use crate::simulation::forecast::{Forecast, forecast_figures, forecasts};
use crate::simulation::season::DRIFTS_M;

/// Forecasts of one drift, and the share of its athletes that stand still by the service's word.
fn level(drift_m: f64) -> (Vec<Forecast>, f64) {
    let same = |athlete: &&Athlete| (athlete.drift_m - drift_m).abs() < 1e-9;
    let (mut made, mut standing, mut athletes) = (Vec::new(), 0.0, 0.0);
    for athlete in squads()[..4].iter().flatten().filter(same) {
        let (forecasts, limits) = forecasts(athlete, &Settings::default());
        made.extend(forecasts);
        athletes += 1.0;
        standing += f64::from(u8::from(matches!(plateau(&limits, SEASON_DAYS), Plateau::Standing { .. })));
    }
    (made, standing / athletes)
}

#[test]
fn what_becomes_of_simulated_athletes_lies_in_the_ranges_of_their_forecasts() {
    let levels = DRIFTS_M.map(level);
    let mix = forecast_figures(levels.iter().flat_map(|(made, _)| made));
    within("in the 90 % range", mix.in_90, 0.80..=0.98);
    // Most ranges are cut off at today or at the end of the look ahead and so claim more than their name says.
    within("in the 90 % range, over what is claimed", mix.in_90 - mix.claimed_90, -0.05..=0.03);
    within("in the 50 % range, over what is claimed", mix.in_50 - mix.claimed_50, -0.06..=0.08);
    within("reached, over what is expected", mix.reached - mix.expected, -0.1..=0.1);
    for (drift_m, (made, _)) in DRIFTS_M.iter().zip(&levels) {
        within(&format!("in the 90 % range, {drift_m} m/week"), forecast_figures(made).in_90, 0.88..=1.0);
    }
    assert!(levels[0].1 > levels[4].1, "athletes without progress stand still more often");
}
