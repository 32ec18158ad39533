//! The constants of the model.

use super::EstimateError;

/// The constants of the model; a club can change them.
///
/// Every default is a design choice unless its line names a source. The defaults were chosen on simulated squads whose
/// truth is not this model (`tests/simulation`): the intervals of a day share its luck, so a run weighs little more than
/// two intervals; luck also widens the curve that is seen; and an athlete who trains is expected to grow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// How much shorter than the limit a spacing is still not crowded, metres (m).
    pub band_m: f64,
    /// Share of intervals recorded at random, 0.001 to 0.2 (lapses: F. A. Wichmann, N. J. Hill, "The psychometric
    /// function: I", Perception & Psychophysics 63, 2001).
    pub lapse: f64,
    /// Correlation between the intervals of one run, 0 to 1 (L. Kish, *Survey Sampling*, 1965).
    pub icc: f64,
    /// Variance that the limit gains per week, square metres (m²/week).
    pub drift_m2: f64,
    /// Mean of the trend before any run, metres per week (m/week).
    pub trend_mean_m: f64,
    /// Standard deviation of the trend before any run, metres per week (m/week).
    pub trend_sd_m: f64,
    /// Longest time without runs over which a trend is carried on, weeks.
    pub trend_weeks: f64,
    /// Mean height cost before any run, metres of spacing per metre of height.
    pub height_cost_mean: f64,
    /// Standard deviation of the height cost before any run, metres of spacing per metre of height.
    pub height_cost_sd: f64,
    /// Median width before any run, metres (m).
    pub width_median_m: f64,
    /// Standard deviation of the natural logarithm of the width before any run.
    pub width_log_sd: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            band_m: 1.6,
            lapse: 0.02,
            icc: 0.5,
            drift_m2: 0.002,
            trend_mean_m: 0.045,
            trend_sd_m: 0.05,
            trend_weeks: 26.0,
            height_cost_mean: 1.0,
            height_cost_sd: 0.5,
            width_median_m: 0.22,
            width_log_sd: 0.3,
        }
    }
}

impl Settings {
    /// Checks every constant.
    ///
    /// # Errors
    /// [`EstimateError::Setting`] with the name of the first constant outside its range.
    pub fn validate(&self) -> Result<(), EstimateError> {
        let checks = [
            ("band_m", self.band_m, 0.4..=4.0),
            ("lapse", self.lapse, 0.001..=0.2),
            ("icc", self.icc, 0.0..=1.0),
            ("drift_m2", self.drift_m2, 0.0001..=0.02),
            ("trend_mean_m", self.trend_mean_m, -0.03..=0.09),
            ("trend_sd_m", self.trend_sd_m, 0.005..=1.0),
            ("trend_weeks", self.trend_weeks, 0.0..=52.0),
            ("height_cost_mean", self.height_cost_mean, 0.2..=2.6),
            ("height_cost_sd", self.height_cost_sd, 0.1..=5.0),
            ("width_median_m", self.width_median_m, 0.1..=0.4),
            ("width_log_sd", self.width_log_sd, 0.1..=5.0),
        ];
        match checks.iter().find(|(_, value, range)| !range.contains(value)) {
            Some((name, _, _)) => Err(EstimateError::Setting(name)),
            None => Ok(()),
        }
    }
}
