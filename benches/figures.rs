//! Figures: `estimate`, `progress`, `lanes`, `sync`, `flood`, `http`, `overload`, `scale`, `archive`; all of them but the last two, which
//! take long and much of the disk, when none is named.
//!
//! Words after `sync` choose among its own: `pages`, `pushes`, `first`, `polls`; words after `flood` among `plans`,
//! `bodies`, `sockets`; words after `http` among the routes, by their keys in `http_figures/routes.rs`; words after `scale` are a
//! percentage and a folder, after `archive` how many records. `overload --minutes N` also prints what memory does over so many minutes.

mod archive_figures;
mod estimate_figures;
mod flood_figures;
mod http_figures;
mod lane_plan_figures;
mod overload_figures;
mod progress_figures;
mod scale_figures;
mod sync_figures;

fn main() {
    // Cargo adds `--bench` to every bench.
    let mut words: Vec<String> = std::env::args().skip(1).collect();
    let minutes = words.iter().position(|word| word == "--minutes").map_or(0, |at| {
        let option: Vec<String> = words.drain(at..words.len().min(at + 2)).collect();
        option.get(1).and_then(|number| number.parse().ok()).unwrap_or(1)
    });
    words.retain(|word| !word.starts_with('-'));
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
    if wanted("overload") {
        overload_figures::run(minutes);
    }
    if name == "scale" {
        scale_figures::run(rest);
    }
    if name == "archive" {
        archive_figures::run(rest);
    }
}
