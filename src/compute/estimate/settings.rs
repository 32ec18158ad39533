//! The constants of the model.
//!
//! | constant | what a larger value does |
//! | --- | --- |
//! | `band_m` | shorter spacings stay comfortable longer; crowding is blamed on the spacing later |
//! | `lapse` | a single odd interval moves the estimate less; P(hold) tops out at 1 - 2 lapse / 3 |
//! | `icc` | a run of many intervals counts less; intervals wider, slower to learn |
//! | `drift_m2` | old runs are forgotten faster; the estimate follows faster and is less sure |
//! | `trend_mean_m`, `trend_sd_m` | steadier growth is expected before any run; more freedom to find another rate |
//! | `trend_weeks` | a lay-off moves the limit on for longer |
//! | `height_cost_mean`, `height_cost_sd` | higher barriers are taken to need closer spacing until runs say otherwise |
//! | `width_median_m`, `width_log_sd` | a softer curve: the same spacing errors cost less |
//!
//! The ranges of [`Settings::validate`] are those inside which the grid represents the prior: a median width outside
//! 0.1 to 0.4 m, a trend outside -0.03 to 0.09 m a week or a height cost outside 0.2 to 2.6 would pile all its mass on
//! an end point.

use super::EstimateError;

/// The constants of the model. The service takes the defaults for every club.
///
/// Every default is a design choice unless its line names a source. The defaults were chosen on simulated squads whose
/// truth is not this model (`tests/simulation`): the intervals of a day share its luck, so a run weighs less than
/// two intervals; luck also widens the curve that is seen; and an athlete who trains is expected to grow.
///
/// All of them act on every athlete alike; what is an athlete's own is estimated. With all else at its default the
/// effective number of intervals of a run of n is n / (1 + 0.5 (n - 1)): 1 for one, 1.6 for four, 1.78 for eight,
/// never 2.
///
/// ```
/// use lanewright_compute::estimate::{EstimateError, Settings};
///
/// let narrow = Settings { band_m: 0.3, ..Settings::default() };
/// assert_eq!(narrow.validate(), Err(EstimateError::Setting("band_m")));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// How much shorter than the limit a spacing is still not crowded, metres (m).
    ///
    /// Range 0.4 to 4.0 (design choice).
    pub band_m: f64,
    /// Share of intervals recorded at random, 0.001 to 0.2 (lapses: F. A. Wichmann, N. J. Hill, "The psychometric
    /// function: I", Perception & Psychophysics 63, 2001).
    pub lapse: f64,
    /// Correlation between the intervals of one run, 0 to 1 (L. Kish, *Survey Sampling*, 1965).
    ///
    /// At 1 a run counts as one interval; at 0 its intervals are independent. A prototype on 60 simulated athletes
    /// covered 0.98, 0.99 and 0.93 at 0.5 and 0.97, 0.97 and 0.94 at 0.3 for true drifts of 0.00, 0.04 and 0.08 m a
    /// week.
    pub icc: f64,
    /// Variance that the limit gains per week, square metres (m²/week).
    ///
    /// Range 0.0001 to 0.02. At 0.002 the limit's own wandering has a standard deviation of 0.045 m after a week, 0.16
    /// m after twelve.
    pub drift_m2: f64,
    /// Mean of the trend before any run, metres per week (m/week).
    ///
    /// Range -0.03 to 0.09: the ends of the trend grid. 0.045 is a design choice from the simulation; cut to the grid
    /// its mean is 0.038.
    pub trend_mean_m: f64,
    /// Standard deviation of the trend before any run, metres per week (m/week).
    ///
    /// Range 0.005 to 1; the smallest puts nearly all mass on one grid point.
    pub trend_sd_m: f64,
    /// Longest time without runs over which a trend is carried on, weeks.
    ///
    /// Range 0 to 52; counted anew for every gap between two days with runs, so a regular trainer never meets it.
    pub trend_weeks: f64,
    /// Mean height cost before any run, metres of spacing per metre of height.
    ///
    /// Range 0.2 to 2.6. At 1.0 a barrier of 0.76 m costs 0.46 m of spacing against a wicket of 0.30 m.
    pub height_cost_mean: f64,
    /// Standard deviation of the height cost before any run, metres of spacing per metre of height.
    ///
    /// Range 0.1 to 5.
    pub height_cost_sd: f64,
    /// Median width before any run, metres (m).
    ///
    /// Range 0.1 to 0.4. At 0.22 the chance of over-reaching goes from 0.24 to 0.75 over half a metre around the
    /// limit.
    pub width_median_m: f64,
    /// Standard deviation of the natural logarithm of the width before any run.
    ///
    /// Range 0.1 to 5; 0.3 takes two thirds of athletes to have a width between 0.16 and 0.30 m.
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
    /// Not a number fails its range. Ranges are checked one by one: no combination of constants that each pass is
    /// refused.
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
