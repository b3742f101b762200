//! Loading the bench sheet, and the advice on what the balance shows.

use std::collections::HashMap;

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::asked::{Asked, Readings};
use crate::base::{Code, Error, Micro};
use crate::casting::bench::sheet::{BenchSheet, StepDetail, WeighDetail};
use crate::casting::bench::{Clocked, sheet_show};
use crate::casting::life::view::cast_show;
use crate::casting::planning::correct::mix_correct;
use crate::casting::planning::correction_view::{CorrectionIn, CorrectionOut};
use crate::catalogue::material_all;
use crate::db::{AnyConnection, House};

/// Name and unit of each material, by its code.
pub(super) type Names = HashMap<String, (String, &'static str)>;

/// Where and when a sheet is read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Here {
    /// What is fixed of the installation.
    pub(super) house: House,
    /// Its time zone.
    pub(super) zone: Tz,
    /// Its day.
    pub(super) today: NaiveDate,
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
    /// What is known of each batch.
    pub(super) weighed: Vec<Weighed>,
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
    let mixing = asked.mixing(cast.cast_on, here.zone);
    let unclocked = Clocked {
        batch: 1,
        ..Clocked::default()
    };
    let clocked = mixing.map_or(unclocked, |(at, batch)| Clocked {
        mixed_at: Some(at),
        batch,
        ..unclocked
    });
    let sheet = match sheet_show(conn, code, clocked, here.house)? {
        Some(sheet) => sheet,
        None => {
            asked.no_such_batch();
            sheet_show(conn, code, unclocked, here.house)?
                .ok_or_else(|| Error::internal(format!("cast {code} has no batch")))?
        }
    };
    let details = sheet.steps.iter().filter_map(|step| match &step.detail {
        StepDetail::Weigh(detail) => Some(detail),
        _ => None,
    });
    let mut weighed = Vec::new();
    for (place, detail) in details.enumerate() {
        weighed.push(match asked.readings.get_mut(place) {
            Some(readings) if sheet.state == "booked" => {
                correction(conn, (code, detail), readings, here.today)?
            }
            _ => Weighed::default(),
        });
    }
    let materials = material_all(conn)?.into_iter();
    Ok(Facts {
        asked,
        weighed,
        materials: materials
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

/// What is known of a batch; what is wrong with the readings is marked at them.
fn correction(
    conn: &mut AnyConnection,
    (code, detail): (&str, &WeighDetail),
    readings: &mut Readings,
    today: NaiveDate,
) -> Result<Weighed, Error> {
    let mut weighed = Weighed::default();
    let (base_g, agent_g) = (readings.base_g.mass(), readings.curing_agent_g.mass());
    let (Some(base_g), Some(curing_agent_g)) = (base_g, agent_g) else {
        if agent_g.is_some() && !readings.base_g.is_given() {
            let detail = "say what the balance shows of the base too: the ratio is of both";
            readings.base_g.fault = Some(detail.to_owned());
        }
        let alone =
            base_g.filter(|base| *base > Micro::ZERO && !readings.curing_agent_g.is_given());
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
                match fault.pointer.as_str() {
                    "/base_g" => readings.base_g.fault = Some(fault.detail),
                    "/curing_agent_g" => readings.curing_agent_g.fault = Some(fault.detail),
                    _ => weighed.refused = Some(fault.detail),
                }
            }
        }
        Err(Error::Refused(refusal)) => weighed.refused = Some(refusal.detail),
        Err(error) => return Err(error),
    }
    Ok(weighed)
}
