//! Lots drawn from a seed: the same on every machine.
//!
//! Two things are left to chance: which athlete of a heat runs in which lane ([`crate::race`]), and the futures
//! that a forecast walks through ([`crate::progress`]). Both name their seed, so anybody can repeat a draw, and
//! a forecast asked for twice says the same twice.
//!
//! # Mathematics
//! SplitMix64: the state is a counter that grows by the odd constant 0x9e3779b97f4a7c15 modulo 2^64, so it
//! takes every value once in 2^64 draws; what is drawn is the counter, mixed by shifts and multiplications
//! until each bit depends on all. It is fast and even, and nothing for secrets: who sees a number knows the
//! next.
//!
//! # Worked example
//! The seed 1234567 gives 6 457 827 717 110 365 317 first, and 3 203 168 211 198 807 973 second. Of ten
//! athletes the first number draws position 7, since it ends in 7: the share of numbers that are thrown away to
//! be fair is below 10 / 2^64.

/// Lots drawn from a seed; a copy draws the same from there on.
///
/// # Source
/// G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014
/// (SplitMix64).
#[derive(Clone, Debug)]
pub(crate) struct Lots(u64);

impl Lots {
    /// The lots of a seed, any number. Seeds that follow one another give unlike lots: the first number is
    /// mixed already.
    pub const fn of(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number, any of 64 bits, each as likely.
    const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to `bound` - 1, each as likely; `bound` at least 1.
    ///
    /// Numbers from the last stretch that `bound` does not fill are drawn again, or the small remainders would
    /// come more often. For bounds of the size of a squad that happens practically never; at the worst bound,
    /// just above 2^63, every other number is drawn again.
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

    /// Puts a list in an order drawn by lot, each as likely (R. A. Fisher, F. Yates; R. Durstenfeld, "Algorithm
    /// 235: Random permutation", Communications of the ACM 7, 1964). A list of none or one draws nothing.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for at in (1..list.len()).rev() {
            #[allow(clippy::cast_possible_truncation)] // below the length of a list
            let other = self.below(at as u64 + 1) as usize;
            list.swap(at, other);
        }
    }

    /// One of a list, each as likely; none of an empty list, which draws nothing.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> Option<T> {
        #[allow(clippy::cast_possible_truncation)] // below the length of a list
        (!list.is_empty()).then(|| list[self.below(list.len() as u64) as usize])
    }

    /// Evenly from 0 to below 1, in steps of 2^-53, each of which an `f64` holds exactly.
    #[allow(clippy::cast_precision_loss)] // 53 bits
    pub const fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// How many of `tries` succeed, each with a probability (0 to 1; what is outside counts as the end of the
    /// range): a binomial lot, by as many draws as tries.
    pub fn successes(&mut self, tries: u16, probability: f64) -> u16 {
        (0..tries).map(|_| u16::from(self.share() < probability)).sum()
    }

    /// Normal with mean 0 and standard deviation 1 (G. E. P. Box, M. E. Muller, 1958).
    ///
    /// Takes two draws and uses one of the two normal numbers they give. 1 less a share is above 0, so the
    /// logarithm is finite; the largest number that can come is 8.57, the square root of -2 ln 2^-53.
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
