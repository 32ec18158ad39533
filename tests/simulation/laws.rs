//! The laws of where an athlete may run, told once more and without the service: what the region must be equal to.

use lanewright_compute::decision::Configuration;
use lanewright_compute::units::BarrierKind;

/// A placement and all that the laws read.
#[derive(Clone, Debug)]
pub struct Placement<'a> {
    /// Where the athlete runs.
    pub at: Configuration,
    /// Mean P(hold) there.
    pub hold: f64,
    /// The advice.
    pub advised: Configuration,
    /// The latest configuration with six intervals.
    pub last: Option<Configuration>,
    /// Configurations with six intervals, most of them held.
    pub held: &'a [Configuration],
    /// Height and spacing of the target, millimetres (mm).
    pub target_mm: Option<(u32, u32)>,
    /// Whether a fall, report or restriction is not cleared, or its sessions of return are not over.
    pub unclean: bool,
    /// Whether the surface is wet or uneven.
    pub soft: bool,
    /// Whether the advice is for a crowded athlete whom a coach confirms.
    pub crowded: bool,
    /// The floor of P(hold), and p*.
    pub floor: f64,
    pub wanted: f64,
    /// The club's spacing step, millimetres (mm).
    pub step_mm: u32,
}

/// Heights this close are one setting, millimetres (mm).
const SAME_MM: u32 = 5;

fn hardness(kind: BarrierKind) -> u8 {
    match kind {
        BarrierKind::Wicket => 0,
        BarrierKind::Foam | BarrierKind::LowBarrier => 1,
        BarrierKind::Hurdle => 2,
    }
}

/// The laws that a placement breaks.
pub fn broken(one: &Placement<'_>) -> Vec<&'static str> {
    let (at, advised) = (one.at, one.advised);
    let (height, spacing) = (at.height.mm(), at.spacing.mm());
    let harder_kind = |a: Configuration, b: Configuration| hardness(a.barrier_kind) > hardness(b.barrier_kind);
    let higher = |a: Configuration, b: Configuration| a.height.mm() > b.height.mm() + SAME_MM;
    let mut laws = Vec::new();
    if harder_kind(at, advised) {
        laws.push("harder kind than advised");
    }
    if higher(at, advised) {
        laws.push("higher than advised");
    }
    if at.spacing > advised.spacing {
        let there = |held: &&Configuration| {
            hardness(held.barrier_kind) == hardness(at.barrier_kind) && held.height.mm().abs_diff(height) <= SAME_MM
        };
        let held = one.held.iter().filter(there).map(|held| held.spacing.mm()).max();
        if !higher(advised, at) {
            laws.push("wider than advised");
        } else if one.unclean {
            laws.push("wider than advised before a clean session");
        } else if one.soft {
            laws.push("wider than advised on a bad surface");
        } else if held.is_none_or(|held| spacing > held + one.step_mm) {
            laws.push("more than a step wider than held over the lower barrier");
        } else if one.hold + 1e-9 < one.wanted {
            laws.push("wider than advised without p*");
        }
    }
    if one.soft && at.barrier_kind == BarrierKind::Hurdle {
        laws.push("rigid on a bad surface");
    }
    if one.target_mm.is_some_and(|(highest, _)| height > highest + SAME_MM) {
        laws.push("higher than the target");
    }
    if one.target_mm.is_some_and(|(_, longest)| spacing > longest) {
        laws.push("wider than the target");
    }
    if one.last.is_some_and(|last| (harder_kind(at, last) || higher(at, last)) && at.spacing > last.spacing) {
        laws.push("two variables harder than run last");
    }
    let excepted = one.crowded && !one.unclean && at == advised;
    if one.hold + 1e-9 < one.floor && !excepted {
        laws.push("below the floor of P(hold)");
    }
    laws
}
