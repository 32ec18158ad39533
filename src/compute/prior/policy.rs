//! The constants of the predictors.

use super::{Experience, PriorError};

/// The constants of the predictors, which a club can change.
///
/// # Source
/// Design choice, derived from: lanes of 5.5 to 7.0 m for grade 5 (Namikata primary school, mini-hurdles, 3 December
/// 2020); 7.0 m at 11 to 12 years (M. Watanabe, H. Takeda, Rikujo Kyogi Kiyo 11, 1998); 30 ft for an adult of 6 ft
/// (F. A. M. Webster, *Coaching and Care of Athletes*, 1938); leg share of stature 0.47 to 0.49 (A. M. Fredriks et
/// al., Arch Dis Child 90: 807-812, 2005); 50 m means by age (Japan Sports Agency, survey of physical fitness, 2017).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PriorPolicy {
    /// Limit over stature, novice (ratio).
    pub stature_novice: f64,
    /// Limit over stature, trained (ratio).
    pub stature_trained: f64,
    /// Residual spread of the stature predictor, metres (m).
    pub stature_sd_m: f64,
    /// Limit over leg length, novice (ratio).
    pub leg_novice: f64,
    /// Limit over leg length, trained (ratio).
    pub leg_trained: f64,
    /// Residual spread of the leg length predictor, metres (m).
    pub leg_sd_m: f64,
    /// Limit times 50 m time, metre seconds (m s): the interval is run at about 0.95 of the mean speed in about 1.1 s.
    pub sprint_m_s: f64,
    /// Residual spread of the 50 m predictor, metres (m).
    pub sprint_50m_sd_m: f64,
    /// Residual spread of the 30 m predictor, metres (m).
    pub sprint_30m_sd_m: f64,
    /// Correlation between the errors of the body and the sprint predictor, 0 to 0.9.
    pub error_correlation: f64,
    /// Mean without any information, metres (m).
    pub unknown_mean_m: f64,
    /// Spread without any information, metres (m); also the widest spread of a group.
    pub unknown_sd_m: f64,
    /// Smallest mean, metres (m).
    pub lowest_mean_m: f64,
    /// Largest mean, metres (m).
    pub highest_mean_m: f64,
    /// Smallest spread, metres (m).
    pub lowest_sd_m: f64,
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

    pub(super) fn stature_ratio(&self, experience: Experience) -> f64 {
        match experience {
            Experience::Novice => self.stature_novice,
            Experience::Trained => self.stature_trained,
        }
    }

    pub(super) fn leg_ratio(&self, experience: Experience) -> f64 {
        match experience {
            Experience::Novice => self.leg_novice,
            Experience::Trained => self.leg_trained,
        }
    }
}
