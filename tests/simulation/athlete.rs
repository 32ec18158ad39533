//! An athlete whose truth is known: body, limit, what holds and what is recorded.

use lanewright_compute::estimate::RunCounts;
use lanewright_compute::prior::{Experience, Prior, PriorInputs, PriorPolicy, predict, stature_at};
use lanewright_compute::units::{Length, Sex};

use super::calendar::{Calendar, PATH_DAYS};
use super::dice::Dice;

/// Share of intervals recorded as another outcome.
const MISRECORDED: f64 = 0.03;
/// Share of the intervals recorded as not held whose cause is not recorded.
const NO_CAUSE: f64 = 0.08;
/// How far the limit of a single run strays, standard deviation, metres (m).
const RUN_LUCK_M: f64 = 0.15;
/// How far the limit of an ordinary day strays, standard deviation, metres (m).
const DAY_FORM_M: f64 = 0.08;
/// Share of bad days.
const BAD_DAYS: f64 = 0.06;
/// What a bad day costs, metres (m).
const BAD_DAY_M: f64 = 0.30;
/// Uneven growth of the limit, standard deviation per square root of a day, metres (m).
const UNEVEN_M: f64 = 0.015;
/// Share of the drift that goes on in a week without training: the body grows, the skill does not.
const GROWTH_SHARE: f64 = 0.25;

/// An athlete with a known truth.
#[derive(Clone, Debug)]
pub struct Athlete {
    pub sex: Sex,
    pub age_y: f64,
    pub stature_m: f64,
    /// How much the limit rises in a week with training, metres per week (m/week).
    pub drift_m: f64,
    /// What the club measured before the first day.
    pub measured: PriorInputs,
    /// When the athlete trains.
    pub calendar: Calendar,
    /// Limit over a wicket of 0.30 m on an ordinary day, metres (m), for every day from 0.
    limits_m: Vec<f64>,
    /// Metres of spacing per metre of height, over the first metres of height.
    height_cost: f64,
    /// Standard deviation of the normal curve by which an interval breaks, metres (m).
    sway_m: f64,
    /// How much shorter than the limit half of the intervals are crowded, metres (m).
    band_m: f64,
    seed: u64,
}

/// How an athlete is on a day, metres (m) of limit above or below an ordinary day.
#[derive(Clone, Copy, Debug)]
pub struct Form(f64);

/// The probabilities of an interval's outcomes.
#[derive(Clone, Copy, Debug)]
pub struct Truth {
    pub held: f64,
    pub over_reached: f64,
}

impl Athlete {
    /// Draws an athlete; the same seed and drift (m/week) give the same one.
    pub fn draw(seed: u64, drift_m: f64) -> Self {
        let mut dice = Dice::of(&[seed, 1]);
        let sex = if dice.chance(0.5) { Sex::Female } else { Sex::Male };
        let age_y = dice.between(9.5, 15.5);
        let (usual, spread) = stature_at(sex, age_y);
        let stature_m = usual + spread * dice.normal();
        let experience = if dice.chance(0.3) { Experience::Trained } else { Experience::Novice };
        let leg_m = stature_m * (0.48 + 0.012 * dice.normal());
        let sprint_50m_s = (9.3 - 0.34 * (age_y - 10.0) + 0.55 * dice.normal()).max(6.4);
        let nerve_m = 0.35 * dice.normal() + if experience == Experience::Trained { 0.15 } else { 0.0 };
        let limit_m = 0.6 * 4.65 * stature_m + 0.4 * 53.0 / sprint_50m_s + 0.2 + nerve_m;
        let measured = measure(sex, age_y, experience, stature_m, leg_m, sprint_50m_s, &mut dice);
        let height_cost = (1.0 + 0.35 * dice.normal()).clamp(0.2, 2.4);
        let sway_m = 0.34 * libm::exp(0.3 * dice.normal());
        let band_m = dice.between(1.3, 2.0);
        let calendar = Calendar::draw(&mut dice);
        let limits_m = path(limit_m.clamp(4.4, 9.0), drift_m, &calendar, &mut dice);
        Self { sex, age_y, stature_m, drift_m, measured, calendar, limits_m, height_cost, sway_m, band_m, seed }
    }

    /// What the service believes before the first run.
    pub fn prior(&self) -> Prior {
        predict(&self.measured, &PriorPolicy::default()).expect("possible measurements")
    }

    /// The limit over a wicket on an ordinary day (days from the first), metres (m).
    pub fn limit_m(&self, day: i32) -> f64 {
        self.limits_m[usize::try_from(day).expect("from the first day").min(self.limits_m.len() - 1)]
    }

    /// The limit over barriers of a height on an ordinary day, metres (m).
    pub fn limit_over(&self, day: i32, height: Length) -> f64 {
        let excess = (height.metres() - 0.30).max(0.0);
        self.limit_m(day) - self.height_cost * excess * (0.9 + 0.3 * excess)
    }

    /// How the athlete is on a day.
    pub fn form(&self, day: i32) -> Form {
        let mut dice = self.dice(day, 2);
        let bad = if dice.chance(BAD_DAYS) { -BAD_DAY_M } else { 0.0 };
        Form(bad + DAY_FORM_M * dice.normal())
    }

    /// The probabilities of an interval, over the luck of days and runs: what a recommendation can know at best.
    pub fn truth(&self, day: i32, height: Length, spacing: Length) -> Truth {
        let wide = libm::sqrt(self.sway_m * self.sway_m + RUN_LUCK_M * RUN_LUCK_M + DAY_FORM_M * DAY_FORM_M);
        let limit = self.limit_over(day, height);
        let (ordinary, bad) = (self.outcome(spacing, limit, wide), self.outcome(spacing, limit - BAD_DAY_M, wide));
        let mix = |a: f64, b: f64| (1.0 - BAD_DAYS) * a + BAD_DAYS * b;
        Truth { held: mix(ordinary.held, bad.held), over_reached: mix(ordinary.over_reached, bad.over_reached) }
    }

    /// The probability of holding an interval, over the luck of days and runs.
    pub fn hold(&self, day: i32, height: Length, spacing: Length) -> f64 {
        self.truth(day, height, spacing).held
    }

    /// The first day from `from` on which an interval is held with this probability, if there is one before the end.
    pub fn first_day(&self, from: i32, height: Length, spacing: Length, hold: f64) -> Option<i32> {
        (from..PATH_DAYS).find(|&day| self.hold(day, height, spacing) >= hold)
    }

    fn outcome(&self, spacing: Length, limit_m: f64, sway_m: f64) -> Truth {
        let over_reached = below((spacing.metres() - limit_m) / sway_m);
        let crowded = below((limit_m - self.band_m - spacing.metres()) / sway_m);
        Truth { held: (1.0 - over_reached - crowded).max(0.0), over_reached }
    }

    /// One run as it is recorded.
    pub fn run(&self, day: i32, height: Length, spacing: Length, intervals: u16, dice: &mut Dice) -> RunCounts {
        let limit = self.limit_over(day, height) + self.form(day).0 + RUN_LUCK_M * dice.normal();
        let truth = self.outcome(spacing, limit, self.sway_m);
        let mut run = RunCounts { day, height, spacing, held: 0, over_reached: 0, crowded: 0, broken: 0 };
        for _ in 0..intervals {
            let share = dice.share();
            let happened = if share < truth.held {
                0
            } else if share < truth.held + truth.over_reached {
                1
            } else {
                2
            };
            let recorded = if dice.chance(MISRECORDED) { (happened + 1 + dice.pick(2)) % 3 } else { happened };
            match recorded {
                0 => run.held += 1,
                _ if dice.chance(NO_CAUSE) => run.broken += 1,
                1 => run.over_reached += 1,
                _ => run.crowded += 1,
            }
        }
        run
    }

    /// Dice of the athlete's own for one purpose on one day.
    pub fn dice(&self, day: i32, purpose: u64) -> Dice {
        Dice::of(&[self.seed, purpose, u64::from(day.unsigned_abs())])
    }
}

/// The probability that an interval is recorded as held when it is held with this probability.
pub fn recorded_as_held(hold: f64) -> f64 {
    hold * (1.0 - MISRECORDED) + (1.0 - hold) * MISRECORDED / 2.0
}

/// The normal distribution function.
fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// What a club has on file: some of it, with the errors of tape and watch.
fn measure(
    sex: Sex,
    age_y: f64,
    experience: Experience,
    stature_m: f64,
    leg_m: f64,
    sprint_50m_s: f64,
    dice: &mut Dice,
) -> PriorInputs {
    let centimetres = |m: f64| libm::round(m * 100.0) / 100.0;
    let tenths = |s: f64| libm::round(s * 10.0) / 10.0;
    let mut measured = PriorInputs { age_y: Some(age_y), ..PriorInputs::unknown(sex, experience) };
    if dice.chance(0.85) {
        measured.stature_m = Some(centimetres(stature_m + 0.01 * dice.normal()));
        if dice.chance(0.3) {
            measured.leg_length_m = Some(centimetres(leg_m + 0.012 * dice.normal()));
        }
    }
    let watch = 0.12 * dice.normal();
    let ran_50m = dice.chance(0.4);
    if ran_50m {
        measured.sprint_50m_s = Some(tenths(sprint_50m_s + watch));
    } else if dice.chance(0.4) {
        // Full speed after 0.9 s lost at the start.
        measured.sprint_30m_s = Some(tenths(0.9 + 0.6 * (sprint_50m_s - 0.9) + watch));
    }
    measured
}

fn path(limit_m: f64, drift_m: f64, calendar: &Calendar, dice: &mut Dice) -> Vec<f64> {
    let mut limit = limit_m;
    (0..PATH_DAYS)
        .map(|day| {
            let today = limit;
            let share = if calendar.trains_in_week_of(day) { 1.0 } else { GROWTH_SHARE };
            limit += drift_m / 7.0 * share + UNEVEN_M * dice.normal();
            today
        })
        .collect()
}
