//! How long a club keeps what it knows about people, kind by kind.
//!
//! The guidance asks to keep no longer than needed, and to set, write down and justify a period for each kind of record
//! (safeguarding part of the safety guidance: SPORT-DP, ANNCRAFT). It names no numbers: every number here is our own choice, with its
//! reason beside it, and each club decides for itself.

use std::collections::BTreeMap;

use chrono::{DateTime, Duration, Utc};

use crate::platform::fault::{Fault, Faults};
use crate::platform::words::words;

words! {
    /// A kind of record about people that a club keeps for a time. What stands in a record goes with it: its notes and times.
    Kind as RetentionKind {
        /// Athletes who left: counted from the last change of them and the last thing recorded of them. They go as when an admin
        /// deletes them.
        FormerAthletes = "former_athletes",
        /// Reports of pain, illness and injury, restrictions and clearances. Whatever still rests somebody, or keeps them on the way
        /// back, stays.
        WellbeingRecords = "wellbeing_records",
        /// Statures, leg lengths and sprint times. The newest of each stays as long as the athlete.
        Measurements = "measurements",
        /// Ratings of technique, and notes on athletes.
        Assessments = "assessments",
        /// What coaches decided on the advice. A word that cleared a return stays as long as what it cleared.
        Decisions = "decisions",
        /// Runs and results of race tests. One with a fall that no coach has cleared stays.
        Runs = "runs",
        /// Sessions in which nothing else stands any more: with attendance, lane plans, race tests and their entries.
        Sessions = "sessions",
    }
}

/// The longest period, days: ten years.
pub const MOST_DAYS: u16 = 3_650;
/// How long after it is switched on, or a period becomes shorter, nothing goes yet (design choice): a slip of the hand is found
/// in the preview before anything is lost.
pub const NOTICE: Duration = Duration::days(7);

impl Kind {
    /// Every kind, in the order in which they go: what rests on others first.
    pub const ALL: [Self; 7] = [
        Self::FormerAthletes,
        Self::WellbeingRecords,
        Self::Measurements,
        Self::Assessments,
        Self::Decisions,
        Self::Runs,
        Self::Sessions,
    ];

    /// How long it is kept where a club says nothing else, days. Design choices, without a source.
    pub const fn default_days(self) -> u16 {
        match self {
            // Who comes back within a year finds everything as it was. Well-being records are the most sensitive, and the rules
            // need only what still stands; a year shows what comes back every season.
            Self::FormerAthletes | Self::WellbeingRecords => 365,
            // Two years of growth are one growth spurt; older ones no chart needs.
            Self::Measurements => 730,
            // An age group lasts two years: three seasons show all of it and the year before.
            Self::Assessments | Self::Decisions | Self::Runs | Self::Sessions => 1_095,
        }
    }

    /// The shortest period, days: what advice and board look back at is never taken from them. The board asks about days of the
    /// last season (364 days), for which ratings of the 84 days before count.
    pub const fn least_days(self) -> u16 {
        match self {
            Self::FormerAthletes => 30,
            Self::WellbeingRecords => 180,
            Self::Measurements => 365,
            Self::Assessments | Self::Decisions | Self::Runs | Self::Sessions => 450,
        }
    }
}

/// What a club says about all kinds: days by kind; a kind that is absent is kept as long as the club.
pub type Periods = BTreeMap<Kind, u16>;

/// What a club says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Whether anything goes by itself.
    pub enabled: bool,
    /// How long each kind is kept.
    pub periods: Periods,
}

impl Default for Settings {
    fn default() -> Self {
        Self { enabled: false, periods: Kind::ALL.map(|kind| (kind, kind.default_days())).into_iter().collect() }
    }
}

/// The pointer of the field of a kind.
fn pointer(kind: Kind) -> String {
    format!("/{}_days", kind.as_str())
}

impl Settings {
    /// Parses what a club says: days by kind, none for what is kept.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(enabled: bool, days: [(Kind, Option<u32>); 7]) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let mut periods = Periods::new();
        for (kind, days) in days {
            let Some(days) = days else { continue };
            let bounds = kind.least_days()..=MOST_DAYS;
            match u16::try_from(days).ok().filter(|days| bounds.contains(days)) {
                Some(days) => {
                    periods.insert(kind, days);
                }
                None => {
                    let must = format!(
                        "must be from {} to {MOST_DAYS} days, or absent to keep them as long as the club",
                        kind.least_days()
                    );
                    faults.add(pointer(kind), "out_of_range", must);
                }
            }
        }
        // Whether somebody is back from a report is read from what was run and decided since.
        let shortest = [Kind::Runs, Kind::Decisions].into_iter().filter_map(|kind| periods.get(&kind)).min();
        let kept = periods.get(&Kind::WellbeingRecords);
        if let Some(shortest) = shortest
            && kept.is_none_or(|days| days > shortest)
        {
            let must = format!(
                "must be at most {shortest} days, as runs and decisions are: they tell whether somebody is back from a report"
            );
            faults.add(pointer(Kind::WellbeingRecords), "order", must);
        }
        faults.finish(Some(Self { enabled, periods }))
    }

    /// Whether more goes than before.
    fn takes_more_than(&self, before: &Self) -> bool {
        self.enabled
            && (!before.enabled
                || self.periods.iter().any(|(kind, days)| before.periods.get(kind).is_none_or(|known| days < known)))
    }
}

/// When what a club says now begins to count; none while nothing goes by itself.
pub fn begins(
    before: (&Settings, Option<DateTime<Utc>>),
    after: &Settings,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let (before, began) = before;
    if after.takes_more_than(before) { Some(now + NOTICE) } else { began.filter(|_| after.enabled) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(changed: &[(Kind, Option<u32>)]) -> Result<Settings, Vec<Fault>> {
        let days = |kind: Kind| changed.iter().find(|(one, _)| *one == kind);
        let all = Kind::ALL.map(|kind| days(kind).copied().unwrap_or((kind, Some(u32::from(kind.default_days())))));
        Settings::parse(true, all)
    }

    #[test]
    fn the_defaults_are_within_their_own_bounds() {
        assert_eq!(parse(&[]).unwrap().periods, Settings::default().periods);
        assert!(!Settings::default().enabled, "nothing goes unless a club says so");
        for kind in Kind::ALL {
            assert!((kind.least_days()..=MOST_DAYS).contains(&kind.default_days()), "{kind:?}");
        }
    }

    #[test]
    fn each_bound_holds_to_the_day() {
        for kind in Kind::ALL {
            let least = u32::from(kind.least_days());
            // Well-being records go before whatever tells that they are over.
            let with = |days: u32| parse(&[(kind, Some(days)), (Kind::WellbeingRecords, Some(180))]);
            assert_eq!(with(least).unwrap().periods[&kind], kind.least_days());
            for wrong in [least - 1, u32::from(MOST_DAYS) + 1, 0, u32::MAX] {
                let faults = with(wrong).unwrap_err();
                assert!(
                    faults.iter().any(|fault| fault.pointer.as_deref() == Some(&pointer(kind))),
                    "{kind:?} {wrong}"
                );
            }
        }
    }

    #[test]
    fn well_being_records_never_outlast_what_tells_that_they_are_over() {
        let longer = parse(&[(Kind::WellbeingRecords, Some(1_096))]).unwrap_err();
        assert_eq!(longer[0].pointer.as_deref(), Some("/wellbeing_records_days"));
        assert!(parse(&[(Kind::WellbeingRecords, None)]).is_err());
        assert!(parse(&[(Kind::WellbeingRecords, Some(1_095))]).is_ok());
        assert!(parse(&[(Kind::WellbeingRecords, None), (Kind::Runs, None), (Kind::Decisions, None)]).is_ok());
    }

    #[test]
    fn whatever_takes_more_waits_and_whatever_takes_less_does_not() {
        let now = Utc::now();
        let began = now - Duration::days(100);
        let (off, on) = (Settings::default(), Settings { enabled: true, ..Settings::default() });
        let with = |kind: Kind, days: Option<u16>| {
            let mut changed = on.clone();
            changed.periods.remove(&kind);
            changed.periods.extend(days.map(|days| (kind, days)));
            changed
        };
        assert_eq!(begins((&off, None), &on, now), Some(now + NOTICE), "switched on");
        assert_eq!(begins((&on, Some(began)), &on, now), Some(began));
        assert_eq!(begins((&on, Some(began)), &with(Kind::Runs, Some(1_094)), now), Some(now + NOTICE));
        assert_eq!(begins((&on, Some(began)), &with(Kind::Runs, Some(1_096)), now), Some(began));
        assert_eq!(begins((&on, Some(began)), &with(Kind::Runs, None), now), Some(began), "kept for good");
        assert_eq!(begins((&with(Kind::Runs, None), Some(began)), &on, now), Some(now + NOTICE));
        assert_eq!(begins((&on, Some(began)), &off, now), None);
    }
}
