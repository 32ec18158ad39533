//! A simulated season: athletes whose limit, height cost, width and trend are their own draws, and whose every run has
//! its own good or bad luck, so the truth is not the model.

#![allow(clippy::unwrap_used)] // helpers of tests

use lanewright::compute::estimate::{Posterior, RunCounts, Settings};
use lanewright::compute::prior::{Basis, Prior};
use lanewright::compute::units::Length;

const SEASON_DAYS: i32 = 84;
const ATHLETES: u64 = 24;
const RUNS: u32 = 4;
const INTERVALS: u16 = 4;
const HOLD_WANTED: f64 = 0.80;
/// How far the limit of a single run strays from the athlete's limit, metres: a design choice.
const LUCK_SD_M: f64 = 0.15;

/// A small fixed generator: Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014.
pub struct Dice(pub u64);

impl Dice {
    #[allow(clippy::cast_precision_loss)]
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }
}

pub struct Athlete {
    pub limit_m: f64,
    pub height_cost: f64,
    pub width_m: f64,
}

impl Athlete {
    pub fn drawn(dice: &mut Dice) -> Self {
        Self {
            limit_m: 6.5 + 0.7 * dice.normal(),
            height_cost: (1.0 + 0.4 * dice.normal()).clamp(0.2, 2.4),
            width_m: (0.2_f64.ln() + 0.35 * dice.normal()).exp(),
        }
    }

    /// Half a week passes.
    pub fn drift(&mut self, per_week_m: f64, dice: &mut Dice) {
        self.limit_m += per_week_m / 2.0 + 0.03 * dice.normal();
    }

    fn limit_over(&self, height: Length) -> f64 {
        self.limit_m - self.height_cost * (height.metres() - 0.30).max(0.0)
    }

    /// The probability of holding an interval on a day, over the luck of a run.
    pub fn hold(&self, height: Length, spacing: Length) -> f64 {
        let at = |luck: f64| chance(self.limit_over(height) + luck - spacing.metres(), self.width_m);
        // Three-point Gauss-Hermite.
        let far = 3.0_f64.sqrt() * LUCK_SD_M;
        at(0.0) * 2.0 / 3.0 + (at(far) + at(-far)) / 6.0
    }

    pub fn run(&self, day: i32, height: Length, spacing: Length, dice: &mut Dice) -> RunCounts {
        let limit = self.limit_over(height) + LUCK_SD_M * dice.normal();
        let mut run = RunCounts { day, height, spacing, held: 0, over_reached: 0, crowded: 0, broken: 0 };
        for _ in 0..INTERVALS {
            let share = dice.share();
            if share < chance(spacing.metres() - limit, self.width_m) {
                run.over_reached += 1;
            } else if share > 1.0 - chance(limit - 1.6 - spacing.metres(), self.width_m) {
                run.crowded += 1;
            } else {
                run.held += 1;
            }
        }
        run
    }
}

fn chance(beyond_m: f64, width_m: f64) -> f64 {
    1.0 / (1.0 + (-beyond_m / width_m).exp())
}

#[derive(Default)]
struct Tally {
    seen: f64,
    covered: f64,
    squares: f64,
    holds: Vec<f64>,
    staircase: Vec<f64>,
}

fn mean_and_sd(values: &[f64]) -> (f64, f64) {
    #[allow(clippy::cast_precision_loss)]
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (mean, (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n).sqrt())
}

/// The longest spacing on a grid of 0.25 m, at most 9.75 m, with the wanted probability.
fn recommended(hold: impl Fn(Length) -> f64) -> Length {
    let longest_first = (16..40).rev().map(|steps| Length::from_mm(steps * 250));
    let held = longest_first.into_iter().find(|&spacing| hold(spacing) >= HOLD_WANTED);
    held.unwrap_or(Length::from_mm(4_000))
}

fn season(seed: u64, drift_m: f64, settings: &Settings, tally: &mut Tally) {
    let mut dice = Dice(seed);
    let mut athlete = Athlete::drawn(&mut dice);
    let prior = Prior { mean_m: athlete.limit_m + 0.45 * dice.normal(), sd_m: 0.45, basis: Basis::default() };
    let mut posterior = Posterior::new(&prior, settings).unwrap();
    let mut stairs = recommended(|s| chance(prior.mean_m - s.metres(), 0.2));
    for (session, day) in (0..SEASON_DAYS).filter(|day| matches!(day % 7, 0 | 3)).enumerate() {
        let height = Length::from_mm([300, 300, 500, 600][session / 6]);
        posterior.advance(day).unwrap();
        let now = posterior.summary();
        let spacing = recommended(|s| {
            // Beyond the mean limit no interval is held with 0.8; saying so saves time.
            if s.metres() > now.limit_m.mean { 0.0 } else { now.hold(height, s).mean }
        });
        if session >= 2 {
            tally.holds.push(athlete.hold(height, spacing));
            tally.staircase.push(athlete.hold(height, stairs));
        }
        let mut runs = Vec::new();
        let (mut over_reached, mut all) = (0, 0);
        for _ in 0..RUNS {
            runs.push(athlete.run(day, height, spacing, &mut dice));
            let stair = athlete.run(day, height, stairs, &mut dice);
            (over_reached, all) = (over_reached + u32::from(stair.over_reached), all + stair.intervals());
        }
        // One step out after a session with at most a fifth over-reached, one step in otherwise.
        let step = if 5 * over_reached <= all { stairs.mm() + 250 } else { stairs.mm() - 250 };
        stairs = Length::from_mm(step);
        posterior.learn(&runs).unwrap();
        let after = posterior.summary().limit_m;
        tally.seen += 1.0;
        tally.covered += f64::from(u8::from((after.p05..=after.p95).contains(&athlete.limit_m)));
        tally.squares += (after.mean - athlete.limit_m).powi(2);
        athlete.drift(drift_m, &mut dice);
    }
}

#[test]
fn a_season_meets_the_bars_of_quality() {
    let settings = Settings::default();
    let (mut seen, mut covered, mut squares) = (0.0, 0.0, 0.0);
    let (mut holds, mut staircase, mut levels) = (Vec::new(), Vec::new(), Vec::new());
    for drift_cm in [0_u32, 2, 4, 6, 8] {
        let drift_m = f64::from(drift_cm) / 100.0;
        let mut tally = Tally::default();
        for athlete in 0..ATHLETES {
            season(1_000 * athlete + u64::from(drift_cm), drift_m, &settings, &mut tally);
        }
        let (coverage, error) = (tally.covered / tally.seen, (tally.squares / tally.seen).sqrt());
        println!("drift {drift_m:.2} m/week: coverage {coverage:.3}, error {error:.3} m");
        levels.push((drift_m, coverage));
        seen += tally.seen;
        covered += tally.covered;
        squares += tally.squares;
        holds.extend(tally.holds);
        staircase.extend(tally.staircase);
    }
    let (coverage, error) = (covered / seen, (squares / seen).sqrt());
    let (mean, sd) = mean_and_sd(&holds);
    let (stairs_mean, stairs_sd) = mean_and_sd(&staircase);
    println!("mix: coverage {coverage:.3}, error {error:.3} m");
    println!("true hold at the recommendation: mean {mean:.3}, sd {sd:.3}; staircase {stairs_mean:.3}, {stairs_sd:.3}");
    for (drift_m, coverage) in levels {
        assert!((0.85..=0.985).contains(&coverage), "drift {drift_m}: coverage {coverage}");
    }
    assert!((0.88..=0.97).contains(&coverage) && error <= 0.16);
    assert!((HOLD_WANTED..=HOLD_WANTED + 0.12).contains(&mean) && sd <= 0.08);
    assert!(stairs_sd > 1.5 * sd);
}
