//! The mathematics checked from outside.

mod lane_plan;
mod lane_plan_cases;
mod specs;
