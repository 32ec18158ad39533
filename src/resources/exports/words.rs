//! What each column of an export holds: `column`, or `table.column` where it means something of its own.

/// Column and meaning. A name ends with its unit: `_mm` millimetres, `_ms` milliseconds.
const ABOUT: &[(&str, &str)] = &[
    // Of many tables.
    ("id", "The id of the record."),
    ("rev", "The number of the club's change that wrote the record last."),
    ("name", "Name."),
    ("note", "Remark."),
    ("kind", "Which kind it is of."),
    ("state", "`planned`, `held` or `cancelled`."),
    ("source", "Where the figures were read."),
    ("athlete_id", "The athlete."),
    ("session_id", "The session."),
    ("venue_id", "The venue."),
    ("member_id", "The member."),
    ("device_id", "The sign-in or phone."),
    ("account_id", "Whose sign-in it was."),
    ("created_at", "When the record was stored, UTC."),
    ("updated_at", "When the record was changed last, UTC."),
    ("deleted_at", "When the record was deleted, UTC; what is personal of it went then."),
    ("revoked_at", "When it was taken back, UTC."),
    ("expires_at", "Until when it stands, UTC."),
    ("created_by", "The member who made it."),
    ("made_by", "The member who made it."),
    ("recorded_by", "The member who recorded it."),
    ("decided_by", "The member who decided."),
    ("decided_at", "When it was decided, UTC."),
    ("supersedes", "The record that this one corrects."),
    ("void", "Whether this only withdraws what it supersedes."),
    ("skew_ms", "How far the clock of the phone was ahead, milliseconds."),
    ("while_restricted", "Whether a report or restriction stood on the day."),
    ("barrier_kind", "`wicket`, `foam`, `low_barrier` or `hurdle`."),
    ("height_mm", "Height of the barriers, millimetres."),
    ("spacing_mm", "Distance between two barriers, millimetres."),
    ("approach_mm", "Start line to the first barrier, millimetres."),
    ("barriers", "Number of barriers."),
    ("lane", "The lane."),
    ("heat", "The heat."),
    ("hits", "Barriers hit."),
    ("fell", "Whether the athlete went down."),
    ("touchdown_times_ms", "Touchdown after each barrier since the start, milliseconds; null where one was missed."),
    ("timing_method", "`hand`, `tap`, `video` or `gate`."),
    ("video_fps", "Frames a second of the video."),
    ("ruleset", "The rule set."),
    ("age_group", "The age group."),
    ("event_code", "The event."),
    ("environment", "`indoor` or `outdoor`."),
    ("sex", "The category of the rules: `F`, `M`, or `X` for every one."),
    ("race_distance_mm", "Start to finish, millimetres."),
    ("valid_from", "First day on which it holds."),
    ("valid_to", "Last day on which it holds; nothing without an end."),
    ("scopes", "The scopes."),
    ("role", "`admin`, `coach` or `viewer`."),
    ("email", "E-mail address."),
    ("display_name", "Name as it is shown."),
    ("data", "What was sent."),
    ("op_id", "The item of the phone's push."),
    ("received_at", "When it came, UTC."),
    ("hash", "Hash of the row, chained to the row before it, hexadecimal."),
    ("number", "Place in the audit."),
    // Of one table.
    ("time_zone", "IANA time zone, which decides what today is."),
    ("spacing_step_mm", "The smallest change of spacing that the club sets out, millimetres."),
    ("policy", "Settings of advice that differ from the usual ones."),
    ("print_units", "`metric` or `imperial`: how documents for people and drawings are printed."),
    ("helper_links", "Whether coaches may make links for helpers."),
    ("enabled", "Whether records go by themselves when their time is over."),
    ("periods", "Days by kind of record; a kind that is absent is kept as long as the club."),
    ("begins_at", "From when records may go, UTC."),
    ("admins_second_factor", "Whether admins need a second factor."),
    ("season", "The season."),
    ("archived", "Whether the time of the group is over."),
    ("scope_id", "A group, the club (its own things) or the nil id (every athlete and session)."),
    ("revoked", "Whether it is over."),
    ("group_ids", "The groups that go with the invitation."),
    ("accepted_at", "When it was taken, UTC."),
    ("invited_by", "The admin who invited."),
    ("voided_at", "When it became void, UTC."),
    ("redirect_uris", "Where a sign-in for the app may lead back to."),
    ("app_id", "The app."),
    ("granted_at", "When the member let it, UTC."),
    ("last_used_at", "When the app used it last, UTC."),
    ("secret_links.kind", "`session_sheets` or `calendar_feed`."),
    ("subject_id", "What the address shows: a session, or the member whose calendar it is."),
    ("made_at", "When it was made, UTC."),
    ("ended_at", "When it was taken back, UTC."),
    ("opened_at", "When it was opened last, UTC."),
    ("straight_mm", "Length of the straight, millimetres."),
    ("lanes", "Number of lanes."),
    ("surface", "What lanes are laid on; of a session `wet` or `uneven` where something was wrong with it."),
    ("heights_mm", "The heights to which the barriers can be set, millimetres."),
    ("count", "How many there are."),
    ("min_age", "Youngest age, years."),
    ("max_age", "Oldest age, years."),
    ("rule", "Which day decides the age."),
    ("to_first_mm", "Start to the first barrier, millimetres."),
    ("between_mm", "Between two barriers, millimetres."),
    ("run_in_mm", "Last barrier to the finish, millimetres."),
    ("birth_date", "Day of birth."),
    ("birth_year", "Year of birth, where the day is not known."),
    ("preferred_lead_leg", "`left` or `right`."),
    ("approach_strides", "Strides to the first barrier."),
    ("experience", "`novice` or `trained`."),
    ("athletes.status", "`active`, `resting` or `left`."),
    ("athletes.status_on", "The day on which the status was changed last; nothing where nobody noted it."),
    ("restricted_until", "Last day of a restriction that an older version noted; well-being records tell it now."),
    ("consent_on", "The day on which consent to records of training was given."),
    ("withheld", "From whom the athlete is withheld, because consent was withdrawn."),
    ("purpose", "`training_records`, `sharing_with_helpers` or `sharing_with_apps`."),
    ("given", "Whether consent was given, or else withdrawn."),
    ("on_day", "On which day."),
    ("by_whom", "`athlete` or `guardian`."),
    ("measurements.kind", "`stature_m`, `leg_length_m`, `sprint_30m_s` or `sprint_50m_s`."),
    ("value_milli", "Thousandths of the unit that ends the kind: millimetres or milliseconds."),
    ("measured_on", "On which day."),
    ("confirmed", "Whether somebody looked at an unusual value again."),
    ("implausible", "Whether advice leaves it out."),
    ("wellbeing_records.kind", "`pain`, `illness`, `injury`, `restriction` or `clearance`."),
    ("reported_on", "On which day."),
    ("reported_by", "`athlete`, `guardian`, `coach` or `medical`."),
    ("until", "Last day of a restriction."),
    ("clears", "The report or restriction that a clearance ends."),
    ("held_on", "The day."),
    ("blocks", "What was planned: drills, doses, remarks."),
    ("weather_note", "The weather."),
    ("root_scope.kind", "`athlete` or `session`."),
    ("root_id", "The athlete or session."),
    ("root_scope.scope_id", "The group."),
    ("request", "What was asked of the plan."),
    ("plan", "The plan: lanes, places, stock, cautions."),
    ("people", "Everybody whom the plan names."),
    ("known_at", "Up to when the plan heeds reports and restrictions, UTC."),
    ("places", "The lanes in which the athlete is placed, each with `athlete` for what is said of them there."),
    ("run_at", "When, by the clock of the phone."),
    ("held", "Intervals in which the rhythm held."),
    ("over_reached", "Intervals whose spacing was too long."),
    ("crowded", "Intervals whose spacing was too short."),
    ("broken", "Intervals in which the rhythm was lost for another cause."),
    ("runs.lead_leg", "`left` or `right`."),
    ("lane_plan_id", "The lane plan."),
    ("round", "The round of the plan."),
    ("assessed_at", "When, by the clock of the phone."),
    ("assessments.lead_leg", "Rating of the lead leg, 0 to 3."),
    ("trail_leg", "Rating of the trail leg, 0 to 3."),
    ("walkover", "Rating of walking over, 0 to 3."),
    ("take_off", "Rating of the take-off, 0 to 3."),
    ("landing", "Rating of the landing, 0 to 3."),
    ("posture", "Rating of posture, 0 to 3."),
    ("rhythm", "Rating of rhythm, 0 to 3."),
    ("arms", "Rating of the arms, 0 to 3."),
    ("on_date", "The day that the advice is for."),
    ("advice", "The advice as it was given."),
    ("recommendations.outcome", "`accepted` or `overridden`."),
    ("recommendations.reason", "Why, in the words of the coach."),
    ("clears_return", "Whether the coach cleared a return after a break."),
    ("coach_accepts", "Whether the coach confirmed it a second time."),
    ("until_date", "Last day on which the word stands."),
    ("discounted", "Whether the spacing is shorter than that of the competition."),
    ("draw", "What was asked of the heats."),
    ("race_test_id", "The race test."),
    ("expected_ms", "The time that is expected, milliseconds."),
    ("expected_sd_ms", "Its standard deviation, milliseconds."),
    ("expected_basis", "What the expectation rests on."),
    ("offset_ms", "Handicap: how much later the start is, milliseconds."),
    (
        "readiness",
        "How ready the athlete was when last looked at; or what on file could not be used then (`unusable`).",
    ),
    ("race_results.status", "`finished`, `did_not_start`, `did_not_finish` or `disqualified`."),
    ("final_time_ms", "The time from the athlete's own start, milliseconds."),
    ("held_item.kind", "The type of the fact."),
    ("held_item.reason", "Why it waited."),
    ("detail", "What was wrong with it."),
    ("held_item.outcome", "`accepted`, `rejected` or `withdrawn`; nothing while nobody decided."),
    ("rival", "Who recorded the correction that stands, of a second one."),
    ("refused_edit.kind", "The type of the record."),
    ("entity_id", "The record."),
    ("refused_edit.reason", "`conflict` or `deleted`."),
    ("base_rev", "The version that the edit was made on."),
    ("pulled_at", "When the phone read last, UTC."),
    ("pushed_at", "When the phone sent last, UTC."),
    ("at", "When, UTC."),
    ("act", "What was done."),
    ("operation", "Method and route of the request; `service` for what the service does by itself."),
    ("audit.app_id", "The app that acted; empty where people acted themselves."),
    ("audit.status", "What a read or refusal was answered with."),
    ("network", "The network that it came from."),
    ("address", "The whole address, for 30 days."),
    ("reach", "Which athletes it is about: `named`, `seen` (whoever the caller saw) or `none`."),
    ("athletes", "The athletes that it names."),
    ("records", "The other records that it names."),
    ("times", "How often within one second."),
];

/// Columns that stay behind, and why; `*` stands for every table.
pub const COLUMNS_LEFT_OUT: &[(&str, &str, &str)] = &[
    ("*", "club_id", "the same in every row; the manifest names the club"),
    ("invitations", "token_hash", "a secret"),
    ("invitations", "mail_hash", "a secret"),
    ("secret_links", "token_hash", "a secret"),
    ("scope_grant", "from_seq", "a place in the change log of this database"),
    ("scope_grant", "to_seq", "a place in the change log of this database"),
    ("root_scope", "athlete_id", "made from kind and root_id"),
    ("root_scope", "session_id", "made from kind and root_id"),
    ("athletes", "name_rev", "a place in the change log of this database"),
    ("athletes", "birth_rev", "a place in the change log of this database"),
    ("athletes", "contact_rev", "a place in the change log of this database"),
    ("athletes", "technique_rev", "a place in the change log of this database"),
    ("athletes", "status_rev", "a place in the change log of this database"),
    ("athletes", "groups_rev", "a place in the change log of this database"),
    ("sync_device", "epoch", "a place in the change log of this database"),
    ("sync_device", "seq", "a place in the change log of this database"),
    ("sync_device", "generation", "a place in the change log of this database"),
];

/// What a column holds; empty when nobody said so.
pub fn about(table: &str, column: &str) -> &'static str {
    let said = |name: &str| ABOUT.iter().find(|(known, _)| *known == name).map(|(_, says)| *says);
    said(&format!("{table}.{column}")).or_else(|| said(column)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::platform::db::tables::{Table, exported};

    #[test]
    fn every_column_is_described_and_every_file_has_a_name_of_its_own() {
        let mut names = BTreeSet::new();
        for table in exported() {
            assert!(names.insert(table.name), "{}", table.name);
            assert!(!table.columns.is_empty() || table.of_athlete.is_some(), "{}", table.name);
            let of_athlete = table.of_athlete.map_or("", |(columns, _)| columns);
            for column in table.columns.split_whitespace().chain(of_athlete.split_whitespace()) {
                assert!(!about(table.name, column).is_empty(), "{}.{column}", table.name);
            }
        }
    }

    #[test]
    fn no_description_is_of_nothing() {
        let of = |table: &Table| {
            let columns =
                table.columns.split_whitespace().chain(table.of_athlete.map_or("", |(all, _)| all).split_whitespace());
            columns.flat_map(|column| [column.to_owned(), format!("{}.{column}", table.name)]).collect::<Vec<_>>()
        };
        let known: BTreeSet<String> = exported().flat_map(of).collect();
        let stray: Vec<_> = ABOUT.iter().filter(|(name, _)| !known.contains(*name)).collect();
        assert!(stray.is_empty(), "{stray:?}");
    }
}
