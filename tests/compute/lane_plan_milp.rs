//! The lane plan against a general MILP solver: HiGHS (Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
//! method", Mathematical Programming Computation 10, 2018) through scipy; see `tests/oracle/lane_plan_milp.py`.

use lanewright::compute::lane_plan::{Athlete, Candidate, Lane, Objective, Problem, StockItem};
use lanewright::compute::units::{BarrierKind, Length};
use serde_json::Value;

/// The problem whose regrets are those of a case: with a wide hold curve and no height penalty, the hold probabilities
/// below make the utility of each lane one minus its regret.
pub fn problem(case: &Value) -> Problem {
    let number = |value: &Value| u32::try_from(value.as_u64().unwrap()).unwrap();
    let candidates: Vec<Candidate> = case["candidates"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pair| Candidate {
            kind: BarrierKind::LowBarrier,
            height: Length::from_mm(number(&pair[0])),
            spacing: Length::from_mm(number(&pair[1])),
            approach: Length::from_mm(12_000),
        })
        .collect();
    let (width_m, hold_target) = (10.0, 0.95);
    let lambda = (1.0 - hold_target) / width_m;
    let athletes = case["regret"].as_array().unwrap().iter().enumerate().map(|(i, row)| {
        let regrets: Vec<Option<f64>> = row.as_array().unwrap().iter().map(Value::as_f64).collect();
        let hold = |(c, regret): (usize, &Option<f64>)| {
            (1.0 - regret.unwrap_or(1.0)) * (-lambda * candidates[c].spacing.metres()).exp()
        };
        Athlete {
            id: i as u128,
            width_m,
            height_cost: 0.0,
            permitted_height: Length::from_mm(2_000),
            hold: regrets.iter().enumerate().map(hold).collect(),
            excluded: (0..regrets.len()).filter(|&c| regrets[c].is_none()).collect(),
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
        hold_target,
        height_penalty: 0.0,
        objective: Objective::Total,
        last_time: None,
    }
}

#[test]
fn sixty_plans_with_scarce_stock_cost_what_a_general_solver_finds() {
    use lanewright::compute::lane_plan::{Budget, PlanError, plan};

    let file: Value = serde_json::from_str(include_str!("../oracle/lane_plan_cases.json")).unwrap();
    let cases = file["cases"].as_array().unwrap();
    assert!(cases.len() >= 60);
    let mut solved = 0;
    for case in cases {
        let found = plan(&problem(case), Budget { nodes: 1_000_000 }, &|| false);
        match (found, case["optimum"].as_f64()) {
            (Ok(plan), Some(optimum)) => {
                assert!(plan.proven_optimal);
                assert!((plan.total_regret - optimum).abs() < 1e-6, "seed {}: {}", case["seed"], plan.total_regret);
                solved += 1;
            }
            (Err(PlanError::Infeasible(_)), None) => {}
            (found, optimum) => panic!("seed {}: {found:?}, the solver finds {optimum:?}", case["seed"]),
        }
    }
    assert!(solved >= 50, "{solved}");
}
