//! How long lane plans take, beside a general MILP solver on the same instances in the same run.

#![allow(clippy::unwrap_used, clippy::panic, clippy::cast_precision_loss, clippy::print_stdout, dead_code)]

use std::process::Command;
use std::time::{Duration, Instant};

use lanewright::compute::lane_plan::{Budget, Objective, Plan, PlanError, Problem, plan};
use serde_json::Value;

#[path = "../../tests/compute/lane_plan_cases.rs"]
mod lane_plan_cases;
#[path = "../../tests/compute/lane_plan_milp.rs"]
mod lane_plan_milp;

use lane_plan_cases::{Shape, problem};

const BUDGET: Budget = Budget { nodes: 2_000_000 };

fn timed(problem: &Problem) -> (Duration, Result<Plan, PlanError>) {
    let begun = Instant::now();
    let found = plan(problem, BUDGET, &|| false);
    (begun.elapsed(), found)
}

fn at(sorted: &[Duration], share: f64) -> f64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // an index
    let index = ((sorted.len() - 1) as f64 * share).round() as usize;
    sorted[index].as_secs_f64() * 1e3
}

/// Prints median, 99 % and maximum of random problems of each size, and the ratio to the MILP solver.
pub fn run() {
    println!("\nlane plan (random problems, one core)");
    against_milp();
    for (athletes, lanes, repeats) in [(40, 6, 100), (60, 8, 60), (200, 8, 12)] {
        for objective in [Objective::Total, Objective::Fair] {
            let shape = Shape { athletes, lanes, spacings: 25, heights: 4, scarce: false, wishes: false };
            let problems = (0..repeats).map(|seed| Problem { objective, ..problem(seed, &shape) });
            measure(&format!("{athletes} athletes x {lanes} lanes x 100 candidates, {objective:?}"), problems);
        }
    }
    let mixed = (0..1_000).map(|seed| {
        let shape = Shape {
            athletes: 10 + usize::try_from(seed % 41).unwrap(),
            lanes: 2 + usize::try_from(seed % 6).unwrap(),
            spacings: 25,
            heights: 4,
            scarce: seed % 2 == 0,
            wishes: seed % 3 == 0,
        };
        problem(seed, &shape)
    });
    measure("1,000 mixed: 10-50 athletes x 2-7 lanes, scarce or not, wishes or not, total or fair", mixed);
}

fn measure(what: &str, problems: impl Iterator<Item = Problem>) {
    let (mut times, mut proven, mut waiting) = (Vec::new(), 0, 0);
    for problem in problems {
        let (time, found) = timed(&problem);
        if let Ok(plan) = found {
            proven += usize::from(plan.proven_optimal);
            waiting += usize::from(!plan.waiting.is_empty());
        }
        times.push(time);
    }
    times.sort_unstable();
    println!(
        "  {what}: median {:.1} ms, p99 {:.1} ms, max {:.1} ms, proven {proven} of {}, somebody waits in {waiting}",
        at(&times, 0.5),
        at(&times, 0.99),
        at(&times, 1.0),
        times.len(),
    );
}

/// The committed instances by both, in this run; needs Python with scipy (LANEWRIGHT_PYTHON names another interpreter).
fn against_milp() {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/oracle/lane_plan_milp.py");
    let python = std::env::var("LANEWRIGHT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let answer = Command::new(&python).args([script, "--time"]).output();
    let theirs = answer.ok().filter(|output| output.status.success()).and_then(|output| {
        String::from_utf8_lossy(&output.stdout).lines().map(str::parse::<f64>).collect::<Result<Vec<_>, _>>().ok()
    });
    let Some(theirs) = theirs else {
        println!("  MILP solver: not compared, {python} has no scipy (pip install scipy, or set LANEWRIGHT_PYTHON)");
        return;
    };
    let file: Value = serde_json::from_str(include_str!("../../tests/oracle/lane_plan_cases.json")).unwrap();
    let cases = file["cases"].as_array().unwrap();
    let mut ratios: Vec<f64> = Vec::new();
    let (mut ours_total, mut theirs_total) = (0.0, 0.0);
    for (case, theirs) in cases.iter().zip(&theirs) {
        let ours = timed(&lane_plan_milp::problem(case)).0.as_secs_f64();
        ours_total += ours;
        theirs_total += theirs;
        ratios.push(theirs / ours);
    }
    ratios.sort_unstable_by(f64::total_cmp);
    println!(
        "  MILP solver (HiGHS through scipy) on the {} committed instances: {:.0} ms against {:.1} ms together, {:.0} \
         times faster; per instance median {:.0} times, least {:.1} times",
        ratios.len(),
        theirs_total * 1e3,
        ours_total * 1e3,
        theirs_total / ours_total,
        ratios[ratios.len() / 2],
        ratios[0],
    );
}
