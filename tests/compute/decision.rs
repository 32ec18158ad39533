//! The progression rules on situations worked by hand.
#![allow(clippy::unwrap_used)] // in helpers, too: a situation without its part is a broken test

use lanewright_compute::decision::{
    Back, Caution, Clearance, Configuration, Criterion, Current, Decision, DecisionKind, Evidence, Hold, LatestSession,
    Missing, Policy, Rating, Ratings, Reason, Restriction, Situation, Stage, Stock, Surface, Target, Wall, decide,
};
use lanewright_compute::units::{BarrierKind, Length};
use lanewright_compute::wellbeing::{Report, Reported};

pub const TODAY: i32 = 20_000;

pub fn mm(mm: u32) -> Length {
    Length::from_mm(mm)
}

pub fn at(barrier_kind: BarrierKind, height: u32, spacing: u32) -> Configuration {
    Configuration { barrier_kind, height: mm(height), spacing: mm(spacing) }
}

pub fn stock(kind: BarrierKind, heights: &[u32]) -> Stock {
    Stock { kind, heights: heights.iter().copied().map(mm).collect() }
}

pub fn club() -> Vec<Stock> {
    vec![
        stock(BarrierKind::Hurdle, &[762, 600, 680, 840]),
        stock(BarrierKind::Wicket, &[300, 150]),
        stock(BarrierKind::Foam, &[300, 450]),
        stock(BarrierKind::LowBarrier, &[450, 600]),
    ]
}

pub fn secure() -> Ratings {
    Ratings {
        lead_leg: Some(Rating::Secure),
        trail_leg: Some(Rating::Secure),
        walkover: Some(Rating::SecureUnderRace),
        ..Ratings::default()
    }
}

/// An athlete with secure technique who has run enough at a configuration: 18 of 20 intervals held on 3 days, 1 hit.
pub fn ready(at: Configuration) -> Situation {
    Situation {
        current: Some(Current {
            configuration: at,
            evidence: Evidence { held: 18, over_reached: 2, days: 3, barriers: 25, hits: 1, ..Evidence::default() },
            also: Evidence::default(),
        }),
        latest: Some(LatestSession { on: TODAY - 2, held: 9, intervals: 10, barriers: 12, hits: 1, fell: false }),
        ratings: secure(),
        target: Some(Target { height: mm(762), spacing: mm(8_000), barriers: 8, approach: mm(12_000) }),
        stock: club(),
        prior_share: 0.1,
        ..Situation::unseen(TODAY)
    }
}

pub fn hold(mean: f64) -> Hold {
    Hold { mean, p05: (mean - 0.15).max(0.0), p95: (mean + 0.10).min(1.0) }
}

/// Decides with the same probability everywhere.
pub fn flat(situation: &Situation, mean: f64) -> Decision {
    decide(situation, &Policy::default(), &|_, _| hold(mean))
}

/// Decides with 0.90 at the current configuration, and elsewhere one probability for wider and one for other heights.
pub fn offered(situation: &Situation, wider: f64, higher: f64) -> Decision {
    let from = situation.current.unwrap().configuration;
    decide(situation, &Policy::default(), &|height, spacing| {
        hold(if height != from.height {
            higher
        } else if spacing > from.spacing {
            wider
        } else {
            0.90
        })
    })
}

pub fn evidence(situation: &mut Situation) -> &mut Evidence {
    &mut situation.current.as_mut().unwrap().evidence
}

pub fn latest(situation: &mut Situation) -> &mut LatestSession {
    situation.latest.as_mut().unwrap()
}

fn codes(decision: &Decision) -> Vec<&'static str> {
    decision.reasons.iter().map(Reason::code).collect()
}

fn needs(decision: &Decision) -> Vec<&'static str> {
    decision.missing.iter().map(Missing::code).collect()
}

#[track_caller]
fn says(decision: &Decision, kind: DecisionKind, to: Configuration, stage: Stage) {
    assert_eq!(
        (decision.kind, decision.proposed, decision.stage),
        (kind, Some(to), stage),
        "{}",
        decision.explanation()
    );
}

use BarrierKind::{Foam, Hurdle, LowBarrier, Wicket};
use DecisionKind::{
    ChangeBarrierKind, Consolidate, LowerHeight, RaceTest, RestAndRefer, StepIn, StepUpHeight, StepUpSpacing,
};

// Pain, injury, restriction.

#[test]
fn pain_in_the_latest_session_outranks_everything() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.report = Some(Reported { what: Report::Pain, on: TODAY - 2 });
    latest(&mut athlete).fell = true;
    let decision = flat(&athlete, 0.95);
    assert_eq!((decision.kind, decision.proposed), (RestAndRefer, None));
    assert!(decision.needs_confirmation);
    assert_eq!(decision.hold_proposed, None);
    assert_eq!(decision.hold_current, Some(hold(0.95)));
    assert_eq!(codes(&decision), ["pain_reported", "until_cleared"]);
}

fn back(sessions: u32, confirmed: bool) -> Back {
    Back { sessions, confirmed, last_held: Some(at(Hurdle, 680, 7_000)) }
}

#[test]
fn the_first_lane_back_is_one_height_lower_and_one_step_closer_once_a_coach_confirms() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    (athlete.current, athlete.back) = (None, Some(back(0, false)));
    let decision = flat(&athlete, 0.9);
    says(&decision, LowerHeight, at(Hurdle, 600, 6_750), Stage::HeightBuild);
    assert!(decision.needs_confirmation);
    assert_eq!(codes(&decision), ["returning"]);
    assert_eq!(needs(&decision), ["intervals", "days", "coach_confirmation", "sessions_back"]);
    assert!(decision.cautions.contains(&Caution::AfterReport));
    athlete.back = Some(back(0, true));
    let decision = flat(&athlete, 0.9);
    assert_eq!((decision.proposed, decision.needs_confirmation), (Some(at(Hurdle, 600, 6_750)), false));
}

#[test]
fn the_lane_back_comes_closer_until_the_rhythm_should_hold() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    (athlete.current, athlete.back) = (None, Some(back(0, true)));
    let chance = |_, spacing: Length| hold(if spacing <= mm(6_250) { 0.7 } else { 0.5 - spacing.metres() / 100.0 });
    let decision = decide(&athlete, &Policy::default(), &chance);
    assert_eq!(decision.proposed, Some(at(Hurdle, 600, 6_250)));
    // Whoever is crowded holds less closer in, and does not come closer than the rule asks.
    let crowded = decide(&athlete, &Policy::default(), &|_, spacing: Length| hold(spacing.metres() / 20.0));
    assert_eq!(crowded.proposed, Some(at(Hurdle, 600, 6_750)));
}

#[test]
fn two_sessions_and_a_coach_come_before_a_step_up() {
    let mut athlete = ready(at(Hurdle, 600, 6_750));
    athlete.back = Some(back(1, true));
    let decision = flat(&athlete, 0.95);
    says(&decision, Consolidate, at(Hurdle, 600, 6_750), Stage::HeightBuild);
    assert_eq!(needs(&decision), ["sessions_back"]);
    assert!(codes(&decision).contains(&"returning"));
    athlete.back = Some(back(2, false));
    let decision = flat(&athlete, 0.95);
    assert_eq!((decision.kind, decision.needs_confirmation), (Consolidate, true));
    assert_eq!(needs(&decision), ["coach_confirmation"]);
    athlete.back = Some(back(2, true));
    assert_eq!(flat(&athlete, 0.95).kind, StepUpHeight);
}

#[test]
fn whoever_came_back_too_hard_comes_down_to_the_lane_back() {
    let mut athlete = ready(at(Hurdle, 680, 6_500));
    athlete.back = Some(back(1, true));
    says(&flat(&athlete, 0.95), LowerHeight, at(Hurdle, 600, 6_500), Stage::HeightBuild);
    let mut athlete = ready(at(LowBarrier, 450, 7_000));
    athlete.back = Some(back(1, true));
    assert_eq!(flat(&athlete, 0.95).proposed, Some(at(LowBarrier, 450, 6_750)));
}

#[test]
fn on_a_wet_surface_hurdles_become_soft_barriers_one_step_closer() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    athlete.surface = Some(Surface::Wet);
    let decision = flat(&athlete, 0.95);
    says(&decision, ChangeBarrierKind, at(LowBarrier, 600, 6_750), Stage::HeightBuild);
    assert_eq!(needs(&decision), ["dry_surface"]);
    assert!(codes(&decision).contains(&"surface"));
    let rigid = at(Hurdle, 600, 6_000);
    assert_eq!(decision.region.check(rigid, 0.95), Err(Wall::Surface { surface: Surface::Wet }));
    let wider = at(Wicket, 300, 7_000);
    assert_eq!(decision.region.check(wider, 0.95), Err(Wall::Surface { surface: Surface::Wet }));
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.surface = Some(Surface::Uneven);
    says(&flat(&athlete, 0.95), StepIn, at(LowBarrier, 450, 6_250), Stage::HeightBuild);
}

#[test]
fn a_restriction_rests_the_athlete_through_its_last_day_and_no_longer() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.restriction = Some(Restriction { until: Some(TODAY + 30) });
    let decision = flat(&athlete, 0.95);
    assert_eq!(decision.kind, RestAndRefer);
    assert_eq!(decision.valid_until, TODAY + 30);
    assert!(decision.reasons[0].text().contains("2024-11-03"));
    athlete.restriction = Some(Restriction { until: Some(TODAY) });
    assert_eq!(flat(&athlete, 0.95).kind, RestAndRefer);
    athlete.restriction = Some(Restriction { until: Some(TODAY - 1) });
    assert_eq!(flat(&athlete, 0.95).kind, StepUpHeight);
    athlete.restriction = Some(Restriction { until: None });
    assert_eq!(flat(&athlete, 0.95).kind, RestAndRefer);
    assert_eq!(flat(&athlete, 0.95).valid_until, TODAY + 7);
}

// Falls.

#[test]
fn a_fall_brings_the_height_down_and_the_spacing_in_until_a_coach_confirms() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    latest(&mut athlete).fell = true;
    let decision = flat(&athlete, 0.95);
    says(&decision, LowerHeight, at(Hurdle, 600, 6_750), Stage::HeightBuild);
    assert!(decision.needs_confirmation);
    assert!(decision.cautions.contains(&Caution::AfterFall));
    assert_eq!(needs(&decision), ["clean_session", "coach_confirmation"]);
}

#[test]
fn a_fall_at_the_lowest_height_the_club_owns_brings_only_the_spacing_in() {
    let mut athlete = ready(at(Foam, 300, 6_500));
    athlete.stock = vec![stock(Foam, &[300, 450])];
    latest(&mut athlete).fell = true;
    let decision = flat(&athlete, 0.95);
    says(&decision, StepIn, at(Foam, 300, 6_250), Stage::LowBarriers);
    assert_eq!(codes(&decision), ["fell", "no_lower_height"]);
}

#[test]
fn a_fall_with_nothing_lower_and_nothing_shorter_holds_the_athlete_for_the_coach() {
    let mut athlete = ready(at(Foam, 300, 4_000));
    athlete.stock = vec![stock(Foam, &[300])];
    latest(&mut athlete).fell = true;
    let decision = flat(&athlete, 0.95);
    says(&decision, Consolidate, at(Foam, 300, 4_000), Stage::LowBarriers);
    assert!(decision.needs_confirmation);
}

#[test]
fn a_fall_before_any_configuration_starts_over_wickets_one_step_shorter() {
    let mut athlete = ready(at(Foam, 300, 6_500));
    athlete.current = None;
    latest(&mut athlete).fell = true;
    let decision =
        decide(&athlete, &Policy::default(), &|_, spacing| hold(if spacing <= mm(6_000) { 0.85 } else { 0.50 }));
    says(&decision, LowerHeight, at(Wicket, 150, 5_750), Stage::WicketRun);
    assert!(decision.needs_confirmation);
}

#[test]
fn a_fall_with_technique_not_secure_leads_back_to_wickets() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    athlete.ratings.trail_leg = Some(Rating::Emerging);
    latest(&mut athlete).fell = true;
    says(&flat(&athlete, 0.95), LowerHeight, at(Wicket, 150, 6_750), Stage::TrailLeg);
}

#[test]
fn a_confirmed_fall_lets_the_athlete_run_as_advised_before_but_no_wider() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    latest(&mut athlete).fell = true;
    athlete.clearance = Clearance::Pending;
    let before = flat(&athlete, 0.95);
    athlete.clearance = Clearance::Given;
    let decision = flat(&athlete, 0.95);
    says(&decision, LowerHeight, before.proposed.unwrap(), before.stage);
    assert!(!decision.needs_confirmation);
    assert_eq!(needs(&decision), ["clean_session"]);
}

// First lanes and the technique gate.

#[test]
fn an_athlete_without_runs_starts_with_mobility_and_a_wicket_lane_that_should_hold() {
    let mut athlete = Situation::unseen(TODAY);
    athlete.stock = club();
    let decision =
        decide(&athlete, &Policy::default(), &|_, spacing| hold(if spacing <= mm(5_900) { 0.81 } else { 0.79 }));
    says(&decision, Consolidate, at(Wicket, 150, 5_900), Stage::Mobility);
    assert_eq!(needs(&decision), ["intervals", "days", "rating", "rating", "rating"]);
    assert!(decision.cautions.contains(&Caution::ThinEvidence));
}

#[test]
fn a_first_lane_that_no_spacing_should_hold_takes_the_likeliest_one() {
    let athlete = Situation::unseen(TODAY);
    let decision =
        decide(&athlete, &Policy::default(), &|_, spacing| hold(0.7 - (spacing.metres() - 5.5).abs() / 10.0));
    says(&decision, Consolidate, at(Wicket, 300, 5_500), Stage::Mobility);
    assert!(codes(&decision).contains(&"likeliest_lane"));
    assert!(decision.cautions.contains(&Caution::NoWicketsOwned));
}

#[test]
fn a_first_lane_is_never_longer_than_the_target() {
    let mut athlete = ready(at(Wicket, 150, 6_500));
    athlete.current = None;
    says(&flat(&athlete, 0.99), Consolidate, at(Wicket, 150, 8_000), Stage::WicketRun);
}

#[test]
fn the_drill_stage_is_the_first_criterion_that_is_not_secure() {
    let mut athlete = ready(at(Wicket, 150, 6_500));
    athlete.ratings.walkover = None;
    assert_eq!(flat(&athlete, 0.95).stage, Stage::Walkover);
    athlete.ratings.trail_leg = Some(Rating::Emerging);
    assert_eq!(flat(&athlete, 0.95).stage, Stage::TrailLeg);
    athlete.ratings.lead_leg = Some(Rating::NotYet);
    assert_eq!(flat(&athlete, 0.95).stage, Stage::LeadLeg);
    athlete.ratings = Ratings::default();
    assert_eq!(flat(&athlete, 0.95).stage, Stage::Mobility);
}

#[test]
fn technique_not_secure_takes_the_athlete_off_barriers_at_the_same_spacing() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.ratings.lead_leg = Some(Rating::Emerging);
    let decision = flat(&athlete, 0.95);
    says(&decision, ChangeBarrierKind, at(Wicket, 150, 6_500), Stage::LeadLeg);
    assert_eq!(codes(&decision), ["runs_seen", "technique_gate"]);
}

#[test]
fn technique_not_secure_and_a_broken_rhythm_lead_to_wickets_one_step_closer() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.ratings.lead_leg = None;
    says(&flat(&athlete, 0.30), ChangeBarrierKind, at(Wicket, 150, 6_250), Stage::LeadLeg);
}

#[test]
fn a_held_wicket_lane_stays_while_a_rating_is_missing() {
    let mut athlete = ready(at(Wicket, 150, 6_500));
    athlete.ratings.trail_leg = None;
    let decision = flat(&athlete, 0.95);
    says(&decision, Consolidate, at(Wicket, 150, 6_500), Stage::TrailLeg);
    assert_eq!(
        decision.missing,
        [Missing::Rating { criterion: Criterion::TrailLeg, seen: None, needed: Rating::Secure }]
    );
}

// From wickets to barriers.

#[test]
fn a_held_wicket_lane_becomes_the_lowest_softest_barrier_one_step_closer() {
    let athlete = ready(at(Wicket, 150, 6_500));
    let decision = flat(&athlete, 0.90);
    says(&decision, ChangeBarrierKind, at(Foam, 300, 6_250), Stage::LowBarriers);
    assert!(!decision.needs_confirmation);
}

#[test]
fn wickets_give_way_to_barriers_as_far_apart_where_closer_would_crowd() {
    let athlete = ready(at(Wicket, 150, 6_500));
    let chance = |closer: f64| {
        decide(&athlete, &Policy::default(), &|_, spacing| hold(if spacing < mm(6_500) { closer } else { 0.90 }))
    };
    says(&chance(0.80), ChangeBarrierKind, at(Foam, 300, 6_500), Stage::LowBarriers);
    says(&chance(0.90), ChangeBarrierKind, at(Foam, 300, 6_250), Stage::LowBarriers);
}

#[test]
fn wickets_become_hurdles_when_the_club_owns_nothing_softer() {
    let mut athlete = ready(at(Wicket, 300, 6_500));
    athlete.stock = vec![stock(Hurdle, &[680, 600])];
    says(&flat(&athlete, 0.90), ChangeBarrierKind, at(Hurdle, 600, 6_250), Stage::LowBarriers);
}

#[test]
fn wickets_at_the_shortest_spacing_become_barriers_at_the_same_spacing() {
    let athlete = ready(at(Wicket, 150, 4_000));
    says(&flat(&athlete, 0.90), ChangeBarrierKind, at(Foam, 300, 4_000), Stage::LowBarriers);
}

#[test]
fn wickets_open_one_step_when_the_lowest_barrier_is_too_unlikely() {
    let athlete = ready(at(Wicket, 150, 6_500));
    says(&offered(&athlete, 0.75, 0.50), StepUpSpacing, at(Wicket, 150, 6_750), Stage::RhythmWickets);
}

#[test]
fn wickets_never_give_way_to_a_barrier_above_the_target() {
    let mut athlete = ready(at(Wicket, 150, 8_000));
    athlete.stock = vec![stock(Wicket, &[150]), stock(Hurdle, &[840])];
    let decision = flat(&athlete, 0.95);
    says(&decision, Consolidate, at(Wicket, 150, 8_000), Stage::RhythmWickets);
    assert_eq!(needs(&decision), ["equipment"]);
}

// Steps up.

#[test]
fn the_likelier_step_is_taken_when_it_is_the_spacing() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    let decision = offered(&athlete, 0.80, 0.70);
    says(&decision, StepUpSpacing, at(Hurdle, 600, 6_750), Stage::SpacingBuild);
    assert!(codes(&decision).contains(&"likelier_step"));
    assert!(decision.missing.is_empty());
}

#[test]
fn the_likelier_step_is_taken_when_it_is_the_height() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    let decision = offered(&athlete, 0.70, 0.80);
    says(&decision, StepUpHeight, at(Hurdle, 680, 6_500), Stage::HeightBuild);
    assert!(!decision.needs_confirmation);
}

#[test]
fn a_tie_goes_to_the_step_further_from_the_target() {
    // 0.600 of 0.762 m is 21 % short; 6.50 of 8.00 m is 19 % short; 6.00 m is 25 % short.
    assert_eq!(flat(&ready(at(Hurdle, 600, 6_500)), 0.9).kind, StepUpHeight);
    assert_eq!(flat(&ready(at(Hurdle, 600, 6_000)), 0.9).kind, StepUpSpacing);
}

#[test]
fn a_tie_without_a_target_goes_to_the_spacing() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    athlete.target = None;
    let decision = flat(&athlete, 0.9);
    says(&decision, StepUpSpacing, at(Hurdle, 600, 6_750), Stage::SpacingBuild);
    assert!(codes(&decision).contains(&"spacing_first"));
    assert!(decision.cautions.contains(&Caution::NoTarget));
    assert!(!decision.needs_confirmation);
}

#[test]
fn a_height_step_without_a_target_waits_for_a_coach() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    athlete.target = None;
    let decision = offered(&athlete, 0.6, 0.8);
    says(&decision, StepUpHeight, at(Hurdle, 680, 6_500), Stage::HeightBuild);
    assert!(decision.needs_confirmation);
}

#[test]
fn without_a_target_the_spacing_never_passes_the_longest_of_the_policy() {
    let mut athlete = ready(at(Hurdle, 840, 9_000));
    athlete.target = None;
    assert_eq!(flat(&athlete, 0.9).proposed, Some(at(Hurdle, 840, 9_140)));
    let mut athlete = ready(at(Hurdle, 840, 9_140));
    athlete.target = None;
    says(&flat(&athlete, 0.9), Consolidate, at(Hurdle, 840, 9_140), Stage::HeightBuild);
}

#[test]
fn a_step_that_leaves_less_than_the_policy_asks_is_not_taken() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    let decision = offered(&athlete, 0.64, 0.60);
    says(&decision, Consolidate, at(Hurdle, 600, 6_500), Stage::HeightBuild);
    assert_eq!(needs(&decision), ["likelier_step"]);
    assert!(decision.reasons.contains(&Reason::NextStepUnlikely { mean: 0.64, needed: 0.65 }));
    assert_eq!(offered(&athlete, 0.65, 0.60).kind, StepUpSpacing);
}

#[test]
fn the_last_spacing_step_lands_on_the_target_itself() {
    let mut athlete = ready(at(Hurdle, 762, 9_000));
    athlete.target.as_mut().unwrap().spacing = mm(9_140);
    says(&flat(&athlete, 0.9), StepUpSpacing, at(Hurdle, 762, 9_140), Stage::CompetitionSpec);
}

#[test]
fn the_next_height_skips_what_the_club_does_not_own() {
    let mut athlete = ready(at(Hurdle, 600, 8_000));
    athlete.stock = vec![stock(Hurdle, &[600, 762])];
    says(&flat(&athlete, 0.9), StepUpHeight, at(Hurdle, 762, 8_000), Stage::CompetitionSpec);
}

#[test]
fn an_owned_height_within_half_a_centimetre_of_the_target_is_the_target() {
    let mut athlete = ready(at(Hurdle, 680, 8_000));
    athlete.target.as_mut().unwrap().height = mm(685);
    assert_eq!(flat(&athlete, 0.9).kind, RaceTest);
}

#[test]
fn a_target_height_that_the_club_does_not_own_is_named_as_missing_equipment() {
    let mut athlete = ready(at(Hurdle, 600, 8_000));
    athlete.stock = vec![stock(Hurdle, &[600, 840])];
    let decision = flat(&athlete, 0.9);
    says(&decision, Consolidate, at(Hurdle, 600, 8_000), Stage::LowBarriers);
    assert_eq!(decision.missing, [Missing::Equipment { up_to: Some(mm(762)) }]);
}

#[test]
fn foam_and_low_barriers_follow_one_another_with_the_height() {
    let athlete = ready(at(Foam, 450, 8_000));
    says(&flat(&athlete, 0.9), StepUpHeight, at(LowBarrier, 600, 8_000), Stage::HeightBuild);
}

#[test]
fn low_barriers_change_to_hurdles_at_their_own_height_before_the_height_rises() {
    let athlete = ready(at(LowBarrier, 600, 8_000));
    let decision = flat(&athlete, 0.9);
    says(&decision, ChangeBarrierKind, at(Hurdle, 600, 8_000), Stage::HeightBuild);
    assert!(codes(&decision).contains(&"kind_before_height"));
}

#[test]
fn hurdles_that_start_higher_up_bring_the_spacing_in_and_ask_a_coach() {
    let mut athlete = ready(at(Foam, 450, 8_000));
    athlete.stock = vec![stock(Foam, &[450]), stock(Hurdle, &[600])];
    let decision = flat(&athlete, 0.9);
    says(&decision, ChangeBarrierKind, at(Hurdle, 600, 7_750), Stage::HeightBuild);
    assert!(decision.needs_confirmation);
    assert!(codes(&decision).contains(&"kind_with_height"));
}

#[test]
fn barriers_that_start_higher_up_ask_a_coach_also_where_the_spacing_cannot_come_in() {
    let mut athlete = ready(at(Foam, 450, 8_000));
    athlete.stock = vec![stock(Foam, &[450]), stock(Hurdle, &[600])];
    let shortest = Policy { min_spacing: mm(8_000), ..Policy::default() };
    let decision = decide(&athlete, &shortest, &|_, _| hold(0.9));
    says(&decision, ChangeBarrierKind, at(Hurdle, 600, 8_000), Stage::HeightBuild);
    assert!(decision.needs_confirmation);
    assert!(codes(&decision).contains(&"kind_with_height"));
}

// Not ready.

#[test]
fn eleven_intervals_are_one_short_and_twelve_are_enough() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    evidence(&mut athlete).held = 9;
    let decision = flat(&athlete, 0.9);
    says(&decision, Consolidate, at(Hurdle, 600, 6_500), Stage::HeightBuild);
    assert_eq!(decision.missing, [Missing::Intervals { count: 1 }]);
    evidence(&mut athlete).held = 10;
    assert_eq!(flat(&athlete, 0.9).kind, StepUpHeight);
}

#[test]
fn one_day_is_not_enough() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    evidence(&mut athlete).days = 1;
    let decision = flat(&athlete, 0.9);
    assert_eq!(decision.kind, Consolidate);
    assert_eq!(decision.missing, [Missing::Days { count: 1 }]);
}

#[test]
fn a_mean_or_a_low_quantile_under_the_policy_consolidates() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    let decision = flat(&athlete, 0.79);
    assert_eq!((decision.kind, needs(&decision)), (Consolidate, vec!["hold_mean"]));
    let wide = Hold { mean: 0.85, p05: 0.59, p95: 0.97 };
    let decision = decide(&athlete, &Policy::default(), &|_, _| wide);
    assert_eq!((decision.kind, needs(&decision)), (Consolidate, vec!["hold_low"]));
}

#[test]
fn hits_on_a_tenth_of_the_barriers_pass_and_one_more_does_not() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    *evidence(&mut athlete) = Evidence { barriers: 30, hits: 3, ..*evidence(&mut athlete) };
    assert_eq!(flat(&athlete, 0.9).kind, StepUpHeight);
    evidence(&mut athlete).hits = 4;
    let decision = flat(&athlete, 0.9);
    assert_eq!((decision.kind, needs(&decision)), (Consolidate, vec!["fewer_hits"]));
}

#[test]
fn any_rated_criterion_below_secure_consolidates_except_the_arms() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    athlete.ratings.arms = Some(Rating::NotYet);
    assert_eq!(flat(&athlete, 0.9).kind, StepUpHeight);
    let strict = Policy { arms_count: true, ..Policy::default() };
    assert_eq!(decide(&athlete, &strict, &|_, _| hold(0.9)).kind, Consolidate);
    athlete.ratings.landing = Some(Rating::Emerging);
    let decision = flat(&athlete, 0.9);
    says(&decision, Consolidate, at(Hurdle, 600, 6_500), Stage::HeightBuild);
    assert_eq!(needs(&decision), ["rating"]);
}

#[test]
fn a_probability_that_is_not_a_number_never_steps_up() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    assert_eq!(flat(&athlete, f64::NAN).kind, Consolidate);
}

// Steps back.

#[test]
fn a_mean_below_what_a_lane_needs_brings_the_spacing_in_one_step() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    says(&flat(&athlete, 0.64), StepIn, at(Hurdle, 600, 6_250), Stage::HeightBuild);
    assert_eq!(flat(&athlete, 0.65).kind, Consolidate);
}

#[test]
fn a_latest_session_mostly_broken_brings_the_spacing_in_whatever_came_before() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    *latest(&mut athlete) = LatestSession { held: 3, intervals: 8, ..*latest(&mut athlete) };
    let decision = flat(&athlete, 0.9);
    says(&decision, StepIn, at(Hurdle, 600, 6_250), Stage::HeightBuild);
    assert!(codes(&decision).contains(&"latest_broken"));
    latest(&mut athlete).held = 4;
    assert_eq!(flat(&athlete, 0.9).kind, StepUpHeight);
}

#[test]
fn a_latest_session_of_seven_intervals_is_too_short_to_step_back() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    *latest(&mut athlete) = LatestSession { held: 1, intervals: 7, ..*latest(&mut athlete) };
    assert_eq!(flat(&athlete, 0.9).kind, StepUpHeight);
}

#[test]
fn hits_while_the_rhythm_holds_bring_the_height_down_not_the_spacing() {
    let mut athlete = ready(at(Hurdle, 680, 6_500));
    latest(&mut athlete).hits = 3;
    says(&flat(&athlete, 0.9), LowerHeight, at(Hurdle, 600, 6_500), Stage::HeightBuild);
    says(&flat(&athlete, 0.4), StepIn, at(Hurdle, 680, 6_250), Stage::HeightBuild);
}

#[test]
fn hits_at_the_configuration_count_when_the_latest_session_was_short() {
    let mut athlete = ready(at(Hurdle, 680, 6_500));
    latest(&mut athlete).barriers = 5;
    evidence(&mut athlete).hits = 6;
    assert_eq!(flat(&athlete, 0.9).kind, LowerHeight);
    evidence(&mut athlete).hits = 5;
    assert_eq!(flat(&athlete, 0.9).kind, Consolidate);
}

#[test]
fn hits_at_the_lowest_barrier_lead_back_to_wickets_and_without_wickets_to_the_same_again() {
    let mut athlete = ready(at(Foam, 300, 6_500));
    latest(&mut athlete).hits = 6;
    says(&flat(&athlete, 0.9), LowerHeight, at(Wicket, 150, 6_500), Stage::RhythmWickets);
    athlete.stock = vec![stock(Foam, &[300])];
    let decision = flat(&athlete, 0.9);
    says(&decision, Consolidate, at(Foam, 300, 6_500), Stage::LowBarriers);
    assert!(codes(&decision).contains(&"no_lower_height"));
}

#[test]
fn coming_down_never_leads_onto_a_harder_kind() {
    let mut athlete = ready(at(LowBarrier, 600, 6_500));
    athlete.stock = vec![stock(Hurdle, &[500]), stock(LowBarrier, &[600, 400])];
    latest(&mut athlete).hits = 6;
    assert_eq!(flat(&athlete, 0.9).proposed, Some(at(LowBarrier, 400, 6_500)));
}

#[test]
fn the_spacing_never_comes_in_below_the_shortest_of_the_policy() {
    let athlete = ready(at(Hurdle, 680, 4_000));
    let decision = flat(&athlete, 0.3);
    says(&decision, LowerHeight, at(Hurdle, 600, 4_000), Stage::HeightBuild);
    assert!(codes(&decision).contains(&"spacing_at_minimum"));
}

#[test]
fn a_spacing_off_the_grid_comes_in_by_half_a_step_or_more() {
    let mut athlete = ready(at(Hurdle, 762, 9_140));
    athlete.target = None;
    assert_eq!(flat(&athlete, 0.3).proposed.unwrap().spacing, mm(9_000));
    let mut athlete = ready(at(Hurdle, 762, 9_100));
    athlete.target = None;
    assert_eq!(flat(&athlete, 0.3).proposed.unwrap().spacing, mm(8_750));
}

/// 4 of 16 intervals held and the rest crowded; every wider spacing is likelier.
fn crowded(athlete: &mut Situation) -> Decision {
    *evidence(athlete) = Evidence { held: 4, over_reached: 0, crowded: 12, ..*evidence(athlete) };
    decide(athlete, &Policy::default(), &|_, spacing| hold(spacing.metres() / 12.0))
}

#[test]
fn a_crowded_athlete_runs_one_step_wider_once_a_coach_confirms() {
    let decision = crowded(&mut ready(at(Hurdle, 600, 5_000)));
    says(&decision, StepUpSpacing, at(Hurdle, 600, 5_250), Stage::SpacingBuild);
    assert!(decision.needs_confirmation);
    assert!(codes(&decision).contains(&"crowded"));
}

#[test]
fn a_crowded_athlete_may_run_the_advised_step_and_nothing_else_below_the_floor() {
    let mut athlete = ready(at(Hurdle, 600, 5_000));
    let region = crowded(&mut athlete).region;
    let advised = at(Hurdle, 600, 5_250);
    let chance = |at: Configuration| at.spacing.metres() / 12.0;
    assert!(chance(advised) < region.floor());
    assert_eq!((region.check(advised, chance(advised)), region.below_floor()), (Ok(()), true));
    for other in [at(Hurdle, 600, 5_000), at(LowBarrier, 600, 5_250), at(LowBarrier, 450, 5_250)] {
        assert_eq!(region.check(other, chance(other)), Err(Wall::HoldFloor { needed: 0.65 }));
    }
    let wider = at(Hurdle, 600, 5_500);
    assert_eq!(region.check(wider, 0.99), Err(Wall::SpacingAboveAdvice { longest: mm(5_250) }));
    let wished = region.wanting(0.7);
    assert_eq!(wished.check(advised, chance(advised)), Err(Wall::HoldFloor { needed: 0.7 }));
    athlete.clearance = Clearance::Pending;
    let after_a_fall = crowded(&mut athlete);
    let same = after_a_fall.proposed.unwrap();
    assert_eq!(after_a_fall.region.check(same, chance(same)), Err(Wall::HoldFloor { needed: 0.65 }));
}

#[test]
fn a_crowded_athlete_stays_where_the_target_is_no_wider() {
    let mut athlete = ready(at(Hurdle, 600, 5_000));
    athlete.target.as_mut().unwrap().spacing = mm(5_000);
    let decision = crowded(&mut athlete);
    assert_eq!((decision.kind, decision.proposed), (Consolidate, Some(at(Hurdle, 600, 5_000))));
    assert!(decision.needs_confirmation);
}

#[test]
fn a_crowded_athlete_does_not_run_wider_before_a_coach_cleared_a_fall_or_pain() {
    let mut athlete = ready(at(Hurdle, 600, 5_000));
    athlete.clearance = Clearance::Pending;
    assert_eq!(crowded(&mut athlete).kind, Consolidate);
    athlete.clearance = Clearance::Given;
    latest(&mut athlete).fell = true;
    assert_eq!(crowded(&mut athlete).kind, LowerHeight);
}

#[test]
fn failures_that_are_not_crowded_do_not_open_the_spacing() {
    let mut athlete = ready(at(Hurdle, 600, 5_000));
    *evidence(&mut athlete) = Evidence { held: 4, over_reached: 8, crowded: 4, ..*evidence(&mut athlete) };
    let decision = decide(&athlete, &Policy::default(), &|_, spacing| hold(spacing.metres() / 12.0));
    says(&decision, StepIn, at(Hurdle, 600, 4_750), Stage::HeightBuild);
}

// The target.

#[test]
fn the_target_specification_held_is_a_race_test() {
    let athlete = ready(at(Hurdle, 762, 8_000));
    let decision = flat(&athlete, 0.9);
    says(&decision, RaceTest, at(Hurdle, 762, 8_000), Stage::RaceTest);
    assert!(decision.explanation().contains("8 hurdles"));
}

#[test]
fn the_target_specification_not_yet_held_is_consolidated() {
    let athlete = ready(at(Hurdle, 762, 8_000));
    says(&flat(&athlete, 0.7), Consolidate, at(Hurdle, 762, 8_000), Stage::CompetitionSpec);
}

#[test]
fn the_target_held_over_softer_barriers_is_first_run_over_hurdles() {
    let mut athlete = ready(at(LowBarrier, 600, 8_000));
    athlete.target.as_mut().unwrap().height = mm(600);
    says(&flat(&athlete, 0.9), ChangeBarrierKind, at(Hurdle, 600, 8_000), Stage::CompetitionSpec);
    athlete.stock.retain(|entry| entry.kind != Hurdle);
    assert_eq!(flat(&athlete, 0.9).kind, RaceTest);
}

#[test]
fn beyond_the_target_the_athlete_comes_back_height_first() {
    let athlete = ready(at(Hurdle, 840, 8_500));
    says(&flat(&athlete, 0.9), LowerHeight, at(Hurdle, 762, 8_500), Stage::SpacingBuild);
    let athlete = ready(at(Hurdle, 762, 8_500));
    says(&flat(&athlete, 0.9), StepIn, at(Hurdle, 762, 8_250), Stage::SpacingBuild);
    let athlete = ready(at(Hurdle, 762, 8_100));
    says(&flat(&athlete, 0.9), StepIn, at(Hurdle, 762, 8_000), Stage::CompetitionSpec);
}

// Words, cautions, policy.

#[test]
fn every_decision_carries_the_base_cautions_and_those_of_its_day() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    athlete.surface = Some(Surface::Wet);
    let decision = flat(&athlete, 0.9);
    assert_eq!(decision.cautions[..10], Caution::BASE);
    assert_eq!(decision.cautions[10..], [Caution::WetSurface, Caution::GrowthPainSigns]);
    athlete.surface = None;
    athlete.minor = false;
    athlete.prior_share = 0.6;
    assert_eq!(flat(&athlete, 0.9).cautions[10..], [Caution::ThinEvidence]);
}

#[test]
fn words_and_codes_are_distinct_and_read_back() {
    for kind in DecisionKind::ALL {
        assert_eq!(DecisionKind::from_word(kind.as_str()), Some(kind));
    }
    assert_eq!(Rating::from_level(3), Some(Rating::SecureUnderRace));
    assert_eq!(Rating::from_level(4), None);
}

#[test]
fn a_policy_names_each_of_its_broken_fields() {
    assert!(Policy::default().check().is_empty());
    let broken = Policy {
        min_hold_mean: 1.2,
        min_hold_p05: f64::NAN,
        max_hit_share: 0.3,
        min_intervals: 0,
        min_rating: Rating::NotYet,
        spacing_step: mm(30),
        min_spacing: mm(9_500),
        ..Policy::default()
    };
    let fields: Vec<_> = broken.check().iter().map(|fault| fault.field).collect();
    assert_eq!(
        fields,
        [
            "min_hold_mean",
            "min_hold_p05",
            "max_hit_share",
            "min_intervals",
            "min_rating",
            "spacing_step",
            "fit_step",
            "min_spacing",
            "spacing_tolerance"
        ]
    );
}

#[test]
fn a_clubs_own_policy_changes_the_decision() {
    let athlete = ready(at(Hurdle, 600, 6_500));
    let patient = Policy { min_intervals: 30, recompute_after_days: 3, ..Policy::default() };
    let decision = decide(&athlete, &patient, &|_, _| hold(0.9));
    assert_eq!(decision.missing, [Missing::Intervals { count: 10 }]);
    assert_eq!(decision.valid_until, TODAY + 3);
    let coarse = Policy { spacing_step: mm(500), ..Policy::default() };
    let decision = decide(&athlete, &coarse, &|_, _| hold(0.3));
    assert_eq!(decision.proposed, Some(at(Hurdle, 600, 6_000)));
}
