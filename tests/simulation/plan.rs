//! A squad whose lanes the service plans.

use lanewright_compute::decision::Configuration;
use lanewright_compute::estimate::{Estimate, Posterior, Settings};
use lanewright_compute::lane_plan::{self, Budget, Candidate, Lane, Objective, Plan, Problem, StockItem, plan};
use lanewright_compute::units::{BarrierKind, Length};

use super::athlete::Athlete;
use super::calendar::{SEASON_DAYS, height_on};
use super::coach::{fitting, grid};
use super::figures::SESSIONS_BEFORE;
use super::season::runs;

/// Parts of a search that one plan may look into: the plan of a squad is proven long before.
const MOST_NODES: u64 = 20_000;

/// True probabilities of holding in the lanes of a squad's plans, from each athlete's third session on.
pub fn planned(squad: &[Athlete], lanes: u32, hold: f64) -> Vec<f64> {
    let start = |one: &Athlete| Posterior::new(&one.prior(), &Settings::default()).expect("possible settings");
    let mut known: Vec<(&Athlete, Posterior, usize)> = squad.iter().map(|one| (one, start(one), 0)).collect();
    let mut holds = Vec::new();
    for day in 0..SEASON_DAYS {
        let mut here: Vec<_> =
            known.iter_mut().filter(|(one, ..)| one.calendar.season().any(|own| own == day)).collect();
        if here.is_empty() {
            continue;
        }
        let estimates: Vec<Estimate> = here
            .iter_mut()
            .map(|(_, posterior, _)| {
                posterior.advance(day).expect("days in order");
                posterior.summary()
            })
            .collect();
        let height = height_on(day);
        let problem = problem(day, &estimates, height, lanes, hold);
        let made = plan(&problem, Budget { nodes: MOST_NODES }, &|| false).expect("a plan");
        for ((one, posterior, sessions), spacing) in here.into_iter().zip(spacings(&problem, &made)) {
            if *sessions >= SESSIONS_BEFORE {
                holds.push(one.hold(day, height, spacing));
            }
            *sessions += 1;
            posterior.learn(&runs(one, day, height, spacing)).expect("possible runs");
        }
    }
    holds
}

fn problem(day: i32, estimates: &[Estimate], height: Length, lanes: u32, hold: f64) -> Problem {
    let kind = BarrierKind::LowBarrier;
    let candidates: Vec<Candidate> =
        grid().map(|spacing| Candidate { kind, height, spacing, approach: Length::from_mm(12_000) }).collect();
    let athletes = estimates.iter().zip(0..).map(|(estimate, id)| {
        let fits = fitting(day, hold, &|height, spacing| estimate.hold_mean(height, spacing));
        let hold: Vec<f64> =
            candidates.iter().map(|c| estimate.hold_mean(c.height, c.spacing).clamp(0.0, 1.0)).collect();
        lane_plan::Athlete {
            id,
            width_m: estimate.curve_width_m(),
            height_cost: estimate.height_cost,
            advised: Configuration { barrier_kind: kind, height, spacing: fits.spacing },
            advised_hold: estimate.hold_mean(height, fits.spacing).clamp(0.0, 1.0),
            permitted: hold.iter().map(|hold| *hold >= 0.3).collect(),
            hold,
            weight: 1.0,
            target: 0,
        }
    });
    Problem {
        athletes: athletes.collect(),
        candidates: candidates.clone(),
        lanes: (1..=lanes).map(|number| Lane { number, straight: Length::from_mm(100_000) }).collect(),
        capacity: estimates.len(),
        barriers_min: 5,
        barriers_max: 7,
        run_out: Length::from_mm(10_000),
        stock: vec![StockItem { id: 1, kind, heights: vec![height], count: 7 * lanes }],
        pins: Vec::new(),
        apart: Vec::new(),
        lanes_max: 12,
        last_time: None,
        objective: Objective::Total,
    }
}

/// The spacing of each athlete's lane, in the order of the athletes.
fn spacings(problem: &Problem, plan: &Plan) -> Vec<Length> {
    let mut placed: Vec<(u128, Length)> = plan
        .lanes
        .iter()
        .flat_map(|lane| lane.athletes.iter().map(|one| (one.athlete, problem.candidates[lane.candidate].spacing)))
        .collect();
    placed.sort_unstable();
    placed.into_iter().map(|(_, spacing)| spacing).collect()
}
