//! The mathematics checked from outside.

// Tests may fail loudly, and their figures are small.
#![allow(clippy::unwrap_used, clippy::panic, clippy::cast_precision_loss, missing_docs)]

mod decision;
mod decision_laws;
mod estimate_laws;
mod estimate_oracle;
mod estimate_season;
mod lane_plan;
mod lane_plan_cases;
mod lane_plan_milp;
mod prior;
mod race;
mod rhythm;
mod rhythm_finish;
mod rhythm_races;
mod rhythm_schedule;
mod robust;
mod slow_filter;
mod specs;
