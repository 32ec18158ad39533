//! The limit, the recommended lanes and the predictions, beside other ways to choose a lane.

use std::time::Instant;

use lanewright::compute::estimate::Settings;

use super::{Size, at_most, figure};
use crate::simulation::athlete::Athlete;
use crate::simulation::coach::{Advised, AllKnowing, Coach, Recommended, Staircase, Unchanging};
use crate::simulation::figures::{BAND, Predictions, holds, lane_figures, limit_figures, predictions};
use crate::simulation::plan::planned;
use crate::simulation::season::{DRIFTS_M, Session, same_lane, season, squad};

/// The probability with which the service starts.
const USUAL_HOLD: f64 = 0.8;

type Seasons<'a> = Vec<(&'a Athlete, Vec<Session>)>;

pub fn run(size: Size) {
    let begun = Instant::now();
    let squads: Vec<Vec<Athlete>> = (1..=u64::from(size.seeds)).map(|seed| squad(seed, size.athletes)).collect();
    let athletes = size.seeds * size.athletes;
    println!("simulated: {} squads of {} = {athletes} athletes, twelve weeks", size.seeds, size.athletes);
    for hold in [0.7, USUAL_HOLD, 0.9] {
        let seasons: Seasons<'_> = run_all(&squads, |one| Recommended::new(one, hold, &Settings::default()));
        if (hold - USUAL_HOLD).abs() < 1e-9 {
            print_limit(&seasons);
            print_predictions(&seasons);
        }
        print_lanes(hold, &squads, &seasons);
    }
    println!("{:.1} s", begun.elapsed().as_secs_f64());
}

fn run_all<'a, C: Coach>(squads: &'a [Vec<Athlete>], coach: impl Fn(&'a Athlete) -> C) -> Seasons<'a> {
    squads.iter().flatten().map(|athlete| (athlete, season(athlete, &mut coach(athlete)))).collect()
}

fn sessions<'a>(seasons: &'a Seasons<'_>) -> impl Iterator<Item = &'a Session> {
    seasons.iter().flat_map(|(_, sessions)| sessions)
}

fn print_limit(seasons: &Seasons<'_>) {
    let mix = limit_figures(sessions(seasons));
    println!("the limit after each session of recommended lanes, p* {USUAL_HOLD}");
    figure("90 % interval covers it, mix of drifts", mix.coverage, &(0.88..=0.97));
    for drift in DRIFTS_M {
        let same = seasons.iter().filter(|(athlete, _)| (athlete.drift_m - drift).abs() < 1e-9);
        let level = limit_figures(same.flat_map(|(_, sessions)| sessions));
        figure(&format!("90 % interval covers it, {drift:.2} m/week"), level.coverage, &(0.85..=0.985));
    }
    figure("root mean square error, mix (m)", mix.error_m, &at_most(0.16));
    println!("  {:<58} {:>+7.3}", "mean error, mix (m)", mix.bias_m);
}

fn print_lanes(hold: f64, squads: &[Vec<Athlete>], seasons: &Seasons<'_>) {
    println!("true probability of holding from the third session on, p* {hold}");
    let recommended = lane_figures(&holds(sessions(seasons)), hold);
    figure("recommended spacing: mean", recommended.mean, &(hold..=(hold + BAND).min(1.0)));
    figure("recommended spacing: standard deviation", recommended.sd, &at_most(0.08));
    println!("  {:<40} {:>7} {:>7} {:>30}", "", "mean", "SD", format!("inside {hold:.2} to {:.2}", hold + BAND));
    let row = |name: &str, holds: &[f64]| {
        let figures = lane_figures(holds, hold);
        println!("  {name:<40} {:>7.3} {:>7.3} {:>30.3}", figures.mean, figures.sd, figures.inside);
    };
    let of = |seasons: Seasons<'_>| holds(sessions(&seasons));
    row("recommended spacing", &holds(sessions(seasons)));
    row("same rule, truth known", &of(run_all(squads, |athlete| AllKnowing { athlete, hold })));
    row("lane plan, six lanes a squad", &squads.iter().flat_map(|squad| planned(squad, 6, hold)).collect::<Vec<_>>());
    row("advice followed to the letter", &of(run_all(squads, |one| Advised::new(one, hold))));
    row("staircase of one step", &of(run_all(squads, |one| Staircase::new(one, hold, &Settings::default()))));
    let aim = hold + BAND / 2.0;
    row("all in the best same lane", &squads.iter().flat_map(|squad| same_lane(squad, aim)).collect::<Vec<_>>());
    row("4.4 times the stature", &of(run_all(squads, Unchanging::by_stature)));
}

fn print_predictions(seasons: &Seasons<'_>) {
    let own: Vec<_> = sessions(seasons).filter_map(|session| session.tried).collect();
    let other: Vec<_> = sessions(seasons).filter_map(|session| session.probe).collect();
    let (own, other) = (predictions(&own), predictions(&other));
    println!("predicted against recorded intervals, p* {USUAL_HOLD}");
    let brier = |name: &str, made: &Predictions| {
        let bar = made.brier_at_best + 0.02;
        figure(&format!("Brier score, {name}"), made.brier, &at_most(bar));
        let (best, mean) = (made.brier_at_best, made.brier_of_mean);
        println!("    truth known {best:.3}, share held over all {mean:.3}");
    };
    brier("the lanes run", &own);
    brier("lanes two steps shorter to three longer", &other);
    figure("calibration slope, lanes shorter and longer", other.slope, &(0.8..=1.25));
    println!("  {:<58} {:>+7.3}", "calibration intercept, lanes shorter and longer", other.intercept);
    println!("  {:>12} {:>12} {:>12}", "predicted", "recorded", "intervals");
    for bin in other.bins.iter().filter(|bin| bin.intervals > 0) {
        println!("  {:>12.3} {:>12.3} {:>12}", bin.predicted, bin.held, bin.intervals);
    }
}
