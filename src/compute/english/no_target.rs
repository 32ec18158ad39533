//! Why no specification applies, in words.
//!
//! Without a target nothing limits an athlete's steps but the club's equipment and policy, and there is no
//! forecast of a race test; so whoever reads advice is told why there is none, and whoever looks up
//! specifications what to do about it. The service adds the remedy with its own address.
//!
//! | reason | given, the first that applies |
//! | --- | --- |
//! | `unknown_ruleset` | nothing of the rule set is on file, published or the club's own |
//! | `no_specification` | an age group fits, but no sprint-hurdle specification is on file for it |
//! | `grade_decides` | no group fits by age, and some go by school grade |
//! | `rule_not_stated` | the same, and the sources do not say on which day ages count |
//! | `not_in_force` | a group would fit on another day: its edition has ended or not begun |
//! | `no_age_group` | none of these: too young or too old for every group |
//!
//! # Example
//! A club under a rule set whose edition on file ended with 2026 asks on a day of 2027: `not_in_force`, where a
//! guess from the old edition could put athletes over the wrong race.

use crate::specs::{OnFile, Reason};

impl Reason {
    /// The reason as a sentence, complete without a subject before it.
    ///
    /// ```
    /// use lanewright_compute::specs::Reason;
    ///
    /// assert_eq!(Reason::UnknownRuleset.sentence(), "This rule set is not on file.");
    /// ```
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::UnknownRuleset => "This rule set is not on file.",
            Self::NotInForce => {
                "The age group that fits is not in force on this date; a newer edition of the rule set may apply."
            }
            Self::NoAgeGroup => "No age group of this rule set fits this age.",
            Self::NoSpecification => {
                "The age group is known, but no specification for it is on file; the club can add one."
            }
            Self::GradeDecides => "The school grade decides, not the age; choose the group by grade.",
            Self::RuleNotStated => "The sources do not state the day on which ages count.",
        }
    }
}

impl OnFile {
    /// What that means for a club, as one sentence, with what an admin can do where ages do not lead to a
    /// specification.
    ///
    /// ```
    /// use lanewright_compute::specs::OnFile;
    ///
    /// assert_eq!(OnFile::ByAge.sentence(), "Specifications are on file, and ages lead to them.");
    /// ```
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::ByAge => "Specifications are on file, and ages lead to them.",
            Self::AgesMissing => {
                "Specifications are on file, but a school grade or a day that the sources do not state decides who races over \
                 them: until an admin tells the ages of the groups, athletes have no target and no forecast."
            }
            Self::NotInForce => {
                "For some ages the edition on file is not in force on this day, and a newer one is not on file: until an admin \
                 takes one over or adds the club's own specifications, athletes of those ages have no target and no forecast."
            }
            Self::Nothing => {
                "No sprint-hurdle specification of this rule set is on file: until an admin takes over those of another rule \
                 set or adds the club's own, athletes have no target and no forecast."
            }
        }
    }
}
