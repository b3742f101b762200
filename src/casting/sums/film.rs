//! The draining film on a vertical wall and on a floor that stands vertically.
//!
//! Source: H. Jeffreys, "The draining of a vertical plate", Proc. Camb. Phil. Soc. 26 (1930) 204-205 (formula
//! from memory; it solves h_t + (rho g/mu) h^2 h_z = 0): h(z, t) = sqrt(mu z / (rho g t)), z down from the
//! film's upper edge, mean over a height H two thirds of its end value. Without a cap the film grows without
//! bound as t goes to 0, so that every cup sum uses the capped form h = min(h0, ...) of a film that starts
//! even at h0. Invariant: longer draining never leaves more. Absent: surface tension, slip, gelling, tilt.

use statrs::function::beta::{beta, beta_reg};

use super::bounds::{OutOfRange, non_negative, positive};

/// Standard acceleration of gravity (exact by convention), in m/s2.
pub const STANDARD_GRAVITY_M_PER_S2: f64 = 9.806_65;

/// A liquid draining for some time; SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draining {
    viscosity_pa_s: f64,
    density_kg_per_m3: f64,
    drain_time_s: f64,
}

impl Draining {
    /// A Newtonian liquid of `viscosity_pa_s` and `density_kg_per_m3` that drained for `drain_time_s`
    /// (0 means not at all: the uncapped film is then without bound).
    ///
    /// # Errors
    /// [`OutOfRange`] for a viscosity or density of 0 or less, or a negative time.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// assert!(Draining::new(3.5, 1030.0, 60.0).is_ok());
    /// assert_eq!(Draining::new(0.0, 1030.0, 60.0).unwrap_err().parameter, "viscosity_pa_s");
    /// ```
    pub fn new(
        viscosity_pa_s: f64,
        density_kg_per_m3: f64,
        drain_time_s: f64,
    ) -> Result<Self, OutOfRange> {
        Ok(Self {
            viscosity_pa_s: positive("viscosity_pa_s", viscosity_pa_s)?,
            density_kg_per_m3: positive("density_kg_per_m3", density_kg_per_m3)?,
            drain_time_s: non_negative("drain_time_s", drain_time_s)?,
        })
    }

    /// mu / (rho g t), in metres: the film's square over its depth.
    fn scale_m(&self) -> f64 {
        self.viscosity_pa_s
            / (self.density_kg_per_m3 * STANDARD_GRAVITY_M_PER_S2 * self.drain_time_s)
    }

    /// Film at `depth_m` below its upper edge, in metres.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(1.0, 1030.0, 30.0).unwrap();
    /// assert!((film.thickness_m(0.01) / 1.816_604_654_068_748e-4 - 1.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn thickness_m(&self, depth_m: f64) -> f64 {
        if depth_m <= 0.0 {
            return 0.0;
        }
        (self.scale_m() * depth_m).sqrt()
    }

    /// Mean film over the top `height_m`, in metres: 2/3 of the film at its lower end.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(1.0, 1030.0, 30.0).unwrap();
    /// assert!((film.mean_m(0.01) / film.thickness_m(0.01) - 2.0 / 3.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn mean_m(&self, height_m: f64) -> f64 {
        2.0 / 3.0 * self.thickness_m(height_m)
    }

    /// Depth down to which a film that started even at `initial_film_m` has thinned: rho g h0^2 t / mu.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(3.5, 1030.0, 1.0).unwrap();
    /// assert!((film.front_depth_m(0.002) - 0.011_543_828).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn front_depth_m(&self, initial_film_m: f64) -> f64 {
        if initial_film_m <= 0.0 {
            return 0.0;
        }
        initial_film_m * initial_film_m / self.scale_m()
    }

    /// Film at `depth_m` that started even at `initial_film_m`, in metres.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(3.5, 1030.0, 1.0).unwrap();
    /// assert_eq!(film.capped_thickness_m(0.05, 0.002), 0.002);
    /// ```
    #[must_use]
    pub fn capped_thickness_m(&self, depth_m: f64, initial_film_m: f64) -> f64 {
        self.thickness_m(depth_m).min(initial_film_m.max(0.0))
    }

    /// Mean over the top `height_m` of a film that started even at `initial_film_m`, in metres.
    ///
    /// Above the front the Jeffreys mean, below it the initial film: h0 (1 - z*/(3 H)) while the front z* is on the wall.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(3.5, 1030.0, 1.0).unwrap();
    /// assert!((film.capped_mean_m(0.05, 0.002) - 0.001_846_082_293_333_333).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn capped_mean_m(&self, height_m: f64, initial_film_m: f64) -> f64 {
        let front_m = self.front_depth_m(initial_film_m);
        if height_m <= 0.0 || initial_film_m <= 0.0 {
            0.0
        } else if front_m >= height_m {
            self.mean_m(height_m)
        } else {
            initial_film_m * (1.0 - front_m / (3.0 * height_m))
        }
    }

    /// Film on a round wall whose axis is vertical, thin against its radius, in cubic metres: 2 pi R (2/3) H h(H).
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(3.5, 1030.0, 120.0).unwrap();
    /// assert!((film.wall_thin_m3(0.03, 0.06) / 3.138_348_645_673_836e-6 - 1.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn wall_thin_m3(&self, radius_m: f64, height_m: f64) -> f64 {
        std::f64::consts::TAU * radius_m * height_m * self.mean_m(height_m)
    }

    /// The same with the curvature of the wall: less pi mu H^2 / (2 rho g t).
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(3.5, 1030.0, 120.0).unwrap();
    /// assert!((film.wall_annulus_m3(0.03, 0.06) / 3.122_019_958_238_848e-6 - 1.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn wall_annulus_m3(&self, radius_m: f64, height_m: f64) -> f64 {
        self.wall_thin_m3(radius_m, height_m)
            - std::f64::consts::FRAC_PI_2 * self.scale_m() * height_m * height_m
    }

    /// Film on a floor that stands as a vertical disc, in cubic metres.
    ///
    /// Each vertical chord drains from its own top: sqrt(mu/(rho g t)) (2/3) 2^1.5 R^2.5 B(1/2, 7/4). Own
    /// integration of the Jeffreys film, not a published result.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(1.0, 1030.0, 60.0).unwrap();
    /// assert!((film.floor_disc_m3(0.02) / 1.969_985_578_015_594_4e-7 - 1.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn floor_disc_m3(&self, radius_m: f64) -> f64 {
        self.scale_m().sqrt() * 2.0 / 3.0 * 2.0_f64.powf(1.5) * radius_m.powf(2.5) * beta(0.5, 1.75)
    }

    /// Film on a vertical disc that started even at `initial_film_m`, in cubic metres.
    ///
    /// Chords longer than the front's depth still hold the initial film below it; the shorter ones are a
    /// tail of the integral of [`Draining::floor_disc_m3`] (incomplete beta function).
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(1.0, 1030.0, 60.0).unwrap();
    /// assert!((film.capped_floor_disc_m3(0.02, 0.01) / film.floor_disc_m3(0.02) - 1.0).abs() < 1e-9);
    /// let not_drained = Draining::new(1.0, 1030.0, 0.0).unwrap();
    /// let even = std::f64::consts::PI * 0.02 * 0.02 * 0.001;
    /// assert!((not_drained.capped_floor_disc_m3(0.02, 0.001) / even - 1.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn capped_floor_disc_m3(&self, radius_m: f64, initial_film_m: f64) -> f64 {
        let front_m = self.front_depth_m(initial_film_m);
        if radius_m <= 0.0 || initial_film_m <= 0.0 {
            return 0.0;
        }
        if front_m >= 2.0 * radius_m {
            return self.floor_disc_m3(radius_m);
        }
        let half_chord_m = front_m / 2.0;
        let offset_m = (radius_m * radius_m - half_chord_m * half_chord_m)
            .max(0.0)
            .sqrt();
        let chords_m2 = 2.0
            * (offset_m * half_chord_m
                + radius_m * radius_m * (offset_m / radius_m).min(1.0).asin());
        let long_m3 = initial_film_m * (chords_m2 - 2.0 * offset_m * front_m / 3.0);
        if front_m <= 0.0 {
            return long_m3;
        }
        // The complement of the regularised function, taken directly so that no digits cancel.
        let outside = (half_chord_m / radius_m).powi(2).min(1.0);
        let short_m3 = self.floor_disc_m3(radius_m) * beta_reg(1.75, 0.5, outside);
        long_m3 + short_m3
    }

    /// Film on a vertical plate `height_m` high and `width_m` wide that started even at `initial_film_m`, in cubic metres.
    ///
    /// ```
    /// use heeltap::casting::sums::film::Draining;
    /// let film = Draining::new(1.0, 1030.0, 60.0).unwrap();
    /// assert_eq!(film.capped_plate_m3(0.05, 0.03, 0.001), 0.05 * 0.03 * film.capped_mean_m(0.05, 0.001));
    /// ```
    #[must_use]
    pub fn capped_plate_m3(&self, height_m: f64, width_m: f64, initial_film_m: f64) -> f64 {
        height_m * width_m * self.capped_mean_m(height_m, initial_film_m)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The capped disc by plain summation over chords, against which the closed form is checked.
    fn disc_by_summation_m3(film: &Draining, radius_m: f64, initial_film_m: f64) -> f64 {
        let steps = 20_000;
        let step = std::f64::consts::PI / f64::from(steps);
        (0..steps)
            .map(|i| {
                let angle = -std::f64::consts::FRAC_PI_2 + (f64::from(i) + 0.5) * step;
                let chord_m = 2.0 * radius_m * angle.cos();
                let mean_m = film.capped_mean_m(chord_m, initial_film_m);
                chord_m * mean_m * radius_m * angle.cos() * step
            })
            .sum()
    }

    #[track_caller]
    fn check(input: (f64, f64, f64), expected_rel: f64) {
        let (drain_time_s, radius_m, initial_film_m) = input;
        let film = Draining::new(3.5, 1030.0, drain_time_s).unwrap();
        let closed = film.capped_floor_disc_m3(radius_m, initial_film_m);
        let summed = disc_by_summation_m3(&film, radius_m, initial_film_m);
        assert!(
            (closed / summed - 1.0).abs() < expected_rel,
            "{closed} {summed}"
        );
    }

    #[test]
    fn capped_disc_agrees_with_summation_over_chords() {
        check((1.0, 0.03, 0.002), 1e-6);
        check((0.1, 0.03, 0.002), 1e-6);
        check((4.0, 0.03, 0.002), 1e-6);
        check((600.0, 0.03, 0.002), 1e-6);
        check((1e-6, 0.03, 0.002), 1e-6);
    }

    #[test]
    fn without_draining_the_film_is_the_initial_one() {
        let film = Draining::new(3.5, 1030.0, 0.0).unwrap();
        assert_eq!(film.capped_mean_m(0.05, 0.002), 0.002);
        assert_eq!(film.capped_thickness_m(0.05, 0.002), 0.002);
        assert_eq!(film.front_depth_m(0.002), 0.0);
    }

    proptest! {
        #[test]
        fn longer_draining_never_leaves_more(
            viscosity in 0.1..50.0f64, time in 0.0..600.0f64, longer in 0.0..600.0f64,
            height in 0.001..0.2f64, initial in 1e-5..0.01f64,
        ) {
            let short = Draining::new(viscosity, 1030.0, time).unwrap();
            let long = Draining::new(viscosity, 1030.0, time + longer).unwrap();
            let slack = 1.0 + 1e-12;
            prop_assert!(long.capped_mean_m(height, initial) <= short.capped_mean_m(height, initial) * slack);
            prop_assert!(
                long.capped_floor_disc_m3(height, initial) <= short.capped_floor_disc_m3(height, initial) * (1.0 + 1e-9)
            );
        }
    }
}
