//! Forecasts of simulated athletes against what then became of them: the truth is the one of `estimate_season`, whose
//! every run has its own luck, and goes on drifting after the last training day that the forecast knows.

use lanewright::compute::estimate::{Goal, Passage, Posterior, Settings};
use lanewright::compute::prior::{Basis, Prior};
use lanewright::compute::progress::{HORIZON_WEEKS, Plateau, plateau};
use lanewright::compute::units::Length;

use crate::estimate_season::{Athlete, Dice};

const ATHLETES: u64 = 24;
const WEEKS: i32 = 10;
const HOLD: f64 = 0.80;
/// How far the targets lie beyond the estimated limit over their height, millimetres.
const BEYOND_MM: [i32; 4] = [-250, 0, 250, 500];
const HEIGHT: Length = Length::from_mm(686);
/// Whole days of half a week, rounded up: the truth moves in such steps.
const TRUE_STEP_DAYS: u32 = 4;

#[derive(Default)]
struct Tally {
    forecasts: f64,
    in_90: f64,
    in_50: f64,
    expected_90: f64,
    expected_50: f64,
    within: f64,
    arrived: f64,
    standing: f64,
    athletes: f64,
}

/// Ten weeks of training a little inside the limit, on a grid of 0.25 m; the points are (day, estimated limit).
fn trained(athlete: &mut Athlete, drift_m: f64, dice: &mut Dice) -> (Posterior, Vec<(i32, f64)>) {
    let prior = Prior { mean_m: athlete.limit_m + 0.45 * dice.normal(), sd_m: 0.45, basis: Basis::default() };
    let mut posterior = Posterior::new(&prior, &Settings::default()).unwrap();
    let mut points = Vec::new();
    for (session, day) in (0..WEEKS * 7).filter(|day| matches!(day % 7, 0 | 3)).enumerate() {
        let height = Length::from_mm([300, 300, 500, 600][session / 5]);
        posterior.advance(day).unwrap();
        let limit = posterior.limit_m().mean - (height.metres() - 0.30);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // about 24
        let spacing = Length::from_mm(((limit - 0.30) / 0.25) as u32 * 250);
        let runs: Vec<_> = (0..4).map(|_| athlete.run(day, height, spacing, dice)).collect();
        posterior.learn(&runs).unwrap();
        points.push((day, posterior.limit_m().mean));
        athlete.drift(drift_m, dice);
    }
    posterior.advance(WEEKS * 7).unwrap();
    (posterior, points)
}

/// Days until each target is first held with 0.8, none within the look ahead.
fn truth(athlete: &mut Athlete, goals: &[Goal], drift_m: f64, dice: &mut Dice) -> Vec<Option<u32>> {
    let mut arrivals = vec![None; goals.len()];
    for half_week in 0..=2 * HORIZON_WEEKS {
        for (arrival, goal) in arrivals.iter_mut().zip(goals) {
            if arrival.is_none() && athlete.hold(goal.height, goal.spacing) >= HOLD {
                *arrival = Some((half_week * 7).div_ceil(2));
            }
        }
        athlete.drift(drift_m, dice);
    }
    arrivals
}

/// Whether an arrival, known to a step of the truth, lies in the range between two levels; never is beyond every day.
fn covers(passage: &Passage, (low, high): (f64, f64), arrival: Option<u32>) -> bool {
    let beyond = |days: Option<u32>| days.unwrap_or(u32::MAX);
    let (low, high) = (beyond(passage.days_to(low)), beyond(passage.days_to(high)));
    match arrival {
        None => high == u32::MAX,
        Some(0) => low == 0,
        Some(day) => low <= day && day.saturating_sub(TRUE_STEP_DAYS) <= high,
    }
}

/// The probability that a forecast itself gives to the range between two levels.
fn own_coverage(passage: &Passage, (low, high): (f64, f64)) -> f64 {
    let below = match passage.days_to(low) {
        Some(0) => 0.0,
        Some(_) => low,
        None => passage.ever(),
    };
    let up_to = match passage.days_to(high) {
        Some(0) => passage.now(),
        Some(_) => high,
        None => 1.0,
    };
    up_to - below
}

fn season(seed: u64, drift_m: f64, tally: &mut Tally) {
    let mut dice = Dice(seed);
    let mut athlete = Athlete::drawn(&mut dice);
    let (posterior, points) = trained(&mut athlete, drift_m, &mut dice);
    let limit_mm = (posterior.summary().limit_at(HEIGHT).mean * 1_000.0).round();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // about 6 000
    let goals = BEYOND_MM.map(|beyond| {
        let spacing = Length::from_mm((limit_mm + f64::from(beyond)) as u32);
        Goal { height: HEIGHT, spacing, hold: HOLD }
    });
    for (goal, arrival) in goals.iter().zip(truth(&mut athlete, &goals, drift_m, &mut dice)) {
        let passage = posterior.first_passage(goal, HORIZON_WEEKS);
        let count = |yes: bool| f64::from(u8::from(yes));
        tally.forecasts += 1.0;
        tally.in_90 += count(covers(&passage, (0.05, 0.95), arrival));
        tally.in_50 += count(covers(&passage, (0.25, 0.75), arrival));
        tally.expected_90 += own_coverage(&passage, (0.05, 0.95));
        tally.expected_50 += own_coverage(&passage, (0.25, 0.75));
        tally.within += passage.ever();
        tally.arrived += count(arrival.is_some());
    }
    tally.athletes += 1.0;
    tally.standing += f64::from(u8::from(matches!(plateau(&points, WEEKS * 7), Plateau::Standing { .. })));
}

#[test]
fn what_becomes_of_simulated_athletes_lies_in_the_ranges_of_their_forecasts() {
    let (mut mix, mut levels) = (Tally::default(), Vec::new());
    for drift_cm in [0_u32, 2, 4, 6, 8] {
        let drift_m = f64::from(drift_cm) / 100.0;
        let mut tally = Tally::default();
        for athlete in 0..ATHLETES {
            season(7_919 * athlete + u64::from(drift_cm), drift_m, &mut tally);
        }
        let share = |part: f64| part / tally.forecasts;
        println!(
            "drift {drift_m:.2} m/week: 90 % range {:.3} of {:.3}, 50 % range {:.3} of {:.3}, arrived {:.3} expected {:.3}, standing {:.2}",
            share(tally.in_90),
            share(tally.expected_90),
            share(tally.in_50),
            share(tally.expected_50),
            share(tally.arrived),
            share(tally.within),
            tally.standing / tally.athletes
        );
        levels.push((drift_m, share(tally.in_90), tally.standing / tally.athletes));
        mix.forecasts += tally.forecasts;
        mix.in_90 += tally.in_90;
        mix.in_50 += tally.in_50;
        mix.expected_90 += tally.expected_90;
        mix.arrived += tally.arrived;
        mix.within += tally.within;
    }
    let share = |part: f64| part / mix.forecasts;
    println!(
        "mix: 90 % range {:.3} of {:.3}, 50 % range {:.3}, arrived {:.3}, expected {:.3}",
        share(mix.in_90),
        share(mix.expected_90),
        share(mix.in_50),
        share(mix.arrived),
        share(mix.within)
    );
    // Ranges that begin today or end beyond the look ahead hold more than 90 %: about 0.95 by their own account.
    assert!((0.80..=0.98).contains(&share(mix.in_90)));
    assert!(levels.iter().all(|(_, coverage, _)| *coverage >= 0.80), "{levels:?}");
    assert!((share(mix.in_90) - share(mix.expected_90)).abs() < 0.05);
    assert!((share(mix.arrived) - share(mix.within)).abs() < 0.08);
    assert!(levels[0].2 > levels[4].2, "athletes without progress stand still more often");
}
