//! Laws that hold for every decision, whatever the situation.
#![allow(clippy::unwrap_used)] // in helpers, too: a decision without its part is a broken test

use super::decision::{TODAY, at, club, hold, mm};
use lanewright_compute::decision::{
    Back, Caution, Clearance, Configuration, Current, Decision, DecisionKind, Evidence, Hold, LatestSession, Missing,
    Policy, Rating, Ratings, Reason, Restriction, Situation, Surface, Target, decide, rung,
};
use lanewright_compute::units::{BarrierKind, Length};
use lanewright_compute::wellbeing::{Report, Reported};
use proptest::option;
use proptest::prelude::*;

fn rating() -> impl Strategy<Value = Option<Rating>> {
    prop_oneof![
        1 => Just(None),
        1 => (0..4_u8).prop_map(Rating::from_level),
        8 => Just(Some(Rating::Secure)),
    ]
}

prop_compose! {
    fn ratings()(lead_leg in rating(), trail_leg in rating(), walkover in rating(), landing in rating()) -> Ratings {
        Ratings { lead_leg, trail_leg, walkover, landing, ..Ratings::default() }
    }
}

/// Counts that are mostly good enough for a step up, so that steps up are common among the cases.
fn evidence() -> impl Strategy<Value = Evidence> {
    let good = (12..40_u32, 2..6_u32, 0..3_u32).prop_map(|(held, days, hits)| Evidence {
        held,
        days,
        barriers: held + 6,
        hits: hits.min((held + 6) / 10),
        ..Evidence::default()
    });
    let any =
        (0..20_u32, 0..10_u32, 0..10_u32, 0..4_u32, 0..20_u32).prop_map(|(held, over_reached, crowded, days, hits)| {
            Evidence {
                held,
                over_reached,
                crowded,
                broken: 1,
                days,
                barriers: held + over_reached + crowded + 3,
                hits: hits.min(held),
            }
        });
    prop_oneof![3 => good, 1 => any]
}

fn configuration() -> impl Strategy<Value = Configuration> {
    let owned: Vec<_> =
        club().into_iter().flat_map(|entry| entry.heights.into_iter().map(move |h| (entry.kind, h))).collect();
    let grid = (16..37_u32).prop_map(|k| k * 250);
    let spacing = prop_oneof![4 => grid, 1 => 4_000..9_200_u32];
    (prop::sample::select(owned), spacing).prop_map(|((kind, height), spacing)| at(kind, height.mm(), spacing))
}

prop_compose! {
    fn latest()(
        ago in 0..10_i32, held in 0..20_u32, broken in 0..6_u32, hits in 0..3_u32,
        fell in prop::bool::weighted(0.1),
    ) -> LatestSession {
        let intervals = held + broken;
        LatestSession { on: TODAY - ago, held, intervals, barriers: intervals + 3, hits, fell }
    }
}

fn target() -> impl Strategy<Value = Target> {
    let heights = prop::sample::select(vec![600, 685, 762, 838, 914_u32]);
    let spacings = prop::sample::select(vec![7_000, 7_500, 8_200, 8_500, 9_140_u32]);
    (heights, spacings).prop_map(|(height, spacing)| Target {
        height: mm(height),
        spacing: mm(spacing),
        barriers: 8,
        approach: mm(12_000),
    })
}

fn rare<T: Strategy>(value: T) -> impl Strategy<Value = Option<T::Value>> {
    option::weighted(0.08, value)
}

prop_compose! {
    fn report()(ago in 0..12_i32, what in prop::sample::select(Report::ALL.to_vec())) -> Reported {
        Reported { what, on: TODAY - ago }
    }
}

prop_compose! {
    fn back()(
        sessions in 0..4_u32, confirmed: bool, last_held in option::weighted(0.9, configuration()),
    ) -> Back {
        Back { sessions, confirmed, last_held }
    }
}

prop_compose! {
    pub fn situation()(
        current in option::weighted(0.95, (configuration(), evidence())),
        latest in option::weighted(0.8, latest()),
        ratings in ratings(),
        restriction in rare(option::of(TODAY - 3..TODAY + 9)),
        report in rare(report()),
        back in option::weighted(0.15, back()),
        surface in rare(prop::sample::select(Surface::ALL.to_vec())),
        clearance in prop::sample::select(vec![
            Clearance::NotNeeded, Clearance::NotNeeded, Clearance::NotNeeded, Clearance::Pending, Clearance::Given,
        ]),
        target in option::weighted(0.8, target()),
    ) -> Situation {
        Situation {
            current: current.map(|(configuration, evidence)| Current { configuration, evidence, also: Evidence::default() }),
            latest,
            ratings,
            restriction: restriction.map(|until| Restriction { until }),
            report,
            back,
            surface,
            clearance,
            target,
            stock: club(),
            ..Situation::unseen(TODAY)
        }
    }
}

fn higher(a: Configuration, b: Configuration) -> bool {
    a.height.mm() > b.height.mm() + 5 || rung(a.barrier_kind) > rung(b.barrier_kind)
}

/// An athlete's comfortable limit in metres: the rhythm breaks over about a metre around it.
fn model(limit: f64, height: Length, spacing: Length) -> Hold {
    let over = spacing.metres() + height.metres() - limit;
    hold((0.75 - 0.5 * over).clamp(0.01, 0.99))
}

pub fn advise(situation: &Situation, limit: f64) -> Decision {
    decide(situation, &Policy::default(), &|h, s| model(limit, h, s))
}

pub fn steps_up(decision: &Decision) -> bool {
    let rises = |from: Configuration, to: Configuration| to.height > from.height || to.spacing > from.spacing;
    match decision.kind {
        DecisionKind::StepUpSpacing | DecisionKind::StepUpHeight | DecisionKind::RaceTest => true,
        DecisionKind::ChangeBarrierKind => rises(decision.current.unwrap(), decision.proposed.unwrap()),
        _ => false,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1_500) })]

    #[test]
    fn no_proposal_is_further_beyond_the_target_than_the_athlete_already_is(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        if let (Some(to), Some(target)) = (decision.proposed, s.target) {
            let from = decision.current;
            let height = from.map_or(0, |from| from.height.mm());
            let spacing = from.map_or(0, |from| from.spacing.mm());
            prop_assert!(to.height.mm() <= (target.height.mm() + 5).max(height));
            prop_assert!(to.spacing.mm() <= (target.spacing.mm() + 20).max(spacing));
            if steps_up(&decision) {
                prop_assert!(to.height.mm() <= target.height.mm() + 5);
                prop_assert!(to.spacing.mm() <= target.spacing.mm() + 20);
            }
        }
    }

    #[test]
    fn one_variable_changes_at_a_time_unless_the_kind_changes_or_the_athlete_fell(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let (Some(from), Some(to)) = (decision.current, decision.proposed) else { return Ok(()) };
        let fell = s.latest.is_some_and(|latest| latest.fell);
        let both = from.height != to.height && from.spacing != to.spacing;
        // The lane back is lower and closer at once, and so is a softer barrier on a wet or uneven surface.
        if both && !fell && s.back.is_none() && s.surface.is_none() {
            prop_assert_eq!(decision.kind, DecisionKind::ChangeBarrierKind);
            prop_assert!(to.spacing < from.spacing);
        }
        prop_assert!(to.spacing.mm() <= from.spacing.mm() + 270);
        if both && !fell {
            let changes = decision.kind == DecisionKind::ChangeBarrierKind;
            prop_assert!(to.spacing < from.spacing && (changes || !higher(to, from)), "{}", decision.explanation());
        }
        if decision.kind != DecisionKind::ChangeBarrierKind {
            let between = club().into_iter().flat_map(|e| e.heights.into_iter().map(move |h| (e.kind, h)))
                .filter(|(kind, h)| *kind == from.barrier_kind && *h > from.height && *h < to.height);
            prop_assert_eq!(between.count(), 0, "no owned height is skipped");
        }
    }

    #[test]
    fn nobody_steps_up_with_pain_a_fall_or_too_little_evidence(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let fell = s.latest.is_some_and(|latest| latest.fell);
        let evidence = s.current.map(|current| current.evidence).unwrap_or_default();
        let thin = evidence.intervals() < 12 || evidence.days < 2;
        let back = s.back.is_some_and(|back| back.sessions < 2 || !back.confirmed);
        let kept = s.report.is_some() || back || s.surface.is_some();
        if kept || fell || thin || s.clearance == Clearance::Pending {
            prop_assert!(!steps_up(&decision), "{}", decision.explanation());
        }
        prop_assert!(!steps_up(&decision) || decision.missing.is_empty());
        if s.report.is_some() {
            prop_assert_eq!(decision.kind, DecisionKind::RestAndRefer);
        }
    }

    #[test]
    fn the_first_lane_back_is_lower_and_closer_than_last_held_and_two_sessions_come_before_a_step_up(
        s in situation(), b in back(), limit in 5.0..12.0, ran in prop::bool::weighted(0.3),
    ) {
        let current = s.current.filter(|_| ran);
        let s = Situation { report: None, restriction: None, back: Some(b), current, ..s };
        let decision = advise(&s, limit);
        let to = decision.proposed.unwrap();
        if let (Some(held), None) = (b.last_held, s.current) {
            let lowest = club().iter().flat_map(|one| one.heights.clone()).min().unwrap();
            prop_assert!(to.height < held.height || held.height == lowest, "{}", decision.explanation());
            prop_assert!(rung(to.barrier_kind) <= rung(held.barrier_kind));
            prop_assert!(to.spacing.mm() + 125 <= held.spacing.mm() || held.spacing < mm(4_250));
            let said = |one: &Reason| matches!(one, Reason::Returning { .. } | Reason::Fell);
            prop_assert!(decision.reasons.iter().any(said), "{:?}", decision.reasons);
        }
        if b.sessions < 2 {
            let needed = Missing::SessionsBack { count: 2 - b.sessions };
            prop_assert!(decision.missing.contains(&needed));
            prop_assert!(!steps_up(&decision), "{}", decision.explanation());
        }
        prop_assert!(b.confirmed || decision.needs_confirmation);
        prop_assert_eq!(!b.confirmed || s.clearance == Clearance::Pending || s.latest.is_some_and(|one| one.fell)
            && s.clearance == Clearance::NotNeeded, decision.missing.contains(&Missing::CoachConfirmation));
    }

    #[test]
    fn on_a_bad_surface_nothing_is_rigid_and_everything_is_closer_than_run_last(
        s in situation(), limit in 5.0..12.0, surface in prop::sample::select(Surface::ALL.to_vec()),
    ) {
        let decision = advise(&Situation { surface: Some(surface), ..s.clone() }, limit);
        let dry = advise(&Situation { surface: None, ..s.clone() }, limit);
        let Some(to) = decision.proposed else {
            prop_assert_eq!(dry.kind, DecisionKind::RestAndRefer);
            return Ok(());
        };
        prop_assert!(rung(to.barrier_kind) < rung(BarrierKind::Hurdle));
        prop_assert!(!steps_up(&decision), "{}", decision.explanation());
        if let Some(from) = s.current.map(|current| current.configuration) {
            prop_assert!(to.spacing < from.spacing || from.spacing < mm(4_250), "{}", decision.explanation());
            prop_assert!(to.height <= from.height && rung(to.barrier_kind) <= rung(from.barrier_kind));
        }
        let caution = Caution::of_surface(surface);
        prop_assert!(decision.cautions.contains(&caution) && !dry.cautions.contains(&caution));
        let said = Reason::Surface { surface };
        prop_assert!(decision.reasons.contains(&said));
    }

    #[test]
    fn a_barrier_lane_is_only_for_secure_lead_leg_trail_leg_and_walkover(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let gate = [s.ratings.lead_leg, s.ratings.trail_leg, s.ratings.walkover];
        if gate.iter().any(|rating| rating.is_none_or(|rating| rating < Rating::Secure)) {
            prop_assert!(decision.proposed.is_none_or(|to| to.barrier_kind == BarrierKind::Wicket));
        }
    }

    #[test]
    fn what_changes_stays_on_the_grid_and_among_owned_heights(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let Some(to) = decision.proposed else { return Ok(()) };
        let from = decision.current;
        let owned = club().iter().any(|e| e.kind == to.barrier_kind && e.heights.contains(&to.height));
        prop_assert!(owned);
        let held = s.back.and_then(|back| back.last_held);
        let kept = [from, held].into_iter().flatten().any(|from| from.spacing == to.spacing);
        let goal = s.target.is_some_and(|target| target.spacing == to.spacing) || to.spacing == mm(9_140);
        // A first lane is marked more finely than the club's grid.
        let marked = to.spacing.mm() % 250 == 0 || (from.is_none() && to.spacing.mm() % 100 == 0);
        prop_assert!(kept || goal || marked, "{}", to.spacing.mm());
        prop_assert!(to.spacing >= mm(4_000) || kept);
    }

    #[test]
    fn the_lane_that_fits_is_the_nearest_to_what_is_wanted_with_something_in_hand(
        s in situation(),
        limit in 5.0..12.0,
        wanted in 0.05..0.99,
    ) {
        let policy = Policy { first_lane_hold: wanted, ..Policy::default() };
        let decision = decide(&s, &policy, &|height, spacing| model(limit, height, spacing));
        let Some(to) = decision.proposed else {
            prop_assert_eq!((decision.kind, decision.fit), (DecisionKind::RestAndRefer, None));
            return Ok(());
        };
        // Every mark over the advised barrier that the region permits, and the ends of the region.
        let chance = |spacing| model(limit, to.height, spacing).mean;
        let inside = |spacing: &Length| {
            decision.region.check(Configuration { spacing: *spacing, ..to }, chance(*spacing)).is_ok()
        };
        let same = decision.region.bounds().iter().find(|b| (b.barrier_kind, b.height) == (to.barrier_kind, to.height));
        let all = (40..=92).map(|k| mm(k * 100)).chain([to.spacing]).chain(same.map(|bound| bound.longest.spacing));
        let means: Vec<f64> = all.filter(inside).map(chance).collect();
        prop_assert_eq!(decision.fit.is_some(), !means.is_empty());
        let Some(fit) = decision.fit else { return Ok(()) };
        prop_assert!(inside(&fit.spacing));
        let reach: Vec<f64> = means.iter().copied().filter(|mean| *mean >= wanted).collect();
        prop_assert_eq!(fit.reached, !reach.is_empty());
        prop_assert_eq!(fit.height, to.height);
        let aim = wanted + 0.32 * (1.0 - wanted);
        // Two spacings may fit equally, one too easy and one too hard by the same.
        let miss = |mean: f64| if reach.is_empty() { 1.0 - mean } else { (mean - aim).abs() };
        let of = if reach.is_empty() { &means } else { &reach };
        let least = of.iter().map(|mean| miss(*mean)).fold(1.0, f64::min);
        prop_assert!((miss(fit.hold.mean) - least).abs() < 1e-9, "{} misses by more than {least}", fit.hold.mean);
    }

    #[test]
    fn every_decision_has_a_reason_the_base_cautions_and_a_day(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        prop_assert!(!decision.reasons.is_empty());
        prop_assert_eq!(&decision.cautions[..10], &Caution::BASE[..]);
        prop_assert!(decision.valid_until >= TODAY);
        prop_assert_eq!(advise(&s, limit), decision, "the same input gives the same decision");
    }

    #[test]
    fn a_step_up_rests_on_every_number_of_the_policy(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        if steps_up(&decision) {
            let (policy, here) = (Policy::default(), decision.hold_current.unwrap());
            prop_assert!(here.mean >= policy.min_hold_mean && here.p05 >= policy.min_hold_p05);
            let evidence = s.current.unwrap().evidence;
            prop_assert!(evidence.intervals() >= policy.min_intervals && evidence.days >= policy.min_days);
            prop_assert!(f64::from(evidence.hits) <= policy.max_hit_share * f64::from(evidence.barriers) + 1e-6);
            if let Some(latest) = s.latest.filter(|latest| latest.intervals >= policy.step_back_intervals) {
                prop_assert!(f64::from(latest.held) >= policy.step_in_held_share * f64::from(latest.intervals) - 1e-6);
            }
            let rated = [s.ratings.lead_leg, s.ratings.trail_leg, s.ratings.walkover];
            prop_assert!(rated.iter().all(|rating| rating.is_some_and(|rating| rating >= policy.min_rating)));
            prop_assert!(s.ratings.landing.is_none_or(|rating| rating >= policy.min_rating));
            let same_place = decision.proposed.unwrap().spacing == decision.current.unwrap().spacing
                && decision.proposed.unwrap().height == decision.current.unwrap().height;
            prop_assert!(same_place || decision.kind == DecisionKind::RaceTest
                || decision.hold_proposed.unwrap().mean >= policy.min_hold_after_step);
        }
    }

    #[test]
    fn wickets_give_way_only_to_the_lowest_barrier_one_step_closer(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let (Some(from), Some(to)) = (decision.current, decision.proposed) else { return Ok(()) };
        if from.barrier_kind == BarrierKind::Wicket && to.barrier_kind != BarrierKind::Wicket {
            prop_assert_eq!((decision.kind, to.height), (DecisionKind::ChangeBarrierKind, mm(300)));
            let past = s.target.is_some_and(|target| from.spacing > target.spacing);
            prop_assert!(to.spacing < from.spacing || from.spacing <= mm(4_125));
            prop_assert!(past || to.spacing.mm() + 375 >= from.spacing.mm());
        }
    }

    #[test]
    fn a_race_test_is_run_over_the_target_specification_and_nothing_else(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        if decision.kind == DecisionKind::RaceTest {
            let (to, target) = (decision.proposed.unwrap(), s.target.unwrap());
            prop_assert_eq!(to.spacing, target.spacing);
            prop_assert!(to.height.mm().abs_diff(target.height.mm()) <= 5);
            prop_assert!(to.barrier_kind != BarrierKind::Wicket);
        }
    }

    #[test]
    fn a_restriction_in_force_rests_the_athlete_and_a_fall_steps_back_until_a_coach_confirms(
        s in situation(), limit in 5.0..12.0,
    ) {
        let decision = advise(&s, limit);
        let restricted = s.restriction.is_some_and(|flag| flag.until.is_none_or(|until| until >= TODAY));
        if restricted {
            prop_assert_eq!((decision.kind, decision.proposed), (DecisionKind::RestAndRefer, None));
        }
        let fell = s.latest.is_some_and(|latest| latest.fell) && s.clearance != Clearance::Given;
        if fell || restricted {
            prop_assert!(decision.needs_confirmation);
        }
        if let (true, Some(from), Some(to)) = (fell, decision.current, decision.proposed) {
            prop_assert!(to.height <= from.height && to.spacing <= from.spacing);
            prop_assert!(to != from || from.spacing <= mm(4_125));
        }
    }

    #[test]
    fn a_likelier_rhythm_never_turns_a_step_up_into_a_step_back(
        s in situation(), limit in 5.0..12.0, more in 0.0..3.0,
    ) {
        if steps_up(&advise(&s, limit)) {
            let back = [DecisionKind::StepIn, DecisionKind::LowerHeight, DecisionKind::RestAndRefer];
            prop_assert!(!back.contains(&advise(&s, limit + more).kind));
        }
    }
}

/// The laws above mean little unless the cases reach every kind of decision.
#[test]
fn the_cases_of_these_laws_reach_every_kind_of_decision() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let mut seen = std::collections::BTreeSet::new();
    for round in 0..4_000 {
        let s = situation().new_tree(&mut runner).unwrap().current();
        seen.insert(advise(&s, 5.0 + f64::from(round % 70) / 10.0).kind);
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), DecisionKind::ALL);
}
