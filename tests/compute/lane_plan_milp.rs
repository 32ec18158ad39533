//! The lane plan against a general MILP solver: HiGHS (Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
//! method", Mathematical Programming Computation 10, 2018) through scipy; see `tests/oracle/lane_plan_milp.py`.

use lanewright_compute::decision::Configuration;
use lanewright_compute::lane_plan::{Athlete, Candidate, Lane, Objective, Problem, StockItem};
use lanewright_compute::units::{BarrierKind, Length};
use serde_json::Value;

/// The problem of a case.
pub fn problem(case: &Value) -> Problem {
    let number = |value: &Value| u32::try_from(value.as_u64().unwrap()).unwrap();
    let at = |pair: &Value| Configuration {
        barrier_kind: BarrierKind::LowBarrier,
        height: Length::from_mm(number(&pair[0])),
        spacing: Length::from_mm(number(&pair[1])),
    };
    let approach = Length::from_mm(12_000);
    let candidate = |pair: &Value| {
        let Configuration { barrier_kind: kind, height, spacing } = at(pair);
        Candidate { kind, height, spacing, approach }
    };
    let candidates: Vec<Candidate> = case["candidates"].as_array().unwrap().iter().map(candidate).collect();
    let athletes = case["athletes"].as_array().unwrap().iter().zip(case["regret"].as_array().unwrap()).enumerate();
    let athletes = athletes.map(|(i, (one, regrets))| {
        let real = |name: &str| one[name].as_f64().unwrap();
        Athlete {
            id: i as u128,
            width_m: real("width"),
            height_cost: real("cost"),
            advised: at(&one["advised"]),
            advised_hold: 0.8,
            hold: vec![0.8; candidates.len()],
            permitted: regrets.as_array().unwrap().iter().map(|regret| !regret.is_null()).collect(),
            weight: real("weight"),
            target: 0,
        }
    });
    let athletes = athletes.collect();
    let stock = case["stock"].as_array().unwrap().iter().enumerate().map(|(j, item)| StockItem {
        id: j as u128,
        kind: BarrierKind::LowBarrier,
        heights: item["heights"].as_array().unwrap().iter().map(|mm| Length::from_mm(number(mm))).collect(),
        count: number(&item["count"]),
    });
    let barriers = number(&case["barriers"]);
    Problem {
        athletes,
        lanes: (1..=number(&case["lanes"])).map(|n| Lane { number: n, straight: Length::from_mm(200_000) }).collect(),
        lanes_max: number(&case["lanes"]) as usize,
        capacity: number(&case["capacity"]) as usize,
        barriers_min: barriers,
        barriers_max: barriers,
        run_out: Length::from_mm(10_000),
        stock: stock.collect(),
        candidates,
        pins: Vec::new(),
        apart: Vec::new(),
        objective: Objective::Total,
        last_time: None,
    }
}

#[test]
fn sixty_plans_with_scarce_stock_cost_what_a_general_solver_finds() {
    use lanewright_compute::lane_plan::{Budget, plan};

    let file: Value = serde_json::from_str(include_str!("../oracle/lane_plan_cases.json")).unwrap();
    let cases = file["cases"].as_array().unwrap();
    assert!(cases.len() >= 60);
    let mut waited = 0;
    for case in cases {
        let problem = problem(case);
        for (a, row) in case["regret"].as_array().unwrap().iter().enumerate() {
            for (ours, theirs) in problem.regret_units(a).iter().zip(row.as_array().unwrap()) {
                let (ours, theirs) = (ours.map(|units| units as f64 * 1e-9), theirs.as_f64());
                assert!(ours.zip(theirs).map_or(ours == theirs, |(ours, theirs)| (ours - theirs).abs() < 2e-9));
            }
        }
        let plan = plan(&problem, Budget { nodes: 1_000_000 }, &|| false).unwrap();
        assert!(plan.proven_optimal);
        let of = |id: u128| problem.athletes.iter().find(|one| one.id == id).unwrap();
        let waits: f64 = plan.waiting.iter().map(|one| 20.0 * of(one.athlete).weight).sum();
        let (found, optimum) = (plan.total_regret + waits, case["optimum"].as_f64().unwrap());
        assert!((found - optimum).abs() < 1e-6, "seed {}: {found}, the solver finds {optimum}", case["seed"]);
        waited += usize::from(!plan.waiting.is_empty());
    }
    assert!((3..50).contains(&waited), "{waited}");
}
