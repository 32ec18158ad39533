//! Figures.

mod estimate_figures;
mod lane_plan_figures;
mod progress_figures;

fn main() {
    estimate_figures::run();
    progress_figures::run();
    lane_plan_figures::run();
}
