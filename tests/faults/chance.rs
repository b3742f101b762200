//! Chance from a seed, so that a run can be made again.

use heeltap::base::{Entropy, OsEntropy};

/// A sequence of random numbers: xorshift64 (Marsaglia, Xorshift RNGs, 2003).
pub(crate) struct Chance(u64);

/// The seed of this run: that of `HEELTAP_FAULTS_SEED`, or a new one; printed, so that it can be set.
pub(crate) fn seed() -> u64 {
    let mut bytes = [0; 4];
    OsEntropy.fill(&mut bytes).expect("random bytes");
    let seed = crate::setting("HEELTAP_FAULTS_SEED", u64::from(u32::from_le_bytes(bytes)));
    println!("seed: HEELTAP_FAULTS_SEED={seed}");
    seed
}

impl Chance {
    /// The sequence of a seed and a place: one for each client.
    pub(crate) fn new(seed: u64, place: u64) -> Self {
        let mut chance = Self((seed ^ place.wrapping_mul(0x9E37_79B9_7F4A_7C15)) | 1);
        for _ in 0..8 {
            chance.next();
        }
        chance
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// A number from 0 to below `most`.
    pub(crate) fn below(&mut self, most: u64) -> u64 {
        self.next() % most
    }
}
