//! The mathematics checked from outside.

mod decision;
mod decision_laws;
mod lane_plan;
mod lane_plan_cases;
mod specs;
