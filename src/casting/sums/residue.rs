//! What stays in the mixing cup, and the mass to mix so that enough leaves it.
//!
//! The cup drains with its axis vertical: a Jeffreys film on the wall from the wetted height down, and one on
//! the floor as a vertical disc (round cup) or plate with its longer side vertical (rectangular cup, the
//! greater of the two estimates). Both start as the whole mix spread evenly over the wetted surface, so that
//! the film is never more than the mix and drained for no time at all it is the mix. These are reference
//! scales: tilt, the track over the lip, foam and gelling are left to the learned factor.
//!
//! Invariants: poured + residue + stirrer loss = mixed; longer draining never leaves more; at a fixed wetted
//! height a wider cup never leaves less. Absent: money per gram, which the caller knows.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, at_least_one, non_negative, positive};
use super::film::Draining;
use super::learned::{FactorPosterior, Noise, Prediction};
use super::vessel::{MM3_PER_ML, Vessel, VesselError, VesselShape};

/// Change of the mixed mass between two steps, relative to it, at which mass and residue agree.
pub const MIX_TOLERANCE: f64 = 1e-12;

/// Direct steps tried before bisection takes over.
const DIRECT_STEPS: u32 = 100;

/// A cup, the elastomer in it and how long it is left to drain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CupDraining {
    /// The cup, from inside.
    pub cup: Vessel,
    /// Density of the mix.
    pub density_g_per_ml: f64,
    /// Viscosity of the fresh mix.
    pub viscosity_pa_s: f64,
    /// Time the cup drains.
    pub drain_time_s: f64,
    /// What stirrer and lid carry away.
    pub stirrer_loss_g: f64,
}

/// The film physics leaves in a cup.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CupFilm {
    /// Height to which the mix stood.
    pub wetted_height_mm: f64,
    /// The mix spread evenly over wall and floor: where the film starts.
    pub initial_film_mm: f64,
    /// Film on the wall.
    pub wall_g: f64,
    /// Film on the floor.
    pub floor_g: f64,
    /// Both, never more than the mix.
    pub film_g: f64,
}

/// The mass to mix in one cup so that what is needed leaves it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MixSolution {
    /// What leaves the cup.
    pub needed_g: f64,
    /// What is mixed: needed + residue + stirrer loss.
    pub mixed_g: f64,
    /// Factor x film.
    pub residue_g: f64,
    /// What stirrer and lid carry away.
    pub stirrer_loss_g: f64,
    /// The film physics leaves, before the factor.
    pub film_g: f64,
    /// Height to which the mix stands.
    pub wetted_height_mm: f64,
    /// Steps until mass and residue agreed.
    pub iterations: u32,
    /// What is left of their disagreement, in grams.
    pub residual_g: f64,
}

/// Why a residue cannot be computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ResidueError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The cup cannot hold the mix.
    #[error(transparent)]
    Vessel(#[from] VesselError),
    /// What is needed and what stays behind are more than the cup holds.
    #[error(
        "needed_g is {needed_g:.3}, but with what stays in it the cup, which holds {capacity_g:.3} g to the rim, cannot give that much"
    )]
    CupTooSmall {
        /// What should leave the cup.
        needed_g: f64,
        /// What the cup holds to the rim.
        capacity_g: f64,
    },
}

impl CupDraining {
    fn liquid(&self) -> Result<Draining, OutOfRange> {
        positive("density_g_per_ml", self.density_g_per_ml)?;
        Draining::new(
            self.viscosity_pa_s,
            self.density_g_per_ml * 1000.0,
            self.drain_time_s,
        )
    }

    /// The film that a mix of `mixed_g` leaves in the cup.
    ///
    /// # Errors
    /// [`ResidueError::Vessel`] when the cup does not hold the mix, [`ResidueError::OutOfRange`].
    ///
    /// ```
    /// use heeltap::casting::sums::residue::CupDraining;
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let cup = Vessel { shape: VesselShape::Round { diameter_mm: 60.0 }, depth_mm: 90.0, draft_deg: 0.0 };
    /// let draining = CupDraining { cup, density_g_per_ml: 1.03, viscosity_pa_s: 3.5, drain_time_s: 60.0, stirrer_loss_g: 0.0 };
    /// let film = draining.film_of_mix(60.0).unwrap();
    /// assert!(film.film_g > 1.0 && film.film_g < 5.0);
    /// let at_once = CupDraining { drain_time_s: 0.0, ..draining };
    /// assert!((at_once.film_of_mix(60.0).unwrap().film_g - 60.0).abs() < 1e-9);
    /// ```
    pub fn film_of_mix(&self, mixed_g: f64) -> Result<CupFilm, ResidueError> {
        positive("mixed_g", mixed_g)?;
        let liquid = self.liquid()?;
        let volume_mm3 = mixed_g / self.density_g_per_ml * MM3_PER_ML;
        let wetted_height_mm = self.cup.level_for_volume_mm(volume_mm3)?;
        let film = self.film(&liquid, wetted_height_mm, volume_mm3);
        Ok(CupFilm {
            film_g: film.film_g.min(mixed_g),
            ..film
        })
    }

    /// The film left below a wetted height of `wetted_height_mm`.
    ///
    /// # Errors
    /// [`ResidueError::Vessel`] for a height above the rim, [`ResidueError::OutOfRange`].
    ///
    /// ```
    /// use heeltap::casting::sums::residue::CupDraining;
    /// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
    /// let cup = Vessel { shape: VesselShape::Round { diameter_mm: 60.0 }, depth_mm: 90.0, draft_deg: 0.0 };
    /// let draining = CupDraining { cup, density_g_per_ml: 1.03, viscosity_pa_s: 3.5, drain_time_s: 120.0, stirrer_loss_g: 0.0 };
    /// assert!((draining.film_at_height(60.0).unwrap().wall_g - 3.232_499_105).abs() < 1e-6);
    /// ```
    pub fn film_at_height(&self, wetted_height_mm: f64) -> Result<CupFilm, ResidueError> {
        positive("wetted_height_mm", wetted_height_mm)?;
        let liquid = self.liquid()?;
        let volume_mm3 = self.cup.volume_to_level_mm3(wetted_height_mm)?;
        Ok(self.film(&liquid, wetted_height_mm, volume_mm3))
    }

    fn film(&self, liquid: &Draining, height_mm: f64, volume_mm3: f64) -> CupFilm {
        let (height_m, volume_m3) = (height_mm / 1e3, volume_mm3 / 1e9);
        let wall_m2 = self.cup.perimeter_at_level_mm(height_mm / 2.0) / 1e3 * height_m;
        let floor_m2 = self.cup.area_at_level_mm2(0.0) / 1e6;
        let initial_film_m = volume_m3 / (wall_m2 + floor_m2);
        let wall_m3 = wall_m2 * liquid.capped_mean_m(height_m, initial_film_m);
        let floor_m3 = match self.cup.shape {
            VesselShape::Round { diameter_mm } => {
                liquid.capped_floor_disc_m3(diameter_mm / 2e3, initial_film_m)
            }
            VesselShape::Rectangular {
                length_mm,
                width_mm,
                ..
            } => floor_m2 * liquid.capped_mean_m(length_mm.max(width_mm) / 1e3, initial_film_m),
        };
        let g_per_m3 = self.density_g_per_ml * 1e6;
        let (wall_g, floor_g) = (wall_m3 * g_per_m3, floor_m3 * g_per_m3);
        CupFilm {
            wetted_height_mm: height_mm,
            initial_film_mm: initial_film_m * 1e3,
            wall_g,
            floor_g,
            film_g: wall_g + floor_g,
        }
    }

    /// Mass the cup holds to the rim, in grams.
    fn capacity_g(&self) -> Result<f64, OutOfRange> {
        Ok(self.cup.capacity_ml()? * self.density_g_per_ml)
    }
}

/// Solves mixed = needed + factor x film(mixed) + stirrer loss for one cup.
///
/// The film grows with the mix, so that direct steps from needed + loss climb to the smallest solution; they
/// stop when the mass changes by less than [`MIX_TOLERANCE`] of itself (typically in about ten steps), and after
/// 100 steps bisection up to the rim takes over. The disagreement left is reported as `residual_g`.
///
/// # Errors
/// [`ResidueError::CupTooSmall`] when no mix up to the rim gives what is needed, [`ResidueError::OutOfRange`].
///
/// ```
/// use heeltap::casting::sums::residue::{CupDraining, solve_mix};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let cup = Vessel { shape: VesselShape::Round { diameter_mm: 60.0 }, depth_mm: 90.0, draft_deg: 0.0 };
/// let draining = CupDraining { cup, density_g_per_ml: 1.03, viscosity_pa_s: 3.5, drain_time_s: 60.0, stirrer_loss_g: 0.4 };
/// let mix = solve_mix(60.0, &draining, 1.0).unwrap();
/// assert!((mix.needed_g + mix.residue_g + mix.stirrer_loss_g - mix.mixed_g).abs() < 1e-12);
/// assert!(mix.residual_g.abs() < 1e-9);
/// ```
pub fn solve_mix(
    needed_g: f64,
    draining: &CupDraining,
    factor: f64,
) -> Result<MixSolution, ResidueError> {
    positive("needed_g", needed_g)?;
    non_negative("factor", factor)?;
    let stirrer_loss_g = non_negative("stirrer_loss_g", draining.stirrer_loss_g)?;
    draining.liquid()?;
    let capacity_g = draining.capacity_g()?;
    let too_small = ResidueError::CupTooSmall {
        needed_g,
        capacity_g,
    };
    let least_g = needed_g + stirrer_loss_g;
    let step = |mixed_g: f64| -> Result<f64, ResidueError> {
        Ok(least_g + factor * draining.film_of_mix(mixed_g)?.film_g)
    };
    let mut mixed_g = least_g;
    let mut iterations = 0;
    loop {
        if mixed_g > capacity_g {
            return Err(too_small);
        }
        let next_g = step(mixed_g)?;
        iterations += 1;
        let settled = (next_g - mixed_g).abs() <= MIX_TOLERANCE * next_g;
        mixed_g = next_g;
        if settled {
            break;
        }
        if iterations >= DIRECT_STEPS {
            if mixed_g > capacity_g || step(capacity_g)? > capacity_g {
                return Err(too_small);
            }
            let (bisected_g, more) = bisect(mixed_g, capacity_g, step)?;
            mixed_g = bisected_g;
            iterations += more;
            break;
        }
    }
    let film = draining.film_of_mix(mixed_g.min(capacity_g))?;
    let residue_g = factor * film.film_g;
    Ok(MixSolution {
        needed_g,
        mixed_g: least_g + residue_g,
        residue_g,
        stirrer_loss_g,
        film_g: film.film_g,
        wetted_height_mm: film.wetted_height_mm,
        iterations,
        residual_g: least_g + residue_g - mixed_g,
    })
}

/// Bisects for mixed = step(mixed) between a mass too small and one large enough.
fn bisect(
    mut low_g: f64,
    mut high_g: f64,
    step: impl Fn(f64) -> Result<f64, ResidueError>,
) -> Result<(f64, u32), ResidueError> {
    let mut iterations = 0;
    while high_g - low_g > MIX_TOLERANCE * high_g && iterations < 200 {
        let middle_g = f64::midpoint(low_g, high_g);
        if step(middle_g)? > middle_g {
            low_g = middle_g;
        } else {
            high_g = middle_g;
        }
        iterations += 1;
    }
    Ok((high_g, iterations))
}

/// What a whole cast is planned to leave in its cups, and the mass of each cup.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedResidue {
    /// Expected and planned residue of all cups, without the stirrer's loss.
    pub prediction: Prediction,
    /// Mean of the factor.
    pub factor_mean: f64,
    /// Standard deviation of the factor.
    pub factor_sd: f64,
    /// Weighings the factor rests on; none means the film alone.
    pub observations: u32,
    /// The cups, in the order of what is needed; their residues add up to the planned one.
    pub cups: Vec<MixSolution>,
}

/// Plans the residue of a cast: for what each cup must give, the quantile of the sum shared over the cups.
///
/// The factor that carries the quantile depends on how the films of the cups compare and these on the
/// factor; a few rounds settle both.
///
/// # Errors
/// As [`solve_mix`], and [`ResidueError::OutOfRange`] for a quantile outside 0 to 1.
///
/// ```
/// use heeltap::casting::sums::learned::{FactorPosterior, Noise};
/// use heeltap::casting::sums::residue::{CupDraining, plan_residue};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let cup = Vessel { shape: VesselShape::Round { diameter_mm: 60.0 }, depth_mm: 90.0, draft_deg: 0.0 };
/// let draining = CupDraining { cup, density_g_per_ml: 1.03, viscosity_pa_s: 3.5, drain_time_s: 60.0, stirrer_loss_g: 0.0 };
/// let plan = plan_residue(&[60.0, 40.0], &draining, &FactorPosterior::prior(), 0.9, &Noise::default()).unwrap();
/// let residues_g: f64 = plan.cups.iter().map(|cup| cup.residue_g).sum();
/// assert!((residues_g - plan.prediction.planned_g).abs() < 1e-6);
/// ```
pub fn plan_residue(
    needed_g: &[f64],
    draining: &CupDraining,
    posterior: &FactorPosterior,
    quantile: f64,
    noise: &Noise,
) -> Result<PlannedResidue, ResidueError> {
    let mut factor = posterior.mean.max(0.0);
    let mut rounds = 0;
    loop {
        let cups = needed_g
            .iter()
            .map(|&needed_g| solve_mix(needed_g, draining, factor))
            .collect::<Result<Vec<_>, _>>()?;
        let films_g: Vec<f64> = cups.iter().map(|cup| cup.film_g).collect();
        let prediction = posterior.predict(&films_g, quantile, noise)?;
        rounds += 1;
        let settled = (prediction.effective_factor - factor).abs() <= 1e-10;
        if settled || rounds >= 50 || cups.is_empty() {
            return Ok(PlannedResidue {
                prediction,
                factor_mean: posterior.mean,
                factor_sd: posterior.sd,
                observations: posterior.observations,
                cups,
            });
        }
        factor = prediction.effective_factor;
    }
}

/// One line of the drain-time trade-off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DrainRow {
    /// How long the cup drains.
    pub drain_time_s: f64,
    /// What stays in it.
    pub residue_g: f64,
    /// What this minute saved against the line before.
    pub saved_g: f64,
    /// What all minutes saved against the first line.
    pub saved_in_all_g: f64,
}

/// The residue of one cup for the drain time of `draining` and `minutes` more, minute by minute.
///
/// Each line solves mass and residue together, since a cup that leaves less also needs less mixed.
///
/// # Errors
/// As [`solve_mix`]; [`ResidueError::OutOfRange`] for no minutes.
///
/// ```
/// use heeltap::casting::sums::residue::{CupDraining, drain_trade_off};
/// use heeltap::casting::sums::vessel::{Vessel, VesselShape};
/// let cup = Vessel { shape: VesselShape::Round { diameter_mm: 60.0 }, depth_mm: 90.0, draft_deg: 0.0 };
/// let draining = CupDraining { cup, density_g_per_ml: 1.03, viscosity_pa_s: 3.5, drain_time_s: 60.0, stirrer_loss_g: 0.0 };
/// let rows = drain_trade_off(60.0, &draining, 1.0, 4).unwrap();
/// assert_eq!(rows.len(), 5);
/// assert!(rows[1].saved_g > rows[2].saved_g && rows[2].saved_g > 0.0);
/// ```
pub fn drain_trade_off(
    needed_g: f64,
    draining: &CupDraining,
    factor: f64,
    minutes: u32,
) -> Result<Vec<DrainRow>, ResidueError> {
    at_least_one("minutes", minutes)?;
    let mut rows: Vec<DrainRow> = Vec::new();
    for minute in 0..=minutes {
        let drain_time_s = draining.drain_time_s + 60.0 * f64::from(minute);
        let longer = CupDraining {
            drain_time_s,
            ..*draining
        };
        let residue_g = solve_mix(needed_g, &longer, factor)?.residue_g;
        let first_g = rows.first().map_or(residue_g, |row| row.residue_g);
        let before_g = rows.last().map_or(residue_g, |row| row.residue_g);
        rows.push(DrainRow {
            drain_time_s,
            residue_g,
            saved_g: before_g - residue_g,
            saved_in_all_g: first_g - residue_g,
        });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn round(diameter_mm: f64, drain_time_s: f64) -> CupDraining {
        CupDraining {
            cup: Vessel {
                shape: VesselShape::Round { diameter_mm },
                depth_mm: 90.0,
                draft_deg: 2.0,
            },
            density_g_per_ml: 1.03,
            viscosity_pa_s: 3.5,
            drain_time_s,
            stirrer_loss_g: 0.3,
        }
    }

    fn rectangular(length_mm: f64, drain_time_s: f64) -> CupDraining {
        let shape = VesselShape::Rectangular {
            length_mm,
            width_mm: 50.0,
            corner_radius_mm: 4.0,
        };
        let mut draining = round(60.0, drain_time_s);
        draining.cup.shape = shape;
        draining
    }

    /// Input: needed grams and factor. Expected: whether it settles and in how many steps at most.
    #[track_caller]
    fn check(input: (f64, f64, CupDraining), expected_steps: u32) {
        let mix = solve_mix(input.0, &input.2, input.1).unwrap();
        assert!(mix.iterations <= expected_steps, "{mix:?}");
        assert!(mix.residual_g.abs() < 1e-9, "{mix:?}");
        let again = input.2.film_of_mix(mix.mixed_g).unwrap();
        assert!((again.film_g - mix.film_g).abs() < 1e-9);
    }

    #[test]
    fn mass_and_residue_settle_together() {
        check((60.0, 1.0, round(60.0, 60.0)), 15);
        check((60.0, 1.0, rectangular(70.0, 60.0)), 15);
        check((20.0, 2.5, round(60.0, 5.0)), 60);
        check((1.0, 3.0, round(60.0, 60.0)), 200);
    }

    #[test]
    fn a_cup_that_is_not_drained_gives_nothing() {
        let error = solve_mix(20.0, &round(60.0, 0.0), 1.0).unwrap_err();
        assert!(matches!(error, ResidueError::CupTooSmall { .. }), "{error}");
        let error = solve_mix(2000.0, &round(60.0, 60.0), 1.0).unwrap_err();
        assert!(error.to_string().starts_with("needed_g is 2000.000"));
        let error = solve_mix(-1.0, &round(60.0, 60.0), 1.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "needed_g is -1, but must be greater than 0"
        );
    }

    #[test]
    fn planned_residue_is_shared_over_the_cups_in_proportion() {
        let prior = FactorPosterior::prior();
        let plan = plan_residue(
            &[60.0, 30.0, 30.0],
            &round(60.0, 60.0),
            &prior,
            0.9,
            &Noise::default(),
        )
        .unwrap();
        assert!(plan.prediction.planned_g > plan.prediction.expected_g);
        let factor = plan.prediction.effective_factor;
        for cup in &plan.cups {
            assert!((cup.residue_g - factor * cup.film_g).abs() < 1e-8);
        }
        assert_eq!(plan.cups[1].mixed_g, plan.cups[2].mixed_g);
    }

    proptest! {
        #[test]
        fn mixed_is_poured_and_residue_and_stirrer_loss(
            needed in 5.0..120.0f64, time in 1.0..600.0f64, factor in 0.0..2.0f64, rectangle in any::<bool>(),
        ) {
            let draining = if rectangle { rectangular(80.0, time) } else { round(80.0, time) };
            if let Ok(mix) = solve_mix(needed, &draining, factor) {
                prop_assert!((mix.needed_g + mix.residue_g + mix.stirrer_loss_g - mix.mixed_g).abs() < 1e-9);
                prop_assert!(mix.residual_g.abs() < 1e-8);
                prop_assert!(mix.film_g <= mix.mixed_g);
            }
        }

        #[test]
        fn longer_draining_never_leaves_more(
            mixed in 1.0..150.0f64, time in 0.0..600.0f64, longer in 0.0..600.0f64, rectangle in any::<bool>(),
        ) {
            let cup = |time| if rectangle { rectangular(80.0, time) } else { round(80.0, time) };
            let short = cup(time).film_of_mix(mixed).unwrap().film_g;
            let long = cup(time + longer).film_of_mix(mixed).unwrap().film_g;
            prop_assert!(long <= short * (1.0 + 1e-9));
            prop_assert!(short <= mixed);
        }

        #[test]
        fn at_a_fixed_height_a_wider_cup_never_leaves_less(
            width in 30.0..120.0f64, wider in 0.0..80.0f64, height in 1.0..90.0f64, time in 0.0..600.0f64,
        ) {
            let narrow = round(width, time).film_at_height(height).unwrap().film_g;
            let wide = round(width + wider, time).film_at_height(height).unwrap().film_g;
            prop_assert!(wide >= narrow * (1.0 - 1e-9));
            let narrow = rectangular(width, time).film_at_height(height).unwrap().film_g;
            let wide = rectangular(width + wider, time).film_at_height(height).unwrap().film_g;
            prop_assert!(wide >= narrow * (1.0 - 1e-9));
        }

        #[test]
        fn more_in_the_cup_never_leaves_less(mixed in 1.0..100.0f64, more in 0.0..50.0f64, time in 0.0..600.0f64) {
            let cup = round(80.0, time);
            let less = cup.film_of_mix(mixed).unwrap().film_g;
            prop_assert!(cup.film_of_mix(mixed + more).unwrap().film_g >= less * (1.0 - 1e-9));
        }
    }
}
