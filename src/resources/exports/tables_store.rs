//! What an export holds: every table of a club, column by column, or why it is left out. A test reads the catalogue of the database
//! and finds what neither is.

use super::words::ABOUT;

/// A table of a club as it is exported.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// The name of its files.
    pub name: &'static str,
    /// The table itself.
    pub from: &'static str,
    /// What it holds.
    pub about: &'static str,
    /// The column that names the club.
    pub club: &'static str,
    /// The order of its rows, along a key.
    pub order: &'static str,
    /// What an export of the whole club has of it; nothing where it is for athletes alone.
    pub columns: &'static str,
    /// What an export of one athlete has of it, and which rows: `{club}` and `{athlete}` stand for ids.
    pub of_athlete: Option<(&'static str, &'static str)>,
}

const fn table(name: &'static str, about: &'static str, columns: &'static str) -> Table {
    Table { name, from: name, about, club: "club_id", order: "x.id", columns, of_athlete: None }
}

impl Table {
    const fn by(self, order: &'static str) -> Self {
        Self { order, ..self }
    }

    /// All columns, of the rows about an athlete.
    const fn about_athletes(self) -> Self {
        let columns = self.columns;
        self.of_athlete(columns, "x.athlete_id = '{athlete}'")
    }

    const fn of_athlete(self, columns: &'static str, rows: &'static str) -> Self {
        Self { of_athlete: Some((columns, rows)), ..self }
    }
}

/// The tables in the order of the archive: what others point at comes first.
pub const TABLES: &[Table] = &[
    Table {
        club: "id",
        ..table(
            "clubs",
            "The club and its settings.",
            "id rev name time_zone ruleset spacing_step_mm policy print_units helper_links created_at updated_at",
        )
    },
    table("club_security", "What the club asks of sign-ins.", "admins_second_factor updated_at").by("x.club_id"),
    table("retention", "How long the club keeps records about people.", "rev enabled periods begins_at updated_at").by("x.club_id"),
    table("members", "Who belongs to the club, and who did.", "id rev role display_name email created_at updated_at deleted_at"),
    table("groups", "Training groups.", "id rev name season archived created_at updated_at deleted_at").of_athlete(
        "id name season archived",
        "x.id in (select s.scope_id from root_scope s where s.club_id = '{club}' and s.kind = 'athlete' and s.root_id = '{athlete}')",
    ),
    table("scope_grant", "What each member sees: groups, the club's own things, or everything.", "id member_id scope_id revoked"),
    table(
        "invitations",
        "Invitations; the codes that were handed over and mailed are kept as hashes and stay behind.",
        "id email role group_ids expires_at created_at accepted_at invited_by voided_at",
    ),
    table(
        "apps",
        "Apps of third parties that the club admits or admitted.",
        "id rev name redirect_uris scopes created_by created_at updated_at revoked_at",
    ),
    table("app_grants", "What members let apps do for them.", "app_id member_id scopes granted_at last_used_at revoked_at")
        .by("x.app_id, x.member_id"),
    table(
        "secret_links",
        "That there are or were links for helpers and calendar feeds; their secrets are kept as hashes and stay behind.",
        "id kind subject_id made_by device_id made_at expires_at ended_at opened_at",
    ),
    table("venues", "Where lanes are set out.", "id rev name environment straight_mm lanes surface created_at updated_at deleted_at"),
    table("equipment", "Stocks of barriers.", "id rev barrier_kind heights_mm count note created_at updated_at deleted_at"),
    table(
        "barrier_configurations",
        "Recipes for a lane.",
        "id rev name barrier_kind height_mm spacing_mm approach_mm barriers created_at updated_at deleted_at",
    ),
    table(
        "age_groups",
        "The club's own age groups.",
        "id rev ruleset age_group min_age max_age rule valid_from valid_to source created_at updated_at deleted_at",
    ),
    table(
        "competition_specs",
        "The club's own competition specifications.",
        "id rev ruleset event_code environment sex age_group race_distance_mm barriers height_mm to_first_mm between_mm run_in_mm \
         valid_from valid_to source created_at updated_at deleted_at",
    ),
    table(
        "athletes",
        "Athletes. Of somebody who was erased nothing is left but the id, so that what was counted still counts.",
        "id rev display_name sex birth_date birth_year preferred_lead_leg approach_strides experience status restricted_until \
         consent_on withheld created_at updated_at deleted_at",
    )
    .of_athlete(
        "id rev display_name sex birth_date birth_year preferred_lead_leg approach_strides experience status restricted_until \
         consent_on withheld created_at updated_at deleted_at",
        "x.id = '{athlete}'",
    ),
    table("consents", "Who agreed to what for an athlete, and took it back.", "id athlete_id purpose given on_day by_whom recorded_by created_at")
        .about_athletes(),
    table(
        "measurements",
        "Measurements of athletes.",
        "id rev athlete_id kind value_milli measured_on confirmed implausible recorded_by created_at deleted_at",
    )
    .about_athletes(),
    table(
        "wellbeing_records",
        "Reports of pain, illness and injury, restrictions and clearances.",
        "id rev athlete_id kind reported_on reported_by until clears supersedes void recorded_by created_at skew_ms",
    )
    .about_athletes(),
    table(
        "sessions",
        "Training sessions.",
        "id rev held_on state venue_id surface blocks weather_note note created_at updated_at deleted_at",
    )
    .of_athlete(
        "id rev held_on state venue_id surface blocks created_at updated_at deleted_at",
        "(x.id in (select a.session_id from attendance a where a.club_id = '{club}' and a.athlete_id = '{athlete}') \
         or x.id in (select r.session_id from runs r where r.club_id = '{club}' and r.athlete_id = '{athlete}') \
         or x.id in (select a.session_id from assessments a where a.club_id = '{club}' and a.athlete_id = '{athlete}') \
         or x.id in (select t.session_id from race_tests t join race_entries e on e.club_id = '{club}' and e.race_test_id = t.id \
           where t.club_id = '{club}' and e.athlete_id = '{athlete}') \
         or x.id in (select t.session_id from race_tests t join race_results e on e.club_id = '{club}' and e.race_test_id = t.id \
           where t.club_id = '{club}' and e.athlete_id = '{athlete}'))",
    ),
    table("root_scope", "Which groups athletes and sessions belong to.", "kind root_id scope_id")
        .by("x.kind, x.root_id, x.scope_id")
        .of_athlete("kind root_id scope_id", "x.kind = 'athlete' and x.root_id = '{athlete}'"),
    table("attendance", "Who came to which session.", "id rev session_id athlete_id created_at updated_at deleted_at").about_athletes(),
    table(
        "lane_plans",
        "Lane plans: what was asked and what was planned, with athletes by their ids.",
        "id rev session_id request plan people known_at created_by created_at updated_at deleted_at",
    ),
    Table {
        from: "lane_plans",
        ..table("lane_places", "The places of the athlete in lane plans, without the others of each lane.", "").of_athlete(
            "id session_id created_by created_at places",
            "x.people @> array['{athlete}'::uuid] and x.deleted_at is null",
        )
    },
    table(
        "runs",
        "What was run.",
        "id rev session_id athlete_id run_at barrier_kind height_mm spacing_mm approach_mm barriers held over_reached crowded broken \
         hits fell lead_leg touchdown_times_ms timing_method video_fps note lane_plan_id lane round while_restricted supersedes void \
         recorded_by created_at skew_ms",
    )
    .about_athletes(),
    table(
        "assessments",
        "How technique was rated: 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions, nothing when it was not seen.",
        "id rev athlete_id session_id assessed_at lead_leg trail_leg walkover take_off landing posture rhythm arms note supersedes void \
         recorded_by created_at skew_ms",
    )
    .about_athletes(),
    table(
        "recommendations",
        "What was advised, and what coaches decided on it.",
        "id rev athlete_id on_date advice outcome barrier_kind height_mm spacing_mm reason clears_return coach_accepts until_date \
         decided_by decided_at",
    )
    .about_athletes(),
    table(
        "race_tests",
        "Race tests.",
        "id rev session_id name state ruleset event_code environment sex age_group race_distance_mm barriers height_mm approach_mm \
         spacing_mm discounted timing_method draw created_by created_at updated_at deleted_at",
    )
    .of_athlete(
        "id session_id name state ruleset event_code environment sex age_group race_distance_mm barriers height_mm approach_mm \
         spacing_mm discounted timing_method",
        "(x.id in (select e.race_test_id from race_entries e where e.club_id = '{club}' and e.athlete_id = '{athlete}') \
         or x.id in (select r.race_test_id from race_results r where r.club_id = '{club}' and r.athlete_id = '{athlete}'))",
    ),
    table(
        "race_entries",
        "Who is entered in a race test, and where they run.",
        "id rev race_test_id athlete_id expected_ms expected_sd_ms expected_basis heat lane offset_ms coach_accepts readiness created_at",
    )
    .about_athletes(),
    table(
        "race_results",
        "Results of race tests.",
        "id rev race_test_id athlete_id heat lane status final_time_ms touchdown_times_ms timing_method video_fps hits fell note \
         while_restricted supersedes void recorded_by created_at",
    )
    .about_athletes(),
    table(
        "held_item",
        "Facts from phones that waited, or wait, for a decision.",
        "kind id op_id member_id device_id athlete_id data reason detail skew_ms received_at outcome decided_by decided_at note rival",
    )
    .by("x.kind, x.id")
    .about_athletes(),
    table(
        "refused_edit",
        "What phones sent that lost against another edit.",
        "op_id kind entity_id member_id reason base_rev data received_at",
    )
    .by("x.op_id")
    .of_athlete(
        "op_id kind entity_id member_id reason base_rev data received_at",
        "x.kind = 'athlete' and x.entity_id = '{athlete}'",
    ),
    table("sync_device", "Phones that work offline.", "id member_id name skew_ms pulled_at pushed_at"),
    table(
        "audit",
        "Who read, exported, changed and granted what, and who was refused.",
        "number at act operation status account_id device_id network address reach athletes records times hash",
    )
    .by("x.number")
    // Whose data others read is theirs to know; from where is not.
    .of_athlete("number at act operation status account_id times", "x.athletes @> array['{athlete}'::uuid]"),
    table("audit_start", "The last row of the audit that was dropped: the first that is kept follows it.", "number hash").by("x.number"),
];

/// Tables of a club that stay behind, and why.
pub const LEFT_OUT: &[(&str, &str)] = &[
    ("club_clock", "a counter of this database; another one counts anew"),
    ("club_epoch", "lives of this database"),
    ("club_change", "the order in which phones learn of changes: ids alone, all of records that are here"),
    (
        "op_receipt",
        "that edits of phones were carried out, so that they are not twice; of use to those phones here alone",
    ),
    ("exports", "exports themselves"),
    ("export_pieces", "exports themselves"),
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

    #[test]
    fn every_column_is_described_and_every_file_has_a_name_of_its_own() {
        let mut names = BTreeSet::new();
        for table in TABLES {
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
        let known: BTreeSet<String> = TABLES.iter().flat_map(of).collect();
        let stray: Vec<_> = ABOUT.iter().filter(|(name, _)| !known.contains(*name)).collect();
        assert!(stray.is_empty(), "{stray:?}");
    }
}
