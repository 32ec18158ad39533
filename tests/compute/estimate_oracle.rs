//! The estimate against figures made by numpy, scipy and statsmodels (`tests/oracle/estimate_oracle.py`).

#![allow(clippy::unwrap_used)] // helpers of tests

use lanewright_compute::estimate::{RunCounts, Settings, Spread, chances, estimate};
use lanewright_compute::prior::{Basis, Prior};
use lanewright_compute::units::Length;
use serde_json::Value;

fn figures() -> Value {
    serde_json::from_str(include_str!("../oracle/estimate_cases.json")).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn millimetres(value: &Value) -> Length {
    Length::from_mm(u32::try_from(value.as_u64().unwrap()).unwrap())
}

fn counts(value: &Value) -> RunCounts {
    let count = |name: &str| u16::try_from(value[name].as_u64().unwrap()).unwrap();
    RunCounts {
        day: i32::try_from(value["day"].as_i64().unwrap()).unwrap(),
        height: millimetres(&value["height_mm"]),
        spacing: millimetres(&value["spacing_mm"]),
        held: count("held"),
        over_reached: count("over_reached"),
        crowded: count("crowded"),
        broken: count("broken"),
    }
}

fn close(ours: f64, theirs: &Value, tolerance: f64, what: &str) {
    let theirs = number(theirs);
    assert!((ours - theirs).abs() <= tolerance, "{what}: {ours} instead of {theirs}");
}

fn close_spread(ours: Spread, theirs: &Value, what: &str) {
    for (value, index) in [ours.mean, ours.p05, ours.p50, ours.p95].into_iter().zip(0..) {
        close(value, &theirs[index], 1e-8, what);
    }
}

#[test]
fn outcome_probabilities_equal_the_ordered_logit_of_scipy() {
    for point in figures()["chances"].as_array().unwrap() {
        let ours = chances(number(&point[0]), number(&point[1]), &Settings::default());
        for (value, index) in [ours.held, ours.over_reached, ours.crowded].into_iter().zip(2..) {
            let theirs = number(&point[index]);
            assert!((value.ln() - theirs.ln()).abs() < 1e-9, "{value} instead of {theirs}");
        }
    }
}

#[test]
fn posteriors_equal_those_of_an_independent_program() {
    let figures = figures();
    let cases = figures["cases"].as_array().unwrap();
    assert!(cases.len() >= 20);
    for case in cases {
        let prior =
            Prior { mean_m: number(&case["prior_mean_m"]), sd_m: number(&case["prior_sd_m"]), basis: Basis::default() };
        let runs: Vec<_> = case["runs"].as_array().unwrap().iter().map(counts).collect();
        let on_day = i32::try_from(case["on_day"].as_i64().unwrap()).unwrap();
        let ours = estimate(&prior, &runs, on_day, &Settings::default()).unwrap();
        let (height, spacing) = (millimetres(&case["ask_height_mm"]), millimetres(&case["ask_spacing_mm"]));
        let theirs = &case["expected"];
        close_spread(ours.limit_m, &theirs["limit_m"], "limit");
        close_spread(ours.limit_at(height), &theirs["limit_at_height_m"], "limit at the height");
        close(ours.height_cost, &theirs["height_cost"], 1e-9, "height cost");
        close(ours.width_m, &theirs["width_m"], 1e-9, "width");
        let hold = ours.hold(height, spacing);
        for (value, index) in [hold.mean, hold.p05, hold.p95].into_iter().zip(0..) {
            close(value, &theirs["hold"][index], 1e-7, "hold");
        }
        close(ours.chance_not_over_reached(height, spacing), &theirs["not_over_reached"], 1e-9, "not over-reached");
    }
}
