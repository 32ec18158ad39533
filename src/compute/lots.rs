//! Lots drawn from a seed: the same on every machine.

/// Lots drawn from a seed.
///
/// # Source
/// G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014 (SplitMix64).
#[derive(Clone, Debug)]
pub(crate) struct Lots(u64);

impl Lots {
    /// The lots of a seed.
    pub const fn of(seed: u64) -> Self {
        Self(seed)
    }

    const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to `bound` - 1, each as likely.
    pub fn below(&mut self, bound: u64) -> u64 {
        loop {
            let x = self.next();
            let r = x % bound;
            // The last, incomplete stretch of numbers would favour the small ones.
            if x - r <= u64::MAX - (bound - 1) {
                return r;
            }
        }
    }

    /// Puts a list in an order drawn by lot, each as likely.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for at in (1..list.len()).rev() {
            #[allow(clippy::cast_possible_truncation)] // below the length of a list
            let other = self.below(at as u64 + 1) as usize;
            list.swap(at, other);
        }
    }

    /// One of a list, each as likely; none of an empty list.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> Option<T> {
        #[allow(clippy::cast_possible_truncation)] // below the length of a list
        (!list.is_empty()).then(|| list[self.below(list.len() as u64) as usize])
    }

    /// Evenly from 0 to below 1.
    #[allow(clippy::cast_precision_loss)] // 53 bits
    pub const fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// How many of `tries` succeed, each with a probability.
    pub fn successes(&mut self, tries: u16, probability: f64) -> u16 {
        (0..tries).map(|_| u16::from(self.share() < probability)).sum()
    }

    /// Normal with mean 0 and standard deviation 1 (G. E. P. Box, M. E. Muller, 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.share()));
        radius * libm::cos(std::f64::consts::TAU * self.share())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_gives_its_published_numbers() {
        // First outputs for the seed 1234567 as printed with many implementations of SplitMix64.
        let mut lots = Lots::of(1_234_567);
        assert_eq!(lots.next(), 6_457_827_717_110_365_317);
        assert_eq!(lots.next(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn a_normal_lot_has_mean_zero_and_variance_one() {
        let mut lots = Lots::of(7);
        let drawn: Vec<f64> = (0..20_000).map(|_| lots.normal()).collect();
        let mean = drawn.iter().sum::<f64>() / 20_000.0;
        let variance = drawn.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (variance - 1.0).abs() < 0.04, "{mean} {variance}");
    }
}
