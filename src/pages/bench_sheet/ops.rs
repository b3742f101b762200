//! Loading the bench sheet and the advice on what the balance shows, and recording what was done.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use serde_json::Value;

use super::asked::Asked;
use super::blocks::Packs;
use super::clock::mixings;
use super::keys::{coat_word, keys};
use super::{coat_form, demold_form, pour_form};
use crate::base::{Code, Error, Micro, RefusalKind};
use crate::casting::bench::sheet::{BenchSheet, StepDetail, WeighDetail};
use crate::casting::bench::{Clocked, sheet_show};
use crate::casting::life::demold::cast_demold;
use crate::casting::life::pour::cast_pour;
use crate::casting::life::treat::treatment_apply;
use crate::casting::life::view::cast_show;
use crate::casting::planning::correct::mix_correct;
use crate::casting::planning::correction_view::{CorrectionIn, CorrectionOut};
use crate::catalogue::material_all;
use crate::db::{AnyConnection, House, Tx};
use crate::http::document_read;
use crate::pages::words::amount;
use crate::stock::load::shelf;

/// The most packs of a material that are offered for each batch.
const PACKS_MAX: usize = 8;
/// As many packs are offered in all, over the batches, so that the sheet of a large cast stays light.
const PACKS_IN_ALL_MAX: usize = 24;

/// Name and unit of each material, by its code.
pub(super) type Names = HashMap<String, (String, &'static str)>;

/// Where and when a sheet is read, and by whom.
#[derive(Debug, Clone, Copy)]
pub(super) struct Here {
    /// What is fixed of the installation.
    pub(super) house: House,
    /// Its time zone.
    pub(super) zone: Tz,
    /// Its day.
    pub(super) today: NaiveDate,
    /// The instant.
    pub(super) now: DateTime<Utc>,
    /// Whether the reader may record what was done.
    pub(super) may: bool,
}

/// What is known of a batch from what the balance shows.
#[derive(Debug, Clone, Default)]
pub(super) struct Weighed {
    /// How much curing agent belongs to the base, where only that is weighed.
    pub(super) curing_agent_g: Option<Micro>,
    /// The correction, where both are.
    pub(super) correction: Option<CorrectionOut>,
    /// Why there is none, where it is nobody's typing.
    pub(super) refused: Option<String>,
}

/// What the page is made of.
pub(super) struct Facts {
    /// The sheet.
    pub(super) sheet: BenchSheet,
    /// What was asked, with what is wrong of it.
    pub(super) asked: Asked,
    /// The batches that are mixed.
    pub(super) mixed: Vec<(i32, DateTime<Utc>)>,
    /// What is known of each batch.
    pub(super) weighed: Vec<Weighed>,
    /// The packs to choose from.
    pub(super) packs: Option<Packs>,
    /// Materials by code.
    pub(super) materials: Names,
}

/// Loads them.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Refused`] when it was cancelled.
pub(super) fn facts(
    conn: &mut AnyConnection,
    code: &str,
    mut asked: Asked,
    here: Here,
) -> Result<Facts, Error> {
    let cast = cast_show(conn, code, here.house.base_currency)?;
    let batches = cast.plan.batches.len();
    let mixed = mixings(&mut asked, batches, cast.cast_on, here.zone);
    let clocked = Clocked {
        start_at: None,
        mixed: mixed.clone(),
    };
    let sheet = sheet_show(conn, code, &clocked, here.house)?
        .ok_or_else(|| Error::internal(format!("cast {code} lacks a batch of its plan")))?;
    let booked = sheet.state == "booked";
    let details = sheet.steps.iter().filter_map(|step| match &step.detail {
        StepDetail::Weigh(detail) => Some(detail),
        _ => None,
    });
    let mut weighed = Vec::new();
    for (place, detail) in details.enumerate().filter(|_| booked) {
        for name in ["cup_tare_g", "cup_gross_g", "residue_g"] {
            asked.decimal(name, place);
        }
        weighed.push(correction(
            conn,
            (code, detail),
            (&mut asked, place),
            here.today,
        )?);
    }
    if booked {
        asked.decimal("level_mm", 0);
    }
    let entries = material_all(conn)?;
    let id_of = |code: &str| entries.iter().find(|entry| entry.code.as_str() == code);
    let parts = sheet.steps.iter().find_map(|step| match &step.detail {
        StepDetail::Weigh(detail) => {
            let base = id_of(&detail.base.material)?.id;
            Some((base, id_of(&detail.curing_agent.material)?.id))
        }
        _ => None,
    });
    Ok(Facts {
        packs: match parts.filter(|_| booked && here.may) {
            Some((base, curing_agent)) => Some(Packs {
                base: packs(conn, base, batches)?,
                curing_agent: packs(conn, curing_agent, batches)?,
            }),
            None => None,
        },
        asked,
        mixed,
        weighed,
        materials: entries
            .into_iter()
            .map(|entry| {
                (
                    entry.code.to_string(),
                    (entry.name, entry.body.unit.as_str()),
                )
            })
            .collect(),
        sheet,
    })
}

/// The packs of a material that hold something, in words.
fn packs(
    conn: &mut AnyConnection,
    material_id: i64,
    batches: usize,
) -> Result<Vec<(String, String)>, Error> {
    let most = (PACKS_IN_ALL_MAX / batches.max(1)).clamp(2, PACKS_MAX);
    let mut packs = shelf(conn, &[material_id])?;
    packs.retain(|pack| pack.on_hand > crate::base::Quantity::ZERO);
    let words = packs.into_iter().take(most).map(|pack| {
        let holds = amount(pack.on_hand, "g");
        let words = format!("lot {}, pack {}: {holds}", pack.lot_code, pack.no);
        (pack.pack_id.to_string(), words)
    });
    Ok(words.collect())
}

/// What is known of a batch; what is wrong with the readings is marked at them.
fn correction(
    conn: &mut AnyConnection,
    (code, detail): (&str, &WeighDetail),
    (asked, place): (&mut Asked, usize),
    today: NaiveDate,
) -> Result<Weighed, Error> {
    let mut weighed = Weighed::default();
    let base_g = asked.decimal("base_g", place);
    let agent_g = asked.decimal("curing_agent_g", place);
    let (Some(base_g), Some(curing_agent_g)) = (base_g, agent_g) else {
        if agent_g.is_some() && !asked.is_given("base_g", place) {
            let detail = "say what the balance shows of the base too: the ratio is of both";
            asked.fault("base_g", place, detail);
        }
        let alone =
            base_g.filter(|base| *base > Micro::ZERO && !asked.is_given("curing_agent_g", place));
        weighed.curing_agent_g = alone
            .map(|base| detail.curing_agent_for(base))
            .transpose()?;
        return Ok(weighed);
    };
    let input = CorrectionIn {
        elastomer: None,
        recipe: None,
        cast: Some(Code::parse(code).map_err(Error::internal)?),
        cup: None,
        base_g,
        curing_agent_g,
    };
    match mix_correct(conn, &input, today) {
        Ok(correction) => weighed.correction = Some(correction),
        Err(Error::Invalid(faults)) => {
            for fault in faults {
                let name = fault.pointer.trim_start_matches('/');
                if !asked.fault(name, place, fault.detail.as_str()) {
                    weighed.refused = Some(fault.detail);
                }
            }
        }
        Err(Error::Refused(refusal)) => weighed.refused = Some(refusal.detail),
        Err(error) => return Err(error),
    }
    Ok(weighed)
}

/// What a sheet's form records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Deed {
    /// A coat that was made, by the word of its copies.
    Coat(String),
    /// What was poured.
    Pour,
    /// The chips that were counted.
    Demold,
}

/// Records it, as the API would have been told.
///
/// # Errors
/// Those of the operation.
pub(super) fn record(
    tx: &mut Tx<'_>,
    code: &str,
    deed: &Deed,
    (asked, here): (&Asked, Here),
) -> Result<(), Error> {
    let document = match deed {
        Deed::Coat(word) => coat_document(tx, code, word, (asked, here))?,
        Deed::Pour => pour_form::document(asked, here.today),
        Deed::Demold => demold_form::document(asked, here.today),
    };
    match deed {
        Deed::Coat(_) => {
            treatment_apply(tx, &document_read(document)?)?;
        }
        Deed::Pour => {
            cast_pour(tx, code, &document_read(document)?)?;
        }
        Deed::Demold => {
            cast_demold(tx, code, &document_read(document)?)?;
        }
    }
    Ok(())
}

/// What is told of a coat, with its mould and its cast. A coat that the sheet no longer asks for is not made twice.
fn coat_document(
    tx: &mut Tx<'_>,
    code: &str,
    word: &str,
    (asked, here): (&Asked, Here),
) -> Result<Value, Error> {
    let sheet = sheet_show(tx.conn, code, &Clocked::default(), here.house)?;
    let place = sheet.as_ref().and_then(|sheet| coat_place(sheet, word));
    let Some((sheet, place)) = sheet.zip(place) else {
        let detail =
            "the sheet does not ask for this coat any longer: perhaps it was recorded already";
        return Err(Error::refused(RefusalKind::WrongState, detail));
    };
    let mut document = coat_form::document(asked, place, here.today);
    document["molds"][0]["mold"] = Value::from(sheet.mold);
    document["cast"] = Value::from(code);
    Ok(document)
}

/// The place of a coat among the coats of a sheet, from 0.
pub(super) fn coat_place(sheet: &BenchSheet, word: &str) -> Option<usize> {
    let coats = sheet.steps.iter().filter_map(|step| match &step.detail {
        StepDetail::ReleaseCoat(detail) => Some(coat_word(&detail.copies)),
        _ => None,
    });
    let mut coats = coats.filter(|_| sheet.state == "booked");
    coats.position(|coat| coat == word)
}

/// The number and the name of the step that mixes a batch, and the day of the cast: what is said when its mixing ended now.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Refused`] when it was cancelled.
pub(super) fn mix_step(
    conn: &mut AnyConnection,
    code: &str,
    batch: usize,
    house: House,
) -> Result<Option<(u32, String, NaiveDate)>, Error> {
    let Some(sheet) = sheet_show(conn, code, &Clocked::default(), house)? else {
        return Ok(None);
    };
    let mut steps = sheet.steps.iter().zip(keys(&sheet.steps));
    let step = steps.find(|(step, _)| {
        let own = step.batch.and_then(|own| usize::try_from(own).ok());
        matches!(step.detail, StepDetail::Mix(_)) && own == Some(batch)
    });
    Ok(step.map(|(step, name)| (step.no, name, sheet.cast_on)))
}
