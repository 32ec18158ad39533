//! What of an archive is imported, in which order, and what each row means for phones.

use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::{Change, Kind};
use crate::platform::ids::{AthleteId, SessionId, read};
use crate::platform::words::words;

words! {
    /// Of whom an archive is.
    Of as ArchiveKind {
        /// All that a club held.
        Club = "club",
        /// All that a club held about one athlete.
        Athlete = "athlete",
    }
}

/// How a record of a table stands to others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// By itself, for the whole club.
    ByItself,
    /// By itself, in groups.
    InGroups,
    /// Below its athlete.
    UnderAthlete,
    /// Below its session.
    UnderSession,
    /// As a part of another record; no phone learns of it by itself.
    Within,
}

/// A table that is imported: its name in the archive, what the change log calls it and how its records stand.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// The name.
    pub name: &'static str,
    /// The kind in the change log.
    pub kind: Option<Kind>,
    /// How its records stand.
    pub stands: Stands,
    /// Whether an archive of an athlete brings it.
    pub of_athlete: bool,
}

const fn table(name: &'static str, kind: Kind, stands: Stands, of_athlete: bool) -> Table {
    Table { name, kind: Some(kind), stands, of_athlete }
}

/// The tables in the order in which they are written: what others point at comes first. The settings of the club and the groups of
/// athletes and sessions are read apart.
pub const TABLES: &[Table] = &[
    table("groups", Kind::Group, Stands::ByItself, false),
    table("venues", Kind::Venue, Stands::ByItself, false),
    table("equipment", Kind::Equipment, Stands::ByItself, false),
    table("barrier_configurations", Kind::BarrierConfiguration, Stands::ByItself, false),
    table("age_groups", Kind::AgeGroup, Stands::ByItself, false),
    table("competition_specs", Kind::CompetitionSpec, Stands::ByItself, false),
    table("athletes", Kind::Athlete, Stands::InGroups, true),
    Table { name: "consents", kind: None, stands: Stands::Within, of_athlete: true },
    table("measurements", Kind::Measurement, Stands::UnderAthlete, true),
    table("wellbeing_records", Kind::WellbeingRecord, Stands::UnderAthlete, true),
    table("sessions", Kind::Session, Stands::InGroups, true),
    table("attendance", Kind::Attendance, Stands::UnderAthlete, true),
    table("lane_plans", Kind::LanePlan, Stands::UnderSession, false),
    table("runs", Kind::Run, Stands::UnderAthlete, true),
    table("assessments", Kind::Assessment, Stands::UnderAthlete, true),
    table("recommendations", Kind::Recommendation, Stands::UnderAthlete, true),
    table("race_tests", Kind::RaceTest, Stands::UnderSession, true),
    table("race_entries", Kind::RaceEntry, Stands::UnderAthlete, true),
    table("race_results", Kind::RaceResult, Stands::UnderAthlete, true),
];

/// Tables of an archive that are not imported, and why.
pub const LEFT_OUT: &[(&str, &str)] = &[
    ("clubs", "its settings are taken over, its id and name stay"),
    ("root_scope", "written with athletes and sessions"),
    ("club_security", "an archive decides nothing about sign-ins"),
    ("retention", "nothing goes by itself until an admin of the club says so"),
    ("members", "an archive gives nobody access: invite them"),
    ("scope_grant", "an archive gives nobody access: invite them"),
    ("invitations", "their codes stayed behind"),
    ("apps", "an archive gives nobody access: admit them anew"),
    ("app_grants", "an archive gives nobody access: members allow it anew"),
    ("secret_links", "their secrets stayed behind"),
    ("held_item", "waits for a phone and a member that are not here"),
    ("refused_edit", "of a phone and a member that are not here"),
    ("sync_device", "phones sign in anew"),
    ("audit", "what was done elsewhere: keep the archive"),
    ("audit_start", "what was done elsewhere: keep the archive"),
    ("lane_places", "of plans that stay with their club"),
];

/// The files of an archive that are read.
pub fn files() -> impl Iterator<Item = String> {
    let names = TABLES.iter().map(|table| table.name).chain(["clubs", "root_scope"]);
    names.map(|name| format!("json/{name}.ndjson"))
}

/// The id in a field of a row; the nil id when there is none.
fn id(row: &Map<String, Value>, field: &str) -> Uuid {
    row.get(field).and_then(read).unwrap_or_default()
}

impl Table {
    /// What phones must learn of a row; nothing of what is deleted or within another.
    pub fn change(&self, row: &Map<String, Value>, groups: &[Uuid]) -> Option<Change> {
        let kind = self.kind.filter(|_| row.get("deleted_at").is_none_or(Value::is_null))?;
        let change = Change::put(kind, id(row, "id"));
        Some(match self.stands {
            Stands::ByItself => change,
            Stands::InGroups => change.scopes(Vec::new(), groups.to_vec()),
            Stands::UnderAthlete => change.under(AthleteId(id(row, "athlete_id"))),
            Stands::UnderSession => change.under(SessionId(id(row, "session_id"))),
            Stands::Within => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::resources::exports::tables_store as tables;

    #[test]
    fn every_file_of_an_archive_is_imported_or_argued() {
        let imported = TABLES.iter().map(|table| table.name).chain(LEFT_OUT.iter().map(|(name, _)| *name));
        let imported: Vec<&str> = imported.collect();
        let all: BTreeSet<&str> = tables::TABLES.iter().map(|table| table.name).collect();
        assert_eq!(imported.len(), all.len(), "each once");
        assert_eq!(imported.into_iter().collect::<BTreeSet<_>>(), all);
    }
}
