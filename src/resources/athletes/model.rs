//! An athlete, their measurements and the rules of both.

use std::ops::RangeInclusive;

use chrono::{Datelike, NaiveDate};
use uuid::Uuid;

use crate::compute::approach::STRIDES;
use crate::compute::bounds::{Measured, Verdict, judge};
use crate::compute::day::Day;
use crate::compute::specs;
use crate::compute::units::Sex;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, GroupId, MeasurementId};
use crate::platform::words::words;

/// Most groups of one athlete.
const MAX_GROUPS: usize = 20;
/// Most measurements sent with a new athlete.
const MAX_MEASUREMENTS: usize = 50;

words! {
    /// A leg.
    Leg { /// Left.
        Left = "left", /// Right.
        Right = "right" }
}

words! {
    /// How long the athlete has hurdled.
    Experience { /// Less than a year.
        Novice = "novice", /// A year or more.
        Trained = "trained" }
}

words! {
    /// Whether the athlete trains at the moment.
    Status as AthleteStatus { /// Trains.
        Active = "active", /// Pauses.
        Resting = "resting", /// Left the squad.
        Left = "left" }
}

words! {
    /// What was measured.
    MeasurementKind { /// Stature, m.
        Stature = "stature_m", /// Leg length (stature minus sitting height), m.
        LegLength = "leg_length_m", /// 30 m from a standing start, s.
        Sprint30 = "sprint_30m_s", /// 50 m from a standing start, s.
        Sprint50 = "sprint_50m_s" }
}

impl MeasurementKind {
    /// Plausible values in the kind's unit (m or s); outside them a typing error is likelier than the truth (design
    /// choice).
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Stature => (0.9, 2.3),
            Self::LegLength => (0.4, 1.3),
            Self::Sprint30 => (3.6, 12.0),
            Self::Sprint50 => (5.4, 20.0),
        }
    }
}

/// When the athlete was born, as exactly as the club knows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Birth {
    /// The day.
    Date(NaiveDate),
    /// The year only.
    Year(i16),
}

impl Birth {
    /// Parses exactly one of the two.
    pub fn parse(faults: &mut Faults, date: Option<NaiveDate>, year: Option<i16>, today: NaiveDate) -> Option<Self> {
        match (date, year) {
            (Some(date), None) if date.year() >= 1900 && date <= today => Some(Self::Date(date)),
            (None, Some(year)) if year >= 1900 && i32::from(year) <= today.year() => Some(Self::Year(year)),
            (Some(_), None) => {
                faults.add("/birth_date", "out_of_range", "must be from 1900-01-01 to today");
                None
            }
            (None, Some(_)) => {
                faults.add("/birth_year", "out_of_range", "must be from 1900 to this year");
                None
            }
            _ => {
                faults.add(
                    "/birth_date",
                    "one_of",
                    "send either birth_date or birth_year: the age group depends on it",
                );
                None
            }
        }
    }
}

/// An athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Athlete {
    /// How the squad calls them.
    pub display_name: String,
    /// Category for competition rules.
    pub sex: Sex,
    /// When they were born.
    pub birth: Birth,
    /// Their groups, sorted, at least one.
    pub groups: Vec<GroupId>,
    /// The leg they like to lead with.
    pub preferred_lead_leg: Option<Leg>,
    /// Strides to the first barrier that a coach counts for them.
    pub approach_strides: Option<u8>,
    /// How long they have hurdled.
    pub experience: Experience,
    /// Whether they train.
    pub status: Status,
    /// When consent to keep their data was given.
    pub consent_on: Option<NaiveDate>,
}

/// What a client sends of an athlete, field by field.
#[derive(Clone, Debug)]
pub struct Raw<'a> {
    /// See [`Athlete`].
    pub display_name: &'a str,
    /// `F` or `M`.
    pub sex: &'a str,
    /// One of the two.
    pub birth_date: Option<NaiveDate>,
    /// One of the two.
    pub birth_year: Option<i16>,
    /// See [`Athlete`].
    pub groups: &'a [GroupId],
    /// A word of [`Leg`].
    pub preferred_lead_leg: Option<&'a str>,
    /// See [`Athlete`].
    pub approach_strides: Option<i16>,
    /// A word of [`Experience`].
    pub experience: &'a str,
    /// A word of [`Status`].
    pub status: &'a str,
    /// See [`Athlete`].
    pub consent_on: Option<NaiveDate>,
}

impl Athlete {
    /// Parses an athlete.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &Raw<'_>, today: NaiveDate) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let display_name = faults.text("/display_name", raw.display_name, 80);
        let sex = faults.take("/sex", "word", Sex::from_word(raw.sex).ok_or("must be F or M"));
        let birth = Birth::parse(&mut faults, raw.birth_date, raw.birth_year, today);
        let mut groups = raw.groups.to_vec();
        groups.sort_unstable();
        groups.dedup();
        if !(1..=MAX_GROUPS).contains(&groups.len()) {
            faults.add("/group_ids", "length", format!("must name 1 to {MAX_GROUPS} groups"));
        }
        let preferred_lead_leg =
            raw.preferred_lead_leg.and_then(|word| faults.take("/preferred_lead_leg", "word", Leg::parse(word)));
        let approach_strides = raw.approach_strides.and_then(|count| {
            let (least, most) = STRIDES;
            let strides = u8::try_from(count).ok().filter(|count| (least..=most).contains(count));
            let strides = strides.ok_or_else(|| format!("must be from {least} to {most} strides"));
            faults.take("/approach_strides", "out_of_range", strides)
        });
        let experience = faults.take("/experience", "word", Experience::parse(raw.experience));
        let status = faults.take("/status", "word", Status::parse(raw.status));
        if raw.consent_on.is_some_and(|day| day.year() < 2000 || day > today) {
            faults.add("/consent_on", "out_of_range", "must be from 2000 to today");
        }
        let value = (|| {
            Some(Self {
                display_name: display_name?,
                sex: sex?,
                birth: birth?,
                groups,
                preferred_lead_leg,
                approach_strides,
                experience: experience?,
                status: status?,
                consent_on: raw.consent_on,
            })
        })();
        faults.finish(value)
    }
}

/// A dated measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measurement {
    /// What was measured.
    pub kind: MeasurementKind,
    /// The value in mm or ms.
    pub milli: i32,
    /// The day.
    pub measured_on: NaiveDate,
    /// Whether somebody looked again and says that it is right.
    pub confirmed: bool,
}

/// A measurement as it was filed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Filed {
    /// The measurement.
    pub measurement: Measurement,
    /// Whether advice leaves it out: what was known of the athlete when it was filed speaks against it.
    pub implausible: bool,
}

/// What a client sends of a measurement, field by field.
#[derive(Clone, Copy, Debug)]
pub struct RawMeasurement<'a> {
    /// A word of [`MeasurementKind`].
    pub kind: &'a str,
    /// Metres or seconds.
    pub value: f64,
    /// See [`Measurement`].
    pub measured_on: NaiveDate,
    /// See [`Measurement`].
    pub confirmed: bool,
}

impl Measurement {
    /// Parses a measurement.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: RawMeasurement<'_>, today: NaiveDate) -> Result<Self, Vec<Fault>> {
        let RawMeasurement { kind, value, measured_on, confirmed } = raw;
        let mut faults = Faults::new();
        let kind = faults.take("/kind", "word", MeasurementKind::parse(kind));
        let (low, high) = kind.map_or((0.0, 100.0), MeasurementKind::range);
        let milli = (value * 1_000.0).round();
        if !(low..=high).contains(&value) {
            faults.add("/value", "out_of_range", format!("must be from {low} to {high}"));
        } else if (value * 1_000.0 - milli).abs() > 1e-6 {
            faults.add("/value", "too_fine", "must not be finer than 0.001");
        }
        if measured_on.year() < 2000 || measured_on > today {
            faults.add("/measured_on", "out_of_range", "must be from 2000-01-01 to today");
        }
        #[allow(clippy::cast_possible_truncation)] // checked above: at most 20 000
        let value = kind.map(|kind| Self { kind, milli: milli as i32, measured_on, confirmed });
        faults.finish(value)
    }

    /// The value in metres or seconds.
    pub fn value(self) -> f64 {
        f64::from(self.milli) / 1_000.0
    }
}

impl MeasurementKind {
    const fn measured(self) -> Measured {
        match self {
            Self::Stature => Measured::Stature,
            Self::LegLength => Measured::LegLength,
            Self::Sprint30 => Measured::Sprint30,
            Self::Sprint50 => Measured::Sprint50,
        }
    }
}

impl Athlete {
    /// Why advice cannot rest on a measurement of this athlete, if it cannot: it is impossible, or rare and not confirmed.
    pub fn doubt(&self, measurement: &Measurement) -> Option<Fault> {
        let birth = match self.birth {
            Birth::Date(date) => specs::Birth::Date(Day::from_days(date.to_epoch_days())?),
            Birth::Year(year) => specs::Birth::Year(i32::from(year)),
        };
        let on = Day::from_days(measurement.measured_on.to_epoch_days())?;
        let verdict = judge(measurement.kind.measured(), self.sex, birth, on, measurement.value());
        if verdict.counts(measurement.confirmed) {
            return None;
        }
        let range = |range: RangeInclusive<f64>| match (range.start(), range.end()) {
            (least, most) if most.is_finite() => format!("{least:.2} to {most:.2}"),
            (least, _) => format!("{least:.2} or more"),
        };
        let checks = "at the age of this athlete on that day: check the figure, the unit and the birth date";
        match verdict {
            Verdict::Usual => None,
            Verdict::Unusual(often) => {
                let detail = format!(
                    "is hardly ever other than {} {checks}; if it is right, send it again with `confirmed` true",
                    range(often)
                );
                Some(Fault::at("/value", "confirm", detail))
            }
            Verdict::Impossible(can) => {
                Some(Fault::at("/value", "implausible", format!("must be {} {checks}", range(can))))
            }
        }
    }
}

/// A new athlete with what was measured so far.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewAthlete {
    /// The id.
    pub id: AthleteId,
    /// The athlete.
    pub athlete: Athlete,
    /// Measurements with their ids.
    pub measurements: Vec<(MeasurementId, Measurement)>,
}

/// Refuses more measurements than a new athlete can have.
pub fn check_count(faults: &mut Faults, count: usize) {
    if count > MAX_MEASUREMENTS {
        faults.add("/measurements", "length", format!("must be at most {MAX_MEASUREMENTS}; send the rest one by one"));
    }
}

/// The id of a measurement that came without one: the same for the same athlete, kind, day, value and confirmation, so that
/// a repeated create is recognised.
pub fn derived_id(athlete: AthleteId, measurement: &Measurement) -> MeasurementId {
    let confirmed = if measurement.confirmed { " confirmed" } else { "" };
    let name = format!("{} {} {}{confirmed}", measurement.kind.as_str(), measurement.measured_on, measurement.milli);
    MeasurementId(Uuid::new_v5(&athlete.0, name.as_bytes()))
}

/// The id of a measurement that came without one when the one of the id before it was deleted: also the same each time.
pub fn next_id(deleted: MeasurementId) -> MeasurementId {
    MeasurementId(Uuid::new_v5(&deleted.0, b"entered again"))
}
