//! What each weighed cup of a pour says against what was known before it: how far it is off, and whether it is an outlier.
//! Pure.
//!
//! An outlier is kept and teaches, with its variance inflated (`sums::learned`); it is flagged, so that whoever weighed it
//! looks again. Deliberately absent: what cannot be, a residue below 0 or above the mix; the pour refuses it.

use super::pour_input::PouredBatch;
use crate::base::{Error, Micro};
use crate::casting::planning::sizing::rounded;
use crate::casting::sums::learned::{FactorPosterior, Noise};

/// A weighing further away than this is shown as this far away, in predictive standard deviations.
const Z_SHOWN_MAX: f64 = 1e6;

/// Marks the weighed cups of a pour, one after the other, each against the factor as the cups before it left it.
///
/// `posterior` is what was known before the pour. Cups that were not weighed, or leave no film, stay unmarked.
///
/// # Errors
/// [`Error::Internal`] when a film or a weighing is negative, which a settled pour does not hold.
///
/// ```
/// use heeltap::casting::life::outliers::weighings_mark;
/// use heeltap::casting::life::pour_input::PouredBatch;
/// use heeltap::casting::sums::learned::FactorPosterior;
/// let batch = |residue_g: &str| -> PouredBatch {
///     serde_json::from_value(serde_json::json!({"no": 1, "containers": 2, "base_g": "50", "curing_agent_g": "5",
///         "total_g": "55", "residue_g": residue_g, "residue_base_g": "4", "residue_basis": "weighed", "film_g": "4"}))
///     .unwrap()
/// };
/// let mut batches = [batch("4"), batch("30")];
/// weighings_mark(&mut batches, &FactorPosterior::prior())?;
/// assert_eq!((batches[0].z, batches[0].outlier), (Some(heeltap::base::Micro::ZERO), false));
/// assert!(batches[1].outlier);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn weighings_mark(
    batches: &mut [PouredBatch],
    posterior: &FactorPosterior,
) -> Result<(), Error> {
    let noise = Noise::default();
    let mut known = *posterior;
    for batch in batches
        .iter_mut()
        .filter(|batch| batch.residue_basis == "weighed" && batch.film_g > Micro::ZERO)
    {
        let learned = known
            .learn(
                batch.film_g.to_f64(),
                batch.film_residue_g()?.to_f64(),
                &noise,
            )
            .map_err(Error::internal)?;
        batch.z = Some(rounded(learned.z.clamp(-Z_SHOWN_MAX, Z_SHOWN_MAX))?);
        batch.outlier = learned.outlier;
        known = learned.posterior;
    }
    Ok(())
}
