//! The progress of an athlete as it was last found, kept so that nothing is computed again while nothing changes.
//!
//! A coach opens the same athlete's progress again and again, and a squad's page all of them. What was found is kept
//! with everything it was found from; asking again compares it, run by run, instead of walking the futures anew.
//!
//! | compared | by |
//! | --- | --- |
//! | the record: birth, measurements, runs, ratings, well-being | value |
//! | the setting: rule set, a club's rows, stock, policy | value |
//! | the period | both days |
//!
//! Nothing expires: tomorrow's period has another last day. Estimate and decision are kept as they are; the targets
//! point into the setting and are looked up again.

use super::{Believed, Load, Outlook, Period, Plateau, Progress, Slope, TrainingDay};
use crate::advice::{Record, Setting, Targets};
use crate::decision::Decision;
use crate::estimate::Estimate;

/// What was found, with all that it rests on (about 200 KB).
///
/// Of one athlete; the caller keeps it beside the athlete's id.
#[derive(Clone, Debug)]
pub struct Followed {
    record: Record,
    setting: Setting,
    period: Period,
    estimate: Estimate,
    decision: Decision,
    days: Vec<TrainingDay>,
    believed: Vec<Believed>,
    load: Load,
    limit_slope: Option<Slope>,
    spacing_slope: Option<Slope>,
    plateau: Plateau,
    outlook: Outlook,
}

impl Followed {
    /// What it weighs, bytes, but for some thousand.
    ///
    /// For the budget of memory; the estimate is most of it.
    pub fn bytes(&self) -> usize {
        size_of_val(&self.record.runs[..])
            + size_of_val(&self.days[..])
            + size_of_val(&self.believed[..])
            + self.estimate.bytes()
    }

    /// Keeps what was found.
    ///
    /// Copies; the answer itself goes to the caller.
    pub(super) fn of(record: &Record, setting: &Setting, found: &Progress<'_>) -> Self {
        Self {
            record: record.clone(),
            setting: setting.clone(),
            period: found.period,
            estimate: found.advice.estimate.clone(),
            decision: found.advice.decision.clone(),
            days: found.days.clone(),
            believed: found.believed.clone(),
            load: found.load,
            limit_slope: found.limit_slope,
            spacing_slope: found.spacing_slope,
            plateau: found.plateau.clone(),
            outlook: found.outlook.clone(),
        }
    }

    /// The same once more, when it would be found again.
    ///
    /// None when anything differs, then everything is found anew.
    pub(super) fn again<'a>(&self, record: &Record, setting: &'a Setting, period: Period) -> Option<Progress<'a>> {
        let same = self.period == period && self.setting == *setting && self.record == *record;
        same.then(|| Progress {
            period,
            advice: Targets::of(record, setting, period.to()).beside(self.estimate.clone(), self.decision.clone()),
            days: self.days.clone(),
            believed: self.believed.clone(),
            load: self.load,
            limit_slope: self.limit_slope,
            spacing_slope: self.spacing_slope,
            plateau: self.plateau.clone(),
            outlook: self.outlook.clone(),
        })
    }
}
