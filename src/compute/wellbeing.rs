//! Who rests today, and who is on the way back: what reports of pain, illness or injury, restrictions and a coach's
//! clearances come to on a day.
//!
//! A report stands on its own day, whatever a coach says, and then until a clearance. A restriction stands from its first day to
//! its last, or to the clearance that lifts it earlier. What has ended is a return: from the day after which it no longer
//! stood the athlete is on the way back, until a coach confirms and enough sessions were run.
//!
//! ```text
//! report       stands on day t  when  on <= t < max(cleared, on + 1)          cleared: the day from which the clearance counts
//! restriction  stands on day t  when  on <= t < max(on, min(until + 1, cleared))
//! back since   the latest of these ends that has come
//! confirmed    every break that has ended was confirmed on the day of its end or later
//! ```
//!
//! | goes in | comes out |
//! | --- | --- |
//! | every [`Break`] of one athlete, a day | [`Standing`]: what stands, or since when the athlete is back |
//!
//! ```
//! use lanewright_compute::wellbeing::{Break, Report, What, standing};
//!
//! let knee = Break { what: What::Report(Report::Injury), on: 100, cleared_on: Some(110), confirmed_on: None };
//! assert_eq!(standing(&[knee], 109).report.unwrap().what, Report::Injury);
//! let back = standing(&[knee], 112).back.unwrap();
//! assert_eq!((back.since, back.confirmed), (110, false));
//! ```
//!
//! # Why it takes two words
//! A clearance says that the athlete may run again; a confirmation, given with a decision on what they run, says that a coach has looked at
//! how. The first ends the rest and the second the return, since being free of pain says little yet of what an athlete can run. A
//! clearance on the day of the report does not undo that day: nobody steps up on a day on which something hurt.
//!
//! | injury of day 100, cleared from day 110, confirmed on day 112 | on that day |
//! | --- | --- |
//! | to day 99 | nothing is known |
//! | 100 to 109 | the report stands, the athlete rests |
//! | 110 and 111 | back since 110, not confirmed |
//! | from 112 | back since 110, confirmed; the sessions run say when the return is over |
//!
//! # Where it is asked
//! [`crate::advice`] asks it for each decision, which then rests the athlete or leads them back ([`crate::decision`]); lane plans and race
//! entries that were made before a report ask it again when they are read, so that no plan outlives what was reported since.
//!
//! Left out on purpose: what the pain is. The rules need no more than that there is one. How long a rest should be is a doctor's to say.
//!
//! # Source
//! Rest until cleared and an easier start afterwards: "Managing Growth Spurts and Training Loads in Adolescent Athletes", Princeton Sports
//! and Family Medicine, on growth-related pain; that no step up comes on the day of a report: design choice (from memory). Two words instead
//! of one: design choice.

use super::decision::Restriction;

/// What was reported. All three rest the athlete alike; of two reports of one day the later in this list is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Report {
    /// Pain, of whatever kind.
    Pain,
    /// An illness.
    Illness,
    /// An injury.
    Injury,
}

impl Report {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Pain, Self::Illness, Self::Injury];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Pain => "pain",
            Self::Illness => "illness",
            Self::Injury => "injury",
        }
    }

    /// The kind that a word names, if any; none for a restriction or a clearance.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// A report that stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reported {
    /// What.
    pub what: Report,
    /// Its day, days since 1970-01-01.
    pub on: i32,
}

/// Why an athlete may not run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Something was reported: no end but a clearance.
    Report(Report),
    /// Somebody restricted the athlete, for whatever reason: over after its last day by itself, or when a clearance lifts it.
    Restriction {
        /// The last restricted day, days since 1970-01-01; none while open-ended.
        until: Option<i32>,
    },
}

/// One report or restriction with what ended it; days since 1970-01-01. Breaks of one athlete may overlap and are counted each by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Break {
    /// What.
    pub what: What,
    /// The day of the report, or the first restricted day, which may lie ahead.
    pub on: i32,
    /// The day from which a coach's clearance counts; none while nobody gave one.
    pub cleared_on: Option<i32>,
    /// The last day for which a coach confirmed a return, after it was recorded and cleared.
    pub confirmed_on: Option<i32>,
}

impl Break {
    /// Whether it keeps the athlete from running on a day.
    pub fn stands(&self, on: i32) -> bool {
        self.on <= on && self.over_on().is_none_or(|day| on < day)
    }

    /// The first day on which it no longer stands; none while nobody knows it. Never before its first day, and of a report never before the
    /// day after.
    fn over_on(&self) -> Option<i32> {
        match self.what {
            // Never a step up on the day of a report, whoever clears it.
            What::Report(_) => self.cleared_on.map(|day| day.max(self.on.saturating_add(1))),
            What::Restriction { until } => {
                let after = until.map(|day| day.saturating_add(1));
                after.into_iter().chain(self.cleared_on).min().map(|day| day.max(self.on))
            }
        }
    }

    /// The first day of the return from it, when that has come; none for a restriction lifted before it began, which kept nobody from anything.
    fn back_on(&self, on: i32) -> Option<i32> {
        let lifted = matches!(self.what, What::Restriction { .. }) && self.cleared_on.is_some_and(|day| day < self.on);
        self.over_on().filter(|day| *day <= on && !lifted)
    }
}

/// Since when an athlete is back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Since {
    /// The first day on which nothing stood any more, days since 1970-01-01: of several breaks the latest end.
    pub since: i32,
    /// Whether a coach confirmed the return from everything that has ended. An old break that nobody confirmed keeps a new return open.
    pub confirmed: bool,
}

/// What stands on a day; see the module's page. The default is an athlete of whom nothing was ever reported.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// The latest report that stands.
    pub report: Option<Reported>,
    /// The restriction in force that ends last; one without an end before all others.
    pub restriction: Option<Restriction>,
    /// The latest return, also beside something that stands again; how far it has come is for the runs to say.
    pub back: Option<Since>,
}

impl Standing {
    /// Whether the athlete does not run today.
    pub const fn rests(&self) -> bool {
        self.report.is_some() || self.restriction.is_some()
    }
}

/// What the breaks of one athlete, in any order, come to on a day (days since 1970-01-01). Breaks that lie ahead count for nothing yet; of
/// none comes [`Standing::default`].
pub fn standing(breaks: &[Break], on: i32) -> Standing {
    let stands = || breaks.iter().filter(|one| one.stands(on));
    let reports = stands().filter_map(|one| match one.what {
        What::Report(what) => Some(Reported { what, on: one.on }),
        What::Restriction { .. } => None,
    });
    let restrictions = stands().filter_map(|one| match one.what {
        What::Restriction { until } => Some(Restriction { until }),
        What::Report(_) => None,
    });
    let back = || breaks.iter().filter_map(|one| Some((one.back_on(on)?, one.confirmed_on)));
    Standing {
        report: reports.max_by_key(|one| (one.on, one.what)),
        restriction: restrictions.max_by_key(|one| one.until.unwrap_or(i32::MAX)),
        back: back().map(|(since, _)| since).max().map(|since| Since {
            since,
            confirmed: back().all(|(since, confirmed)| confirmed.is_some_and(|day| day >= since)),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAIN: Break = Break { what: What::Report(Report::Pain), on: 100, cleared_on: None, confirmed_on: None };

    fn restricted(until: Option<i32>, cleared_on: Option<i32>) -> Break {
        Break { what: What::Restriction { until }, cleared_on, ..PAIN }
    }

    #[test]
    fn a_report_stands_until_it_is_cleared_and_always_on_its_own_day() {
        assert!(!PAIN.stands(99) && PAIN.stands(100) && PAIN.stands(5_000));
        let cleared = Break { cleared_on: Some(100), ..PAIN };
        assert!(cleared.stands(100) && !cleared.stands(101));
        let later = Break { cleared_on: Some(103), ..PAIN };
        assert!(later.stands(102) && !later.stands(103));
    }

    #[test]
    fn a_restriction_ends_on_its_last_day_or_when_it_is_lifted() {
        assert!(restricted(Some(110), None).stands(110) && !restricted(Some(110), None).stands(111));
        assert!(restricted(None, None).stands(9_999));
        assert!(restricted(Some(110), Some(105)).stands(104) && !restricted(Some(110), Some(105)).stands(105));
        assert_eq!(standing(&[restricted(Some(110), Some(98))], 120), Standing::default(), "lifted before it began");
        assert_eq!(standing(&[restricted(Some(110), None)], 111).back.map(|back| back.since), Some(111));
    }

    #[test]
    fn every_ended_break_needs_a_confirmation_of_its_own() {
        let first = Break { cleared_on: Some(105), confirmed_on: Some(105), ..PAIN };
        let second = Break { on: 106, cleared_on: Some(108), confirmed_on: None, ..PAIN };
        assert!(standing(&[first], 107).back.unwrap().confirmed);
        let back = standing(&[first, second], 109).back.unwrap();
        assert_eq!((back.since, back.confirmed), (108, false));
        let early = Break { confirmed_on: Some(107), ..second };
        assert!(!standing(&[early], 109).back.unwrap().confirmed, "confirmed before it was over");
    }

    #[test]
    fn the_restriction_that_ends_last_is_named() {
        let found = standing(&[restricted(Some(110), None), restricted(None, None)], 101).restriction.unwrap();
        assert_eq!(found.until, None);
        assert!(standing(&[PAIN], 100).rests() && !standing(&[PAIN], 99).rests());
    }
}
