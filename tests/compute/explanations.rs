//! What coaches read: whole explanations, every code and every sentence.
#![allow(clippy::unwrap_used)] // in helpers, too: a situation without its part is a broken test

use std::collections::{BTreeMap, BTreeSet};

use lanewright_compute::advice::AdviceError;
use lanewright_compute::decision::{
    Back, Caution, Configuration, Criterion, Decision, DecisionKind, Evidence, Given, LatestSession, Missing, Policy,
    Rating, Reason, Restriction, Situation, Surface, Wall, Word, decide,
};
use lanewright_compute::estimate::EstimateError;
use lanewright_compute::lane_plan::WEIGHT_MOST;
use lanewright_compute::params::{CodeDoc, Kind, PARAMS, Param, Value};
use lanewright_compute::prior::PriorError;
use lanewright_compute::progress::{HeldUp, Note};
use lanewright_compute::standing::Standing;
use lanewright_compute::units::BarrierKind::{Hurdle, LowBarrier, Wicket};
use lanewright_compute::wellbeing::{Report, Reported};
use proptest::prelude::*;

use super::decision::{TODAY, at, club, evidence, flat, hold, latest, mm, offered, ready};
use super::decision_laws::{advise, situation, steps_up};

// Whole explanations. A change of wording changes these on purpose.

#[track_caller]
fn reads(decision: &Decision, kind: DecisionKind, text: &str) {
    assert_eq!((decision.kind, decision.explanation().as_str()), (kind, text));
}

#[test]
fn a_novice_without_runs() {
    let mut athlete = Situation::unseen(TODAY);
    athlete.stock = club();
    let decision =
        decide(&athlete, &Policy::default(), &|_, spacing| hold(if spacing <= mm(5_900) { 0.81 } else { 0.79 }));
    reads(
        &decision,
        DecisionKind::Consolidate,
        "Too few three-stride runs are on file, and the lead leg, trail leg and walkover are not rated. Start with \
         wickets at 0.15 m, 5.90 m apart: expect 81 % held (likely 66 to 91 %). A step up needs these rated secure, \
         and 12 more intervals on 2 more days.",
    );
}

#[test]
fn the_gate_closed_takes_the_athlete_back_to_wickets() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.ratings.lead_leg = Some(Rating::Emerging);
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::ChangeBarrierKind,
        "18 of 20 intervals held over low barriers at 0.45 m, 6.50 m apart, but the lead leg is rated emerging. \
         Change to wickets at 0.15 m, 6.50 m apart: expect 95 % held (likely 80 to 100 %). A step up needs the lead \
         leg rated secure.",
    );
}

#[test]
fn from_wickets_to_the_lowest_barrier() {
    reads(
        &flat(&ready(at(Wicket, 150, 6_500)), 0.90),
        DecisionKind::ChangeBarrierKind,
        "18 of 20 intervals held over wickets at 0.15 m, 6.50 m apart, so the lowest barriers may replace them. \
         Change to foam barriers at 0.30 m, 6.25 m apart: expect 90 % held (likely 75 to 100 %). Step back if the \
         athlete falls, holds under 50 % of 8 or more intervals, or hits over 20 % of barriers.",
    );
}

#[test]
fn a_step_up_in_spacing() {
    reads(
        &offered(&ready(at(Hurdle, 600, 6_500)), 0.80, 0.70),
        DecisionKind::StepUpSpacing,
        "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, and spacing is the likelier next step. Open \
         the spacing to 6.75 m, still over hurdles at 0.60 m: expect 80 % held (likely 65 to 90 %). Step back if the \
         athlete falls, holds under 50 % of 8 or more intervals, or hits over 20 % of barriers.",
    );
}

#[test]
fn a_step_up_in_height() {
    reads(
        &offered(&ready(at(Hurdle, 600, 6_500)), 0.70, 0.80),
        DecisionKind::StepUpHeight,
        "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, and height is the likelier next step. Raise \
         the hurdles to 0.68 m, still 6.50 m apart: expect 80 % held (likely 65 to 90 %). Step back if the athlete \
         falls, holds under 50 % of 8 or more intervals, or hits over 20 % of barriers.",
    );
}

#[test]
fn a_change_to_hurdles_before_the_height_rises() {
    reads(
        &flat(&ready(at(LowBarrier, 600, 8_000)), 0.9),
        DecisionKind::ChangeBarrierKind,
        "18 of 20 intervals held over low barriers at 0.60 m, 8.00 m apart, so a step up is open, but the next \
         height needs other barriers. Change to hurdles at 0.60 m, 8.00 m apart: expect 90 % held (likely 75 to 100 \
         %). Step back if the athlete falls, holds under 50 % of 8 or more intervals, or hits over 20 % of barriers.",
    );
}

#[test]
fn the_same_again_with_what_is_missing() {
    let mut athlete = ready(at(Wicket, 300, 5_750));
    *evidence(&mut athlete) = Evidence { held: 7, over_reached: 1, days: 1, barriers: 10, ..Evidence::default() };
    athlete.ratings.trail_leg = Some(Rating::Emerging);
    reads(
        &flat(&athlete, 0.9),
        DecisionKind::Consolidate,
        "7 of 8 intervals held over wickets at 0.30 m, 5.75 m apart, but the trail leg is rated emerging. Stay with \
         wickets at 0.30 m, 5.75 m apart: expect 90 % held (likely 75 to 100 %). A step up needs the trail leg rated \
         secure, and 4 more intervals on 1 more day.",
    );
}

#[test]
fn the_same_again_because_the_next_step_is_too_far() {
    reads(
        &offered(&ready(at(Hurdle, 600, 6_500)), 0.64, 0.60),
        DecisionKind::Consolidate,
        "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, but the likeliest next step should hold only \
         64 %. Stay with hurdles at 0.60 m, 6.50 m apart: expect 90 % held (likely 75 to 100 %). A step up needs a \
         next step that should hold 65 % of intervals.",
    );
}

#[test]
fn a_step_in_after_a_broken_session() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    *latest(&mut athlete) = LatestSession { held: 3, intervals: 8, ..*latest(&mut athlete) };
    reads(
        &flat(&athlete, 0.9),
        DecisionKind::StepIn,
        "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, but only 3 of 8 in the last session. Bring \
         the spacing in to 6.25 m, still over hurdles at 0.60 m: expect 90 % held (likely 75 to 100 %). A step up \
         needs a session with at least 50 % held.",
    );
}

#[test]
fn a_lower_height_after_hits() {
    let mut athlete = ready(at(Hurdle, 680, 6_500));
    latest(&mut athlete).hits = 3;
    reads(
        &flat(&athlete, 0.9),
        DecisionKind::LowerHeight,
        "18 of 20 intervals held over hurdles at 0.68 m, 6.50 m apart, but 3 of 12 barriers were hit. Lower the \
         hurdles to 0.60 m, still 6.50 m apart: expect 90 % held (likely 75 to 100 %). A step up needs at most 10 % \
         of barriers hit.",
    );
}

#[test]
fn a_fall() {
    let mut athlete = ready(at(Hurdle, 680, 7_000));
    latest(&mut athlete).fell = true;
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::LowerHeight,
        "The athlete fell in the latest session. Once a coach confirms, come down to hurdles at 0.60 m, 6.75 m \
         apart: expect 95 % held (likely 80 to 100 %). A step up needs a coach's confirmation and a session without \
         a fall or pain.",
    );
}

#[test]
fn pain_and_a_restriction() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.report = Some(Reported { what: Report::Pain, on: TODAY });
    athlete.restriction = Some(Restriction { until: Some(TODAY + 30) });
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::RestAndRefer,
        "Pain was reported on 2024-10-04, and a restriction stands until 2024-11-03. No running over barriers: rest, and \
         refer the athlete for medical advice. Running resumes only when a coach confirms it and any medical advice \
         allows it.",
    );
}

#[test]
fn the_first_lane_back_and_the_sessions_after_it() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    let last_held = Some(at(LowBarrier, 600, 6_750));
    athlete.back = Some(Back { sessions: 1, confirmed: true, last_held });
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::Consolidate,
        "18 of 20 intervals held over low barriers at 0.45 m, 6.50 m apart, and the athlete is just back, but a step up is \
         not open yet. Stay with low barriers at 0.45 m, 6.50 m apart: expect 95 % held (likely 80 to 100 %). A step up \
         needs 1 more session after the return.",
    );
    athlete.current = None;
    athlete.back = Some(Back { sessions: 0, confirmed: false, last_held });
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::LowerHeight,
        "The athlete is just back. Once a coach confirms, start with low barriers at 0.45 m, \
         6.50 m apart: expect 95 % held (likely 80 to 100 %). A step up needs a coach's confirmation, and 2 more sessions \
         after the return, and 12 more intervals on 2 more days.",
    );
}

#[test]
fn a_wet_surface() {
    let mut athlete = ready(at(Hurdle, 600, 6_500));
    athlete.surface = Some(Surface::Wet);
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::ChangeBarrierKind,
        "18 of 20 intervals held over hurdles at 0.60 m, 6.50 m apart, but the surface is wet, and a step up is not open \
         yet. Change to low barriers at 0.60 m, 6.25 m apart: expect 95 % held (likely 80 to 100 %). A step up needs a dry, \
         even surface.",
    );
}

fn said(at: Configuration, tried: Evidence) -> Given {
    let word = Word {
        at,
        overridden: true,
        coach_accepts: false,
        on: TODAY - 2,
        since: TODAY - 2,
        until: TODAY + 5,
        overtaken: false,
        gate_rated: None,
    };
    Given { word, tried }
}

#[test]
fn a_coach_s_word_that_stands() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.word = Some(said(at(LowBarrier, 450, 6_000), Evidence::default()));
    reads(
        &flat(&athlete, 0.95),
        DecisionKind::StepIn,
        "18 of 20 intervals held over low barriers at 0.45 m, 6.50 m apart, but a coach chose otherwise. Bring the \
         spacing in to 6.00 m, still over low barriers at 0.45 m: expect 95 % held (likely 80 to 100 %). This stands \
         until 2024-10-09, the coach's next word, or runs that speak against it.",
    );
}

#[test]
fn a_coach_s_word_that_runs_speak_against() {
    let mut athlete = ready(at(LowBarrier, 450, 6_500));
    athlete.ratings.landing = Some(Rating::NotYet);
    let tried = Evidence { held: 3, over_reached: 7, barriers: 12, hits: 1, ..Evidence::default() };
    athlete.word = Some(said(at(LowBarrier, 450, 6_500), tried));
    let decision = flat(&athlete, 0.95);
    assert_eq!(decision.governed, None);
    reads(
        &decision,
        DecisionKind::Consolidate,
        "18 of 20 intervals held over low barriers at 0.45 m, 6.50 m apart, and the coach's word no longer stands after \
         these runs, but the landing is rated \"not yet\". Stay with low barriers at 0.45 m, 6.50 m apart: expect 95 % held \
         (likely 80 to 100 %). A step up needs the landing rated secure.",
    );
}

#[test]
fn a_race_test_at_the_target() {
    reads(
        &flat(&ready(at(Hurdle, 762, 8_000)), 0.9),
        DecisionKind::RaceTest,
        "18 of 20 intervals held over hurdles at 0.762 m, 8.00 m apart, so the target specification is held. Run a \
         race test over 8 hurdles at 0.762 m, 8.00 m apart, 12.00 m from the start: expect 90 % held (likely 75 to \
         100 %). Step back if the athlete falls, holds under 50 % of 8 or more intervals, or hits over 20 % of \
         barriers.",
    );
}

#[test]
fn back_from_beyond_the_target() {
    reads(
        &flat(&ready(at(Hurdle, 762, 8_500)), 0.9),
        DecisionKind::StepIn,
        "18 of 20 intervals held over hurdles at 0.762 m, 8.50 m apart, but that is beyond the target specification. \
         Bring the spacing in to 8.25 m, still over hurdles at 0.762 m: expect 90 % held (likely 75 to 100 %). This \
         changes when the target does, with the next age group or season.",
    );
}

#[test]
fn crowded_intervals_open_the_spacing_once_a_coach_confirms() {
    let mut athlete = ready(at(Hurdle, 600, 5_000));
    *evidence(&mut athlete) = Evidence { held: 4, over_reached: 0, crowded: 12, ..*evidence(&mut athlete) };
    let decision = decide(&athlete, &Policy::default(), &|_, spacing| hold(spacing.metres() / 12.0));
    reads(
        &decision,
        DecisionKind::StepUpSpacing,
        "4 of 16 intervals held over hurdles at 0.60 m, 5.00 m apart, and most broken ones were crowded, so coming in \
         would not help. Once a coach confirms, open the spacing to 5.25 m, still over hurdles at 0.60 m: expect 44 % \
         held (likely 29 to 54 %). Step back if the athlete falls, holds under 50 % of 8 or more intervals, or hits \
         over 20 % of barriers.",
    );
}

// Laws of every explanation.

/// Words as a reader counts them: a unit belongs to its figure.
fn words(text: &str) -> usize {
    let unit = |word: &str| matches!(word.trim_end_matches([',', '.', ':', ';', ')']), "m" | "%");
    text.split_whitespace().filter(|word| !unit(word)).count()
}

/// A full stop inside a figure is followed by a digit, one at the end of a sentence is not.
fn sentences(text: &str) -> Vec<&str> {
    text.split_inclusive(". ").map(str::trim_end).collect()
}

fn figure(length: lanewright_compute::units::Length) -> String {
    let metres = length.metres();
    if length.mm().is_multiple_of(10) { format!("{metres:.2} m") } else { format!("{metres:.3} m") }
}

const STEPS_UP: [&str; 5] = ["Open the spacing", "Raise", "Go up", "race test", "step up is open"];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1_500) })]

    #[test]
    fn every_explanation_is_two_or_three_short_sentences_with_the_proposal_and_what_would_change_it(
        s in situation(), limit in 5.0..12.0,
    ) {
        let decision = advise(&s, limit);
        let text = decision.explanation();
        let all = sentences(&text);
        prop_assert!((2..=3).contains(&all.len()), "{text}");
        for one in &all {
            prop_assert!(one.starts_with(char::is_alphanumeric) && one.ends_with('.'), "{text}");
            prop_assert!(!one.starts_with(char::is_lowercase), "{text}");
        }
        prop_assert!(words(&text) <= 60, "{}: {text}", words(&text));
        if let Some(to) = decision.proposed {
            prop_assert!(all[1].contains(&figure(to.spacing)) && all[1].contains(&figure(to.height)), "{text}");
        }
        let ahead = ["needs", "Step back if", "resumes only when", "changes when"];
        prop_assert!(ahead.iter().any(|words| all[2].contains(words)), "{text}");
        prop_assert!(!text.contains("  ") && !text.contains("NaN") && !text.contains(", ,"), "{text}");
    }

    #[test]
    fn no_explanation_speaks_of_a_step_up_after_a_fall_or_pain(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        let text = decision.explanation();
        let back = s.back.is_some_and(|back| back.sessions < 2 || !back.confirmed);
        let pain = s.report.is_some() || back;
        let fell = s.latest.is_some_and(|latest| latest.fell);
        if pain || fell || s.restriction.is_some_and(|flag| flag.until.is_none_or(|day| day >= TODAY)) {
            prop_assert!(!STEPS_UP.iter().any(|words| text.contains(words)), "{text}");
        }
        if !steps_up(&decision) {
            prop_assert!(!STEPS_UP[..4].iter().any(|words| text.contains(words)), "{text}");
        }
        if decision.kind == DecisionKind::RestAndRefer {
            prop_assert!(text.contains("No running") && text.contains("coach confirms"), "{text}");
        }
        if decision.needs_confirmation {
            prop_assert!(text.to_lowercase().contains("coach confirms"), "{text}");
        }
    }

    #[test]
    fn every_code_and_parameter_that_is_said_is_on_the_list(s in situation(), limit in 5.0..12.0) {
        let decision = advise(&s, limit);
        for one in &decision.reasons {
            listed(&Reason::CODES, one.code(), &one.params(), &one.text());
        }
        for one in &decision.missing {
            listed(&Missing::CODES, one.code(), &one.params(), &one.text());
        }
        for one in &decision.cautions {
            listed(&Caution::CODES, one.code(), &[], one.text());
        }
    }

    #[test]
    fn every_standing_says_what_is_lost_and_what_would_be_best(
        here in 0..40_u32, best in 0..40_u32, height in 0..3_usize, regret in 0.0..=WEIGHT_MOST, pinned: bool,
    ) {
        let heights = [300, 450, 762];
        let best = at(LowBarrier, heights[height], 4_000 + 125 * best);
        let here = at(LowBarrier, 450, 4_000 + 125 * here);
        let standing = Standing { here, hold_here: 0.81, best, hold_best: 0.79, regret, step: mm(250), pinned };
        listed(&Standing::CODES, standing.code(), &standing.params(), &standing.text());
        prop_assert!(standing.text().contains("81 %"));
        prop_assert!(words(&standing.text()) <= 60, "{}", standing.text());
        let as_good = ["own_best_lane", "chosen_by_coach"].contains(&standing.code());
        prop_assert!(as_good || standing.text().contains(&figure(best.spacing)), "{}", standing.text());
    }
}

/// The words to come are good English only for codes that clients know: on the list, with the parameters listed.
#[track_caller]
fn listed(codes: &[CodeDoc], code: &str, params: &[Param], text: &str) {
    let doc = codes.iter().find(|doc| doc.code == code).unwrap_or_else(|| panic!("{code} is not on the list"));
    assert!(text.ends_with('.') && text.len() > 10 && text.len() <= 500, "{text}");
    for (name, value) in params {
        assert!(doc.params.contains(name), "{code} does not list {name}");
        let (_, kind, _) = PARAMS.iter().find(|(known, ..)| known == name).unwrap();
        let fits = match (*kind, *value) {
            (Kind::Count, Value::Count(_)) | (Kind::Date, Value::Day(_)) => true,
            (Kind::Level, Value::Count(n)) => n <= 3,
            (Kind::Share, Value::Number(x)) => (0.0..=1.0).contains(&x),
            (Kind::Loss, Value::Number(x)) => (0.0..=2.0).contains(&x),
            (Kind::Metres, Value::Number(x)) => (0.0..=1_000.0).contains(&x),
            (Kind::Word, Value::Word(word)) => !word.is_empty() && word.len() <= 20,
            _ => false,
        };
        assert!(fits, "{code}: {name} is {value:?}");
    }
    let optional = ["until", "rating", "height_most_m"];
    // Nothing was held before a return.
    let nowhere = code == "returning" && params.is_empty();
    for name in doc.params.iter().filter(|name| !optional.contains(name) && !nowhere) {
        assert!(params.iter().any(|(said, _)| said == name), "{code} lacks {name}");
    }
}

// The closed lists.

#[test]
fn codes_never_change_once_published() {
    let codes = |list: &[CodeDoc]| list.iter().map(|one| one.code).collect::<Vec<_>>().join(" ");
    assert_eq!(
        codes(&Reason::CODES),
        "no_runs runs_seen hold_here pain_reported restricted fell technique_gate first_lane likeliest_lane \
         wickets_held hold_low latest_broken crowded hits_high spacing_at_minimum no_lower_height past_target not_ready \
         at_target target_over_hurdles likelier_step larger_gap spacing_first only_step kind_before_height \
         kind_with_height next_step_unlikely no_next_step step_back_if until_cleared until_target_moves counted_too \
         returning surface coach_accepted coach_overrode word_until against_word"
    );
    assert_eq!(
        codes(&Missing::CODES),
        "intervals days hold_mean hold_low fewer_hits held_session rating coach_confirmation clean_session \
         likelier_step equipment sessions_back dry_surface"
    );
    assert_eq!(
        codes(&Caution::CODES),
        "supports_coach rules_come_first tip_direction soft_first free_run_out dry_even_surface one_athlete_per_lane \
         supervise warm_up_first stop_on_breakdown growth_pain_signs wet_surface no_target thin_evidence \
         no_wickets_owned after_fall after_report uneven_surface beyond_advice not_ready load_jump"
    );
    assert_eq!(
        codes(&Standing::CODES),
        "chosen_by_coach own_best_lane closer_than_best wider_than_best lower_than_best higher_than_best \
         other_kind_than_best"
    );
    assert_eq!(
        codes(&Note::CODES),
        "no_runs training_goes_on no_recent_runs thin_evidence higher_than_run uneven_rhythm longer_at_this_rate restricted"
    );
    assert_eq!(codes(&HeldUp::codes()), "rating coach_confirmation equipment resting left restricted pain_reported");
    assert_eq!(codes(&AdviceError::CODES), "measurement first_run run_count run start");
    assert_eq!(
        codes(&Wall::CODES),
        "resting left restricted pain_reported not_owned target_height target_spacing kind_above_advice \
         height_above_advice spacing_above_advice wider_than_held wider_needs_hold until_cleared one_variable \
         spacing_at_minimum hold_floor surface"
    );
}

#[test]
fn every_record_that_cannot_be_used_has_a_code_on_the_list_a_sentence_and_a_remedy() {
    let input = |field, must_be| AdviceError::Prior(PriorError::Input { field, must_be });
    let all = [
        input("stature_m", "from 0.9 to 2.3 metres"),
        input("sprint_30m_s", "less than the 50 m time"),
        AdviceError::Prior(PriorError::Policy("lowest_mean_m")),
        AdviceError::Estimate(EstimateError::TooLong),
        AdviceError::Estimate(EstimateError::TooManyRuns(60_000)),
        AdviceError::Estimate(EstimateError::Height(mm(1_600))),
        AdviceError::Estimate(EstimateError::Setting("icc")),
    ];
    for one in all {
        listed(&AdviceError::CODES, one.code(), &[], &one.text());
        assert!(one.remedy().ends_with('.') && words(one.remedy()) <= 20, "{}", one.remedy());
    }
    let said: BTreeSet<&str> = all.iter().map(AdviceError::code).collect();
    assert_eq!(said.len(), AdviceError::CODES.len(), "one of each");
    assert_eq!(all[1].text(), "The latest 30 m time must be less than the 50 m time.");
    assert_eq!(all[5].text(), "A barrier must be at most 1.5 metres high, not 1.6.");
}

#[test]
fn parameters_never_change_once_published() {
    let names: Vec<_> = PARAMS.iter().map(|(name, ..)| *name).collect();
    assert_eq!(
        names.join(" "),
        "held over_reached crowded broken intervals days barriers hits intervals_more days_more intervals_least \
         barrier_kind height_m spacing_m approach_m spacing_shortest_m height_most_m hold_mean hold_p05 hold_p95 \
         hold_needed hold_other held_share_least hit_share_most until criterion rating rating_needed regret \
         best_barrier_kind best_height_m best_spacing_m best_hold_mean height_limit_m spacing_limit_m report reported_on \
         sessions_more surface"
    );
    let of = |list: &[CodeDoc]| -> Vec<&'static str> { list.iter().flat_map(|one| one.params).copied().collect() };
    let used = [of(&Reason::CODES), of(&Missing::CODES), of(&Standing::CODES), of(&Wall::CODES)].concat();
    for (name, kind, means) in PARAMS {
        assert!(used.contains(&name), "{name} is never used");
        assert_eq!(name.ends_with("_m"), kind == Kind::Metres, "{name}");
        assert!(means.ends_with('.'), "{name}");
    }
    assert!(used.iter().all(|name| names.contains(name)));
}

#[test]
fn every_caution_has_a_code_on_the_list_and_its_own_sentence() {
    let mut texts: BTreeMap<&str, &str> = BTreeMap::new();
    for caution in Caution::ALL {
        listed(&Caution::CODES, caution.code(), &[], caution.text());
        assert!(words(caution.text()) <= 25, "{}", caution.text());
        assert_eq!(texts.insert(caution.text(), caution.code()), None);
    }
    assert_eq!(texts.len(), Caution::CODES.len());
}

fn one_of_each_reason() -> Vec<Reason> {
    let at = at(Hurdle, 762, 8_000);
    let evidence = Evidence { held: 18, over_reached: 2, days: 3, barriers: 25, hits: 1, ..Evidence::default() };
    vec![
        Reason::NoRuns,
        Reason::RunsSeen { at, evidence },
        Reason::HoldHere { hold: hold(0.84) },
        Reason::PainReported { report: Reported { what: Report::Pain, on: TODAY } },
        Reason::PainReported { report: Reported { what: Report::Illness, on: TODAY } },
        Reason::PainReported { report: Reported { what: Report::Injury, on: TODAY } },
        Reason::Restricted { until: Some(TODAY) },
        Reason::Restricted { until: None },
        Reason::Fell,
        Reason::TechniqueGate { criterion: Criterion::LeadLeg, seen: Some(Rating::NotYet) },
        Reason::TechniqueGate { criterion: Criterion::TakeOff, seen: None },
        Reason::FirstLane { wanted: 0.8 },
        Reason::LikeliestLane { wanted: 0.8 },
        Reason::WicketsHeld,
        Reason::HoldLow { mean: 0.43, limit: 0.5 },
        Reason::LatestBroken { held: 1, intervals: 8 },
        Reason::Crowded,
        Reason::HitsHigh { hits: 3, barriers: 12 },
        Reason::SpacingAtMinimum { shortest: mm(4_000) },
        Reason::NoLowerHeight,
        Reason::PastTarget,
        Reason::NotReady,
        Reason::AtTarget { barriers: 8, approach: mm(12_000) },
        Reason::TargetOverHurdles,
        Reason::LikelierStep { taken: 0.8, other: 0.7 },
        Reason::LargerGap,
        Reason::SpacingFirst,
        Reason::OnlyStep,
        Reason::KindBeforeHeight,
        Reason::KindWithHeight,
        Reason::NextStepUnlikely { mean: 0.6, needed: 0.65 },
        Reason::NoNextStep,
        Reason::StepBackIf { held_share: 0.5, intervals: 8, hit_share: 0.2 },
        Reason::UntilCleared,
        Reason::UntilTargetMoves,
        Reason::CountedToo { intervals: 8, days: 1 },
        Reason::CountedToo { intervals: 1, days: 0 },
        Reason::Returning { last_held: Some(at) },
        Reason::Returning { last_held: None },
        Reason::Surface { surface: Surface::Wet },
        Reason::Surface { surface: Surface::Uneven },
        Reason::CoachAccepted,
        Reason::CoachOverrode,
        Reason::WordUntil { until: TODAY },
        Reason::AgainstWord { held: 3, intervals: 10, hits: 1, barriers: 12 },
    ]
}

fn one_of_each_lack() -> Vec<Missing> {
    let rating = |criterion, seen| Missing::Rating { criterion, seen, needed: Rating::Secure };
    vec![
        Missing::Intervals { count: 1 },
        Missing::Days { count: 2 },
        Missing::HoldMean { needed: 0.8 },
        Missing::HoldLow { needed: 0.6 },
        Missing::FewerHits { share: 0.1 },
        Missing::HeldSession { share: 0.5 },
        rating(Criterion::TrailLeg, Some(Rating::Emerging)),
        rating(Criterion::Walkover, None),
        Missing::CoachConfirmation,
        Missing::CleanSession,
        Missing::LikelierStep { needed: 0.65 },
        Missing::Equipment { up_to: Some(mm(762)) },
        Missing::Equipment { up_to: None },
        Missing::SessionsBack { count: 1 },
        Missing::DrySurface,
    ]
}

#[test]
fn every_reason_and_every_lack_reads_as_a_coach_would_say_it() {
    let mut said = Vec::new();
    for one in one_of_each_reason() {
        listed(&Reason::CODES, one.code(), &one.params(), &one.text());
        said.push(format!("{}: {}", one.code(), one.text()));
    }
    for one in one_of_each_lack() {
        listed(&Missing::CODES, one.code(), &one.params(), &one.text());
        said.push(format!("{}: {}", one.code(), one.text()));
    }
    assert_eq!(said.join("\n"), include_str!("explanations.txt").trim_end());
    let codes = |list: &[CodeDoc]| list.iter().map(|one| one.code).collect::<Vec<_>>();
    for code in [codes(&Reason::CODES), codes(&Missing::CODES)].concat() {
        assert!(said.iter().any(|line| line.starts_with(&format!("{code}: "))), "{code} is never worded");
    }
}
