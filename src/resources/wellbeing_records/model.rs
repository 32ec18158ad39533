//! A well-being record and its rules.

use chrono::{Datelike, NaiveDate};

use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, WellbeingRecordId};
use crate::platform::words::words;

/// How far ahead a restriction may begin or end, days: two years.
const AHEAD_DAYS: i64 = 731;
/// How far ahead a report may be, days: as far as the session at which something hurt, because what is not filed rests nobody.
const REPORT_AHEAD_DAYS: i64 = 1;

words! {
    /// What a record says.
    RecordKind as WellbeingKind { /// Pain was reported.
        Pain = "pain", /// An illness was reported.
        Illness = "illness", /// An injury was reported.
        Injury = "injury", /// The athlete does not run over barriers for now.
        Restriction = "restriction", /// A coach lets the athlete come back.
        Clearance = "clearance" }
}

impl RecordKind {
    const fn is_report(self) -> bool {
        matches!(self, Self::Pain | Self::Illness | Self::Injury)
    }
}

words! {
    /// Who told the club.
    Reporter { /// The athlete.
        Athlete = "athlete", /// A parent or guardian.
        Guardian = "guardian", /// A coach who saw it.
        Coach = "coach", /// Medical staff.
        Medical = "medical" }
}

/// A well-being record. It holds no medical text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WellbeingRecord {
    /// About whom.
    pub athlete: AthleteId,
    /// What it says.
    pub kind: RecordKind,
    /// The day: of the report, the first of a restriction, or from which a clearance counts.
    pub reported_on: NaiveDate,
    /// Who told the club.
    pub reported_by: Option<Reporter>,
    /// The last day of a restriction; none while open-ended.
    pub until: Option<NaiveDate>,
    /// The report or restriction that a clearance ends.
    pub clears: Option<WellbeingRecordId>,
    /// The record that this one corrects.
    pub supersedes: Option<WellbeingRecordId>,
    /// Whether this only withdraws the superseded one.
    pub void: bool,
}

/// What a client sends of a record, field by field.
#[derive(Clone, Copy, Debug)]
pub struct Raw<'a> {
    /// See [`WellbeingRecord`].
    pub athlete: AthleteId,
    /// A word of [`RecordKind`].
    pub kind: &'a str,
    /// See [`WellbeingRecord`].
    pub reported_on: NaiveDate,
    /// A word of [`Reporter`].
    pub reported_by: Option<&'a str>,
    /// See [`WellbeingRecord`].
    pub until: Option<NaiveDate>,
    /// See [`WellbeingRecord`].
    pub clears: Option<WellbeingRecordId>,
    /// See [`WellbeingRecord`].
    pub supersedes: Option<WellbeingRecordId>,
    /// See [`WellbeingRecord`].
    pub void: bool,
}

impl WellbeingRecord {
    /// Parses a record.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: Raw<'_>, today: NaiveDate) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let kind = faults.take("/kind", "word", RecordKind::parse(raw.kind));
        let by = raw.reported_by.and_then(|word| faults.take("/reported_by", "word", Reporter::parse(word)));
        let ahead = match kind {
            Some(RecordKind::Restriction) => AHEAD_DAYS,
            Some(kind) if kind.is_report() => REPORT_AHEAD_DAYS,
            _ => 0,
        };
        if raw.reported_on.year() < 2000 || (raw.reported_on - today).num_days() > ahead {
            let detail = "must be from 2000 to today, of a report at most tomorrow; a restriction may begin up to two years ahead";
            faults.add("/reported_on", "out_of_range", detail);
        }
        if let Some(kind) = kind {
            check_kind(&mut faults, kind, &raw, today);
        }
        if raw.void && raw.supersedes.is_none() {
            faults.add("/void", "void", "needs `supersedes`: the record that is withdrawn");
        }
        faults.finish(kind.map(|kind| Self {
            athlete: raw.athlete,
            kind,
            reported_on: raw.reported_on,
            reported_by: by,
            until: raw.until,
            clears: raw.clears,
            supersedes: raw.supersedes,
            void: raw.void,
        }))
    }
}

/// Which fields go with which kind.
fn check_kind(faults: &mut Faults, kind: RecordKind, raw: &Raw<'_>, today: NaiveDate) {
    if kind.is_report() && raw.reported_by.is_none() {
        faults.add("/reported_by", "missing", "is needed with a report: athlete, guardian, coach or medical");
    }
    if kind == RecordKind::Clearance && raw.reported_by.is_some() {
        faults.add("/reported_by", "not_report", "does not go with a clearance, which is a coach's own word");
    }
    match (kind, raw.until) {
        (RecordKind::Restriction, Some(until)) if until < raw.reported_on => {
            faults.add("/until", "order", "must not be before the first day, reported_on");
        }
        (RecordKind::Restriction, Some(until)) if (until - today).num_days() > AHEAD_DAYS => {
            faults.add("/until", "out_of_range", "must be at most two years ahead; leave it out while there is no end");
        }
        (RecordKind::Restriction, _) | (_, None) => {}
        (_, Some(_)) => faults.add("/until", "not_restriction", "only goes with a restriction"),
    }
    match (kind, raw.clears) {
        (RecordKind::Clearance, None) => {
            faults.add("/clears", "missing", "is needed with a clearance: the report or restriction that it ends");
        }
        (RecordKind::Clearance, Some(_)) | (_, None) => {}
        (_, Some(_)) => faults.add("/clears", "not_clearance", "only goes with a clearance"),
    }
}
