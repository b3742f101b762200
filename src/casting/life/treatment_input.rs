//! What is told of a treatment, checked. Pure.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Code, Error, FieldError, short_words};
use crate::catalogue::MoldBody;

const VIALS_MAX: u32 = 1_000;
const MOLDS_MAX: usize = 100;

/// One load of moulds vapour-coated together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TreatmentIn {
    /// The day it was done.
    pub treated_on: NaiveDate,
    /// The code of the release agent; that of the cast's recipe unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub release_agent: Option<Code>,
    /// Vials used, all of them spent.
    #[schema(minimum = 1, maximum = 1000)]
    pub vials: u32,
    /// From which packs they came; as picking would take them unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub packs: Option<Vec<VialPack>>,
    /// The moulds in the load.
    #[schema(min_items = 1, max_items = 100)]
    pub molds: Vec<TreatedMold>,
    /// The code of the booked cast it is made for: its promised vials are used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cast: Option<String>,
    /// Whether the bench is right when more vials were used than the books hold: they are then counted in first.
    #[serde(default)]
    pub recount: bool,
    /// A note, at most 200 characters.
    #[serde(default)]
    #[schema(max_length = 200, pattern = r"^[^\x00-\x1f\x7f-\x9f]*$")]
    pub note: String,
}

/// Vials of one pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VialPack {
    /// The pack.
    pub pack_id: i64,
    /// How many vials of it.
    #[schema(minimum = 1, maximum = 1000)]
    pub vials: u32,
}

/// A mould in a load.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TreatedMold {
    /// The mould's code.
    pub mold: Code,
    /// Which of its copies, from 1; all of them unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copies: Option<Vec<u32>>,
}

/// Copies of a mould to be coated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Load {
    /// The mould.
    pub mold_id: i64,
    /// The copies, from 1.
    pub copies: Vec<u32>,
    /// Casts the coat lasts.
    pub coat_life_casts: u32,
}

impl TreatmentIn {
    /// What is wrong with it in itself.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every fault found.
    ///
    /// ```
    /// use heeltap::casting::life::treatment_input::TreatmentIn;
    /// let mut input: TreatmentIn = serde_json::from_value(serde_json::json!(
    ///     {"treated_on": "2026-03-02", "release_agent": "vial", "vials": 2, "molds": [{"mold": "mold"}]}
    /// ))?;
    /// assert!(input.check().is_ok());
    /// input.vials = 0;
    /// assert!(input.check().is_err());
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        let mut faults = Vec::new();
        let mut fault =
            |pointer: &str, detail: String| faults.push(FieldError::new(pointer, detail));
        if !(1..=VIALS_MAX).contains(&self.vials) {
            fault(
                "/vials",
                format!("{} is out of range: 1 to {VIALS_MAX} vials", self.vials),
            );
        }
        if let Some(packs) = &self.packs {
            let sum: u64 = packs.iter().map(|pack| u64::from(pack.vials)).sum();
            if sum != u64::from(self.vials) || packs.iter().any(|pack| pack.vials == 0) {
                fault(
                    "/packs",
                    format!(
                        "the packs give {sum} vials, each at least one, but {} were used",
                        self.vials
                    ),
                );
            }
        }
        if self.molds.is_empty() || self.molds.len() > MOLDS_MAX {
            fault(
                "/molds",
                format!("{} moulds: send 1 to {MOLDS_MAX}", self.molds.len()),
            );
        }
        for (index, treated) in self.molds.iter().enumerate() {
            if self.molds[..index]
                .iter()
                .any(|other| other.mold == treated.mold)
            {
                fault(
                    &format!("/molds/{index}/mold"),
                    format!("mould `{}` is named twice", treated.mold),
                );
            }
        }
        faults.extend(short_words("/note", "a note", &self.note).err());
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }
}

impl TreatedMold {
    /// The copies meant of a mould, which stands at `index` of the input.
    ///
    /// # Errors
    /// [`Error::Invalid`] for a copy that the mould does not have, one named twice, or none.
    ///
    /// ```
    /// use heeltap::casting::life::treatment_input::TreatedMold;
    /// use heeltap::catalogue::MoldBody;
    /// let mold: MoldBody = serde_json::from_value(serde_json::json!(
    ///     {"code": "m", "name": "M", "length_mm": "76", "width_mm": "26", "thickness_mm": "3", "chips": 4, "copies": 3}
    /// ))?;
    /// let treated: TreatedMold = serde_json::from_value(serde_json::json!({"mold": "m"}))?;
    /// assert_eq!(treated.load(7, &mold, 0).unwrap().copies, [1, 2, 3]);
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    pub fn load(&self, mold_id: i64, mold: &MoldBody, index: usize) -> Result<Load, Error> {
        let all = 1..=mold.copies();
        let copies = match &self.copies {
            None => all.collect(),
            Some(copies) => {
                let mut sorted = copies.clone();
                sorted.sort_unstable();
                sorted.dedup();
                let fits = sorted.len() == copies.len() && sorted.iter().all(|c| all.contains(c));
                if copies.is_empty() || !fits {
                    return Err(Error::invalid(
                        format!("/molds/{index}/copies"),
                        format!(
                            "{copies:?}: name copies from 1 to {}, each once",
                            mold.copies()
                        ),
                    ));
                }
                sorted
            }
        };
        Ok(Load {
            mold_id,
            copies,
            coat_life_casts: mold.coat_life_casts(),
        })
    }
}
