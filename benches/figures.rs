//! Figures: `estimate`, `progress`, `lanes`, `sync`, `flood`, `http`, `scale`; all of them but the last, which takes long and much of the disk, when none is named.
//!
//! Words after `sync` choose among its own: `pages`, `pushes`, `first`, `polls`; words after `flood` among `plans`,
//! `bodies`, `sockets`; words after `http` among the routes, by their keys in `http_figures/routes.rs`; words after `scale`
//! are a percentage and a folder.

mod estimate_figures;
mod flood_figures;
mod http_figures;
mod lane_plan_figures;
mod progress_figures;
mod scale_figures;
mod sync_figures;

fn main() {
    // Cargo adds `--bench` to every bench.
    let words: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    let (name, rest) = words.split_first().map_or(("", [].as_slice()), |(name, rest)| (name.as_str(), rest));
    let wanted = |one: &str| name.is_empty() || name == one;
    if wanted("estimate") {
        estimate_figures::run();
    }
    if wanted("progress") {
        progress_figures::run();
    }
    if wanted("lanes") {
        lane_plan_figures::run();
    }
    if wanted("sync") {
        sync_figures::run(rest);
    }
    if wanted("flood") {
        flood_figures::run(rest);
    }
    if wanted("http") {
        http_figures::run(rest);
    }
    if name == "scale" {
        scale_figures::run(rest);
    }
}
