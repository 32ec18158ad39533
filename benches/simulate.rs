//! What the estimate and its recommendations are worth on invented squads whose truth is known.

#![allow(clippy::expect_used, clippy::print_stdout, missing_docs)] // prints figures, inputs are its own

use std::time::Instant;

use lanewright::compute::estimate::Settings;

#[path = "../tests/simulation/mod.rs"]
mod simulation;

use simulation::coach::{Advised, Recommended, Staircase, Unchanging};
use simulation::figures::*;
use simulation::season::*;

fn main() {
    let begun = Instant::now();
    let args: Vec<String> = std::env::args().collect();
    let num = |name: &str, d: u64| args.iter().position(|a| a == name).map_or(d, |i| args[i + 1].parse().expect("n"));
    let seeds = num("--seeds", 4);
    let athletes = num("--athletes", 25) as u32;
    let settings = Settings::default();
    let squads: Vec<_> = (1..=seeds).map(|s| squad(s, athletes)).collect();
    let mut prior_err = Vec::new();
    for a in squads.iter().flatten() {
        let p = a.prior();
        prior_err.push((p.mean_m - a.limit_m(0)) / p.sd_m);
    }
    let (m, s) = mean_and_sd(&prior_err);
    println!("prior z: mean {m:.2} sd {s:.2}");
    for hold in [0.7, 0.8, 0.9] {
        let t = Instant::now();
        let seasons: Vec<_> =
            squads.iter().flatten().map(|a| (a, season(a, &mut Recommended::new(a, hold, &settings)))).collect();
        let f = limit_figures(seasons.iter().flat_map(|s| &s.1));
        println!(
            "p* {hold}: coverage {:.3} rmse {:.3} bias {:.3}  [{:.1} s]",
            f.coverage,
            f.error_m,
            f.bias_m,
            t.elapsed().as_secs_f64()
        );
        for d in DRIFTS_M {
            let f = limit_figures(seasons.iter().filter(|s| s.0.drift_m == d).flat_map(|s| &s.1));
            println!("   drift {d}: coverage {:.3} rmse {:.3} bias {:.3}", f.coverage, f.error_m, f.bias_m);
        }
        let show = |n: &str, h: &[f64]| {
            let l = lane_figures(h, hold);
            println!("   {n}: mean {:.3} sd {:.3} inside {:.3}", l.mean, l.sd, l.inside);
        };
        show("recommended", &holds(seasons.iter().flat_map(|s| &s.1)));
        let all = |mut f: Box<dyn FnMut(&simulation::athlete::Athlete) -> Vec<Session>>| {
            holds(&squads.iter().flatten().flat_map(|a| f(a)).collect::<Vec<_>>())
        };
        show("advised", &all(Box::new(|a| season(a, &mut Advised::new(a, hold)))));
        show("staircase", &all(Box::new(|a| season(a, &mut Staircase::new(a, hold, &settings)))));
        show("stature", &all(Box::new(|a| season(a, &mut Unchanging::by_stature(a)))));
        show("same lane", &squads.iter().flat_map(|s| same_lane(s, hold + 0.06)).collect::<Vec<_>>());
        for (n, t) in [
            ("lanes", seasons.iter().flat_map(|s| &s.1).filter_map(|s| s.tried).collect::<Vec<_>>()),
            ("probes", seasons.iter().flat_map(|s| &s.1).filter_map(|s| s.probe).collect::<Vec<_>>()),
        ] {
            let p = predictions(&t);
            println!(
                "   {n}: brier {:.4} best {:.4} mean {:.4} slope {:.3} intercept {:.3}",
                p.brier, p.brier_at_best, p.brier_of_mean, p.slope, p.intercept
            );
            for b in p.bins {
                println!("      {:.3} {:.3} {}", b.predicted, b.held, b.intervals);
            }
        }
    }
    println!("{:.1} s", begun.elapsed().as_secs_f64());
}
