//! Why there is nothing to say of an athlete, in words: what on file cannot be used, and what would make it usable.
//!
//! One athlete of a squad may have a figure on file that no model accepts: a stature of 2.4 m, a session that was dated twenty years too
//! early. The others are answered all the same, and these sentences stand beside the name; asked for alone they are the whole answer. They
//! name what was measured and never the figure, since they are kept in plans.
//!
//! # Used from
//! Everything that is computed of many: recommendations, lane plans, cards, proposals, the board, progress, race tests.

use super::figures::sentence;
use crate::advice::AdviceError;
use crate::estimate::EstimateError;
use crate::params::{CodeDoc, code};
use crate::prior::PriorError;

impl AdviceError {
    /// Every code with its meaning; none carries parameters. Once published a code never changes.
    pub const CODES: [CodeDoc; 5] = [
        code("measurement", "A measurement is none that an estimate can start from.", &[]),
        code("first_run", "The first run lies more than 20 years back.", &[]),
        code("run_count", "There are more runs than an estimate takes.", &[]),
        code("run", "A run cannot have been run as it is written down.", &[]),
        code("start", "The club's constants of where an estimate starts are outside their ranges.", &[]),
    ];

    /// The stable code, one of [`AdviceError::CODES`].
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Prior(PriorError::Input { .. }) => "measurement",
            Self::Estimate(EstimateError::TooLong) => "first_run",
            Self::Estimate(EstimateError::TooManyRuns(_)) => "run_count",
            Self::Estimate(
                EstimateError::Spacing(_)
                | EstimateError::Height(_)
                | EstimateError::Intervals(_)
                | EstimateError::Earlier { .. },
            ) => "run",
            Self::Prior(PriorError::Policy(_)) | Self::Estimate(EstimateError::Prior | EstimateError::Setting(_)) => {
                "start"
            }
        }
    }

    /// One English sentence: what is wrong.
    ///
    /// ```
    /// use lanewright_compute::advice::AdviceError;
    /// use lanewright_compute::prior::PriorError;
    ///
    /// let tall = PriorError::Input { field: "stature_m", must_be: "from 0.9 to 2.3 metres" };
    /// assert_eq!(AdviceError::Prior(tall).text(), "The latest stature must be from 0.9 to 2.3 metres.");
    /// ```
    pub fn text(&self) -> String {
        match self {
            Self::Prior(PriorError::Input { field, must_be }) => {
                let what = match *field {
                    "stature_m" => "stature",
                    "leg_length_m" => "leg length",
                    "sprint_30m_s" => "30 m time",
                    "sprint_50m_s" => "50 m time",
                    other => other,
                };
                format!("The latest {what} must be {must_be}.")
            }
            Self::Estimate(EstimateError::TooLong) => {
                "The first run lies more than 20 years before the day that is asked for.".to_owned()
            }
            Self::Estimate(error) if self.code() != "start" => sentence(&error.to_string()),
            _ => "The club's constants of where an estimate starts are outside their ranges.".to_owned(),
        }
    }

    /// One English sentence: what to do about it.
    pub fn remedy(&self) -> &'static str {
        match self.code() {
            "measurement" => "Delete that measurement, or add the right one with a later day.",
            "first_run" => "Correct the day of its session, or withdraw the runs of that time.",
            "run_count" => "Withdraw the runs that were recorded more than once.",
            "run" => "Correct that run, or withdraw it.",
            _ => "An admin sets `policy.start` of the club anew.",
        }
    }
}
