//! Clubs of eight weeks in private lanes and in planned ones, side by side.

use std::time::Instant;

use super::{at_most, figure};
use crate::simulation::clubs::{Arm, Shape, USUAL, both};
use crate::simulation::forecast::{Aim, FAR, NEAR, Told, forecast_figures, told};

/// Clubs that are simulated when no number is asked for.
pub const CLUBS: u32 = 20;

pub fn run(seeds: u32) {
    let begun = Instant::now();
    let (alone, together) = both(1..=u64::from(seeds), USUAL);
    let Shape { athletes, lanes, capacity } = USUAL;
    println!(
        "{seeds} clubs of {athletes}, eight weeks, {lanes} lanes of {capacity} places; the truth is not the model"
    );
    println!("  {:<46} {:>12} {:>12}", "", "private lane", "lane plan");
    let row =
        |name: &str, of: &dyn Fn(&Arm) -> String| println!("  {name:<46} {:>12} {:>12}", of(&alone), of(&together));
    row("athlete-sessions run", &|arm| arm.placements.to_string());
    row("athlete-sessions waited", &|arm| arm.waits.to_string());
    row("as advised", &|arm| arm.as_advised.to_string());
    row("stages gained by all", &|arm| arm.gains.to_string());
    row("athletes at spacing build or later", &|arm| format!("{} of {}", arm.far, arm.athletes));
    row("intervals held", &|arm| format!("{:.3}", arm.held_share()));
    row("lowest share held of an athlete", &|arm| format!("{:.3}", arm.shares.first().copied().unwrap_or(1.0)));
    row("athletes whom some lane holds to 0.80", &|arm| arm.able.len().to_string());
    row("lowest share held of those", &|arm| format!("{:.3}", arm.able.first().copied().unwrap_or(1.0)));
    row("of those below 0.70", &|arm| arm.able.iter().filter(|share| **share < 0.70).count().to_string());
    row("athletes below 0.70", &|arm| arm.shares.iter().filter(|share| **share < 0.70).count().to_string());
    println!("  plans {}, proven {}", together.plans, together.plans - together.unproven);
    figure("stages gained, plan over private lane", together.gains as f64 / alone.gains as f64, &(0.8..=f64::INFINITY));
    figure("intervals held in planned lanes", together.held_share(), &(0.78..=0.90));
    figure("laws of the region broken", together.broken.len() as f64, &at_most(0.0));
    let lowest = together.able.first().copied().unwrap_or(1.0);
    figure("lowest share of an athlete whom some lane holds to 0.80", lowest, &(0.70..=1.0));
    println!("the ten planned lanes with the lowest true probability of holding");
    println!(
        "  {:>4} {:>7} {:>4}  {:<28} {:<28} {:>8} {:>6}",
        "club", "athlete", "day", "ran", "advised", "believed", "true"
    );
    for case in &together.worst {
        let place = |at: lanewright::compute::decision::Configuration| {
            format!("{} {:.2} m, {:.2} m", at.barrier_kind.as_str(), at.height.metres(), at.spacing.metres())
        };
        let (ran, advised) = (place(case.at), place(case.advised));
        println!(
            "  {:>4} {:>7} {:>4}  {ran:<28} {advised:<28} {:>8.2} {:>6.2}",
            case.club, case.athlete, case.day, case.believed, case.truth
        );
    }
    print_forecasts(seeds, "a race of the coming months", FAR);
    print_forecasts(seeds, "a race of the coming weeks", NEAR);
    println!("{:.1} s", begun.elapsed().as_secs_f64());
}

fn print_forecasts(seeds: u32, race: &str, aim: Aim) {
    let all: Vec<Told> = (1..=u64::from(seeds)).flat_map(|club| told(club, USUAL.athletes, aim)).collect();
    let found = forecast_figures(&all);
    println!(
        "the day of the race test as told after eight weeks, private lanes, {race}: up to {} steps and {} heights away",
        aim.steps, aim.heights
    );
    println!("  {} athletes behind no gate, {} of them with a range", found.athletes, found.ranges);
    println!("  of the others, who are told it takes longer, {:.3} did not race within 26 weeks", found.later);
    println!(
        "  of those with a range {:.3} raced within 26 weeks, as told {:.3}; the ranges are of these",
        found.came, found.told
    );
    figure("90 % range covers it", found.in_90, &(0.85..=0.97));
    figure("50 % range covers it", found.in_50, &(0.40..=0.60));
    figure("median of |p50 - truth| (days)", f64::from(found.error_days), &at_most(14.0));
    figure("90 % ranges without an end", found.open, &at_most(0.20));
    println!("    raced within 26 weeks {:.3}, expected {:.3}", found.raced, found.expected);
    figure("90 % range covers the next step", found.step_in_90, &(0.85..=0.97));
}
