//! Why no specification applies, in words.

use crate::specs::Reason;

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
