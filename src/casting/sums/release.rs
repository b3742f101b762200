//! The release coat: how many times molds are coated for a cast, when, and from how many vials.
//!
//! Invariants: a coat is never used for more casts than its life; molds due at the same moment are coated
//! together; extra casts on a coat are never promised here. Absent: which vials, their open life, and the
//! spreading of a treatment's cost. Common practice, no source: about 15 minutes of vapour at 0.1 to 0.01 Torr.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, at_least_one, between, non_negative, positive};

/// Usual time of a vapour treatment. Common practice, no source.
pub const VAPOUR_MINUTES: f64 = 15.0;

/// Usual lowest and highest pressure of a vapour treatment. Common practice, no source.
pub const VAPOUR_PRESSURE_TORR: (f64, f64) = (0.01, 0.1);

/// Molar gas constant in J/(mol K), exact since the SI of 2019 (CODATA 2018).
const GAS_CONSTANT_J_PER_MOL_K: f64 = 8.314_462_618_153_24;

/// Zero of the Celsius scale in kelvin.
const ZERO_CELSIUS_K: f64 = 273.15;

/// One copy of the mold and what is asked of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CopyUse {
    /// Casts its present coat has served; none when it is bare or its coat was seen to be spent.
    pub casts_on_coat: Option<u32>,
    /// Rounds it is to be cast in.
    pub rounds: u32,
}

/// Molds coated together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CoatingLoad {
    /// The round before which they are coated, from 1; 1 is before the cast begins.
    pub before_round: u32,
    /// How many.
    pub molds: u32,
    /// Which copies, from 1.
    pub copies: Vec<u32>,
    /// Vials for this load.
    pub vials: u32,
}

/// What a cast needs of the release agent.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ReleaseNeed {
    /// The loads in order.
    pub loads: Vec<CoatingLoad>,
    /// Molds coated, counted as often as they are.
    pub coatings: u32,
    /// Vials for all loads.
    pub vials: u32,
    /// Whether some mold must be coated before the first round.
    pub before_casting: bool,
    /// Whether some coat runs out between rounds.
    pub during_casting: bool,
}

/// Counts the coatings that `copies` need when a coat lasts `coat_life_casts` casts and a vial coats
/// `molds_per_vial` molds at once.
///
/// # Errors
/// [`OutOfRange`] for a life or a vial of 0, or more coatings than can be counted.
///
/// ```
/// use heeltap::casting::sums::release::{CopyUse, release_need};
/// let copies = [CopyUse { casts_on_coat: Some(9), rounds: 3 }, CopyUse { casts_on_coat: None, rounds: 3 }];
/// let need = release_need(&copies, 10, 4).unwrap();
/// // The bare copy is coated first, the other before its second round.
/// assert_eq!((need.loads.len(), need.vials, need.before_casting, need.during_casting), (2, 2, true, true));
/// ```
pub fn release_need(
    copies: &[CopyUse],
    coat_life_casts: u32,
    molds_per_vial: u32,
) -> Result<ReleaseNeed, OutOfRange> {
    at_least_one("coat_life_casts", coat_life_casts)?;
    at_least_one("molds_per_vial", molds_per_vial)?;
    let mut due: std::collections::BTreeMap<u32, Vec<u32>> = std::collections::BTreeMap::new();
    for (copy_no, copy) in (1..).zip(copies) {
        let mut served = copy
            .casts_on_coat
            .map_or(0, |used| coat_life_casts.saturating_sub(used));
        while served < copy.rounds {
            due.entry(served + 1).or_default().push(copy_no);
            served = served.saturating_add(coat_life_casts);
        }
    }
    let loads: Vec<CoatingLoad> = due
        .into_iter()
        .map(|(before_round, copies)| {
            let molds = copies.len() as u32;
            CoatingLoad {
                before_round,
                molds,
                copies,
                vials: molds.div_ceil(molds_per_vial),
            }
        })
        .collect();
    Ok(ReleaseNeed {
        coatings: loads.iter().map(|load| load.molds).sum(),
        vials: loads.iter().map(|load| load.vials).sum(),
        before_casting: loads.first().is_some_and(|load| load.before_round == 1),
        during_casting: loads.last().is_some_and(|load| load.before_round > 1),
        loads,
    })
}

/// Casts that each copy's coat has seen after `rounds` more, when the copies that fall due are coated in time.
///
/// # Errors
/// [`OutOfRange`] for a life of 0.
///
/// ```
/// use heeltap::casting::sums::release::{CopyUse, seen_after};
/// let copies = [CopyUse { casts_on_coat: Some(9), rounds: 3 }, CopyUse { casts_on_coat: None, rounds: 0 }];
/// assert_eq!(seen_after(&copies, 10), Ok(vec![Some(2), None]));
/// ```
pub fn seen_after(
    copies: &[CopyUse],
    coat_life_casts: u32,
) -> Result<Vec<Option<u32>>, OutOfRange> {
    at_least_one("coat_life_casts", coat_life_casts)?;
    let after = |copy: &CopyUse| {
        let left = copy
            .casts_on_coat
            .map_or(0, |seen| coat_life_casts.saturating_sub(seen));
        match copy.rounds {
            0 => copy.casts_on_coat,
            rounds if rounds <= left => copy.casts_on_coat.map(|seen| seen + rounds),
            rounds => Some((rounds - left - 1) % coat_life_casts + 1),
        }
    };
    Ok(copies.iter().map(after).collect())
}

/// Rounds each copy is cast in when `containers` trays are dealt over `copies` copies, the first ones more often.
///
/// # Errors
/// [`OutOfRange`] for no copies.
///
/// ```
/// use heeltap::casting::sums::release::rounds_per_copy;
/// assert_eq!(rounds_per_copy(7, 3), Ok(vec![3, 2, 2]));
/// ```
pub fn rounds_per_copy(containers: u32, copies: u32) -> Result<Vec<u32>, OutOfRange> {
    at_least_one("copies", copies)?;
    let (each, more) = (containers / copies, containers % copies);
    Ok((0..copies)
        .map(|copy| each + u32::from(copy < more))
        .collect())
}

/// A pressure in pascal: 1 torr = 101325/760 Pa (definition).
///
/// # Errors
/// [`OutOfRange`] for a negative pressure.
///
/// ```
/// use heeltap::casting::sums::release::torr_to_pa;
/// assert_eq!(torr_to_pa(760.0), Ok(101_325.0));
/// ```
pub fn torr_to_pa(pressure_torr: f64) -> Result<f64, OutOfRange> {
    Ok(non_negative("pressure_torr", pressure_torr)? * 101_325.0 / 760.0)
}

/// Mass of vapour that fills a chamber at a partial pressure, in grams: p V M / (R T) (ideal gas law).
///
/// It is the least a vial must give; what the pump carries off comes on top.
///
/// # Errors
/// [`OutOfRange`] for a chamber or molar mass of 0 or less, a negative pressure, or a temperature outside -100 to 500 C.
///
/// ```
/// use heeltap::casting::sums::release::vapour_mass_g;
/// assert!((vapour_mass_g(10.0, 1900.0, 20.0, 161.39).unwrap() - 1.258_073_860_571_603_5).abs() < 1e-8);
/// ```
pub fn vapour_mass_g(
    chamber_l: f64,
    partial_pressure_pa: f64,
    temperature_c: f64,
    molar_mass_g_per_mol: f64,
) -> Result<f64, OutOfRange> {
    positive("chamber_l", chamber_l)?;
    non_negative("partial_pressure_pa", partial_pressure_pa)?;
    between("temperature_c", temperature_c, -100.0, 500.0)?;
    positive("molar_mass_g_per_mol", molar_mass_g_per_mol)?;
    let mol = partial_pressure_pa * (chamber_l / 1000.0)
        / (GAS_CONSTANT_J_PER_MOL_K * (temperature_c + ZERO_CELSIUS_K));
    Ok(mol * molar_mass_g_per_mol)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Input: casts on each coat, rounds, life, molds per vial. Expected: `round:molds/vials` of each load.
    #[track_caller]
    fn check(input: (&[Option<u32>], u32, u32, u32), expected: &str) {
        let copies: Vec<CopyUse> = input
            .0
            .iter()
            .map(|&casts_on_coat| CopyUse {
                casts_on_coat,
                rounds: input.1,
            })
            .collect();
        let need = release_need(&copies, input.2, input.3).unwrap();
        let shown = need
            .loads
            .iter()
            .map(|load| format!("{}:{}/{}", load.before_round, load.molds, load.vials))
            .collect::<Vec<_>>()
            .join(" ");
        assert_eq!(shown, expected);
        assert_eq!(
            need.vials,
            need.loads.iter().map(|load| load.vials).sum::<u32>()
        );
    }

    #[test]
    fn counts_coats_that_run_out_before_and_during() {
        check((&[Some(3)], 2, 10, 1), "");
        check((&[Some(10)], 1, 10, 1), "1:1/1");
        check((&[Some(12)], 1, 10, 1), "1:1/1");
        check((&[Some(9)], 2, 10, 1), "2:1/1");
        check((&[None, None, None], 1, 10, 2), "1:3/2");
        check((&[None], 5, 2, 1), "1:1/1 3:1/1 5:1/1");
        check((&[None, Some(1)], 3, 2, 4), "1:1/1 2:1/1 3:1/1");
        check((&[None], 0, 2, 1), "");
        check((&[], 3, 2, 1), "");
    }

    #[test]
    fn impossible_lives_are_refused() {
        let error = release_need(&[], 0, 1).unwrap_err();
        assert_eq!(
            error.to_string(),
            "coat_life_casts is 0, but must be 1 or more"
        );
        assert!(rounds_per_copy(3, 0).is_err());
        assert!(torr_to_pa(-1.0).is_err());
    }

    proptest! {
        #[test]
        fn what_a_coat_has_seen_follows_from_the_loads(used in prop::option::of(0u32..20), rounds in 0u32..60, life in 1u32..15) {
            let copies = [CopyUse { casts_on_coat: used, rounds }];
            let need = release_need(&copies, life, 1).unwrap();
            let mut seen = used;
            for round in 1..=rounds {
                if need.loads.iter().any(|load| load.before_round == round && load.copies == [1]) {
                    seen = Some(0);
                }
                seen = seen.map(|casts| casts + 1);
            }
            prop_assert_eq!(seen_after(&copies, life).unwrap(), vec![seen]);
        }

        #[test]
        fn no_coat_serves_longer_than_its_life(used in prop::option::of(0u32..20), rounds in 0u32..60, life in 1u32..15) {
            let need = release_need(&[CopyUse { casts_on_coat: used, rounds }], life, 1).unwrap();
            let mut on_coat = used.unwrap_or(life);
            for round in 1..=rounds {
                if need.loads.iter().any(|load| load.before_round == round) {
                    on_coat = 0;
                }
                on_coat += 1;
                prop_assert!(on_coat <= life);
            }
        }

        #[test]
        fn every_tray_has_its_round(containers in 0u32..500, copies in 1u32..20) {
            let rounds = rounds_per_copy(containers, copies).unwrap();
            prop_assert_eq!(rounds.iter().sum::<u32>(), containers);
            prop_assert_eq!(rounds.iter().max().copied(), Some(containers.div_ceil(copies)));
        }
    }
}
