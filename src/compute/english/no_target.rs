//! Why no specification applies, in words.

use crate::specs::{OnFile, Reason};

impl Reason {
    /// The reason as a sentence.
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
    /// What that means for a club, as sentences.
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
