//! The JSON of athletes and measurements.

use chrono::NaiveDate;
use serde::de::MapAccess;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{Object, Schema};

use super::measured_store::StoredMeasurement;
use super::model::{self, Athlete, Birth, Experience, Measurement, NewAthlete, Raw, RawMeasurement, Status};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};
use crate::platform::page;
use crate::platform::shape::{self, Beside, Create};
use crate::platform::stored::Stored;
use crate::resources::advice::vocabulary;

fn active() -> String {
    Status::Active.as_str().to_owned()
}

/// An athlete.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AthleteFields, example = json!({"display_name": "Mira Osei", "sex": "F", "birth_date": "2013-05-17", "group_ids": ["01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"], "preferred_lead_leg": "left", "experience": "novice"}))]
pub struct Fields {
    /// How the squad calls them.
    #[schema(min_length = 1, max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Category for competition rules.
    #[schema(value_type = vocabulary::Sex)]
    pub sex: String,
    /// Day of birth; send this or `birth_year`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2013-05-17")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub birth_date: Option<NaiveDate>,
    /// Year of birth, when the day is not known or not wanted.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1900, maximum = 2100, example = 2013)]
    pub birth_year: Option<i16>,
    /// The groups they belong to.
    #[schema(min_items = 1, max_items = 20)]
    pub group_ids: Vec<GroupId>,
    /// The leg they like to lead with: `left` or `right`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::model::Leg>)]
    pub preferred_lead_leg: Option<String>,
    /// Strides to the first barrier that you count for them in training. Their lanes then have the approach that so many take at the
    /// lane's spacing, that of the specification being run in eight. Absent: the approach of the specification they train towards,
    /// in however many strides; 12 m without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 4, maximum = 12, example = 8)]
    pub approach_strides: Option<i16>,
    /// `novice` (under a year of hurdling) or `trained`.
    #[schema(value_type = super::model::Experience)]
    pub experience: String,
    /// `active`, `resting` or `left`.
    #[serde(default = "active")]
    #[schema(value_type = super::model::Status)]
    pub status: String,
    /// When consent to keep their data was given. People enter it: an app that would give, change or clear it is refused.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-09-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    pub consent_on: Option<NaiveDate>,
}

impl From<&Athlete> for Fields {
    fn from(athlete: &Athlete) -> Self {
        let (birth_date, birth_year) = match athlete.birth {
            Birth::Date(date) => (Some(date), None),
            Birth::Year(year) => (None, Some(year)),
        };
        Self {
            display_name: athlete.display_name.clone(),
            sex: athlete.sex.as_str().to_owned(),
            birth_date,
            birth_year,
            group_ids: athlete.groups.clone(),
            preferred_lead_leg: athlete.preferred_lead_leg.map(|leg| leg.as_str().to_owned()),
            approach_strides: athlete.approach_strides.map(i16::from),
            experience: Experience::as_str(athlete.experience).to_owned(),
            status: athlete.status.as_str().to_owned(),
            consent_on: athlete.consent_on,
        }
    }
}

impl Fields {
    /// Parses the athlete.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, today: NaiveDate) -> Result<Athlete, Vec<Fault>> {
        let raw = Raw {
            display_name: &self.display_name,
            sex: &self.sex,
            birth_date: self.birth_date,
            birth_year: self.birth_year,
            groups: &self.group_ids,
            preferred_lead_leg: self.preferred_lead_leg.as_deref(),
            approach_strides: self.approach_strides,
            experience: &self.experience,
            status: &self.status,
            consent_on: self.consent_on,
        };
        Athlete::parse(&raw, today)
    }
}

/// A new athlete.
pub type New = Create<AthleteId, Fields, Measured>;

/// What a new athlete comes with.
#[derive(Debug, Default, ToSchema)]
#[schema(example = json!({"measurements": [{"kind": "stature_m", "value": 1.52, "measured_on": "2026-09-01"}]}))]
pub struct Measured {
    /// What was measured so far.
    #[schema(max_items = 50, required = false)]
    measurements: Vec<NewMeasurement>,
}

impl Beside for Measured {
    const NAMES: &'static [&'static str] = &["measurements"];

    fn take<'de, M: MapAccess<'de>>(&mut self, _: &str, from: &mut M) -> Result<(), M::Error> {
        self.measurements = from.next_value()?;
        Ok(())
    }

    fn described(schemas: &mut Vec<(String, RefOr<Schema>)>) -> Object {
        Self::schemas(schemas);
        shape::object::<Self>()
    }
}

/// A new measurement.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kind": "stature_m", "value": 1.52, "measured_on": "2026-09-01"}))]
pub struct NewMeasurement {
    /// Client-made UUID; without one the id follows from athlete, kind, day, value and confirmation.
    pub id: Option<MeasurementId>,
    /// `stature_m` (0.9 to 2.3), `leg_length_m` (stature minus sitting height, 0.4 to 1.3), `sprint_30m_s` (3.6 to 12)
    /// or `sprint_50m_s` (5.4 to 20), both from a standing start. What cannot be at the age of the athlete is
    /// refused as `implausible`, what hardly ever is as `confirm`; pushed, it is filed and left out of the advice.
    #[schema(value_type = super::model::MeasurementKind)]
    pub kind: String,
    /// Metres or seconds, as the kind says; not finer than 0.001.
    #[schema(minimum = 0.4, maximum = 20, example = 1.52)]
    pub value: f64,
    /// The day.
    #[schema(example = "2026-09-01")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub measured_on: NaiveDate,
    /// You looked again, and the value is right: needed for one that can be at that age but hardly ever is.
    #[serde(default)]
    pub confirmed: bool,
}

impl NewMeasurement {
    /// Parses the measurement of an athlete.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self, athlete: AthleteId, today: NaiveDate) -> Result<(MeasurementId, Measurement), Vec<Fault>> {
        let raw = RawMeasurement {
            kind: &self.kind,
            value: self.value,
            measured_on: self.measured_on,
            confirmed: self.confirmed,
        };
        let measurement = Measurement::parse(raw, today)?;
        Ok((self.id.unwrap_or_else(|| model::derived_id(athlete, &measurement)), measurement))
    }
}

impl New {
    /// Parses the athlete with measurements.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(self, today: NaiveDate) -> Result<NewAthlete, Vec<Fault>> {
        let mut faults = Faults::new();
        let id = self.id.unwrap_or_else(AthleteId::new);
        let mut measurements: Vec<(MeasurementId, Measurement)> = Vec::with_capacity(self.beside.measurements.len());
        model::check_count(&mut faults, self.beside.measurements.len());
        for (at, one) in self.beside.measurements.iter().enumerate() {
            match one.parse(id, today) {
                Ok((id, _)) if measurements.iter().any(|(earlier, _)| *earlier == id) => {
                    faults.add(
                        format!("/measurements/{at}"),
                        "duplicate",
                        "repeats an earlier measurement of the list",
                    );
                }
                Ok(parsed) => measurements.push(parsed),
                Err(list) => faults.add_all(&format!("/measurements/{at}"), list),
            }
        }
        let athlete = self.fields.parse(today).map_err(|list| faults.add_all("", list)).ok();
        for (at, sent) in self.beside.measurements.iter().enumerate() {
            let one = sent.parse(id, today).ok();
            let fault = athlete.as_ref().zip(one).and_then(|(athlete, (_, one))| athlete.doubt(&one));
            faults.add_all(&format!("/measurements/{at}"), fault.into_iter().collect());
        }
        faults.finish(athlete.map(|athlete| NewAthlete { id, athlete, measurements }))
    }
}

/// A measurement.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Measurement)]
pub struct MeasurementView {
    /// The id.
    pub id: MeasurementId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// What was measured.
    #[schema(value_type = super::model::MeasurementKind)]
    pub kind: &'static str,
    /// Metres or seconds, as the kind says.
    #[schema(minimum = 0.4, maximum = 20, example = 1.52)]
    pub value: f64,
    /// The day.
    pub measured_on: NaiveDate,
    /// Somebody looked again and said that it is right; absent otherwise.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    pub confirmed: bool,
    /// A phone recorded what cannot be at that age, or hardly ever is and was not confirmed, as far as the birth was known
    /// when it was filed: advice leaves it out. Enter it again with `confirmed`, or correctly, and delete this one.
    /// Absent otherwise.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false, example = true)]
    pub implausible: bool,
}

impl From<&StoredMeasurement> for MeasurementView {
    fn from(stored: &StoredMeasurement) -> Self {
        let one = stored.value.measurement;
        Self {
            id: stored.id,
            rev: stored.rev,
            kind: one.kind.as_str(),
            value: one.value(),
            measured_on: one.measured_on,
            confirmed: one.confirmed,
            implausible: stored.value.implausible,
        }
    }
}

/// Measurements of an athlete.
pub type MeasurementList = page::List<MeasurementView, 10_000>;

/// An athlete.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Athlete)]
pub struct View {
    /// The id.
    pub id: AthleteId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    pub rev: i64,
    /// The athlete.
    #[serde(flatten)]
    pub fields: Fields,
    /// What was measured, latest first.
    #[schema(max_items = 10_000)]
    pub measurements: Vec<MeasurementView>,
}

impl View {
    /// The view of an athlete with measurements.
    pub fn new(stored: &Stored<AthleteId, Athlete>, measurements: &[StoredMeasurement]) -> Self {
        Self {
            id: stored.id,
            rev: stored.rev,
            fields: (&stored.value).into(),
            measurements: measurements.iter().map(MeasurementView::from).collect(),
        }
    }
}

/// A page of athletes.
pub type Page = page::Page<View>;
