//! The progress of an athlete as it was last found, kept so that nothing is computed again while nothing changes.

use super::{Believed, Load, Outlook, Period, Plateau, Progress, Slope, TrainingDay};
use crate::advice::{Record, Setting, Targets};
use crate::decision::Decision;
use crate::estimate::Estimate;

/// What was found, with all that it rests on (about 200 KB).
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
    pub fn bytes(&self) -> usize {
        size_of_val(&self.record.runs[..])
            + size_of_val(&self.days[..])
            + size_of_val(&self.believed[..])
            + self.estimate.bytes()
    }

    /// Keeps what was found.
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
