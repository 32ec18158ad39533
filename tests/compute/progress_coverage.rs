//! Forecasts and plateaus of simulated athletes against what then became of them, with fixed seeds.

use lanewright_compute::progress::{Plateau, plateau};

use crate::calibration::{squads, within};
use crate::simulation::athlete::Athlete;
use crate::simulation::calendar::SEASON_DAYS;
use crate::simulation::forecast::{FAR, ForecastFigures, NEAR, Told, forecast_figures, limits, told};
use crate::simulation::season::DRIFTS_M;

/// What holds for a race of the coming months and one of the coming weeks alike.
fn calibrated(found: &ForecastFigures) {
    within("in the 90 % range", found.in_90, 0.85..=0.97);
    within("in the 50 % range", found.in_50, 0.40..=0.60);
    within("ranges without an end", found.open, 0.0..=0.20);
    within("later than the look ahead, as told", found.later, 0.8..=1.0);
    within("race tests, over what is expected", found.raced - found.expected, -0.08..=0.08);
    within("race tests of those with a range, over what is expected", found.came - found.told, -0.08..=0.08);
}

#[test]
fn the_race_test_of_simulated_athletes_is_advised_within_the_ranges_of_their_forecasts() {
    let all: Vec<Told> = (1..=6).flat_map(|club| told(club, 24, FAR)).collect();
    let found = forecast_figures(&all);
    calibrated(&found);
    within("the next step in its 90 % range", found.step_in_90, 0.85..=0.97);
    assert!(found.error_days <= 14, "{found:?}");
}

#[test]
fn a_race_of_the_coming_weeks_is_told_to_the_week() {
    let all: Vec<Told> = (1..=4).flat_map(|club| told(club, 24, NEAR)).collect();
    let found = forecast_figures(&all);
    calibrated(&found);
    assert!(found.error_days <= 7, "{found:?}");
}

#[test]
fn athletes_without_progress_stand_still_more_often() {
    let standing = |drift_m: f64| {
        let same = |athlete: &&Athlete| (athlete.drift_m - drift_m).abs() < 1e-9;
        let plateaus = squads()[..4].iter().flatten().filter(same).map(|one| plateau(&limits(one), SEASON_DAYS));
        plateaus.filter(|one| matches!(one, Plateau::Standing { .. })).count()
    };
    assert!(standing(DRIFTS_M[0]) > standing(DRIFTS_M[4]));
}
