//! The mathematics checked from outside.

mod specs;
mod lane_plan;
mod lane_plan_cases;
