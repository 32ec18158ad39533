//! The permitted region is exactly what its laws say, on random situations and in simulated clubs.
//!
//! `simulation::laws` tells the laws anew, from the situation and the advice alone. `./dev simulate squad` checks them on twenty
//! clubs of eight weeks.

use std::collections::BTreeSet;

use lanewright_compute::decision::{
    Clearance, Configuration, DecisionKind, Hold, Policy, Region, Situation, Status, Stock, Wall, decide,
};
use lanewright_compute::units::{BarrierKind, Length};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

use super::decision::{at, club, hold, stock};
use super::decision_laws::situation;
use crate::simulation::clubs::{USUAL, both};
use crate::simulation::laws::{Placement, broken};

/// An athlete's rhythm: over a long spacing it breaks, over a short one it is crowded.
pub fn chance(limit: f64, height: Length, spacing: Length) -> Hold {
    let over = spacing.metres() + height.metres() - limit;
    let crowded = (limit - 2.2 - spacing.metres() - height.metres()).max(0.0);
    hold((0.75 - 0.5 * over).clamp(0.01, 0.97) * (1.0 - 0.6 * crowded).max(0.0))
}

fn held() -> impl Strategy<Value = Vec<Configuration>> {
    let owned: Vec<_> =
        club_of_low_hurdles().into_iter().flat_map(|one| one.heights.into_iter().map(move |h| (one.kind, h))).collect();
    let one = (prop::sample::select(owned), 16..37_u32);
    prop::collection::vec(one.prop_map(|((kind, height), k)| at(kind, height.mm(), k * 250)), 0..5)
}

/// A club whose lowest hurdles are lower than its highest low barriers: hurdles lower than the first ones advised are harder
/// than anything run before.
pub fn club_of_low_hurdles() -> Vec<Stock> {
    club().into_iter().chain([stock(BarrierKind::Hurdle, &[500])]).collect()
}

pub fn everywhere(club: Vec<Stock>) -> Vec<Configuration> {
    let barriers: BTreeSet<(BarrierKind, Length)> =
        club.into_iter().flat_map(|one| one.heights.into_iter().map(move |h| (one.kind, h))).collect();
    let spacings = (4_000..=9_300).step_by(125).chain([8_200, 9_140]);
    spacings.flat_map(|mm| barriers.iter().map(move |(kind, height)| at(*kind, height.mm(), mm))).collect()
}

pub fn unclean(s: &Situation) -> bool {
    let back = s.back.is_some_and(|back| back.sessions < 2 || !back.confirmed || s.current.is_none());
    s.latest.is_some_and(|latest| latest.fell) || s.report.is_some() || s.clearance == Clearance::Pending || back
}

/// What the laws say of a place, beside that the club owns it and sets nothing out closer than its shortest spacing.
fn laws(s: &Situation, region: &Region, policy: &Policy, here: Configuration, mean: f64) -> Vec<&'static str> {
    let advised = region.advised().unwrap();
    let mut laws = broken(&Placement {
        at: here,
        hold: mean,
        advised,
        last: s.current.map(|current| current.configuration),
        held: &s.held,
        target_mm: s.target.map(|target| (target.height.mm(), target.spacing.mm())),
        unclean: unclean(s),
        soft: s.surface.is_some(),
        crowded: region.below_floor(),
        floor: region.floor(),
        wanted: policy.first_lane_hold.max(region.floor()),
        step_mm: policy.spacing_step.mm(),
    });
    if here.spacing < policy.min_spacing && here.spacing < advised.spacing {
        laws.push("shorter than the club sets out");
    }
    laws
}

#[test]
fn the_region_is_what_its_laws_say_on_twenty_thousand_situations() {
    let mut runner = TestRunner::deterministic();
    let clubs = [club(), club_of_low_hurdles()].map(|club| (everywhere(club.clone()), club));
    let statuses = prop_oneof![18 => Just(Status::Active), 1 => Just(Status::Resting), 1 => Just(Status::Left)];
    let cases = (situation(), held(), statuses, 5.0..12.0_f64, prop_oneof![3 => Just(0.65), 1 => 0.6..0.95_f64]);
    let (mut open, mut closed, mut inside, mut wider) = (0, 0, 0, 0);
    for round in 0..20_000 {
        let (places, club) = &clubs[round % 2];
        let (mut s, held, status, limit, floor) = cases.new_tree(&mut runner).unwrap().current();
        (s.held, s.status, s.stock) = (held, status, club.clone());
        let policy = Policy { hold_floor: floor, ..Policy::default() };
        let decision = decide(&s, &policy, &|height, spacing| chance(limit, height, spacing));
        let region = &decision.region;
        let rests = decision.kind == DecisionKind::RestAndRefer || status != Status::Active;
        assert_eq!(region.closed().is_some(), rests);
        for here in places {
            let mean = chance(limit, here.height, here.spacing).mean;
            let answer = region.check(*here, mean);
            if rests {
                assert_eq!(answer.unwrap_err(), region.closed().unwrap());
                continue;
            }
            let laws = laws(&s, region, &policy, *here, mean);
            assert_eq!(answer.is_ok(), laws.is_empty(), "{here:?} {answer:?} {laws:?} {s:?}");
            inside += usize::from(answer.is_ok());
            wider += usize::from(answer.is_ok() && here.spacing > region.advised().unwrap().spacing);
        }
        if let Some(fit) = decision.fit {
            let fitting = Configuration { height: fit.height, spacing: fit.spacing, ..decision.proposed.unwrap() };
            assert_eq!(region.check(fitting, fit.hold.mean), Ok(()));
        }
        if rests { closed += 1 } else { open += 1 }
    }
    // The laws mean little unless both sides of each come up.
    assert!(open > 10_000 && closed > 1_000 && inside > 400_000 && wider > 5_000, "{open} {closed} {inside} {wider}");
}

#[test]
fn every_wall_stands_somewhere() {
    let mut runner = TestRunner::deterministic();
    let cases = (situation(), held(), 5.0..12.0_f64);
    let mut seen = BTreeSet::new();
    for round in 0..3_000 {
        let (mut s, held, limit) = cases.new_tree(&mut runner).unwrap().current();
        (s.held, s.stock) = (held, club_of_low_hurdles());
        s.status = [Status::Active, Status::Active, Status::Resting, Status::Left][round % 4];
        let region = decide(&s, &Policy::default(), &|height, spacing| chance(limit, height, spacing)).region;
        let foreign = at(BarrierKind::Wicket, 222, 5_000);
        let tiny = at(BarrierKind::Wicket, 150, 3_000);
        for here in everywhere(club_of_low_hurdles()).into_iter().chain([foreign, tiny]) {
            if let Err(wall) = region.check(here, chance(limit, here.height, here.spacing).mean) {
                seen.insert(wall.code());
                assert!(wall.text().ends_with('.') && !wall.text().contains("  "), "{}", wall.text());
            }
        }
    }
    let all: BTreeSet<&str> = Wall::CODES.iter().map(|code| code.code).collect();
    assert_eq!(seen, all);
}

#[test]
fn a_higher_floor_only_takes_away() {
    let mut runner = TestRunner::deterministic();
    let places = everywhere(club());
    for _ in 0..500 {
        let s = situation().new_tree(&mut runner).unwrap().current();
        let region = decide(&s, &Policy::default(), &|height, spacing| chance(8.0, height, spacing)).region;
        let lower = region.clone().wanting(0.2);
        let higher = region.clone().wanting(0.9);
        assert_eq!(lower, region, "a wish never lowers the floor");
        for here in &places {
            let mean = chance(8.0, here.height, here.spacing).mean;
            let (before, after) = (region.check(*here, mean).is_ok(), higher.check(*here, mean).is_ok());
            assert!(before || !after);
            assert!(!after || mean >= 0.9 - 1e-9);
        }
    }
}

#[test]
fn planned_clubs_keep_every_law_and_advance_like_private_lanes() {
    let (alone, together) = both(1..=2, USUAL);
    assert!(together.broken.is_empty(), "{:?}", together.broken.first());
    assert!(together.placements > 500, "{}", together.placements);
    let ratio = together.gains as f64 / alone.gains as f64;
    assert!(ratio >= 0.8, "{} stages against {}", together.gains, alone.gains);
    assert!((0.78..=0.90).contains(&together.held_share()), "{}", together.held_share());
    assert!(together.able[0] >= 0.70, "{:?}", &together.able[..3]);
}
