//! The constants of the predictors.
//!
//! Where each figure comes from:
//!
//! | constant | derived from |
//! | --- | --- |
//! | 4.65 and 4.85 of the stature | lanes of 5.5 to 7.0 m at 10 to 11 years are 3.9 to 5.0 statures, youth races 4.6 to 4.9, adult races 5.0 |
//! | 9.6 and 10.3 of the leg | the same over legs that are 0.47 to 0.49 of the stature |
//! | 53 m s | an interval at 0.95 of the mean 50 m speed in about 1.1 s: 53 / (0.95 · 50) = 1.116 s |
//! | 0.45, 0.50, 0.60 m | design choice: a guess from body or sprint misses by about half a metre |
//! | correlation 0.3 | design choice: assumed between their errors, so that two predictors never claim twice the information of one |
//! | 6.0 and 1.0 m | design choice: the middle of the school lanes, and wide enough for all of them |
//! | 4.0, 9.6, 0.30 m | design choice: outside every published lane; no guess is surer than a session of runs |
//!
//! To the published spacings 0.25 m are added: the limit is held half of the time, and a published lane is comfortable.
//!
//! No published regression was found that gives the spacing from these measurements. None of it is validated on
//! athletes, so a club that knows better moves them ([`PriorPolicy::check_safe`]), each within what the figures
//! above can mean. What bounds every start (4.0, 9.6, 0.30 m) is no club's to move, and the 6.0 and 1.0 m are of
//! athletes of whom not even the age is known, whom no club has.

use thiserror::Error;

use super::{Experience, PriorError};

/// The constants of the predictors.
///
/// [`PriorPolicy::default`] is what a club begins with. Call [`PriorPolicy::check_safe`] on what a club sends.
///
/// ```
/// use lanewright_compute::prior::{PriorError, PriorPolicy};
///
/// assert_eq!(PriorPolicy::default().validate(), Ok(()));
/// let close = PriorPolicy { error_correlation: 0.95, ..PriorPolicy::default() };
/// assert_eq!(close.validate(), Err(PriorError::Policy("error_correlation")));
/// ```
///
/// # Source
/// Design choice, derived from: lanes of 5.5 to 7.0 m for grade 5 (Namikata primary school, mini-hurdles, 3 December
/// 2020); 7.0 m at 11 to 12 years (M. Watanabe, H. Takeda, Rikujo Kyogi Kiyo 11, 1998); 30 ft for an adult of 6 ft
/// (F. A. M. Webster, *Coaching and Care of Athletes*, 1938); leg share of stature 0.47 to 0.49 (A. M. Fredriks et
/// al., Arch Dis Child 90: 807-812, 2005); 50 m means by age (Japan Sports Agency, survey of physical fitness, 2017).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PriorPolicy {
    /// Limit over stature, novice (ratio).
    ///
    /// Range 2 to 8; this and the next also serve the age.
    pub stature_novice: f64,
    /// Limit over stature, trained (ratio).
    pub stature_trained: f64,
    /// Residual spread of the stature predictor, metres (m).
    pub stature_sd_m: f64,
    /// Limit over leg length, novice (ratio).
    ///
    /// Range 4 to 16.
    pub leg_novice: f64,
    /// Limit over leg length, trained (ratio).
    pub leg_trained: f64,
    /// Residual spread of the leg length predictor, metres (m).
    pub leg_sd_m: f64,
    /// Limit times 50 m time, metre seconds (m s): the interval is run at about 0.95 of the mean speed in about 1.1 s.
    ///
    /// Range 20 to 100. The race tests read it backwards for athletes without any time on file
    /// ([`PriorPolicy::sprint_50m_s`]).
    pub sprint_m_s: f64,
    /// Residual spread of the 50 m predictor, metres (m).
    pub sprint_50m_sd_m: f64,
    /// Residual spread of the 30 m predictor, metres (m).
    pub sprint_30m_sd_m: f64,
    /// Correlation between the errors of the body and the sprint predictor, 0 to 0.9.
    ///
    /// At 0 two predictors count as independent; above the ratio of the smaller to the larger spread the worse one
    /// would get a negative weight, which is cut to none.
    pub error_correlation: f64,
    /// Mean without any information, metres (m).
    pub unknown_mean_m: f64,
    /// Spread without any information, metres (m); also the widest spread of a group.
    pub unknown_sd_m: f64,
    /// Smallest mean, metres (m).
    ///
    /// Range 3.5 m to the largest mean.
    pub lowest_mean_m: f64,
    /// Largest mean, metres (m).
    ///
    /// Range 3.5 to 10 m; 9.6 m leaves room above the 9.14 m of the 110 m hurdles.
    pub highest_mean_m: f64,
    /// Smallest spread, metres (m).
    ///
    /// Range 0.2 to 1.0 m. Keeps a few runs able to move the estimate.
    pub lowest_sd_m: f64,
}

/// A constant that a club moved too far.
///
/// Worded to follow the constant's name.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
#[error("must be {:.2} to {:.2}: {why}", range.0, range.1)]
pub struct StartFault {
    /// Its name in [`PriorPolicy`].
    pub field: &'static str,
    /// What a club may choose, in the constant's unit.
    pub range: (f64, f64),
    /// Why no further.
    pub why: &'static str,
}

impl Default for PriorPolicy {
    fn default() -> Self {
        Self {
            stature_novice: 4.65,
            stature_trained: 4.85,
            stature_sd_m: 0.45,
            leg_novice: 9.6,
            leg_trained: 10.3,
            leg_sd_m: 0.45,
            sprint_m_s: 53.0,
            sprint_50m_sd_m: 0.50,
            sprint_30m_sd_m: 0.60,
            error_correlation: 0.3,
            unknown_mean_m: 6.0,
            unknown_sd_m: 1.0,
            lowest_mean_m: 4.0,
            highest_mean_m: 9.6,
            lowest_sd_m: 0.30,
        }
    }
}

impl PriorPolicy {
    /// Checks every constant.
    ///
    /// The bounds of means and spreads depend on each other (no spread below the smallest, no mean above the largest),
    /// so those ends are checked first.
    ///
    /// # Errors
    /// [`PriorError::Policy`] with the name of the first constant outside its range.
    pub fn validate(&self) -> Result<(), PriorError> {
        let means = 3.5..=self.highest_mean_m;
        let sds = self.lowest_sd_m..=3.0;
        let checks = [
            ("lowest_sd_m", self.lowest_sd_m, 0.2..=1.0),
            ("highest_mean_m", self.highest_mean_m, 3.5..=10.0),
            ("lowest_mean_m", self.lowest_mean_m, means.clone()),
            ("unknown_mean_m", self.unknown_mean_m, means),
            ("unknown_sd_m", self.unknown_sd_m, sds.clone()),
            ("stature_novice", self.stature_novice, 2.0..=8.0),
            ("stature_trained", self.stature_trained, 2.0..=8.0),
            ("stature_sd_m", self.stature_sd_m, sds.clone()),
            ("leg_novice", self.leg_novice, 4.0..=16.0),
            ("leg_trained", self.leg_trained, 4.0..=16.0),
            ("leg_sd_m", self.leg_sd_m, sds.clone()),
            ("sprint_m_s", self.sprint_m_s, 20.0..=100.0),
            ("sprint_50m_sd_m", self.sprint_50m_sd_m, sds.clone()),
            ("sprint_30m_sd_m", self.sprint_30m_sd_m, sds),
            ("error_correlation", self.error_correlation, 0.0..=0.9),
        ];
        match checks.iter().find(|(_, value, range)| !range.contains(value)) {
            Some((name, _, _)) => Err(PriorError::Policy(name)),
            None => Ok(()),
        }
    }

    /// Lists every constant that a club may move and has moved too far, with what it may be; empty when none.
    ///
    /// | constants | range | why |
    /// | --- | --- | --- |
    /// | limit over stature | 4.00 to 5.15 | lanes of 3.9 to 5.0 statures, and 0.25 m of 1.50 m |
    /// | limit over leg length | 8.30 to 10.70 | the same over a leg of 0.48 of the stature |
    /// | limit times 50 m time | 47 to 57 m s | an interval of 1.0 to 1.2 s at 0.95 of the mean speed |
    /// | spreads | 0.40 to 1.00 m | a guess is never surer than a few runs, nor wider than knowing nothing |
    /// | correlation | 0 to 0.9 | as in [`PriorPolicy::validate`] |
    ///
    /// Within them every constant passes [`PriorPolicy::validate`] beside the others at their defaults.
    ///
    /// ```
    /// use lanewright_compute::prior::PriorPolicy;
    ///
    /// assert!(PriorPolicy::default().check_safe().is_empty());
    /// let far = PriorPolicy { stature_novice: 6.0, ..PriorPolicy::default() };
    /// assert_eq!(far.check_safe()[0].to_string(), "must be 4.00 to 5.15: beyond that no published lane lies");
    /// ```
    pub fn check_safe(&self) -> Vec<StartFault> {
        let (statures, legs, sds) = ((4.00, 5.15), (8.30, 10.70), (0.40, 1.00));
        let lanes = "beyond that no published lane lies";
        let sure = "a guess is no surer than a few runs, and no wider than knowing nothing";
        let checks = [
            ("stature_novice", self.stature_novice, statures, lanes),
            ("stature_trained", self.stature_trained, statures, lanes),
            ("stature_sd_m", self.stature_sd_m, sds, sure),
            ("leg_novice", self.leg_novice, legs, lanes),
            ("leg_trained", self.leg_trained, legs, lanes),
            ("leg_sd_m", self.leg_sd_m, sds, sure),
            ("sprint_m_s", self.sprint_m_s, (47.0, 57.0), "an interval takes 1.0 to 1.2 s"),
            ("sprint_50m_sd_m", self.sprint_50m_sd_m, sds, sure),
            ("sprint_30m_sd_m", self.sprint_30m_sd_m, sds, sure),
            ("error_correlation", self.error_correlation, (0.0, 0.9), "two guesses are never one and the same"),
        ];
        let outside = |(_, value, (least, most), _): &(&str, f64, (f64, f64), &str)| !(*least..=*most).contains(value);
        checks.into_iter().filter(outside).map(|(field, _, range, why)| StartFault { field, range, why }).collect()
    }

    /// The 50 m time (s) that a limit (m) stands for: the predictor from the sprint, read backwards. None for a limit of
    /// nought or less.
    pub fn sprint_50m_s(&self, limit_m: f64) -> Option<f64> {
        (limit_m > 0.0).then(|| self.sprint_m_s / limit_m)
    }

    /// Metres of limit for each metre of stature.
    pub(super) fn stature_ratio(&self, experience: Experience) -> f64 {
        match experience {
            Experience::Novice => self.stature_novice,
            Experience::Trained => self.stature_trained,
        }
    }

    /// Metres of limit for each metre of leg.
    pub(super) fn leg_ratio(&self, experience: Experience) -> f64 {
        match experience {
            Experience::Novice => self.leg_novice,
            Experience::Trained => self.leg_trained,
        }
    }
}
