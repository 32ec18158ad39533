//! Where the estimate starts: the comfortable limit guessed from body, sprint and group, before an athlete has runs.
//!
//! No published regression gives a three-stride spacing from age, sex, stature, leg length and sprint time. The
//! predictors here are derived from published school lanes, youth race specifications, growth tables and 50 m tables;
//! they are a **design choice, not validated**. An athlete's own runs overrule them within a session or two.
//!
//! # Model
//!
//! Each predictor gives a normal distribution of the limit c (m, over a wicket of 0.30 m):
//!
//! | known | mean of c | standard deviation | [`Predictor`] |
//! | --- | --- | --- | --- |
//! | leg length L (m) | 9.6 L novice, 10.3 L trained | 0.45 m | `LegLength` |
//! | stature H (m), no leg length | 4.65 H novice, 4.85 H trained | 0.45 m | `Stature` |
//! | 50 m time t (s) | 53 / t | 0.50 m | `Sprint50m` |
//! | 30 m time t (s), no 50 m time | 53 / (t + 20 (t - 0.9) / 30) | 0.60 m | `Sprint30m` |
//! | age and sex only | as from the median stature of that age | 0.51 to 0.60 m, with the spread of the stature | `AgeAndSex` |
//! | a group's limits only | their mean | theirs, at most 1.0 m | `Group` |
//! | nothing | 6.0 m | 1.0 m | none |
//!
//! A body and a sprint predictor are combined with the weights of least variance for errors that correlate by ρ = 0.3:
//!
//! ```text
//! w = (σ₂² - ρ σ₁ σ₂) / (σ₁² + σ₂² - 2 ρ σ₁ σ₂),  cut to 0..1
//! c = w c₁ + (1 - w) c₂        σ² = w² σ₁² + (1 - w)² σ₂² + 2 w (1 - w) ρ σ₁ σ₂
//! ```
//!
//! The mean is then kept inside 4.0 to 9.6 m and the standard deviation at 0.30 m or above.
//!
//! # Laws
//!
//! Held by `tests/compute/prior.rs`: whoever is taller, has longer legs or runs faster never starts lower, all else
//! being equal; a combination is never less sure than its surer part; a child of median stature starts in a published
//! school lane.
//!
//! # Worked
//!
//! A novice of 1.50 m: 4.65 · 1.50 = 6.975 m, standard deviation 0.45 m. With a 50 m time of 7.8 s (53 / 7.8 = 6.795
//! m, 0.50 m) the weight of the stature is 0.575 and the prior 6.898 m with 0.381 m.
//!
//! # Cost and use
//!
//! A handful of operations, no state. [`crate::advice`] asks it before every estimate, with the club's constants;
//! [`crate::bounds`] takes the growth table for what a stature can be.
//!
//! The last two rows of the table are for athletes whose age nobody knows. The service has none: a birth date or year is
//! asked of every athlete, and the age comes before the group. Nor does the group stand beside the age: advice would then
//! change with the runs of others, whom the coach who asks need not see, and with who was erased.

use thiserror::Error;

use super::units::Sex;

mod growth;
mod policy;

pub use growth::stature_at;
pub use policy::{PriorPolicy, StartFault};

/// What is known about an athlete before any run.
///
/// Whatever is absent is not guessed: the next predictor of the module's table takes its place. The ranges are those
/// outside which a value is a slip (metres typed as centimetres, seconds of another distance); design choice.
///
/// The order in which they are used: leg length before stature, 50 m before 30 m, either of these before age, age
/// before group.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PriorInputs {
    /// Sex category, for the growth table.
    pub sex: Sex,
    /// Age, years (y), 4 to 100.
    ///
    /// With fractions: the growth table is read between whole years. Used only where neither body nor sprint is known.
    pub age_y: Option<f64>,
    /// Standing height, metres (m), 0.9 to 2.3.
    pub stature_m: Option<f64>,
    /// Stature minus sitting height, metres (m), 0.35 to 1.3 and 0.35 to 0.65 of the stature.
    ///
    /// Explains the spacing of athletes whose legs are long or short for their height; where it is known the stature
    /// is not used.
    pub leg_length_m: Option<f64>,
    /// 30 m from a standing start, seconds (s), 3 to 12.
    ///
    /// Less than the 50 m time where both are known, else one of the two is refused.
    pub sprint_30m_s: Option<f64>,
    /// 50 m from a standing start, seconds (s), 5 to 20.
    pub sprint_50m_s: Option<f64>,
    /// Whether the athlete has hurdled before.
    pub experience: Experience,
    /// The limits of the athletes of the same group that have runs.
    ///
    /// Not filled where the age is known, see the module's page.
    pub group: Option<GroupLimit>,
}

impl PriorInputs {
    /// Inputs of which only the sex category and the experience are known.
    ///
    /// Predicts 6.0 m with 1.0 m as it stands: sex and experience alone tell nothing without an age or a stature.
    pub const fn unknown(sex: Sex, experience: Experience) -> Self {
        Self {
            sex,
            age_y: None,
            stature_m: None,
            leg_length_m: None,
            sprint_30m_s: None,
            sprint_50m_s: None,
            experience,
            group: None,
        }
    }
}

/// How long an athlete has hurdled.
///
/// A coach states it. It acts through the ratios of stature and leg length only: the sprint predictor has no such
/// step, and an age takes the stature's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Experience {
    /// Less than a year.
    Novice,
    /// A year or more.
    Trained,
}

/// The comfortable limits found in a group.
///
/// Of athletes with runs of their own; computing it is the caller's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroupLimit {
    /// Mean comfortable limit, metres (m).
    ///
    /// Allowed range 3.5 to 10 m.
    pub mean_m: f64,
    /// Standard deviation between athletes, metres (m).
    ///
    /// Allowed range 0 to 3 m; taken as at most the spread without any information and at least the policy's smallest.
    pub sd_m: f64,
}

/// One thing that a prior rests on.
///
/// Told to coaches as "rests on", so that an odd start can be traced to an odd measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Predictor {
    /// The athlete's leg length.
    LegLength,
    /// The athlete's stature.
    Stature,
    /// The athlete's 50 m time.
    Sprint50m,
    /// The athlete's 30 m time.
    Sprint30m,
    /// The mean stature of that age and sex.
    AgeAndSex,
    /// The limits of the athlete's group.
    Group,
}

impl Predictor {
    /// Every predictor, in the order of explanation.
    ///
    /// Measurements of the body, then sprints, then what stands in for both.
    pub const ALL: [Self; 6] =
        [Self::LegLength, Self::Stature, Self::Sprint50m, Self::Sprint30m, Self::AgeAndSex, Self::Group];

    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::LegLength => "leg_length",
            Self::Stature => "stature",
            Self::Sprint50m => "sprint_50m",
            Self::Sprint30m => "sprint_30m",
            Self::AgeAndSex => "age_and_sex",
            Self::Group => "group",
        }
    }
}

/// The set of predictors that a prior used; empty when nothing was known.
///
/// One bit for each predictor, in the order of declaration.
///
/// ```
/// use lanewright_compute::prior::{Basis, Predictor};
///
/// let basis = Basis::of(&[Predictor::Sprint50m, Predictor::Stature]);
/// assert!(basis.iter().eq([Predictor::Stature, Predictor::Sprint50m]));
/// assert!(!basis.contains(Predictor::Group) && Basis::default().iter().next().is_none());
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Basis(u8);

impl Basis {
    /// A set of predictors.
    ///
    /// Order and repetition do not matter.
    pub const fn of(predictors: &[Predictor]) -> Self {
        let mut bits = 0;
        let mut index = 0;
        while index < predictors.len() {
            bits |= 1 << predictors[index] as u8;
            index += 1;
        }
        Self(bits)
    }

    /// Whether a predictor was used.
    pub const fn contains(self, predictor: Predictor) -> bool {
        self.0 & (1 << predictor as u8) != 0
    }

    /// The predictors used, in the order of [`Predictor::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Predictor> {
        Predictor::ALL.into_iter().filter(move |&predictor| self.contains(predictor))
    }

    /// The union.
    const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// What is believed about the comfortable limit before any run: a normal distribution.
///
/// As [`predict`] gives it with the default policy: 4.0 to 9.6 m, 0.30 to 1.0 m. The estimate accepts any mean from
/// 3.5 to 10 m and any spread from 0.2 to 3 m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Mean, metres (m).
    pub mean_m: f64,
    /// Standard deviation, metres (m).
    pub sd_m: f64,
    /// What it rests on.
    pub basis: Basis,
}

/// Why there is no prior.
///
/// Worded to follow a field's name. Policy is checked first, then the inputs in the order of their declaration, pairs
/// after the values they are of.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum PriorError {
    /// An input is impossible.
    #[error("{field} must be {must_be}")]
    Input {
        /// The input's name in [`PriorInputs`].
        field: &'static str,
        /// The rule it breaks.
        must_be: &'static str,
    },
    /// A constant of the policy, by its name in [`PriorPolicy`], is outside its range.
    #[error("policy constant {0} is outside its range")]
    Policy(&'static str),
}

/// Predicts the comfortable limit of an athlete without runs.
///
/// Leg length, else stature, is combined with the 50 m, else the 30 m time, by precision with an assumed correlation of
/// errors; without both, age and sex through the mean stature; without age, the group; without a group, a constant.
///
/// A better measurement of one kind never makes the result less sure, since neither weight is negative. The limits on
/// mean and spread act on the result and not on its parts.
///
/// # Errors
/// [`PriorError::Input`] naming the first impossible input; [`PriorError::Policy`] naming the first impossible constant.
///
/// # Source
/// Design choice, see [`PriorPolicy`]; best linear combination of correlated predictors (J. M. Bates, C. W. J. Granger,
/// "The Combination of Forecasts", Operational Research Quarterly 20, 1969).
///
/// # Example
/// ```
/// use lanewright_compute::prior::{Experience, Predictor, PriorInputs, PriorPolicy, predict};
/// use lanewright_compute::units::Sex;
///
/// let inputs = PriorInputs { stature_m: Some(1.50), ..PriorInputs::unknown(Sex::Female, Experience::Novice) };
/// let prior = predict(&inputs, &PriorPolicy::default())?;
/// assert!((prior.mean_m - 6.975).abs() < 1e-9);
/// assert!(prior.basis.contains(Predictor::Stature));
/// # Ok::<(), lanewright_compute::prior::PriorError>(())
/// ```
pub fn predict(inputs: &PriorInputs, policy: &PriorPolicy) -> Result<Prior, PriorError> {
    policy.validate()?;
    validate(inputs)?;
    let guess = match (from_body(inputs, policy), from_sprint(inputs, policy)) {
        (Some(body), Some(sprint)) => combine(body, sprint, policy.error_correlation),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => from_others(inputs, policy),
    };
    Ok(Prior {
        mean_m: guess.mean_m.clamp(policy.lowest_mean_m, policy.highest_mean_m),
        sd_m: guess.sd_m.max(policy.lowest_sd_m),
        basis: guess.basis,
    })
}

/// Not a number fails its range; absent values pass. Pairs (leg and stature, 30 m and 50 m) are checked only where
/// both are known.
fn validate(inputs: &PriorInputs) -> Result<(), PriorError> {
    let broken = |field, must_be| Err(PriorError::Input { field, must_be });
    let outside = |value: Option<f64>, low: f64, high: f64| value.is_some_and(|v| !(low..=high).contains(&v));
    if outside(inputs.age_y, 4.0, 100.0) {
        return broken("age_y", "from 4 to 100 years");
    }
    if outside(inputs.stature_m, 0.9, 2.3) {
        return broken("stature_m", "from 0.9 to 2.3 metres");
    }
    if outside(inputs.leg_length_m, 0.35, 1.3) {
        return broken("leg_length_m", "from 0.35 to 1.3 metres");
    }
    if let (Some(leg), Some(stature)) = (inputs.leg_length_m, inputs.stature_m)
        && outside(Some(leg / stature), 0.35, 0.65)
    {
        return broken("leg_length_m", "from 0.35 to 0.65 of the stature");
    }
    if outside(inputs.sprint_30m_s, 3.0, 12.0) {
        return broken("sprint_30m_s", "from 3 to 12 seconds");
    }
    if outside(inputs.sprint_50m_s, 5.0, 20.0) {
        return broken("sprint_50m_s", "from 5 to 20 seconds");
    }
    if let (Some(short), Some(long)) = (inputs.sprint_30m_s, inputs.sprint_50m_s)
        && short >= long
    {
        return broken("sprint_30m_s", "less than the 50 m time");
    }
    if outside(inputs.group.map(|group| group.mean_m), 3.5, 10.0) {
        return broken("group.mean_m", "from 3.5 to 10 metres");
    }
    if outside(inputs.group.map(|group| group.sd_m), 0.0, 3.0) {
        return broken("group.sd_m", "from 0 to 3 metres");
    }
    Ok(())
}

/// None without leg length and stature.
fn from_body(inputs: &PriorInputs, policy: &PriorPolicy) -> Option<Prior> {
    let leg = inputs.leg_length_m.map(|leg| Prior {
        mean_m: policy.leg_ratio(inputs.experience) * leg,
        sd_m: policy.leg_sd_m,
        basis: Basis::of(&[Predictor::LegLength]),
    });
    leg.or_else(|| {
        inputs.stature_m.map(|stature| Prior {
            mean_m: policy.stature_ratio(inputs.experience) * stature,
            sd_m: policy.stature_sd_m,
            basis: Basis::of(&[Predictor::Stature]),
        })
    })
}

/// None without a sprint time. 53 m s over a 50 m time of 8.0 s is 6.625 m; at 0.95 of the mean 50 m speed any such
/// interval takes 1.116 s.
fn from_sprint(inputs: &PriorInputs, policy: &PriorPolicy) -> Option<Prior> {
    let measured = inputs.sprint_50m_s.map(|t| (t, policy.sprint_50m_sd_m, Predictor::Sprint50m));
    let converted =
        || inputs.sprint_30m_s.map(|t| (fifty_from_thirty(t), policy.sprint_30m_sd_m, Predictor::Sprint30m));
    measured.or_else(converted).map(|(t, sd_m, predictor)| Prior {
        mean_m: policy.sprint_m_s / t,
        sd_m,
        basis: Basis::of(&[predictor]),
    })
}

/// 50 m time (s) from a 30 m time (s): the last 20 m at the mean speed of the 30 m without 0.9 s of starting.
///
/// Design choice.
///
/// 5.0 s over 30 m becomes 7.73 s. Monotone in t from 0.9 s on, so a faster start never predicts a shorter limit.
fn fifty_from_thirty(t: f64) -> f64 {
    t + 20.0 / (30.0 / (t - 0.9))
}

/// The stature's own spread at that age is carried through the ratio and added in variance: a girl of 12 years starts
/// at 7.03 m with 0.566 m, where a measured 1.512 m would leave 0.45 m. A group of equal limits (spread nought) is
/// lifted to the smallest spread by the caller.
fn from_others(inputs: &PriorInputs, policy: &PriorPolicy) -> Prior {
    if let Some(age) = inputs.age_y {
        let ratio = policy.stature_ratio(inputs.experience);
        let (stature, spread) = stature_at(inputs.sex, age);
        let variance = policy.stature_sd_m * policy.stature_sd_m + (ratio * spread) * (ratio * spread);
        return Prior {
            mean_m: ratio * stature,
            sd_m: libm::sqrt(variance),
            basis: Basis::of(&[Predictor::AgeAndSex]),
        };
    }
    match inputs.group {
        Some(group) => Prior {
            mean_m: group.mean_m,
            sd_m: group.sd_m.min(policy.unknown_sd_m),
            basis: Basis::of(&[Predictor::Group]),
        },
        None => Prior { mean_m: policy.unknown_mean_m, sd_m: policy.unknown_sd_m, basis: Basis::default() },
    }
}

/// The combination of two correlated predictors with the least variance; neither gets a negative weight, so a better
/// value of one never worsens the result.
///
/// Equal spreads give equal weights. The smaller spread of the two bounds the result; with a weight cut to nought or
/// one the result is the better predictor alone, under both names.
///
/// Denominator above nought: spreads are at least 0.2 m and the correlation at most 0.9.
fn combine(a: Prior, b: Prior, correlation: f64) -> Prior {
    let (var_a, var_b) = (a.sd_m * a.sd_m, b.sd_m * b.sd_m);
    let shared = correlation * a.sd_m * b.sd_m;
    let weight = ((var_b - shared) / (var_a + var_b - 2.0 * shared)).clamp(0.0, 1.0);
    let rest = 1.0 - weight;
    let variance = weight * weight * var_a + rest * rest * var_b + 2.0 * weight * rest * shared;
    Prior {
        mean_m: weight * a.mean_m + rest * b.mean_m,
        sd_m: libm::sqrt(variance).min(a.sd_m).min(b.sd_m),
        basis: a.basis.and(b.basis),
    }
}
