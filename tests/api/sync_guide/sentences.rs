//! Each sentence of the guide with the tests that hold it: a new one needs a row, and a test.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use super::{GUIDE, plain};

/// How a sentence begins, and what holds it: names of tests, `scene` and a scene of the rehearsal, or `-` and why nothing does.
#[rustfmt::skip]
const HELD: &[(&str, &[&str])] = &[
    ("A phone records at a track without signal.", &["an_offline_session_with_everything_in_it_is_handed_in_and_repeated_safely"]),
    ("Later it hands in what it recorded and fetches what", &["an_offline_session_with_everything_in_it_is_handed_in_and_repeated_safely"]),
    ("Two calls do all of it:", &["- a heading"]),
    ("Both need an access token with the scope `sync`;", &["each_edit_needs_the_scope_that_the_guide_names"]),
    ("The records are those of the ordinary routes: `data`", &["the_data_of_a_record_is_what_its_own_route_answers", "a_phone_follows_exactly_what_its_member_may_read"]),
    ("Standards used: HTTP semantics (RFC 9110), merge", &["- names standards"]),
    ("**records**: type, id, rev and `data`, members it", &["scene unknown-members"]),
    ("Type and id together name a record: phones choose", &["what_is_pushed_under_the_id_of_another_kind_is_a_record_of_its_own", "scene removed-root"]),
    ("**token**: the last `sync_token`, stored in the same", &["a_phone_that_is_killed_at_any_step_loses_nothing_and_does_nothing_twice"]),
    ("**outbox**: items in the order they happened, each", &["scene in-order", "scene answer-lost"]),
    ("**journal**: items that were answered 2xx, with the", &["scene journal-month", "scene history-diverged"]),
    ("**parked items**: what a person must look at, with", &["scene refused"]),
    ("Sending the same items again is always safe, alone", &["a_push_that_comes_twice_at_once_has_one_effect", "scene answer-lost"]),
    ("That holds for refusals too:", &["a_refused_edit_is_answered_alike_however_late_it_comes_again", "an_edit_that_was_barred_hidden_gone_or_without_a_version_is_refused_alike_when_nothing_bars_it", "what_somebody_was_refused_while_they_were_away_is_not_carried_out_when_they_are_back"]),
    ("So does a recorded fact that was broken (422):", &["a_decision_that_ran_into_a_wall_is_not_stored_once_the_wall_is_gone"]),
    ("Of somebody who left, the last refusals", &["what_somebody_was_refused_while_they_were_away_is_not_carried_out_when_they_are_back"]),
    ("What you send again after a refusal, changed or not,", &["a_refused_edit_is_answered_alike_however_late_it_comes_again", "scene stale"]),
    ("A body that breaks off is a lost connection.", &["scene answer-cut", "scene page-cut"]),
    ("One request at a time: the answer to a request that", &["every_built_in_fault_is_found_in_the_same_histories"]),
    ("An edit names the rev of the record as the phone", &["the_rev_of_the_phone_s_own_edit_is_good_before_its_echo_has_come", "scene own-edit"]),
    ("Items of one record go in the order they happened;", &["scene in-order", "scene refused"]),
    ("`GET /v1/clubs/{club_id}/changes?types=athlete,session,run&schema=1&sync_token=st1...&limit=500`", &["the_example_of_a_page_has_the_members_of_real_pages"]),
    ("parameter | meaning", &["- a heading"]),
    ("`types` | the types to carry, by commas; all when", &["a_wider_request_copies_only_what_is_new"]),
    ("`schema` | version of the records' shapes: 1", &["fewer_types_and_another_name_of_the_token_are_answered_as_the_guide_says"]),
    ("`sync_token` (or `since`) | of the page before; absent", &["fewer_types_and_another_name_of_the_token_are_answered_as_the_guide_says"]),
    ("`limit` | 1 to 2000 changes, 500 when absent; a page", &["a_page_has_500_changes_unless_asked_otherwise_and_ends_at_a_mebibyte", "fewer_types_and_another_name_of_the_token_are_answered_as_the_guide_says"]),
    ("`groups` | the ids of up to 20 groups", &["a_phone_of_one_group_carries_what_its_coach_sees_and_takes_more", "groups_give_nothing_that_is_not_ones_own"]),
    ("`history_from` | a day, said with a full copy", &["late_facts_about_earlier_days_are_alike_on_all_phones"]),
    ("header `Prefer: wait=N` | waits up to N seconds (at", &["the_limits_that_clients_are_told_are_those_they_meet", "a_waiting_phone_hears_of_a_commit"]),
    ("`rev` is a whole number, the same in records, feed", &["the_example_of_a_page_has_the_members_of_real_pages", "the_rev_of_a_confirmed_edit_is_the_rev_of_its_echo"]),
    ("`if_match` and `base_rev` are also read as text of", &["a_version_that_an_older_item_names_as_text_is_read"]),
    ("What day a record is about, whenever it was stored:", &["late_facts_about_earlier_days_are_alike_on_all_phones", "what_has_a_day_of_its_own_is_kept_by_that_day"]),
    ("So a race test that is planned is there,", &["a_race_test_planned_for_a_day_to_come_is_there", "late_facts_about_earlier_days_are_alike_on_all_phones"]),
    ("When a session moves to another day,", &["what_was_recorded_in_a_session_moves_with_its_day"]),
    ("Everything else comes whole: roots,", &["late_facts_about_earlier_days_are_alike_on_all_phones"]),
    ("All limits, as numbers: `GET /v1/limits`", &["the_limits_that_clients_are_told_are_those_they_meet"]),
    ("Rules, all of them:", &["- a heading"]),
    ("`data` is the whole current record.", &["a_phone_follows_exactly_what_its_member_may_read", "scene full-copy"]),
    ("It may be newer than its place in the feed, and the", &["scene sent-again"]),
    ("`removed`: drop the record and every record whose", &["scene removed-root"]),
    ("Ignore an unknown one.", &["scene removed-root"]),
    ("Never touch the outbox, but for an erased athlete", &["scene removed-root", "an_erased_athlete_is_in_nothing_that_a_phone_keeps"]),
    ("`deleted`: gone for everybody.", &["phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone"]),
    ("`changed`: no longer visible to you, or about to", &["who_loses_a_group_is_sent_a_removed_for_each_athlete_and_session"]),
    ("Ignore a page whose `from` is not your stored token:", &["scene late-page"]),
    ("References may dangle until `more` is false; some", &["scene full-copy"]),
    ("An empty page with `more` is normal.", &["scene full-copy"]),
    ("A page without changes may be up to a second old.", &["what_another_instance_commits_is_heard_soon"]),
    ("Keep members of `data` that you do not know.", &["scene unknown-members"]),
    ("On 410, or 400 `sync-token-invalid`: forget the token,", &["scene expired", "scene token-refused", "old_rows_go_and_tokens_before_them_expire"]),
    ("Keep the outbox.", &["scene expired"]),
    ("Put the journal back into the outbox, before what", &["scene history-diverged", "phones_bring_back_what_a_restored_copy_has_lost"]),
    ("Parents: `run`, `assessment`, `measurement`, `decision`,", &["the_parents_that_the_guide_lists_are_those_that_records_name"]),
    ("The others stand by themselves.", &["the_parents_that_the_guide_lists_are_those_that_records_name"]),
    ("A record says only what it keeps itself: an `athlete`", &["the_parents_that_the_guide_lists_are_those_that_records_name"]),
    ("They are records of their own, or follow from those.", &["the_parents_that_the_guide_lists_are_those_that_records_name"]),
    ("Who sees an athlete sees what was recorded about them,", &["a_fact_from_a_session_of_another_group_is_read_with_its_athlete", "every_record_of_the_feed_is_what_its_readers_routes_answer"]),
    ("So the `session_id` of a run, assessment or attendance", &["a_fact_from_a_session_of_another_group_is_read_with_its_athlete"]),
    ("Keep and show such a record without what it names;", &["a_fact_from_a_session_of_another_group_is_read_with_its_athlete"]),
    ("When what it names comes into your sight,", &["a_phone_follows_exactly_what_its_member_may_read"]),
    ("A lane plan or race test follows its session:", &["every_record_of_the_feed_is_what_its_readers_routes_answer"]),
    ("Some ids lead nowhere for good:", &["a_run_keeps_the_id_of_a_plan_that_is_gone", "ids_of_hidden_groups_stand_in_records_that_are_seen"]),
    ("They tell that there is, or was, such a record,", &["a_run_keeps_the_id_of_a_plan_that_is_gone", "ids_of_hidden_groups_stand_in_records_that_are_seen"]),
    ("A `sync_token` is sealed against changes, not secret:", &["an_empty_page_after_hidden_changes_has_another_token_and_nothing_else", "a_token_that_is_not_ours_is_refused_and_never_gives_a_page"]),
    ("So an empty page has another token", &["an_empty_page_after_hidden_changes_has_another_token_and_nothing_else"]),
    ("status | problem | do", &["- a heading"]),
    ("200 | | apply", &["a_phone_follows_exactly_what_its_member_may_read"]),
    ("400 | `malformed` | a parameter is wrong: `errors`", &["fewer_types_and_another_name_of_the_token_are_answered_as_the_guide_says"]),
    ("400 | `sync-token-invalid` | rule 5; the token is", &["a_token_that_is_not_ours_is_refused_and_never_gives_a_page", "scene token-refused"]),
    ("401 | `unauthenticated` | refresh the access token.", &["a_lost_answer_does_not_sign_the_phone_out", "a_third_call_at_the_same_moment_is_told_to_take_the_answer_of_the_others", "scene signed-out"]),
    ("401 | `app-revoked` | an app of a third party may act", &["an_admin_sees_the_apps_and_revokes_one_for_the_whole_club_at_once", "scene app-revoked"]),
    ("403, 404 | | no scope `sync`, or no longer a member:", &["an_access_token_that_is_none_is_answered_401_and_somebody_elses_club_404", "scene left"]),
    ("410 | `sync-token-expired` | rule 5; `current.retained_since`", &["old_rows_go_and_tokens_before_them_expire", "an_admin_sees_the_devices_and_can_make_one_copy_afresh", "scene expired"]),
    ("410 | `history-diverged` | rule 5; the service was", &["a_restored_database_never_gives_a_number_twice", "scene history-diverged"]),
    ("503 | `unavailable` | later", &["nothing_is_lost_or_doubled_when_the_database_is_killed", "scene overloaded"]),
    ("`POST /v1/clubs/{club_id}/changes`, `Content-Type:", &["packed_pushes_are_taken_in_and_bombs_are_not"]),
    ("Limits: 500 items, 1 MiB as sent, 4 MiB unpacked.", &["the_columns_of_a_push_have_the_limits_that_the_guide_says", "packed_pushes_are_taken_in_and_bombs_are_not", "scene batches"]),
    ("An edit of a record whose creation is still in the", &["scene edit-waits"]),
    ("`device_id` is the phone's own id of its installation;", &["the_example_of_a_push_is_carried_out_item_by_item", "the_clocks_of_the_phones_change_nothing_that_is_stored"]),
    ("`data` is what the ordinary create takes, without", &["an_id_inside_the_data_must_be_that_of_the_item_and_a_rev_is_ignored"]),
    ("Two edits of one record in one push may both name", &["two_edits_of_one_record_in_one_push_may_both_name_the_rev_that_the_phone_shows"]),
    ("Of an `athlete` they follow each other within a field", &["an_edit_in_the_same_push_does_not_speak_for_what_others_changed"]),
    ("The answer has one result for each item, in order;", &["the_example_of_a_push_is_carried_out_item_by_item"]),
    ("item status | meaning | do", &["- a heading"]),
    ("200, 201 | stored, now or earlier (`replayed`) |", &["the_rev_of_a_confirmed_edit_is_the_rev_of_its_echo", "a_later_item_does_not_overwrite_what_its_author_never_saw", "scene follow-up", "scene field-groups"]),
    ("202 | stored in the holding area; `held` says why", &["an_admin_files_what_is_held_and_the_phone_hears_of_it", "a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it", "scene held"]),
    ("403, 404 | an edit of something you may not edit,", &["an_edit_names_the_version_it_was_made_on", "scene refused"]),
    ("409 | some field groups were not applied (`conflicts`);", &["edits_of_different_field_groups_merge_and_the_loser_is_shown_both", "what_is_in_use_is_answered_409_and_the_problem_says_by_what", "an_edit_names_the_version_it_was_made_on", "scene refused"]),
    ("410 | the record was deleted, or its id is used up", &["an_edit_names_the_version_it_was_made_on", "scene refused"]),
    ("410 with an error `erased` | a fact about", &["scene erased", "nothing_about_an_erased_athlete_comes_to_the_holding_area"]),
    ("412 | another version is stored: `current` | rebase", &["an_edit_names_the_version_it_was_made_on", "scene stale"]),
    ("422 | broken: `problem.errors` has JSON pointers", &["a_broken_item_names_its_fields_by_pointers_into_its_data", "scene refused"]),
    ("424 | what it belongs to failed in this push, or", &["what_needs_a_failed_item_waits_in_the_outbox", "scene waits-for-parent"]),
    ("428 | no `if_match` or `base_rev` | a bug of the", &["an_attendance_names_if_none_match_also_when_it_was_taken_back_before", "an_edit_names_the_version_it_was_made_on"]),
    ("429 | the holding area has no room: 2,000 facts of", &["a_phone_has_two_thousand_facts_held_and_keeps_the_rest", "a_member_has_ten_thousand_facts_held_whatever_their_phones_call_themselves", "scene no-room"]),
    ("500 | this item broke something on our side; the", &["scene refused"]),
    ("The push as a whole is answered 400 (cannot be read;", &["a_push_that_cannot_be_read_stores_nothing", "an_access_token_that_is_none_is_answered_401_and_somebody_elses_club_404", "a_club_has_two_pushes_at_work_and_a_short_queue_that_no_member_fills"]),
    ("After 503 some items may be stored: send all of them", &["scene half-stored", "held_facts_batches_and_decisions_survive_a_cut_at_every_statement"]),
    ("After 400 or 413 nothing was stored: send half as", &["scene unreadable", "scene too-large", "a_push_that_cannot_be_read_stores_nothing"]),
    ("Somebody who left the club may still push for 30", &["somebody_who_left_may_push_and_read_what_is_held_for_30_days_and_no_longer", "somebody_who_left_has_room_for_what_they_had_recorded_and_no_more", "a_fact_is_never_refused_for_a_permission_or_a_missing_parent"]),
    ("An item that repeats an `op_id` of the same push", &["operations_that_stand_twice_are_carried_out_once"]),
    ("`current` is what is stored as the feed has it:", &["what_stands_beside_a_refusal_is_the_record_as_the_feed_has_it"]),
    ("Nothing is ever put into an answer that you could", &["items_of_a_push_answer_a_hidden_id_like_an_unknown_one", "items_that_refer_to_what_is_hidden_are_answered_like_those_that_refer_to_nothing"]),
    ("An id that is taken by what you do not see cannot", &["items_of_a_push_answer_a_hidden_id_like_an_unknown_one"]),
    ("A recorded fact is held (202) in the words of a fact", &["a_fact_whose_id_is_taken_by_a_hidden_one_is_kept_and_the_sender_learns_nothing"]),
    ("What you recorded yourself and send again is answered", &["who_recorded_a_fact_may_repeat_it_after_the_athlete_left_their_groups"]),
    ("type | policy | how", &["- a heading"]),
    ("`run`, `assessment`, `decision`, `race_result` |", &["the_types_of_the_table_are_those_of_the_feed_with_their_policies", "what_was_corrected_before_the_network_came_back_is_filed_and_not_held"]),
    ("`wellbeing_record` | append_only | the same, with", &["phones_carry_records_both_ways", "a_record_is_corrected_withdrawn_and_cleared_also_in_one_batch"]),
    ("`measurement` | append_only | `PUT` with `athlete_id`,", &["a_measurement_that_was_deleted_by_mistake_can_be_entered_again"]),
    ("`athlete` | merge | `PUT` with `if_none_match` creates;", &["the_field_groups_of_the_guide_are_those_of_the_document", "edits_of_different_field_groups_merge_and_the_loser_is_shown_both", "scene field-groups"]),
    ("`session`, `lane_plan`, `barrier_configuration`,", &["an_edit_names_the_version_it_was_made_on", "the_types_of_the_table_are_those_of_the_feed_with_their_policies"]),
    ("`race_test` | optimistic | the same; `name`, `state`", &["an_edit_of_a_race_test_names_its_version_and_keeps_what_it_is_run_over"]),
    ("`race_entry` | read_only | who is entered in a race", &["entries_are_seen_with_their_athlete", "who_is_ready_is_entered_and_who_is_not_needs_the_coach_s_word", "what_is_reported_after_the_draw_stands_in_heats_start_list_entries_and_feed", "a_surface_that_changes_after_the_draw_marks_everybody_who_is_entered", "a_fall_and_another_status_after_the_draw_mark_whom_they_are_about", "a_record_that_cannot_be_used_keeps_its_athlete_out_of_the_heats_and_nobody_else"]),
    ("`club` | read_only | one record, its id is the club's:", &["what_a_phone_computes_with_is_in_the_feed"]),
    ("`attendance` | set | id = UUID version 5 of the athlete's", &["an_attendance_names_if_none_match_also_when_it_was_taken_back_before"]),
    ("`group_membership` | set | push only; its effect", &["athletes_join_and_leave_groups_as_a_set", "the_last_group_of_an_athlete_is_not_left"]),
    ("The name of a version 5 is the 16 bytes themselves,", &["the_test_vector_of_version_5_is_what_the_service_derives"]),
    ("Compare with this before you trust yours:", &["- a heading"]),
    ("Change the groups of an athlete either by memberships,", &["a_patch_of_the_groups_behind_a_membership_is_answered_409_with_the_groups_of_now"]),
    ("A `PATCH` of `group_ids` is then answered 409 with", &["a_patch_of_the_groups_behind_a_membership_is_answered_409_with_the_groups_of_now"]),
    ("Two `PUT` of memberships never meet.", &["a_patch_of_the_groups_behind_a_membership_is_answered_409_with_the_groups_of_now"]),
    ("A new `lane_plan` is one that the service computed", &["a_new_lane_plan_is_a_computed_one_with_the_fields_that_the_guide_lists"]),
    ("Of that `session_id`, `request`, `lanes`, `resting`,", &["a_new_lane_plan_is_a_computed_one_with_the_fields_that_the_guide_lists"]),
    ("A `read_only` record is changed by its ordinary routes;", &["the_types_of_the_table_are_those_of_the_feed_with_their_policies"]),
    ("Members and their names are not in the feed: no record", &["a_phone_follows_exactly_what_its_member_may_read", "no_read_shows_what_its_caller_cannot_get"]),
    ("The published specifications and age groups are the", &["what_a_phone_computes_with_is_in_the_feed"]),
    ("What another group rests on is not taken from it.", &["a_coach_cannot_take_what_two_groups_share"]),
    ("A `session` of several groups is deleted or cancelled", &["a_session_of_several_groups_is_deleted_by_who_has_all_of_them_while_nothing_rests_on_it", "a_coach_does_not_take_another_group_out_of_a_session", "a_race_test_with_athletes_of_another_group_is_not_deleted"]),
    ("A `session` with attendance, runs, assessments or", &["a_session_with_records_is_cancelled_and_keeps_them", "a_group_whose_athletes_have_records_stays_in_the_session"]),
    ("A `group` whose time is over has `archived` set and", &["a_group_with_a_past_is_archived_and_leaves_the_lists_but_nothing_else"]),
    ("Leave it out where somebody chooses a group.", &["a_group_with_a_past_is_archived_and_leaves_the_lists_but_nothing_else"]),
    ("A `run` comes back with `while_restricted` when a", &["a_run_against_a_restriction_is_kept_and_flagged_by_route_and_by_push"]),
    ("A `race_result` of somebody who started comes back with", &["a_race_against_a_restriction_is_kept_and_flagged_by_route_and_by_push"]),
    ("`surface` of a `session` (`wet`, `uneven`, or absent)", &["a_wet_session_keeps_to_soft_barriers_one_step_closer_and_can_be_said_at_the_trackside"]),
    ("Its `note` can be written there too.", &["a_session_and_an_athlete_can_be_noted_by_push"]),
    ("A `run` may name its `lane`: `lane_plan_id`, `lane`", &["a_pushed_run_that_names_its_lane_is_filed_and_held_once_the_plan_is_gone"]),
    ("Say what stood there as well, as the plan said it:", &["a_pushed_run_that_names_its_lane_is_filed_and_held_once_the_plan_is_gone"]),
    ("A recorded fact (`run`, `assessment`, `measurement`,", &["a_fact_is_never_refused_for_a_permission_or_a_missing_parent"]),
    ("When a later push from the same phone creates what", &["what_waits_for_a_record_of_the_same_phone_is_filed_when_it_comes"]),
    ("A `decision` is judged as by its own route when it", &["a_pushed_word_meets_the_same_walls_and_waits_in_the_phone_for_its_coach"]),
    ("Park it and show it to the coach who decided: a hard", &["a_pushed_word_meets_the_same_walls_and_waits_in_the_phone_for_its_coach"]),
    ("A held one is judged when an admin files it, and", &["a_word_held_for_an_admin_meets_the_walls_when_it_is_filed"]),
    ("Two people may correct one fact while", &["a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it"]),
    ("The first correction to arrive stands;", &["a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it", "whatever_can_be_corrected_is_held_when_it_was_corrected_before"]),
    ("Whoever recorded either of the two, or an admin,", &["a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it", "the_coach_whose_correction_stands_rejects_a_second_one_and_its_recorder_hears_why"]),
    ("The routes that take batches do the same", &["a_route_holds_a_second_correction_as_a_push_does"]),
    ("`GET .../own-held-items` lists,", &["a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it", "a_recorder_takes_back_what_is_held_also_after_leaving"]),
    ("`reason` is `role`, `scope`, `left`,", &["a_second_correction_is_held_beside_the_one_that_stands_and_its_recorder_settles_it", "the_coach_whose_correction_stands_rejects_a_second_one_and_its_recorder_hears_why"]),
    ("`POST .../held-items/{id}/reject` takes back", &["a_recorder_takes_back_what_is_held_also_after_leaving"]),
    ("Sending the item again tells the same.", &["a_recorder_takes_back_what_is_held_also_after_leaving"]),
    ("What was decided is kept for 90 days.", &["what_nobody_needs_any_more_is_dropped_and_the_rest_stays"]),
    ("Somebody who left may do this for 30 days.", &["somebody_who_left_may_push_and_read_what_is_held_for_30_days_and_no_longer", "a_recorder_takes_back_what_is_held_also_after_leaving"]),
    ("A split of a `race_result` that is missing or out", &["a_split_out_of_order_is_flagged_in_place_and_costs_no_final_time"]),
    ("A `measurement` that was deleted by mistake is entered", &["a_measurement_that_was_deleted_is_answered_as_stored_when_it_comes_again", "a_measurement_that_was_deleted_by_mistake_can_be_entered_again"]),
    ("A `measurement` that hardly ever is at the age", &["a_rare_measurement_is_asked_about_once_filed_from_a_phone_and_counts_when_confirmed"]),
    ("A `lane_plan` names equipment of the club in `stock_used`;", &["a_pushed_lane_plan_takes_barriers_that_the_club_has"]),
    ("The places of a `lane_plan` are judged when it is", &["a_pushed_plan_that_asks_too_much_of_somebody_is_kept_and_says_so_in_every_form", "a_plan_whose_session_comes_with_the_same_push_is_judged_as_well"]),
    ("It is kept all the same: show it to its coach.", &["a_pushed_plan_that_asks_too_much_of_somebody_is_kept_and_says_so_in_every_form"]),
    ("So is the place of somebody for whom nothing can", &["a_pushed_plan_with_somebody_for_whom_nothing_can_be_computed_is_kept_and_names_them", "a_plan_has_lanes_for_the_others_and_tells_only_those_who_see_the_athlete"]),
    ("A lane with more barriers than its athletes may", &["a_pushed_lane_with_more_barriers_than_its_athletes_may_have_is_refused", "a_pushed_plan_with_an_unsafe_layout_is_refused_until_it_is_put_right"]),
    ("`overtaken` marks whom a report, a restriction, another", &["a_plan_read_after_a_report_says_for_whom_it_no_longer_holds", "a_plan_read_after_a_decision_a_fall_or_rain_says_for_whom_it_no_longer_holds", "who_rests_or_leaves_after_a_plan_is_marked_in_every_form_and_who_comes_back_is_not"]),
    ("In `resting` it marks who may run by now,", &["who_rests_in_a_plan_and_may_run_by_now_is_marked"]),
    ("A fall counts from when it was recorded until a", &["a_fall_marks_a_plan_however_late_it_is_told_until_a_coach_cleared_it_for_the_day", "who_rests_or_leaves_after_a_plan_is_marked_in_every_form_and_who_comes_back_is_not"]),
    ("A `lane_plan` is seen by everybody who sees its session,", &["a_shared_session_shows_each_member_their_own_people_in_every_form", "a_plan_has_lanes_for_the_others_and_tells_only_those_who_see_the_athlete"]),
    ("Edit what you see: others stay in their lanes, and", &["an_edit_of_a_shared_plan_leaves_others_where_they_are", "a_lane_plan_with_athletes_of_another_group_keeps_them_and_is_not_deleted"]),
    ("`display_name` is that of today and ignored in what", &["a_phone_follows_who_is_seen_in_a_plan_and_what_they_are_called"]),
    ("The plan's rev also rises when one of its people", &["a_phone_follows_who_is_seen_in_a_plan_and_what_they_are_called", "a_plan_whose_people_changed_refuses_an_older_edit_however_the_push_is_cut", "a_plan_read_after_a_report_says_for_whom_it_no_longer_holds", "a_report_and_an_edit_of_a_plan_in_one_push_are_as_in_two", "a_plan_read_after_a_decision_a_fall_or_rain_says_for_whom_it_no_longer_holds", "a_decision_and_an_edit_of_a_plan_in_one_push_are_as_in_two", "who_rests_or_leaves_after_a_plan_is_marked_in_every_form_and_who_comes_back_is_not"]),
    ("A plan with athletes moved by hand is never `proven_optimal`.", &["a_new_lane_plan_is_a_computed_one_with_the_fields_that_the_guide_lists"]),
    ("Erasure.", &["- a heading"]),
    ("An `athlete` is deleted by who has all of the athlete's", &["an_athlete_is_deleted_by_who_has_all_of_their_groups"]),
    ("An app deletes nobody (403).", &["an_app_erases_nobody"]),
    ("What is personal is erased at once and for good:", &["phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone"]),
    ("Runs, assessments, decisions and results stay on", &["phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone"]),
    ("Phones are sent one `removed` (`deleted`) for the", &["phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone"]),
    ("Edits and facts that come later are answered 410,", &["phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone", "nothing_about_an_erased_athlete_comes_to_the_holding_area"]),
    ("Learning it either way, the phone drops", &["scene erased", "an_erased_athlete_is_taken_out_of_plans_of_bodies_beside_refusals_and_of_notes", "an_erased_athlete_is_in_nothing_that_a_phone_keeps"]),
    ("This is the one exception to \"never touch", &["an_erased_athlete_is_in_nothing_that_a_phone_keeps"]),
    ("The service keeps the list of erasures outside its", &["the_program_serves_no_copy_before_it_is_rid_of_who_was_erased", "an_erasure_whose_answer_was_lost_is_in_the_list_and_one_that_was_undone_is_not", "a_restored_copy_is_rid_of_everybody_who_was_erased_since_before_it_is_served", "nothing_about_an_erased_athlete_comes_to_the_holding_area"]),
    ("A standby that lagged behind and is promoted", &["the_program_serves_no_copy_before_it_is_rid_of_who_was_erased"]),
    ("The id of an erased athlete is used up", &["a_restored_copy_is_rid_of_everybody_who_was_erased_since_before_it_is_served"]),
    ("Clearing.", &["- a heading"]),
    ("A club may keep records about people for a time", &["a_club_says_how_long_it_keeps_what_and_nothing_goes_until_it_does"]),
    ("What is older is deleted by the service:", &["what_the_preview_counts_is_what_goes_to_the_day_and_reaches_phones", "an_empty_session_goes_with_whatever_was_planned_in_it", "who_left_long_ago_goes_as_when_an_admin_deletes_them"]),
    ("Drop it as what anybody deleted.", &["what_the_preview_counts_is_what_goes_to_the_day_and_reaches_phones", "scene removed-root"]),
    ("Outbox and journal keep what they hold;", &["what_is_handed_in_again_after_it_went_waits_for_an_admin"]),
    ("A club that is to be deleted says when, in", &["any_admin_asks_with_a_password_everybody_sees_it_and_any_admin_takes_it_back"]),
    ("Until then everything goes on as before.", &["any_admin_asks_with_a_password_everybody_sees_it_and_any_admin_takes_it_back"]),
    ("From then on it is answered 404 by every route,", &["nothing_of_a_deleted_club_is_left_in_any_table_and_others_are_as_they_were", "scene left"]),
    ("A member sees the athletes and sessions of the groups", &["a_member_sees_their_groups_what_lies_below_and_what_the_club_has_in_common"]),
    ("An admin sees everything.", &["a_member_sees_their_groups_what_lies_below_and_what_the_club_has_in_common"]),
    ("Who gets a group is sent what is in it; who loses", &["who_loses_a_group_is_sent_a_removed_for_each_athlete_and_session"]),
    ("role | edits", &["- a heading"]),
    ("admin | everything", &["each_role_edits_what_the_table_of_roles_says"]),
    ("coach | `athlete`, `group_membership`, `measurement`,", &["each_role_edits_what_the_table_of_roles_says"]),
    ("viewer | nothing: an edit is answered 403, a recorded", &["each_role_edits_what_the_table_of_roles_says"]),
    ("`group`, `venue`, `equipment`, `age_group` and `competition_spec`", &["each_role_edits_what_the_table_of_roles_says"]),
    ("The scopes are those of the routes: `session.write`", &["each_edit_needs_the_scope_that_the_guide_names"]),
    ("Cut the connection before and after each answer,", &["a_new_record_of_every_type_survives_a_cut_at_every_statement", "scene answer-lost"]),
    ("Deliver each page twice and late: rule 3 drops it.", &["scene late-page"]),
    ("Stop the program between applying a page and storing", &["a_phone_that_is_killed_at_any_step_loses_nothing_and_does_nothing_twice"]),
    ("Two phones edit the same athlete: different groups", &["edits_of_different_field_groups_merge_and_the_loser_is_shown_both"]),
    ("Let an admin take a group from the coach and give", &["who_loses_a_group_is_sent_a_removed_for_each_athlete_and_session"]),
    ("`lanewright rehearse-phone` plays the service for", &["the_reference_phone_passes_every_scene"]),
    ("It judges what arrives, prints each scene with `pass`", &["a_phone_that_breaks_a_rule_is_told_which"]),
    ("It needs no database and stores nothing.", &["the_reference_phone_passes_every_scene"]),
    ("Your phone's tests drive it.", &["the_reference_phone_passes_every_scene"]),
    ("They ask `POST /rehearsal/next` with the answer to", &["the_reference_phone_passes_every_scene"]),
    ("`do` | the driver | answers", &["- a heading"]),
    ("`begin` | throws the phone's store away; from now", &["the_reference_phone_passes_every_scene"]),
    ("`record` | the person records or creates `type`,", &["the_reference_phone_passes_every_scene"]),
    ("`change` | the person changes the fields of `data`", &["the_reference_phone_passes_every_scene"]),
    ("`delete` | the person deletes the record | `{}`", &["the_reference_phone_passes_every_scene"]),
    ("`insist` | the person insists on the parked item", &["the_reference_phone_passes_every_scene"]),
    ("`sign_in` | the access token is `access_token` from", &["the_reference_phone_passes_every_scene"]),
    ("`sync` | lets the phone go through its loop once,", &["the_reference_phone_passes_every_scene"]),
    (r#"`show` | | `{"records": [{"type", "id", "data"}],"#, &["the_reference_phone_passes_every_scene"]),
    ("`end` | stops", &["the_reference_phone_passes_every_scene"]),
];

/// The sentences of the guide, rows of its tables as one each; blocks of code stand for themselves.
pub(super) fn sentences() -> Vec<String> {
    let (mut all, mut paragraph) = (Vec::new(), String::new());
    for line in GUIDE.lines().chain([""]) {
        let list =
            line.starts_with("- ") || (line.len() > 2 && line.as_bytes()[0].is_ascii_digit() && &line[1..3] == ". ");
        if line.trim().is_empty() || line.starts_with('#') || line.starts_with('|') || line.starts_with("    ") || list
        {
            all.extend(split(&plain(&paragraph)));
            paragraph.clear();
        }
        match line {
            row if row.starts_with('|') && !row.starts_with("| ---") => all.push(plain(row.trim_matches(['|', ' ']))),
            item if list => paragraph.push_str(
                item.trim_start_matches("- ").trim_start_matches(|c: char| c.is_ascii_digit()).trim_start_matches(". "),
            ),
            text if !text.starts_with(['#', '|']) && !text.starts_with("    ") => {
                paragraph.push(' ');
                paragraph.push_str(text);
            }
            _ => {}
        }
    }
    all
}

/// A paragraph by sentences: a full stop, and a capital letter or a quoted word behind it.
fn split(paragraph: &str) -> Vec<String> {
    let mut all = Vec::new();
    let mut rest = paragraph;
    let ends = |text: &str, at: usize| text[at + 2..].starts_with(|c: char| c.is_ascii_uppercase() || c == '`');
    while let Some(at) = rest.match_indices(". ").map(|(at, _)| at).find(|at| ends(rest, *at)) {
        all.push(rest[..=at].to_owned());
        rest = &rest[at + 2..];
    }
    all.extend((!rest.is_empty()).then(|| rest.to_owned()));
    all
}

/// What stands before a test; a helper holds nothing.
const TESTS: [&str; 3] = ["#[test]", "#[tokio::test", "#[sqlx::test"];

/// The names of all tests.
fn tests(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            tests(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            let mut lines = text.lines().map(str::trim);
            while lines.any(|line| TESTS.iter().any(|attribute| line.starts_with(attribute))) {
                let named = lines.find_map(|line| line.split_once("fn ")?.1.split_once('(')).map(|(name, _)| name);
                found.extend(named.map(str::to_owned));
            }
        }
    }
}

#[test]
fn every_sentence_of_the_guide_is_held_by_tests_that_there_are() {
    let mut known = BTreeSet::new();
    tests(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests"), &mut known);
    let scenes: Vec<&str> = lanewright::rehearsal::scenes().into_iter().map(|(name, _)| name).collect();
    let sentences = sentences();
    let mut wrong = Vec::new();
    for sentence in &sentences {
        let rows = HELD.iter().filter(|(begin, _)| sentence.starts_with(begin)).count();
        if rows != 1 {
            wrong.push(format!("{rows} rows for: {sentence}"));
        }
    }
    for (begin, holders) in HELD {
        if !sentences.iter().any(|sentence| sentence.starts_with(begin)) {
            wrong.push(format!("the guide has no sentence: {begin}"));
        }
        for holder in *holders {
            let there = match holder.split_once(' ') {
                Some(("scene", name)) => scenes.contains(&name),
                Some(("-", why)) => !why.is_empty(),
                _ => known.contains(*holder),
            };
            if !there {
                wrong.push(format!("there is no {holder}"));
            }
        }
        if holders.is_empty() {
            wrong.push(format!("nothing holds: {begin}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
