//! A coach's word governs while nothing speaks against it, inside the hard walls, and clearing a fall allows nothing wider.
//!
//! Each law is told anew here, from the situation and the word alone.

use lanewright_compute::decision::{
    Caution, Clearance, Configuration, Decision, DecisionKind, Evidence, Given, Policy, Rating, Situation, Status,
    Word, decide, verdict,
};
use lanewright_compute::units::BarrierKind;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

use super::decision::{TODAY, at};
use super::decision_laws::{situation, steps_up};
use super::region_laws::{chance, club_of_low_hurdles, everywhere, unclean};
use crate::simulation::laws::{Placement, broken};

const STEP_BACK: u32 = 8;

fn tried() -> impl Strategy<Value = Evidence> {
    let ran = (0..16_u32, 0..8_u32, 0..4_u32).prop_map(|(held, over_reached, hits)| Evidence {
        held,
        over_reached,
        barriers: held + over_reached + 2,
        hits: hits.min(held + over_reached),
        ..Evidence::default()
    });
    prop_oneof![1 => Just(Evidence::default()), 1 => ran]
}

fn given(places: Vec<Configuration>) -> impl Strategy<Value = Given> {
    let word = (prop::sample::select(places), any::<bool>(), any::<bool>(), -3..8_i32, prop::bool::weighted(0.1));
    let rated = prop::option::weighted(0.2, (0..4_u8).prop_map(|level| Rating::from_level(level).unwrap()));
    (word, tried(), rated).prop_map(|((at, overridden, accepts, days, overtaken), tried, gate_rated)| Given {
        word: Word {
            at,
            overridden,
            coach_accepts: overridden && accepts,
            on: TODAY - 3,
            since: TODAY - 3,
            until: TODAY + days,
            overtaken,
            gate_rated,
        },
        tried,
    })
}

fn advise(s: &Situation, limit: f64) -> Decision {
    decide(s, &Policy::default(), &|height, spacing| chance(limit, height, spacing))
}

fn owned(s: &Situation, at: Configuration) -> bool {
    s.stock.iter().any(|one| one.kind == at.barrier_kind && one.heights.contains(&at.height))
}

fn past_target(s: &Situation, at: Configuration) -> bool {
    s.target.is_some_and(|target| at.height.mm() > target.height.mm() + 5 || at.spacing > target.spacing)
}

fn speaks_against(tried: &Evidence) -> bool {
    let few = tried.intervals() >= STEP_BACK && tried.held * 2 < tried.intervals();
    let hits = tried.barriers >= STEP_BACK && f64::from(tried.hits) > 0.2 * f64::from(tried.barriers) + 1e-9;
    few || hits
}

/// Whether health, technique or the calendar ended the word.
fn ended(word: &Word) -> bool {
    let below = word.gate_rated.is_some_and(|rating| rating < Rating::Secure);
    TODAY > word.until || word.overtaken || (below && word.at.barrier_kind != BarrierKind::Wicket)
}

/// Whether runs since an accepted word lead the rules to something harder.
fn outgrown(given: &Given, alone: &Decision) -> bool {
    let further = alone.proposed.is_some_and(|advised| advised.is_harder_than(given.word.at));
    !given.word.overridden && given.tried.intervals() >= STEP_BACK && further
}

/// Whether the word stands, by the laws.
fn stands(s: &Situation, alone: &Decision, limit: f64) -> bool {
    let Some(given @ Given { word, tried }) = s.word else { return false };
    !ended(&word)
        && !outgrown(&given, alone)
        && !speaks_against(&tried)
        && alone.region.closed().is_none()
        && owned(s, word.at)
        && !past_target(s, word.at)
        // On a wet or uneven surface only a word that asks for no more than that day's advice stands.
        && (s.surface.is_none() || alone.region.check(word.at, chance(limit, word.at.height, word.at.spacing).mean).is_ok())
}

/// The laws of the region that a placement breaks, with the word in the place of the advice.
fn laws(s: &Situation, decision: &Decision, word: &Word, here: Configuration, mean: f64) -> Vec<&'static str> {
    let mut laws = broken(&Placement {
        at: here,
        hold: mean,
        advised: word.at,
        last: s.current.map(|current| current.configuration),
        held: &s.held,
        target_mm: s.target.map(|target| (target.height.mm(), target.spacing.mm())),
        unclean: unclean(s),
        soft: s.surface.is_some(),
        crowded: decision.region.below_floor(),
        floor: decision.region.floor(),
        wanted: 0.8,
        step_mm: 250,
    });
    if word.coach_accepts {
        let weighed = (here.barrier_kind, here.height) == (word.at.barrier_kind, word.at.height);
        laws.retain(|law| *law != "two variables harder than run last" || !weighed);
        laws.retain(|law| *law != "below the floor of P(hold)" || here != word.at);
    }
    laws
}

#[test]
fn a_word_governs_exactly_while_nothing_speaks_against_it_on_twenty_thousand_situations() {
    let mut runner = TestRunner::deterministic();
    let places = everywhere(club_of_low_hurdles());
    let statuses = prop_oneof![18 => Just(Status::Active), 1 => Just(Status::Resting)];
    let cases = (situation(), given(places.clone()), statuses, 5.0..12.0_f64);
    let (mut standing, mut fallen, mut beyond, mut inside, mut outgrew) = (0, 0, 0, 0, 0);
    for _ in 0..20_000 {
        let (mut s, given, status, limit) = cases.new_tree(&mut runner).unwrap().current();
        (s.stock, s.status, s.surface) = (club_of_low_hurdles(), status, None);
        let alone = advise(&s, limit);
        s.word = Some(given);
        let decision = advise(&s, limit);
        // What a forecast asks of every day to come is what the advice of that day would be.
        let said = verdict(&s, &Policy::default(), &|height, spacing| chance(limit, height, spacing));
        assert_eq!((said.kind, said.proposed), (decision.kind, decision.proposed), "{s:?}");
        let word = given.word;
        if !stands(&s, &alone, limit) {
            fallen += 1;
            outgrew += usize::from(outgrown(&given, &alone) && !ended(&word) && !speaks_against(&given.tried));
            assert_eq!((decision.kind, decision.proposed), (alone.kind, alone.proposed), "{s:?}");
            assert_eq!((&decision.region, decision.governed.is_none()), (&alone.region, true));
            let told = decision.reasons.iter().any(|reason| reason.code() == "against_word");
            let lapsed = ended(&word) || alone.proposed.is_none();
            assert_eq!(told, speaks_against(&given.tried) && !lapsed);
            continue;
        }
        standing += 1;
        assert_eq!((decision.proposed, decision.region.advised()), (Some(word.at), Some(word.at)), "{s:?}");
        let governed = decision.governed.as_ref().unwrap();
        assert_eq!((governed.kind, governed.proposed), (alone.kind, alone.proposed));
        assert_eq!(governed.region, alone.region);
        assert_eq!(decision.valid_until, word.until);
        assert_eq!(decision.cautions.contains(&Caution::BeyondAdvice), word.overridden && word.coach_accepts);
        beyond += usize::from(alone.proposed.is_some_and(|advised| word.at.is_harder_than(advised)));
        for here in &places {
            let mean = chance(limit, here.height, here.spacing).mean;
            if decision.region.check(*here, mean).is_err() {
                continue;
            }
            inside += 1;
            let laws = laws(&s, &decision, &word, *here, mean);
            assert!(laws.is_empty(), "{here:?} {laws:?} {s:?}");
        }
        if word.coach_accepts {
            let mean = chance(limit, word.at.height, word.at.spacing).mean;
            assert_eq!(decision.region.check(word.at, mean), Ok(()), "what was confirmed twice can be run: {s:?}");
        }
    }
    assert!(standing > 5_000 && fallen > 5_000 && beyond > 1_000 && inside > 100_000, "{standing} {fallen} {beyond}");
    assert!(outgrew > 200, "{outgrew}");
}

#[test]
fn a_choice_meets_the_hard_walls_always_and_the_soft_ones_until_it_is_confirmed_twice() {
    let mut runner = TestRunner::deterministic();
    let places = everywhere(club_of_low_hurdles());
    let foreign = at(BarrierKind::Wicket, 222, 5_000);
    let cases = (situation(), prop::collection::vec(prop::sample::select(places), 20), 5.0..12.0_f64);
    let mut met = std::collections::BTreeSet::new();
    let mut opened = 0;
    for _ in 0..4_000 {
        let (mut s, places, limit) = cases.new_tree(&mut runner).unwrap().current();
        (s.stock, s.surface) = (club_of_low_hurdles(), None);
        let decision = advise(&s, limit);
        let back = s.back.is_some_and(|back| back.sessions < 2 || s.current.is_none());
        let locked = back || s.surface.is_some();
        let fell = s.latest.is_some_and(|latest| latest.fell) && s.clearance != Clearance::Given;
        let uncleared = fell || s.clearance == Clearance::Pending || s.back.is_some_and(|back| !back.confirmed);
        for at in places.into_iter().chain([foreign]) {
            let mean = chance(limit, at.height, at.spacing).mean;
            let [first, second, clearing] = [(false, false), (true, false), (true, true)]
                .map(|(accepts, clears)| decision.may_choose(at, mean, accepts, clears));
            let hard = decision.region.closed().is_some() || past_target(&s, at) || !owned(&s, at);
            if hard {
                let wall = first.unwrap_err();
                assert!(wall.is_hard() && second == Err(wall) && clearing == Err(wall), "{wall:?}");
                met.insert(wall.code());
                continue;
            }
            let advised = decision.region.advised().unwrap();
            if !at.is_harder_than(advised) {
                assert_eq!((first, second, clearing), (Ok(()), Ok(()), Ok(())), "easier than advised is no question");
                continue;
            }
            assert_eq!(first, decision.region.check(at, mean));
            assert_eq!(clearing.is_ok(), first.is_ok() || !locked);
            assert_eq!(second.is_ok(), first.is_ok() || !(locked || uncleared));
            opened += usize::from(first.is_err() && second.is_ok());
        }
    }
    let hard = ["not_owned", "pain_reported", "restricted", "target_height", "target_spacing"];
    assert_eq!(met.into_iter().collect::<Vec<_>>(), hard);
    assert!(opened > 1_000, "{opened}");
}

#[test]
fn clearing_a_fall_allows_what_was_advised_and_nothing_wider_that_day() {
    let mut runner = TestRunner::deterministic();
    let places = everywhere(club_of_low_hurdles());
    let cases = (situation(), 5.0..12.0_f64);
    let mut seen = 0;
    for _ in 0..20_000 {
        let (mut s, limit) = cases.new_tree(&mut runner).unwrap().current();
        (s.stock, s.surface) = (club_of_low_hurdles(), None);
        if !s.latest.is_some_and(|latest| latest.fell) {
            continue;
        }
        (s.clearance, s.report, s.back) = (Clearance::Pending, None, None);
        let before = advise(&s, limit);
        s.clearance = Clearance::Given;
        let after = advise(&s, limit);
        if before.kind == DecisionKind::RestAndRefer {
            assert_eq!(after.kind, DecisionKind::RestAndRefer, "a restriction outlasts a coach's word");
            continue;
        }
        seen += 1;
        assert_eq!(before.proposed, after.proposed);
        assert!(before.needs_confirmation && !after.needs_confirmation && !steps_up(&after));
        for here in &places {
            let mean = chance(limit, here.height, here.spacing).mean;
            assert!(after.region.check(*here, mean).is_err() || before.region.check(*here, mean).is_ok(), "{here:?}");
        }
        let wider = places.iter().find(|here| here.is_harder_than(after.proposed.unwrap()) && !past_target(&s, **here));
        if let Some(wider) = wider {
            assert!(before.may_choose(*wider, 0.99, true, false).is_err(), "not before the fall is cleared");
        }
    }
    assert!(seen > 500, "{seen}");
}
