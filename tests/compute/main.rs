//! The mathematics checked from outside.

mod decision;
mod decision_laws;
mod estimate_laws;
mod estimate_oracle;
mod estimate_season;
mod lane_plan;
mod lane_plan_cases;
mod prior;
mod slow_filter;
mod specs;
