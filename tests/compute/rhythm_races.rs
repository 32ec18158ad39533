//! Simulated races for the tests of rhythm, from a seeded generator of their own.

use lanewright_compute::rhythm::{Course, Schedule, Series, Shape, Timing};

/// A small generator of normal deviates: the same seed gives the same numbers on every machine.
///
/// # Source
/// S. Vigna, SplitMix64, 2015; Box and Muller, 1958.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Evenly between 0 and 1, neither included.
    pub fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64 + f64::EPSILON / 4.0
    }

    /// Normal with mean 0.
    pub fn normal(&mut self, sd: f64) -> f64 {
        let (u, v) = (self.even(), self.even());
        sd * (-2.0 * u.ln()).sqrt() * (core::f64::consts::TAU * v).cos()
    }
}

/// How races of 13.65 s over 110 m spread: touchdown 1 (s), mean interval time (s), acceleration, fade, each interval (s). Written
/// here once more, so that a change of the model shows.
const RACE: [f64; 5] = [0.026, 0.002_5, 0.01, 0.015, 0.005];

/// A shape drawn around another.
pub fn drawn(around: Shape, times: f64, dice: &mut Dice) -> Shape {
    Shape {
        touchdown_1_s: around.touchdown_1_s + dice.normal(RACE[0] * times),
        unit_s: around.unit_s + dice.normal(RACE[1] * times),
        acceleration: around.acceleration + dice.normal(RACE[2] * times),
        fade: around.fade + dice.normal(RACE[3] * times),
    }
}

/// One race of a club over 110 m in a true final time, read with a clock; slower races spread more, in proportion to the
/// final time once for being longer and once for being of less able athletes.
pub fn race(course: &Course, final_time: f64, club: Shape, timing: Timing, dice: &mut Dice) -> Series {
    let schedule = Schedule::new(course, final_time, &drawn(club, final_time / 13.65, dice)).unwrap();
    let mark = timing.interval_sd_s() / 2.0_f64.sqrt();
    let start = dice.normal(mark);
    let mut later = 0.0;
    let touchdown_times_s = schedule.touchdown_times_s.iter().enumerate().map(|(at, time)| {
        later += if at == 0 { 0.0 } else { dice.normal(RACE[4] * (final_time / 13.65).powi(2)) };
        Some(time + later + dice.normal(mark) - start)
    });
    let touchdown_times_s = touchdown_times_s.collect();
    Series { touchdown_times_s, final_time_s: final_time + dice.normal(mark) - start, timing }
}
