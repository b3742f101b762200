//! Chance from a seed: the same seed gives the same demand on every machine.

use std::f64::consts::TAU;

/// A sequence of random numbers: splitmix64 (Steele, Lea and Flood, Fast splittable pseudorandom number generators, 2014;
/// constants from memory).
pub(crate) struct Chance(u64);

impl Chance {
    /// The sequence of a seed and a place: one for each replication.
    pub(crate) fn new(seed: u64, place: u64) -> Chance {
        let mut chance = Chance(seed);
        Chance(chance.next() ^ place.wrapping_mul(0xD134_2543_DE82_EF95))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number above 0 and below 1.
    pub(crate) fn unit(&mut self) -> f64 {
        ((self.next() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// A whole number from `least` to `most`, both included.
    pub(crate) fn between(&mut self, least: u64, most: u64) -> u64 {
        least + (self.unit() * (most - least + 1) as f64) as u64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (TAU * self.unit()).cos()
    }

    /// A Poisson number: how many arrivals of rate 1 come within `mean`.
    pub(crate) fn poisson(&mut self, mean: f64) -> u64 {
        let (mut count, mut waited) = (0, -self.unit().ln());
        while waited < mean {
            count += 1;
            waited -= self.unit().ln();
        }
        count
    }

    /// A gamma number of a mean and a standard deviation over it (Marsaglia and Tsang, A simple method for generating gamma
    /// variables, 2000, from memory).
    pub(crate) fn gamma(&mut self, mean: f64, variation: f64) -> f64 {
        let shape = (1.0 / (variation * variation)).max(1.0);
        let d = shape - 1.0 / 3.0;
        loop {
            let z = self.normal();
            let v = (1.0 + z / (9.0 * d).sqrt()).powi(3);
            if v > 0.0 && self.unit().ln() < 0.5 * z * z + d - d * v + d * v.ln() {
                return mean * d * v / shape;
            }
        }
    }
}
