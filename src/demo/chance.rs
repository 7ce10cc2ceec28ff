//! Chance with a seed: the same numbers on every machine.

/// A generator of the splitmix64 family (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA
/// 2014; constants from memory).
pub(crate) struct Chance(u64);

impl Chance {
    /// A generator for a thing with a name: the same name gives the same numbers.
    pub(crate) fn named(name: &str) -> Self {
        // FNV-1a spreads the name over 64 bits.
        let spread = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        Self(name.bytes().fold(0xcbf2_9ce4_8422_2325, spread))
    }

    /// Evenly between -1 and 1: mean 0, variance 1/3.
    pub(crate) fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^= bits >> 31;
        (bits >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// About normal, mean 0, variance 1: the sum of twelve even ones.
    pub(crate) fn normal(&mut self) -> f64 {
        let sum: f64 = (0..12).map(|_| self.even()).sum();
        0.5 * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_those_of_the_distributions() {
        let mut chance = Chance::named("moments");
        let n = 100_000;
        let normal: Vec<f64> = (0..n).map(|_| chance.normal()).collect();
        let mean = normal.iter().sum::<f64>() / f64::from(n);
        let variance = normal.iter().map(|x| x * x).sum::<f64>() / f64::from(n);
        // Five standard errors: 5 / sqrt(n) and 5 sqrt(2 / n).
        assert!(mean.abs() < 0.016, "{mean}");
        assert!((variance - 1.0).abs() < 0.023, "{variance}");
    }
}
