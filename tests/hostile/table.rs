//! Who may do what: one row for each operation, written from what was promised and not from the code.

/// Who may perform an operation, and about what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Everybody, without signing in.
    Public,
    /// Whoever holds a secret; without a right one there is nothing for anybody.
    Secret,
    /// Every account, about itself.
    Account,
    /// Every member of the club.
    Member,
    /// Members, and for some weeks those who left.
    Recorder,
    /// Members who see the group, athlete or session in the path.
    Seen,
    /// Admins and coaches.
    Coach,
    /// Admins and coaches who see the group, athlete or session in the path.
    SeenCoach,
    /// Admins.
    Admin,
}

impl Rule {
    /// Whether it needs no token.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Public | Self::Secret)
    }

    /// What whoever has no token, or a wrong one, is answered.
    pub const fn of_nobody(self) -> Outcome {
        match self {
            Self::Public => Outcome::Through,
            Self::Secret => Outcome::Hidden,
            _ => Outcome::SignIn,
        }
    }

    /// Whether the path names a record that not every member sees.
    pub const fn about_seen(self) -> bool {
        matches!(self, Self::Seen | Self::SeenCoach)
    }
}

/// Operation, rule, and the scope that a token needs; behind `or` the one that opens it for some records to some.
pub const TABLE: &[(&str, Rule, &str)] = &[
    ("get_liveness", Rule::Public, ""),
    ("get_readiness", Rule::Public, ""),
    ("get_key_set", Rule::Public, ""),
    ("sign_up", Rule::Public, ""),
    ("sign_in", Rule::Public, ""),
    ("refresh", Rule::Public, ""),
    ("sign_out", Rule::Public, ""),
    ("request_password_reset", Rule::Public, ""),
    ("reset_password", Rule::Public, ""),
    ("confirm_address", Rule::Public, ""),
    ("list_published_specs", Rule::Public, ""),
    ("list_rulesets", Rule::Public, ""),
    ("get_limits", Rule::Public, ""),
    ("analyse_rhythm", Rule::Public, ""),
    ("get_rhythm_schedule", Rule::Public, ""),
    ("forecast_final_time", Rule::Public, ""),
    ("get_stride_marks", Rule::Public, ""),
    ("get_rhythm_cue", Rule::Public, ""),
    ("get_rhythm_cue_wav", Rule::Public, ""),
    ("get_session_sheets", Rule::Secret, ""),
    ("get_calendar", Rule::Secret, ""),
    ("get_session_sheets_html", Rule::Secret, ""),
    ("get_session_sheets_pdf", Rule::Secret, ""),
    ("change_password", Rule::Account, ""),
    ("request_confirmation", Rule::Account, ""),
    ("change_email", Rule::Account, ""),
    ("set_language", Rule::Account, ""),
    ("get_second_factor", Rule::Account, ""),
    ("begin_second_factor", Rule::Account, ""),
    ("confirm_second_factor", Rule::Account, ""),
    ("check_second_factor", Rule::Account, ""),
    ("renew_recovery_codes", Rule::Account, ""),
    ("remove_second_factor", Rule::Account, ""),
    ("rename_device", Rule::Account, ""),
    ("sign_out_everywhere", Rule::Account, ""),
    ("get_me", Rule::Account, ""),
    ("list_devices", Rule::Account, ""),
    ("delete_device", Rule::Account, ""),
    ("leave_club", Rule::Account, ""),
    ("delete_account", Rule::Account, ""),
    ("create_club", Rule::Account, "club.admin"),
    ("accept_invitation", Rule::Account, ""),
    ("get_oauth_metadata", Rule::Public, ""),
    ("fetch_app_token", Rule::Public, ""),
    ("revoke_app_token", Rule::Public, ""),
    ("list_connected_apps", Rule::Account, ""),
    ("disconnect_app", Rule::Account, ""),
    ("create_app", Rule::Admin, "club.admin"),
    ("list_apps", Rule::Admin, "club.admin"),
    ("get_app", Rule::Admin, "club.admin"),
    ("update_app", Rule::Admin, "club.admin"),
    ("delete_app", Rule::Admin, "club.admin"),
    ("get_club", Rule::Member, "squad.read"),
    ("update_club", Rule::Admin, "club.admin"),
    ("get_club_security", Rule::Admin, "club.admin"),
    ("set_club_security", Rule::Admin, "club.admin"),
    ("request_club_deletion", Rule::Admin, "club.admin"),
    ("cancel_club_deletion", Rule::Admin, "club.admin"),
    ("get_retention", Rule::Admin, "club.admin"),
    ("update_retention", Rule::Admin, "club.admin"),
    ("preview_retention", Rule::Admin, "club.admin"),
    ("list_members", Rule::Admin, "club.admin"),
    ("get_member", Rule::Admin, "club.admin"),
    ("update_member", Rule::Admin, "club.admin"),
    ("delete_member", Rule::Admin, "club.admin"),
    ("create_invitation", Rule::Admin, "club.admin"),
    ("list_invitations", Rule::Admin, "club.admin"),
    ("delete_invitation", Rule::Admin, "club.admin"),
    ("list_audit", Rule::Admin, "club.admin"),
    ("export_audit", Rule::Admin, "club.admin"),
    ("verify_audit", Rule::Admin, "club.admin"),
    ("create_export", Rule::Admin, "club.admin"),
    ("list_exports", Rule::Admin, "club.admin"),
    ("get_export", Rule::Admin, "club.admin"),
    ("get_export_archive", Rule::Admin, "club.admin"),
    ("delete_export", Rule::Admin, "club.admin"),
    ("create_import", Rule::Admin, "club.admin"),
    ("create_group", Rule::Admin, "club.admin"),
    ("list_groups", Rule::Member, "squad.read"),
    ("get_group", Rule::Seen, "squad.read"),
    ("update_group", Rule::Admin, "club.admin"),
    ("delete_group", Rule::Admin, "club.admin"),
    ("import_athletes", Rule::Admin, "club.admin"),
    ("import_athletes_xlsx", Rule::Admin, "club.admin"),
    ("export_athletes", Rule::Admin, "club.admin"),
    ("export_athletes_csv", Rule::Admin, "club.admin"),
    ("export_athletes_xlsx", Rule::Admin, "club.admin"),
    ("turn_groups", Rule::Admin, "club.admin"),
    ("create_calendar_feed", Rule::Member, "squad.read"),
    ("list_calendar_feeds", Rule::Member, "squad.read"),
    ("delete_calendar_feed", Rule::Member, "squad.read"),
    ("create_athlete", Rule::Coach, "session.write"),
    ("list_athletes", Rule::Member, "squad.read"),
    ("get_athlete", Rule::Seen, "squad.read"),
    ("update_athlete", Rule::SeenCoach, "session.write"),
    ("delete_athlete", Rule::SeenCoach, "session.write"),
    ("create_consent", Rule::SeenCoach, "session.write"),
    ("list_consents", Rule::Seen, "squad.read"),
    ("create_measurement", Rule::SeenCoach, "session.write"),
    ("list_measurements", Rule::Seen, "squad.read"),
    ("delete_measurement", Rule::SeenCoach, "session.write"),
    ("create_venue", Rule::Admin, "club.admin"),
    ("list_venues", Rule::Member, "squad.read"),
    ("get_venue", Rule::Member, "squad.read"),
    ("update_venue", Rule::Admin, "club.admin"),
    ("delete_venue", Rule::Admin, "club.admin"),
    ("create_equipment", Rule::Admin, "club.admin"),
    ("list_equipment", Rule::Member, "squad.read"),
    ("list_equipment_html", Rule::Member, "squad.read"),
    ("list_equipment_pdf", Rule::Member, "squad.read"),
    ("get_equipment", Rule::Member, "squad.read"),
    ("update_equipment", Rule::Admin, "club.admin"),
    ("delete_equipment", Rule::Admin, "club.admin"),
    ("create_barrier_configuration", Rule::Coach, "plan.write"),
    ("list_barrier_configurations", Rule::Member, "squad.read"),
    ("get_barrier_configuration", Rule::Member, "squad.read"),
    ("update_barrier_configuration", Rule::Coach, "plan.write"),
    ("delete_barrier_configuration", Rule::Coach, "plan.write"),
    ("create_age_group", Rule::Admin, "club.admin"),
    ("list_age_groups", Rule::Member, "squad.read"),
    ("get_age_group", Rule::Member, "squad.read"),
    ("update_age_group", Rule::Admin, "club.admin"),
    ("delete_age_group", Rule::Admin, "club.admin"),
    ("create_competition_spec", Rule::Admin, "club.admin"),
    ("adopt_competition_specs", Rule::Admin, "club.admin"),
    ("list_competition_specs", Rule::Member, "squad.read"),
    ("get_competition_spec", Rule::Member, "squad.read"),
    ("update_competition_spec", Rule::Admin, "club.admin"),
    ("delete_competition_spec", Rule::Admin, "club.admin"),
    ("list_applicable_specs", Rule::Member, "squad.read"),
    ("create_session", Rule::Coach, "session.write"),
    ("list_sessions", Rule::Member, "squad.read"),
    ("get_session", Rule::Seen, "squad.read"),
    ("update_session", Rule::SeenCoach, "session.write"),
    ("delete_session", Rule::SeenCoach, "session.write"),
    ("get_attendance", Rule::Seen, "squad.read"),
    ("set_attendance", Rule::SeenCoach, "session.write"),
    ("create_runs", Rule::Coach, "session.write"),
    ("list_runs", Rule::Member, "squad.read"),
    ("list_runs_csv", Rule::Member, "squad.read"),
    ("list_runs_xlsx", Rule::Member, "squad.read"),
    ("get_run", Rule::Seen, "squad.read"),
    ("get_run_rhythm", Rule::Seen, "squad.read"),
    ("get_athlete_rhythm_cue", Rule::Seen, "squad.read"),
    ("get_athlete_rhythm_cue_wav", Rule::Seen, "squad.read"),
    ("get_club_rhythm_schedule", Rule::Member, "squad.read"),
    ("get_club_rhythm_schedule_html", Rule::Member, "squad.read"),
    ("get_club_rhythm_schedule_pdf", Rule::Member, "squad.read"),
    ("create_assessments", Rule::Coach, "assessment.write"),
    ("list_assessments", Rule::Member, "squad.read"),
    ("get_assessment", Rule::Seen, "squad.read"),
    ("create_wellbeing_records", Rule::Coach, "session.write"),
    ("list_wellbeing_records", Rule::Member, "squad.read"),
    ("get_wellbeing_record", Rule::Seen, "squad.read"),
    ("get_recommendation", Rule::Seen, "squad.read"),
    ("list_recommendations", Rule::Seen, "squad.read"),
    ("get_athlete_progression", Rule::Seen, "squad.read"),
    ("get_athlete_progression_csv", Rule::Seen, "squad.read"),
    ("get_athlete_progression_svg", Rule::Seen, "squad.read"),
    ("get_athlete_progression_html", Rule::Seen, "squad.read"),
    ("get_athlete_progression_pdf", Rule::Seen, "squad.read"),
    ("get_group_board", Rule::Seen, "squad.read"),
    ("get_group_board_csv", Rule::Seen, "squad.read"),
    ("get_group_board_xlsx", Rule::Seen, "squad.read"),
    ("get_group_board_html", Rule::Seen, "squad.read"),
    ("get_group_board_pdf", Rule::Seen, "squad.read"),
    ("get_group_progression", Rule::Seen, "squad.read"),
    ("get_group_progression_csv", Rule::Seen, "squad.read"),
    ("get_group_progression_svg", Rule::Seen, "squad.read"),
    ("get_group_progression_html", Rule::Seen, "squad.read"),
    ("get_group_progression_pdf", Rule::Seen, "squad.read"),
    ("create_decision", Rule::SeenCoach, "plan.write"),
    ("list_decisions", Rule::Seen, "squad.read"),
    ("get_decision", Rule::Seen, "squad.read"),
    ("create_lane_plan", Rule::SeenCoach, "plan.write"),
    ("list_lane_plans", Rule::Seen, "squad.read"),
    ("get_lane_plan", Rule::Seen, "squad.read"),
    ("get_session_cards", Rule::Seen, "squad.read"),
    ("get_session_cards_html", Rule::Seen, "squad.read"),
    ("get_session_cards_pdf", Rule::Seen, "squad.read"),
    ("get_session_proposal", Rule::Seen, "squad.read"),
    ("create_session_link", Rule::SeenCoach, "plan.write"),
    ("list_session_links", Rule::SeenCoach, "plan.write"),
    ("delete_session_link", Rule::SeenCoach, "plan.write"),
    ("delete_lane_plan", Rule::SeenCoach, "plan.write"),
    ("get_set_out", Rule::Seen, "squad.read"),
    ("get_set_out_csv", Rule::Seen, "squad.read"),
    ("get_set_out_svg", Rule::Seen, "squad.read"),
    ("get_set_out_html", Rule::Seen, "squad.read"),
    ("get_set_out_pdf", Rule::Seen, "squad.read"),
    ("create_race_test", Rule::Coach, "plan.write"),
    ("list_race_tests", Rule::Member, "squad.read"),
    ("get_race_test", Rule::Seen, "squad.read"),
    ("update_race_test", Rule::SeenCoach, "plan.write"),
    ("delete_race_test", Rule::SeenCoach, "plan.write"),
    ("set_race_entries", Rule::SeenCoach, "plan.write"),
    ("create_race_heats", Rule::SeenCoach, "plan.write"),
    ("get_race_heats", Rule::Seen, "squad.read"),
    ("get_race_heats_csv", Rule::Seen, "squad.read"),
    ("get_race_heats_html", Rule::Seen, "squad.read"),
    ("get_race_heats_pdf", Rule::Seen, "squad.read"),
    ("create_race_results", Rule::SeenCoach, "session.write"),
    ("list_race_results", Rule::Seen, "squad.read"),
    ("list_race_results_csv", Rule::Seen, "squad.read"),
    ("list_race_results_xlsx", Rule::Seen, "squad.read"),
    ("list_race_results_html", Rule::Seen, "squad.read"),
    ("list_race_results_pdf", Rule::Seen, "squad.read"),
    ("list_personal_bests", Rule::Seen, "squad.read"),
    ("list_changes", Rule::Member, "sync"),
    ("push_changes", Rule::Recorder, "sync"),
    ("list_held_items", Rule::Admin, "club.admin"),
    ("list_own_held_items", Rule::Recorder, "sync"),
    ("accept_held_item", Rule::Admin, "club.admin or sync"),
    ("reject_held_item", Rule::Admin, "club.admin or sync"),
    ("list_refused_edits", Rule::Admin, "club.admin"),
    ("list_sync_devices", Rule::Admin, "club.admin"),
    ("resync_device", Rule::Admin, "club.admin"),
];

/// What a call may be answered with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Not signed in.
    SignIn,
    /// Hidden: there is no such record for this caller.
    Hidden,
    /// Forbidden.
    Forbidden,
    /// Let through; whatever the body then deserves.
    Through,
}

impl Outcome {
    pub const fn fits(self, status: u16) -> bool {
        match self {
            Self::SignIn => status == 401,
            Self::Hidden => status == 404,
            Self::Forbidden => status == 403,
            Self::Through => !matches!(status, 0 | 401 | 403 | 404 | 500..),
        }
    }
}

/// What a caller must be answered about the records of the first group. `role` is empty for those outside the club,
/// `sees` says whether they see that group, `left` whether they left the club a short time ago.
#[allow(clippy::match_same_arms)] // the order of the questions is what reads
pub fn expected(rule: Rule, role: &str, sees: bool, left: bool) -> Outcome {
    use Outcome::{Forbidden, Hidden, Through};
    match (rule, role) {
        (Rule::Secret, _) => Hidden,
        (Rule::Public | Rule::Account, _) => Through,
        (Rule::Recorder, "") if left => Through,
        (_, "") => Hidden,
        (_, "admin") => Through,
        (Rule::Admin, _) | (Rule::Coach | Rule::SeenCoach, "viewer") => Forbidden,
        (Rule::Seen | Rule::SeenCoach, _) if !sees => Hidden,
        _ => Through,
    }
}
