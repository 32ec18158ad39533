//! Every table of clubs, described once: what an export takes from it, how an import brings it back, and in which order a club that
//! ends loses it. `tests/api/exports.rs` holds the list against the catalogue, with every column, key and reference.

use super::Kind;

/// How an import brings the rows of a table, and how its records stand to others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comes {
    /// By themselves, for the whole club.
    ByItself(Kind),
    /// By themselves, in groups.
    InGroups(Kind),
    /// Below their athlete.
    UnderAthlete(Kind),
    /// Below their session.
    UnderSession(Kind),
    /// As parts of other records; no phone learns of them by themselves.
    Within,
    /// Not as rows, and why.
    Not(&'static str),
}
use Comes::{ByItself, InGroups, Not, UnderAthlete, UnderSession, Within};

impl Comes {
    /// What the change log calls its records, where it does.
    pub const fn kind(self) -> Option<Kind> {
        match self {
            ByItself(kind) | InGroups(kind) | UnderAthlete(kind) | UnderSession(kind) => Some(kind),
            Within | Not(_) => None,
        }
    }
}

/// A table of clubs.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// The name of its files in an archive.
    pub name: &'static str,
    /// The table itself.
    pub from: &'static str,
    /// The column that names the club.
    pub club: &'static str,
    /// Its key beside the club, which is the order of its rows in an archive as well.
    key: &'static str,
    /// The columns in which its rows refer to each other.
    pub own: &'static [&'static str],
    /// What it holds; or why an export leaves it out.
    pub about: Result<&'static str, &'static str>,
    /// What an export of the whole club has of it; nothing where it is for athletes alone.
    pub columns: &'static str,
    /// What an export of one athlete has of it, and which rows: `{club}` and `{athlete}` stand for ids.
    pub of_athlete: Option<(&'static str, &'static str)>,
    /// What an import does with it.
    pub comes: Comes,
}

const fn table(name: &'static str, comes: Comes, about: &'static str, columns: &'static str) -> Table {
    Table { name, from: name, club: "club_id", key: "id", own: &[], about: Ok(about), columns, of_athlete: None, comes }
}

const fn left_out(name: &'static str, key: &'static str, why: &'static str) -> Table {
    Table { about: Err(why), ..table(name, Not("is in no archive"), "", "").by(key) }
}

impl Table {
    const fn by(self, key: &'static str) -> Self {
        Self { key, ..self }
    }

    const fn corrected(self, own: &'static [&'static str]) -> Self {
        Self { own, ..self }
    }

    const fn about_athletes(self) -> Self {
        self.those("x.athlete_id = '{athlete}'")
    }

    /// All columns of these rows.
    const fn those(self, rows: &'static str) -> Self {
        let columns = self.columns;
        self.of_athlete(columns, rows)
    }

    const fn of_athlete(self, columns: &'static str, rows: &'static str) -> Self {
        Self { of_athlete: Some((columns, rows)), ..self }
    }

    /// Its key beside the club, as a statement that calls it `alias` names it.
    pub fn key(&self, alias: &str) -> String {
        self.key.split(", ").map(|column| format!("{alias}.{column}")).collect::<Vec<_>>().join(", ")
    }

    /// Whether an export has a column of it.
    pub fn has(&self, column: &str) -> bool {
        self.columns.split_whitespace().any(|one| one == column)
    }

    /// Whether an archive of an athlete brings it: what stands by itself belongs to the whole club.
    pub const fn comes_with_athlete(&self) -> bool {
        self.of_athlete.is_some() && !matches!(self.comes, ByItself(_) | Not(_))
    }
}

/// The table of a name.
pub fn named(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|one| one.name == name)
}

/// What an archive has.
pub fn exported() -> impl Iterator<Item = &'static Table> {
    TABLES.iter().filter(|one| one.about.is_ok())
}

/// What an import writes as rows. The settings of the club and the groups of athletes and sessions are read apart.
pub fn imported() -> impl Iterator<Item = &'static Table> {
    TABLES.iter().filter(|one| !matches!(one.comes, Not(_)))
}

/// Columns that came after the first archives were made, as `table.column`. Where an archive does not have one, it is empty, as it
/// became in the rows that stood here: so it has to be one that may be empty.
pub const LATER: &[&str] = &["athletes.status_on"];

/// The tables in the order of an archive and of an import: what others point at comes first. A club that ends loses them from the last
/// to the first.
#[rustfmt::skip] // a table is a line or two
pub const TABLES: &[Table] = &[
    Table {
        club: "id",
        ..table("clubs", Not("its settings are taken over, its id and name stay"), "The club and its settings.",
            "id rev name time_zone ruleset spacing_step_mm policy print_units helper_links created_at updated_at")
    },
    left_out("club_clock", "club_id", "a counter of this database; another one counts anew"),
    left_out("club_epoch", "epoch", "lives of this database"),
    table("club_security", Not("an archive decides nothing about sign-ins"), "What the club asks of sign-ins.",
        "admins_second_factor updated_at").by("club_id"),
    table("retention", Not("nothing goes by itself until an admin of the club says so"), "How long the club keeps records about people.",
        "rev enabled periods begins_at updated_at").by("club_id"),
    table("members", Not("an archive gives nobody access: invite them"), "Who belongs to the club, and who did.",
        "id rev role display_name email created_at updated_at deleted_at"),
    table("groups", ByItself(Kind::Group), "Training groups.",
        "id rev name season archived created_at updated_at deleted_at").of_athlete(
            "id name season archived",
            "x.id in (select s.scope_id from root_scope s \
             where s.club_id = '{club}' and s.kind = 'athlete' and s.root_id = '{athlete}')"),
    table("scope_grant", Not("an archive gives nobody access: invite them"),
        "What each member sees: groups, the club's own things, or everything.",
        "id member_id scope_id revoked"),
    table("invitations", Not("their codes stayed behind"),
        "Invitations; the codes that were handed over and mailed are kept as hashes and stay behind.",
        "id email role group_ids expires_at created_at accepted_at invited_by voided_at"),
    table("apps", Not("an archive gives nobody access: admit them anew"), "Apps of third parties that the club admits or admitted.",
        "id rev name redirect_uris scopes created_by created_at updated_at revoked_at"),
    table("app_grants", Not("an archive gives nobody access: members allow it anew"), "What members let apps do for them.",
        "app_id member_id scopes granted_at last_used_at revoked_at").by("app_id, member_id"),
    table("secret_links", Not("their secrets stayed behind"),
        "That there are or were links for helpers and calendar feeds; their secrets are kept as hashes and stay behind.",
        "id kind subject_id made_by device_id made_at expires_at ended_at opened_at"),
    table("venues", ByItself(Kind::Venue), "Where lanes are set out.",
        "id rev name environment straight_mm lanes surface created_at updated_at deleted_at"),
    table("equipment", ByItself(Kind::Equipment), "Stocks of barriers.",
        "id rev barrier_kind heights_mm count note created_at updated_at deleted_at"),
    table("barrier_configurations", ByItself(Kind::BarrierConfiguration), "Recipes for a lane.",
        "id rev name barrier_kind height_mm spacing_mm approach_mm barriers created_at updated_at deleted_at"),
    table("age_groups", ByItself(Kind::AgeGroup), "The club's own age groups.",
        "id rev ruleset age_group min_age max_age rule valid_from valid_to source created_at updated_at deleted_at"),
    table("competition_specs", ByItself(Kind::CompetitionSpec), "The club's own competition specifications.",
        "id rev ruleset event_code environment sex age_group race_distance_mm barriers height_mm to_first_mm between_mm run_in_mm \
         valid_from valid_to source created_at updated_at deleted_at"),
    table("athletes", InGroups(Kind::Athlete),
        "Athletes. Of somebody who was erased nothing is left but the id, so that what was counted still counts.",
        "id rev display_name sex birth_date birth_year preferred_lead_leg approach_strides experience status status_on \
         restricted_until consent_on withheld created_at updated_at deleted_at").those("x.id = '{athlete}'"),
    table("consents", Within, "Who agreed to what for an athlete, and took it back.",
        "id athlete_id purpose given on_day by_whom recorded_by created_at").about_athletes(),
    table("measurements", UnderAthlete(Kind::Measurement), "Measurements of athletes.",
        "id rev athlete_id kind value_milli measured_on confirmed implausible recorded_by created_at deleted_at").about_athletes(),
    table("wellbeing_records", UnderAthlete(Kind::WellbeingRecord), "Reports of pain, illness and injury, restrictions and clearances.",
        "id rev athlete_id kind reported_on reported_by until clears supersedes void recorded_by created_at skew_ms")
        .corrected(&["supersedes", "clears"]).about_athletes(),
    table("sessions", InGroups(Kind::Session), "Training sessions.",
        "id rev held_on state venue_id surface blocks weather_note note created_at updated_at deleted_at").of_athlete(
            "id rev held_on state venue_id surface blocks created_at updated_at deleted_at",
            "(x.id in (select a.session_id from attendance a where a.club_id = '{club}' and a.athlete_id = '{athlete}') \
             or x.id in (select r.session_id from runs r where r.club_id = '{club}' and r.athlete_id = '{athlete}') \
             or x.id in (select a.session_id from assessments a where a.club_id = '{club}' and a.athlete_id = '{athlete}') \
             or x.id in (select t.session_id from race_tests t join race_entries e on e.club_id = '{club}' and e.race_test_id = t.id \
               where t.club_id = '{club}' and e.athlete_id = '{athlete}') \
             or x.id in (select t.session_id from race_tests t join race_results e on e.club_id = '{club}' and e.race_test_id = t.id \
               where t.club_id = '{club}' and e.athlete_id = '{athlete}'))"),
    table("root_scope", Not("written with athletes and sessions"), "Which groups athletes and sessions belong to.",
        "kind root_id scope_id").by("kind, root_id, scope_id").those("x.kind = 'athlete' and x.root_id = '{athlete}'"),
    table("attendance", UnderAthlete(Kind::Attendance), "Who came to which session.",
        "id rev session_id athlete_id created_at updated_at deleted_at").about_athletes(),
    table("lane_plans", UnderSession(Kind::LanePlan), "Lane plans: what was asked and what was planned, with athletes by their ids.",
        "id rev session_id request plan people known_at created_by created_at updated_at deleted_at"),
    Table {
        from: "lane_plans",
        ..table("lane_places", Not("of plans that stay with their club"),
            "The places of the athlete in lane plans, without the others of each lane.", "")
            .of_athlete("id session_id created_by created_at places", "x.people @> array['{athlete}'::uuid] and x.deleted_at is null")
    },
    table("runs", UnderAthlete(Kind::Run), "What was run.",
        "id rev session_id athlete_id run_at barrier_kind height_mm spacing_mm approach_mm barriers held over_reached crowded broken \
         hits fell lead_leg touchdown_times_ms timing_method video_fps note lane_plan_id lane round while_restricted supersedes void \
         recorded_by created_at skew_ms").corrected(&["supersedes"]).about_athletes(),
    table("assessments", UnderAthlete(Kind::Assessment),
        "How technique was rated: 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions, nothing when it was not seen.",
        "id rev athlete_id session_id assessed_at lead_leg trail_leg walkover take_off landing posture rhythm arms note supersedes void \
         recorded_by created_at skew_ms").corrected(&["supersedes"]).about_athletes(),
    table("recommendations", UnderAthlete(Kind::Recommendation), "What was advised, and what coaches decided on it.",
        "id rev athlete_id on_date advice outcome barrier_kind height_mm spacing_mm reason clears_return coach_accepts until_date \
         decided_by decided_at").about_athletes(),
    table("race_tests", UnderSession(Kind::RaceTest), "Race tests.",
        "id rev session_id name state ruleset event_code environment sex age_group race_distance_mm barriers height_mm approach_mm \
         spacing_mm discounted timing_method draw created_by created_at updated_at deleted_at").of_athlete(
            "id session_id name state ruleset event_code environment sex age_group race_distance_mm barriers height_mm approach_mm \
             spacing_mm discounted timing_method",
            "(x.id in (select e.race_test_id from race_entries e where e.club_id = '{club}' and e.athlete_id = '{athlete}') \
             or x.id in (select r.race_test_id from race_results r where r.club_id = '{club}' and r.athlete_id = '{athlete}'))"),
    table("race_entries", UnderAthlete(Kind::RaceEntry), "Who is entered in a race test, and where they run.",
        "id rev race_test_id athlete_id expected_ms expected_sd_ms expected_basis heat lane offset_ms coach_accepts readiness \
         created_at").about_athletes(),
    table("race_results", UnderAthlete(Kind::RaceResult), "Results of race tests.",
        "id rev race_test_id athlete_id heat lane status final_time_ms touchdown_times_ms timing_method video_fps hits fell note \
         while_restricted supersedes void recorded_by created_at").corrected(&["supersedes"]).about_athletes(),
    table("held_item", Not("waits for a phone and a member that are not here"), "Facts from phones that waited, or wait, for a decision.",
        "kind id op_id member_id device_id athlete_id data reason detail skew_ms received_at outcome decided_by decided_at note rival")
        .by("kind, id").about_athletes(),
    table("refused_edit", Not("of a phone and a member that are not here"), "What phones sent that lost against another edit.",
        "op_id kind entity_id member_id reason base_rev data received_at").by("op_id")
        .those("x.kind = 'athlete' and x.entity_id = '{athlete}'"),
    table("sync_device", Not("phones sign in anew"), "Phones that work offline.",
        "id member_id name skew_ms pulled_at pushed_at"),
    table("audit", Not("what was done elsewhere: keep the archive"), "Who read, exported, changed and granted what, and who was refused.",
        "number at act operation status account_id device_id app_id network address reach athletes records times hash").by("number")
        // Whose data others read is theirs to know; from where is not.
        .of_athlete("number at act operation status account_id app_id times", "x.athletes @> array['{athlete}'::uuid]"),
    table("audit_start", Not("what was done elsewhere: keep the archive"),
        "The last row of the audit that was dropped: the first that is kept follows it.",
        "number hash").by("number"),
    left_out("club_change", "seq", "the order in which phones learn of changes: ids alone, all of records that are here"),
    left_out("op_receipt", "op_id", "that edits of phones were carried out, so that they are not twice; of use to those phones here alone"),
    left_out("exports", "id", "exports themselves"),
    left_out("export_pieces", "export_id, place", "exports themselves"),
];
