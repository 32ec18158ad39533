//! The slope of Theil and Sen against `scipy.stats.theilslopes` (`tests/oracle/theil_sen_oracle.py`).

#![allow(clippy::unwrap_used)] // helpers of tests

use lanewright_compute::robust::{normal_quantile, theil_sen};
use serde_json::Value;

fn figures() -> Value {
    serde_json::from_str(include_str!("../oracle/theil_sen_cases.json")).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

fn close(ours: f64, theirs: f64, what: &str) {
    assert!((ours - theirs).abs() <= 1e-12 * theirs.abs().max(1.0), "{what}: {ours} instead of {theirs}");
}

#[test]
fn slopes_and_their_intervals_equal_those_of_scipy() {
    let figures = figures();
    let cases = figures["cases"].as_array().unwrap();
    assert!(cases.len() >= 50);
    for case in cases {
        let what = format!("{} at {}", case["name"], case["confidence"]);
        let ours = theil_sen(&numbers(&case["x"]), &numbers(&case["y"]), case["confidence"].as_f64().unwrap()).unwrap();
        close(ours.slope, case["slope"].as_f64().unwrap(), &what);
        close(ours.intercept, case["intercept"].as_f64().unwrap(), &what);
        assert_eq!(ours.interval.is_some(), case["interval"].is_array(), "{what}");
        if let Some(interval) = ours.interval {
            let theirs = numbers(&case["interval"]);
            close(interval.low, theirs[0], &what);
            close(interval.high, theirs[1], &what);
        }
    }
}

#[test]
fn normal_quantiles_equal_those_of_scipy() {
    for pair in figures()["normal_quantiles"].as_array().unwrap() {
        let pair = numbers(pair);
        close(normal_quantile(pair[0]), pair[1], "quantile");
    }
}
