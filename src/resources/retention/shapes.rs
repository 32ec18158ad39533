//! The JSON of retention.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::{Kind, Settings};
use super::store::Said;
use crate::platform::fault::Fault;
use crate::platform::ids::AthleteId;

/// How long a club keeps what it knows about people, days by kind of record.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RetentionFields, example = json!({"enabled": true, "wellbeing_records_days": 270}))]
pub struct Fields {
    /// Whether anything goes by itself. Off until an admin switches it on: what went does not come back.
    pub enabled: bool,
    /// Athletes who left: so long after the last change of them and the last thing recorded of them they are deleted, as an admin
    /// deletes them. A club begins with a year, within which somebody who comes back finds everything. Absent (`null` in a
    /// change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 30, maximum = 3650, example = 365)]
    pub former_athletes_days: Option<u32>,
    /// Reports of pain, illness and injury, restrictions and clearances, from their day. Of an athlete who rests or is still on the way
    /// back all stay. At most as long as runs and decisions, which tell that a return is over. A club begins with a year; the rules
    /// need only what still stands. Absent (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 180, maximum = 3650, example = 365)]
    pub wellbeing_records_days: Option<u32>,
    /// Statures, leg lengths and sprint times, from their day; the newest of each stays. A club begins with two years. Absent
    /// (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 365, maximum = 3650, example = 730)]
    pub measurements_days: Option<u32>,
    /// Ratings of technique and notes on athletes, from the day of their session. A club begins with three years, which show the two
    /// of an age group and the one before. Absent (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 450, maximum = 3650, example = 1095)]
    pub assessments_days: Option<u32>,
    /// What coaches decided on the advice, from its last day; one that cleared a return stays as long as what it cleared. A club
    /// begins with three years. Absent (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 450, maximum = 3650, example = 1095)]
    pub decisions_days: Option<u32>,
    /// Runs and results of race tests, from the day of their session; a fall that no coach has cleared stays. Estimates are computed
    /// from what is left. A club begins with three years. Absent (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 450, maximum = 3650, example = 1095)]
    pub runs_days: Option<u32>,
    /// Sessions with who came, their lane plans and race tests with entries, once no run, result or rating stands in them. A club
    /// begins with three years. Absent (`null` in a change): kept as long as the club.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 450, maximum = 3650, example = 1095)]
    pub sessions_days: Option<u32>,
}

impl From<&Settings> for Fields {
    fn from(settings: &Settings) -> Self {
        let days = |kind| settings.periods.get(&kind).copied().map(u32::from);
        Self {
            enabled: settings.enabled,
            former_athletes_days: days(Kind::FormerAthletes),
            wellbeing_records_days: days(Kind::WellbeingRecords),
            measurements_days: days(Kind::Measurements),
            assessments_days: days(Kind::Assessments),
            decisions_days: days(Kind::Decisions),
            runs_days: days(Kind::Runs),
            sessions_days: days(Kind::Sessions),
        }
    }
}

impl Fields {
    /// What the club says.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(self) -> Result<Settings, Vec<Fault>> {
        let days = [
            (Kind::FormerAthletes, self.former_athletes_days),
            (Kind::WellbeingRecords, self.wellbeing_records_days),
            (Kind::Measurements, self.measurements_days),
            (Kind::Assessments, self.assessments_days),
            (Kind::Decisions, self.decisions_days),
            (Kind::Runs, self.runs_days),
            (Kind::Sessions, self.sessions_days),
        ];
        Settings::parse(self.enabled, days)
    }
}

/// What a club says about how long it keeps records. A kind whose period is absent is kept as long as the club. The guidance asks
/// for a period with a reason for each kind and names no numbers: those that a club begins with are our own choice, so decide for
/// your club and under your law.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Retention)]
pub struct View {
    /// Its version; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 2)]
    pub rev: i64,
    /// Before this moment nothing goes: a week after it was switched on, or a period became shorter. Absent while nothing goes by
    /// itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub begins_at: Option<DateTime<Utc>>,
    /// What it says.
    #[serde(flatten)]
    pub fields: Fields,
}

impl From<&Said> for View {
    fn from(said: &Said) -> Self {
        Self { rev: said.rev, begins_at: said.begins_at, fields: (&said.settings).into() }
    }
}

/// Whose records go.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RetentionPerson)]
pub struct Person {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 100, example = "Mira Osei")]
    pub display_name: String,
    /// How many of their records go.
    #[schema(minimum = 1, example = 12)]
    pub records: i64,
}

/// What goes of one kind.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RetentionPart)]
pub struct Part {
    /// The kind.
    #[schema(value_type = Kind)]
    pub kind: &'static str,
    /// How long the club keeps it, days.
    #[schema(minimum = 30, maximum = 3650, example = 1095)]
    pub days: u16,
    /// What is of a day before this one goes.
    pub before: NaiveDate,
    /// How many records go, those of erased athletes among them.
    #[schema(minimum = 0, example = 412)]
    pub records: i64,
    /// How many are as old and stay all the same, because something rests on them: an athlete on the way back, a fall without a
    /// coach's word, a newer correction, the newest measurement, a session with something in it.
    #[schema(minimum = 0, example = 3)]
    pub kept: i64,
    /// Whose, most records first: at most 200 athletes. Sessions are nobody's.
    #[schema(max_items = 200)]
    pub people: Vec<Person>,
    /// How many more athletes it is about.
    #[schema(minimum = 0, example = 0)]
    pub more_people: usize,
}

/// What goes next, if it went today.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RetentionPreview)]
pub struct Preview {
    /// Today, in the club's time zone.
    pub on: NaiveDate,
    /// Whether anything goes by itself.
    pub enabled: bool,
    /// Before this moment nothing goes; absent while nothing goes by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub begins_at: Option<DateTime<Utc>>,
    /// Each kind that the club does not keep for good.
    #[schema(max_items = 7)]
    pub items: Vec<Part>,
}
