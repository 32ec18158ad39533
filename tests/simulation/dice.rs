//! Chance that is the same on every machine.

/// A small generator with a seed.
///
/// # Source
/// G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// Dice of their own for every part of a simulation: equal parts give equal dice.
    pub fn of(parts: &[u64]) -> Self {
        let mut dice = Self(0);
        for &part in parts {
            dice = Self(dice.next() ^ part);
        }
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 to below 1.
    #[allow(clippy::cast_precision_loss)] // 53 bits
    pub fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Whether something of this probability happens.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.share() < probability
    }

    /// A whole number from 0 to below `sides`.
    pub fn pick(&mut self, sides: u32) -> u32 {
        // The bias of the remainder is below 1e-9.
        (self.next() >> 32) as u32 % sides
    }

    /// Normal with mean 0 and standard deviation 1 (G. E. P. Box, M. E. Muller, 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.share()));
        radius * libm::cos(std::f64::consts::TAU * self.share())
    }
}
