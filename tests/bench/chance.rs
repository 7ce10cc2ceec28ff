//! Chance by seed: the same seed gives the same numbers on every machine.

/// A small pseudo-random generator, xoshiro256++ seeded by splitmix64 (Blackman and Vigna, 2018, from memory).
#[derive(Debug, Clone)]
pub struct Chance {
    state: [u64; 4],
    spare: Option<f64>,
}

/// One step of splitmix64; also a good way to make one seed from two.
pub fn splitmix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

impl Chance {
    /// A generator for this seed.
    pub fn new(seed: u64) -> Self {
        let mut state = seed;
        Self { state: std::array::from_fn(|_| splitmix(&mut state)), spare: None }
    }

    /// An independent generator for one purpose, so that adding noise leaves the tone as it was.
    pub fn split(seed: u64, purpose: u64) -> Self {
        let mut state =
            seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ purpose.wrapping_mul(0x9E6C_63D0_876A_68DE);
        Self::new(splitmix(&mut state))
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Even in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Even in `lo..hi`.
    pub fn between(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * self.unit()
    }

    /// Even in the logarithm, `lo..hi`, both above 0.
    pub fn log_between(&mut self, lo: f64, hi: f64) -> f64 {
        self.between(lo.ln(), hi.ln()).exp()
    }

    /// True with this probability.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// +1 or −1.
    pub fn sign(&mut self) -> f64 {
        if self.happens(0.5) { 1.0 } else { -1.0 }
    }

    /// Normal, mean 0, deviation 1 (polar method of Marsaglia).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (u, v) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let square = u * u + v * v;
            if 0.0 < square && square < 1.0 {
                let factor = (-2.0 * square.ln() / square).sqrt();
                self.spare = Some(v * factor);
                return u * factor;
            }
        }
    }
}
