//! The mathematics checked from outside.
//!
//! The laws that must hold whatever the figures, and the tests that hold them:
//!
//! | law | test |
//! | --- | --- |
//! | estimate: probability is conserved to 1e-12 | `estimate_laws::probability_is_conserved_by_drift_and_runs`, `::probability_is_conserved_whatever_is_run` |
//! | estimate: the kernel of the drift has its mean and variance exactly, and mass stays at the end of the grid | unit tests of `compute::estimate::drift` |
//! | estimate: the order of runs does not matter | `estimate_laws::the_order_of_runs_does_not_matter`, `::no_order_of_any_runs_matters` |
//! | estimate: a kept posterior moved on equals the whole history | `estimate_laws::a_kept_posterior_moved_on_equals_the_whole_history` |
//! | estimate: the moving window changes nothing | `estimate_laws::windows_change_nothing`, `::runs_against_all_belief_are_still_filtered_exactly` |
//! | estimate: halving every step of the grid moves the limit by less than 0.01 m | `estimate_laws::halving_every_step_of_the_grid_hardly_moves_the_limit` |
//! | estimate: a longer spacing or higher barrier is never less likely over-reached | `estimate_laws::a_longer_spacing_or_higher_barrier_is_never_less_likely_over_reached`, `::after_any_history_quantiles_are_in_order_and_more_demanding_is_never_likelier` |
//! | estimate: held instead of over-reached means a longer limit | `estimate_laws::whoever_holds_what_another_over_reaches_has_the_longer_limit` |
//! | estimate: intervals cover the truth and errors stay within their bars | `calibration` |
//! | estimate: outcomes and posteriors equal an independent program | `estimate_oracle` |
//! | prior: taller, longer-legged or faster never lowers the mean | `prior::taller_longer_legged_or_faster_never_lowers_the_mean` |
//! | prior: two predictors are never worse than the better one and never too sure | `prior::two_predictors_are_never_worse_than_the_better_and_never_too_sure` |
//! | decision: pain, injury and restriction outrank everything; a fall steps back until a coach confirms | `decision_laws::nobody_steps_up_with_pain_a_fall_or_too_little_evidence`, `::a_restriction_in_force_rests_the_athlete_and_a_fall_steps_back_until_a_coach_confirms` |
//! | decision: no barrier lane without secure lead leg, trail leg and walkover | `decision_laws::a_barrier_lane_is_only_for_secure_lead_leg_trail_leg_and_walkover` |
//! | decision: wickets give way to the lowest barrier, one step closer | `decision_laws::wickets_give_way_only_to_the_lowest_barrier_one_step_closer` |
//! | decision: a step up rests on every number of the policy | `decision_laws::a_step_up_rests_on_every_number_of_the_policy` |
//! | decision: one variable at a time, one step at a time | `decision_laws::one_variable_changes_at_a_time_unless_the_kind_changes_or_the_athlete_fell` |
//! | decision: never past the target | `decision_laws::no_proposal_is_further_beyond_the_target_than_the_athlete_already_is` |
//! | decision: a race test is at the target | `decision_laws::a_race_test_is_run_over_the_target_specification_and_nothing_else` |
//! | decision: only what the club owns, on its grid | `decision_laws::what_changes_stays_on_the_grid_and_among_owned_heights` |
//! | decision: a likelier rhythm never turns a step up into a step back | `decision_laws::a_likelier_rhythm_never_turns_a_step_up_into_a_step_back` |
//! | decision: reasons, base cautions, and the same answer for the same input | `decision_laws::every_decision_has_a_reason_the_base_cautions_and_a_day` |
//! | words: three sentences, at most 60 words, the proposal and what would change it; no step up after a fall or pain | `explanations` |
//! | word: governs exactly while nothing speaks against it; bounded by the hard walls, and by the soft ones until confirmed twice | `word_laws` |
//! | word: clearing a fall allows nothing wider that day | `word_laws::clearing_a_fall_allows_what_was_advised_and_nothing_wider_that_day` |
//! | region: exactly what its laws say, on 20,000 random situations and in simulated clubs of eight weeks | `region_laws` |
//! | lane plan: nothing lost as advised, more the further away, twice on the harder side | `lane_plan_laws::a_lane_loses_nothing_as_advised_and_more_the_further_away` |
//! | lane plan: who was served badly lately counts more, within bounds | `lane_plan_laws::a_loss_counts_more_the_more_was_lost_lately_within_bounds` |
//! | lane plan: a squad advances as if everybody had a private lane | `region_laws::planned_clubs_keep_every_law_and_advance_like_private_lanes` |
//! | lane plan: exact | `lane_plan::small_plans_are_as_good_as_the_best_of_all_plans`, `lane_plan_milp` |
//! | lane plan: the order of the input does not matter; more of anything is never worse | `lane_plan::the_order_of_athletes_candidates_and_stock_does_not_matter`, `::more_of_anything_never_makes_a_plan_worse` |
//! | lane plan: a spent budget says its gap | `lane_plan::a_spent_budget_gives_a_plan_with_its_gap_or_says_so` |
//! | board: says what the recommendation says; each obstacle since the rows say so; loads, rungs and last season as told anew | `board_laws` |
//! | session plan: no order of the same tasks ends earlier; limits of coaches, set-ups and minutes | `session_plan_laws` |
//! | set-out: marks never go back, barriers stand one spacing apart | unit tests of `compute::set_out` |
//! | specifications: the next change is the first one, every day and birth has an answer | `specs` |

// Tests may fail loudly, and their figures are small.
#![allow(clippy::unwrap_used, clippy::panic, clippy::cast_precision_loss, missing_docs)]

mod board_laws;
mod calibration;
mod decision;
mod decision_laws;
mod estimate_laws;
mod estimate_oracle;
mod explanations;
mod lane_plan;
mod lane_plan_cases;
mod lane_plan_laws;
mod lane_plan_milp;
mod prior;
mod progress;
mod progress_coverage;
mod race;
mod region_laws;
mod rhythm;
mod rhythm_finish;
mod rhythm_races;
mod rhythm_schedule;
mod robust;
mod session_plan_laws;
#[path = "../simulation/mod.rs"]
mod simulation;
mod slow_filter;
mod specs;
mod word_laws;
