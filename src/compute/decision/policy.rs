//! The numbers of the rules, those of all clubs and those that a club may change.
//!
//! A club changes the numbers of evidence, steps and steps back; lengths and tolerances of the grid but for the spacing step, the caution of
//! thin evidence, the six intervals of a current configuration and the sessions of a return are the same for all. What a club changes is
//! bounded twice. [`Policy::check`] says what cannot be computed with or contradicts another
//! number; [`Policy::check_safe`] says what would switch a safeguard off. The floor of P(hold) is bounded a third time, where it is used:
//! [`Policy::floor`] never falls below [`HOLD_FLOOR_LEAST`], whatever is stored.
//!
//! Some are ordered, so that no step leads to where the rules step back at once:
//!
//! ```text
//! step_in_hold_mean (0.50) <= min_hold_after_step (0.65), min_hold_mean (0.80)
//! min_hold_p05 (0.60)      <= min_hold_mean (0.80)
//! max_hit_share (0.10)     <= lower_height_hit_share (0.20)
//! ```
//!
//! Between the two of a pair the athlete consolidates: a mean of 0.65 to 0.80, or a tenth to a fifth of barriers hit, neither steps up nor
//! back. A gap keeps advice from swinging with every session.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{HOLD_FLOOR_LEAST, Policy};
//!
//! let bold = Policy { hold_floor: 0.20, min_hold_mean: 0.55, ..Policy::default() };
//! let broken: Vec<&str> = bold.check().iter().map(|fault| fault.field).collect();
//! assert_eq!(broken, ["min_hold_p05", "hold_floor"], "0.60 is above a mean of 0.55");
//! assert_eq!(bold.check_safe().iter().map(|fault| fault.field).collect::<Vec<_>>(), ["min_hold_mean"]);
//! assert_eq!(bold.floor(), HOLD_FLOOR_LEAST, "a lane of 0.20 is never given");
//! ```
//!
//! # Where it is asked
//! A club's settings are checked by both before they are stored, and by [`Policy::check`] when they are read; the spacing step comes from
//! the club's own field and replaces the default.
//!
//! # Source
//! See [`Policy`].

use super::situation::Rating;
use crate::units::Length;

/// The club's progression policy; [`Policy::default`] holds the numbers a club starts with.
///
/// Call [`Policy::check`] before use. Shares and probabilities run from 0 to 1.
///
/// # Source
/// Design choices, unless a field names a source. They follow "hold the athlete at a step until ready" (A. Behm,
/// "Coaching Philosophy for The Hurdles", clinic notes) and "return to the last step that worked" (S. McGill, "If They
/// Can't Do It, Don't Do It", The Hurdle Magazine).
#[derive(Clone, Debug, PartialEq)]
pub struct Policy {
    /// Intervals needed at the current configuration before a step up, with those elsewhere that count; 1 to 1000, safe from 6.
    pub min_intervals: u32,
    /// Distinct days needed at the current configuration before a step up, with those elsewhere that count; 1 to 60.
    pub min_days: u32,
    /// Mean probability of holding the rhythm needed before a step up, safe from 0.65. Below it a crowded athlete's lane may open.
    pub min_hold_mean: f64,
    /// 5 % quantile of that probability needed before a step up, at most the mean's, safe from 0.30: one chance in twenty that it is lower.
    pub min_hold_p05: f64,
    /// Largest share of barriers hit at which a step up is still open, safe to 0.25.
    pub max_hit_share: f64,
    /// Lowest technique rating at which barriers and steps up are open; above not yet.
    pub min_rating: Rating,
    /// Whether the arms, too, must reach `min_rating`. Off: arms are taught last (clinic notes, "sprint-based hurdling").
    pub arms_count: bool,
    /// Mean probability of holding the rhythm that must remain after a step up, safe from 0.60; where [`Policy::floor`] is higher, that counts.
    pub min_hold_after_step: f64,
    /// Mean probability of holding the rhythm below which the spacing comes in; where [`Policy::floor`] is higher, that counts.
    pub step_in_hold_mean: f64,
    /// Share of the latest session's intervals held below which the spacing comes in, and below which runs speak against a coach's word; safe
    /// from 0.30.
    pub step_in_held_share: f64,
    /// Intervals (or barriers, for hits) needed before a single session can cause a step back, or runs end a coach's word; 1 to 1000, safe to 24.
    pub step_back_intervals: u32,
    /// Share of barriers hit above which the height comes down, safe to 0.40.
    pub lower_height_hit_share: f64,
    /// Smallest change of spacing that the club sets out, 0.05 to 1.00 m: the grid of steps and of lane plans.
    pub spacing_step: Length,
    /// Shortest spacing ever proposed, 2.00 m or more; below the shortest published school lanes (4.57 m, J. Tansley, "10 P.E. Lessons
    /// Plans for Track & Field", 2001).
    pub min_spacing: Length,
    /// Longest spacing proposed without a target, at most 12.00 m: the longest of sprint hurdles (110 m, men).
    pub max_spacing: Length,
    /// Smallest change of spacing of a lane for one athlete, 0.01 m to the spacing step: the first lane, and the one that fits. A quarter of a
    /// metre is a fifth of the probability; a tape marks less.
    pub fit_step: Length,
    /// Probability of holding the rhythm that a first lane, and the one that fits, should have at least, safe from 0.65. Also what a spacing
    /// wider than advised needs over lower barriers.
    pub first_lane_hold: f64,
    /// Least mean probability of holding the rhythm in any lane, 0.60 to 0.95; a club may raise it.
    pub hold_floor: f64,
    /// Height of a wicket lane where the club owns no wickets, at most 0.50 m.
    pub wicket_height: Length,
    /// Heights this close are one setting, at most 0.02 m: inch heights are printed rounded to whole or half centimetres.
    pub height_tolerance: Length,
    /// Spacings this close are one spacing, less than half a step: what a tape and chalk can tell apart.
    pub spacing_tolerance: Length,
    /// Days after which a decision is computed anew, 1 to 90, safe to 28: the limit drifts though nothing is run.
    pub recompute_after_days: u16,
    /// Share of the variance of the estimate from the prior above which the evidence is called thin; a caution, and no more.
    pub thin_prior_share: f64,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            min_intervals: 12,
            min_days: 2,
            min_hold_mean: 0.80,
            min_hold_p05: 0.60,
            max_hit_share: 0.10,
            min_rating: Rating::Secure,
            arms_count: false,
            min_hold_after_step: 0.65,
            step_in_hold_mean: 0.50,
            step_in_held_share: 0.50,
            step_back_intervals: 8,
            lower_height_hit_share: 0.20,
            spacing_step: Length::from_mm(250),
            min_spacing: Length::from_mm(4_000),
            max_spacing: Length::from_mm(9_140),
            fit_step: Length::from_mm(100),
            first_lane_hold: 0.80,
            hold_floor: 0.65,
            wicket_height: Length::from_mm(300),
            height_tolerance: Length::from_mm(5),
            spacing_tolerance: Length::from_mm(20),
            recompute_after_days: 7,
            thin_prior_share: 0.50,
        }
    }
}

/// The hard minimum of [`Policy::hold_floor`]: below it an athlete breaks the rhythm in nearly every run of four intervals
/// (0.6^4 = 0.13; design choice).
pub const HOLD_FLOOR_LEAST: f64 = 0.60;

/// One field of a [`Policy`] that cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PolicyFault {
    /// The field's name in [`Policy`], under which the API tells of it.
    pub field: &'static str,
    /// What it must be, as the end of a sentence that begins with the field.
    pub must: &'static str,
}

/// A field, what it must be, and whether it is.
type FieldRule = (&'static str, &'static str, bool);

impl Policy {
    /// Lists every broken field: probabilities, then counts, then lengths; empty when the policy can be used.
    ///
    /// ```
    /// use lanewright_compute::decision::Policy;
    ///
    /// let policy = Policy { min_days: 0, ..Policy::default() };
    /// assert_eq!(policy.check()[0].field, "min_days");
    /// assert!(Policy::default().check().is_empty());
    /// ```
    pub fn check(&self) -> Vec<PolicyFault> {
        self.probability_rules()
            .into_iter()
            .chain(self.count_rules())
            .chain(self.length_rules())
            .filter(|(_, _, sound)| !sound)
            .map(|(field, must, _)| PolicyFault { field, must })
            .collect()
    }

    /// The least mean probability of holding in any lane, 0.60 to 0.95: never below [`HOLD_FLOOR_LEAST`], whatever was stored before that
    /// minimum was.
    pub fn floor(&self) -> f64 {
        self.hold_floor.max(HOLD_FLOOR_LEAST)
    }

    /// Lists every field that would switch a safeguard off, with the limit and why; empty when none would. The limits are
    /// design choices: below them a rule hardly ever speaks.
    pub fn check_safe(&self) -> Vec<PolicyFault> {
        let rules: [FieldRule; 11] = [
            ("min_intervals", "must be 6 or more: fewer runs tell nothing", self.min_intervals >= 6),
            ("min_hold_mean", "must be 0.65 or more: a step up needs a lane that is held", self.min_hold_mean >= 0.65),
            ("min_hold_p05", "must be 0.30 or more: a step up needs runs that show it", self.min_hold_p05 >= 0.30),
            ("max_hit_share", "must be 0.25 or less: who hits more is not ready", self.max_hit_share <= 0.25),
            ("min_hold_after_step", "must be 0.60 or more: the least in any lane", self.min_hold_after_step >= 0.60),
            (
                "step_in_hold_mean",
                "must be 0.30 or more: a broken rhythm ends in falls",
                self.step_in_hold_mean >= 0.30,
            ),
            (
                "step_in_held_share",
                "must be 0.30 or more: a broken rhythm ends in falls",
                self.step_in_held_share >= 0.30,
            ),
            (
                "step_back_intervals",
                "must be 24 or less: nobody runs more in a session that goes wrong",
                self.step_back_intervals <= 24,
            ),
            ("lower_height_hit_share", "must be 0.40 or less: hits end in falls", self.lower_height_hit_share <= 0.40),
            ("first_lane_hold", "must be 0.65 or more: a first lane is to be held", self.first_lane_hold >= 0.65),
            ("recompute_after_days", "must be 28 or less: advice grows old", self.recompute_after_days <= 28),
        ];
        rules.into_iter().filter(|(_, _, safe)| !safe).map(|(field, must, _)| PolicyFault { field, must }).collect()
    }

    /// Shares lie in 0 to 1, which also keeps out what is not a number, and keep their order.
    fn probability_rules(&self) -> [FieldRule; 10] {
        let share = |x: f64| (0.0..=1.0).contains(&x);
        let below = |x: f64, limit: f64| share(x) && x <= limit;
        let entry = self.min_hold_after_step.min(self.min_hold_mean);
        let mean = "must be 0 to 1 and not above min_hold_mean";
        let hits = "must be 0 to 1 and not above lower_height_hit_share";
        let step_in = "must be 0 to 1 and not above min_hold_after_step or min_hold_mean";
        let plain = |field, x| (field, "must be 0 to 1", share(x));
        [
            plain("min_hold_mean", self.min_hold_mean),
            ("min_hold_p05", mean, below(self.min_hold_p05, self.min_hold_mean)),
            ("max_hit_share", hits, below(self.max_hit_share, self.lower_height_hit_share)),
            plain("min_hold_after_step", self.min_hold_after_step),
            ("step_in_hold_mean", step_in, below(self.step_in_hold_mean, entry)),
            plain("step_in_held_share", self.step_in_held_share),
            plain("lower_height_hit_share", self.lower_height_hit_share),
            plain("first_lane_hold", self.first_lane_hold),
            ("hold_floor", "must be 0.60 to 0.95", (HOLD_FLOOR_LEAST..=0.95).contains(&self.hold_floor)),
            plain("thin_prior_share", self.thin_prior_share),
        ]
    }

    /// Counts and days are at least 1, so that no rule is met by nothing, and small enough that it can be met.
    fn count_rules(&self) -> [FieldRule; 5] {
        let runs = |field, n| (field, "must be 1 to 1000", (1..=1_000).contains(&n));
        let days = self.recompute_after_days;
        let rating = self.min_rating > Rating::NotYet;
        [
            runs("min_intervals", self.min_intervals),
            ("min_days", "must be 1 to 60", (1..=60).contains(&self.min_days)),
            ("min_rating", "must be above not yet", rating),
            runs("step_back_intervals", self.step_back_intervals),
            ("recompute_after_days", "must be 1 to 90", (1..=90).contains(&days)),
        ]
    }

    /// Lengths keep apart what must differ: a tolerance below half a step, a shortest spacing below the longest.
    fn length_rules(&self) -> [FieldRule; 7] {
        let step = self.spacing_step.mm();
        let fit = self.fit_step.mm() >= 10 && self.fit_step <= self.spacing_step;
        let shortest = self.min_spacing.mm() >= 2_000 && self.min_spacing < self.max_spacing;
        let wickets = self.wicket_height.mm() <= 500;
        let height = self.height_tolerance.mm() <= 20;
        let spacing = self.spacing_tolerance.mm() * 2 < step;
        [
            ("spacing_step", "must be 0.05 to 1.00 m", (50..=1_000).contains(&step)),
            ("fit_step", "must be 0.01 m or more and not above spacing_step", fit),
            ("min_spacing", "must be 2.00 m or more and below max_spacing", shortest),
            ("max_spacing", "must be 12.00 m or less", self.max_spacing.mm() <= 12_000),
            ("wicket_height", "must be 0.50 m or less", wickets),
            ("height_tolerance", "must be 0.02 m or less", height),
            ("spacing_tolerance", "must be less than half of spacing_step", spacing),
        ]
    }
}
