//! Figures.

mod estimate_figures;

fn main() {
    estimate_figures::run();
}
