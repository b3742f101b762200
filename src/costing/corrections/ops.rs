//! Correcting prices, and showing corrections.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::bearers::{Bearer, LotFate, Went, WentTo, bearers};
use super::input::{CorrectionOf, PriceCorrectionIn};
use super::view::PriceCorrection;
use crate::base::{Currency, Error, Money, RefusalKind, apportion, short_words};
use crate::costing::store::{self, LotRow, NewCorrection};
use crate::db::{AnyConnection, Tx, instant};
use crate::http::Page;
use crate::purchasing::ops::rate_on;
use crate::purchasing::quoted::QuotedRate;
use crate::purchasing::rate::Quote;
use crate::stock::load::{day_open, lock};
use crate::stock::post::Poster;
use crate::stock::price_shares::{Borne, NewShare, share_post};
use crate::stock::trace::lot_outflow;

/// Corrects the price of a line of an order, or of a lot.
///
/// # Errors
/// [`Error::Invalid`] with every fault; [`Error::NotFound`] without such a line or lot; [`Error::Refused`] when the line
/// has not arrived, or the day lies in a closed period.
pub fn price_correct(tx: &mut Tx<'_>, input: &PriceCorrectionIn) -> Result<PriceCorrection, Error> {
    let of = input.check(tx.base_currency).map_err(Error::Invalid)?;
    let reason = short_words("/reason", "a reason", &input.reason)?;
    if reason.is_empty() {
        let detail = "no reason is given: write 1 to 200 characters";
        return Err(Error::invalid("/reason", detail));
    }
    let on = input.corrected_on.unwrap_or(tx.today);
    let (line_id, lots) = found(tx.conn, of)?;
    let materials: Vec<i64> = lots.iter().map(|lot| lot.material_id).collect();
    lock(tx, &materials)?;
    day_open(tx, "/corrected_on", on)?;
    // Read again: what was read before the lock may have changed.
    let (_, lots) = found(tx.conn, of)?;
    if let Some(lot) = lots.iter().find(|lot| on < lot.received_on) {
        let detail = format!(
            "{on} is before lot {} was received on {}",
            lot.id, lot.received_on
        );
        return Err(Error::invalid("/corrected_on", detail));
    }
    let (value, rate) = converted(tx, input, on)?;
    let parts = over_lots(tx.conn, value, &lots)?;
    let rate = rate.map(QuotedRate::text);
    let correction = NewCorrection {
        order_line_id: line_id,
        lot_id: match of {
            CorrectionOf::Lot(id) => Some(id),
            CorrectionOf::Line(..) => None,
        },
        amount: input.amount,
        currency: input.currency(tx.base_currency).as_str(),
        rate: rate.as_deref(),
        value,
        corrected_on: on,
        reason: &reason,
        actor: tx.actor,
        recorded_at: tx.stored_now(),
    };
    let id = store::correction_insert(tx.conn, &correction)?;
    let mut poster = Poster::new();
    for (lot, part) in lots.iter().zip(parts) {
        lot_correct(tx, &mut poster, (id, on), lot, part)?;
    }
    correction_get(tx.conn, id)
}

/// The line, if one is corrected, and the lots concerned.
fn found(
    conn: &mut AnyConnection,
    of: CorrectionOf<'_>,
) -> Result<(Option<i64>, Vec<LotRow>), Error> {
    match of {
        CorrectionOf::Lot(id) => {
            let lot = store::lot_by_id(conn, id)?;
            Ok((None, vec![lot.ok_or_else(|| Error::not_found("lot", id))?]))
        }
        CorrectionOf::Line(order_no, line_no) => {
            let line_id = store::line_id(conn, order_no, &line_no.to_string())?;
            let line_id = line_id
                .ok_or_else(|| Error::not_found("order line", format!("{order_no}/{line_no}")))?;
            let lots = store::lots_of_line(conn, line_id)?;
            if lots.is_empty() {
                let detail = format!(
                    "line {line_no} of order \"{order_no}\" has not arrived: it is priced when it is received"
                );
                return Err(Error::refused(RefusalKind::WrongState, detail));
            }
            Ok((Some(line_id), lots))
        }
    }
}

/// The amount in the base currency, and the rate it was converted at.
fn converted(
    tx: &mut Tx<'_>,
    input: &PriceCorrectionIn,
    on: NaiveDate,
) -> Result<(Money, Option<QuotedRate>), Error> {
    let currency: Currency = input.currency(tx.base_currency);
    if currency == tx.base_currency {
        return Ok((input.amount, None));
    }
    let rate = match input.rate {
        Some(rate) => QuotedRate {
            rate,
            quote: Quote::BasePerForeign,
        },
        None => rate_on(tx.conn, currency, on)?.ok_or_else(|| {
            let detail = format!(
                "there is no exchange rate of {currency} on {on} or the 7 days before: send one, or enter it first"
            );
            Error::invalid("/rate", detail)
        })?,
    };
    let value = rate
        .to_base(input.amount)
        .map_err(|e| Error::invalid("/amount", e.to_string()))?;
    if value.is_zero() {
        let detail = format!(
            "{} {currency} is nothing in {}",
            input.amount, tx.base_currency
        );
        return Err(Error::invalid("/amount", detail));
    }
    Ok((value, Some(rate)))
}

/// A correction over lots by what they cost, or by quantity where they were free; refused below what they cost.
fn over_lots(conn: &mut AnyConnection, value: Money, lots: &[LotRow]) -> Result<Vec<Money>, Error> {
    let mut cost = Vec::with_capacity(lots.len());
    for lot in lots {
        let corrected = store::corrected_so_far(conn, lot.id)?;
        let corrected = Money::checked_sum(corrected.iter().map(|(_, amount)| *amount))?;
        cost.push(lot.landed.checked_add(corrected)?.micro().max(0));
    }
    let all = Money::checked_sum(cost.iter().map(|micro| Money::from_micro(*micro)))?;
    if value.checked_add(all)? < Money::ZERO {
        let detail = format!(
            "a credit of {} is more than the {all} that it cost",
            value.checked_neg()?
        );
        return Err(Error::invalid("/amount", detail));
    }
    if all.is_zero() {
        cost = lots.iter().map(|lot| lot.on_hand.micro().max(1)).collect();
    }
    let parts = apportion(value.micro(), &cost).map_err(Error::internal)?;
    Ok(parts.into_iter().map(Money::from_micro).collect())
}

/// Posts a lot's part of a correction to those who bear it.
fn lot_correct(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    (correction_id, on): (i64, NaiveDate),
    lot: &LotRow,
    part: Money,
) -> Result<(), Error> {
    if part.is_zero() {
        return Ok(());
    }
    let (fate, treatments) = fate(tx.conn, lot)?;
    let coats = store::coat_fates(tx.conn, &treatments)?;
    let shares = bearers(part, &fate, &coats)?;
    let casts: Vec<i64> = shares
        .iter()
        .filter_map(|(bearer, _)| match bearer {
            Bearer::Cast(id) => Some(*id),
            _ => None,
        })
        .collect();
    let charges = store::charges_of(tx.conn, &casts)?;
    let reason = format!("price correction {correction_id}");
    for (bearer, share) in shares {
        for (borne, amount) in payers(bearer, share, &charges)? {
            let share = NewShare {
                correction_id,
                lot_id: lot.id,
                borne,
                amount,
                on,
            };
            share_post(tx, poster, &share, &reason)?;
        }
    }
    Ok(())
}

/// What became of a lot, and the treatments that took of it.
fn fate(conn: &mut AnyConnection, lot: &LotRow) -> Result<(LotFate, Vec<i64>), Error> {
    let mut treatments = Vec::new();
    let mut went = Vec::new();
    for out in lot_outflow(conn, lot.id)? {
        let to = match (out.treatment_id, out.cast_id) {
            (Some(id), _) => {
                treatments.push(id);
                WentTo::Treatment(id)
            }
            (None, Some(id)) if !out.kind.is_loss() => WentTo::Cast(id),
            _ => WentTo::Loss,
        };
        went.push(Went {
            to,
            quantity: out.quantity,
            value: out.value,
        });
    }
    let fate = LotFate {
        quantity: lot.on_hand,
        value: lot.value,
        went,
        corrected: store::corrected_so_far(conn, lot.id)?,
    };
    Ok((fate, treatments))
}

/// A bearer's share, over those who pay for it.
fn payers(
    bearer: Bearer,
    share: Money,
    charges: &HashMap<i64, Vec<(i64, i64)>>,
) -> Result<Vec<(Borne, Money)>, Error> {
    let variance = |cast_id, grant_id| Borne::Variance { cast_id, grant_id };
    let Bearer::Cast(cast_id) = bearer else {
        let borne = match bearer {
            Bearer::Stock => Borne::Stock,
            Bearer::Waste => Borne::Waste,
            _ => variance(None, None),
        };
        return Ok(vec![(borne, share)]);
    };
    let Some(charged) = charges.get(&cast_id) else {
        return Ok(vec![(variance(Some(cast_id), None), share)]);
    };
    let weights: Vec<i64> = charged.iter().map(|(_, weight)| *weight).collect();
    let parts = apportion(share.micro(), &weights).map_err(Error::internal)?;
    let posted = charged.iter().zip(parts).filter(|(_, part)| *part != 0);
    Ok(posted
        .map(|((grant_id, _), part)| {
            (
                variance(Some(cast_id), Some(*grant_id)),
                Money::from_micro(part),
            )
        })
        .collect())
}

/// A correction as it stands.
///
/// # Errors
/// [`Error::NotFound`] without such a correction.
pub fn correction_get(conn: &mut AnyConnection, id: i64) -> Result<PriceCorrection, Error> {
    let page = Page {
        after: id.saturating_sub(1),
        limit: 0,
    };
    let found = correction_list(conn, page)?.into_iter().next();
    found
        .filter(|correction| correction.id == id)
        .ok_or_else(|| Error::not_found("price correction", id))
}

/// A page of corrections and one more, oldest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn correction_list(
    conn: &mut AnyConnection,
    page: Page,
) -> Result<Vec<PriceCorrection>, Error> {
    let rows = store::corrections_after(conn, (page.after, page.limit + 1))?;
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut shares = store::shares_of(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|row| PriceCorrection {
            id: row.id,
            order_no: row.order_no,
            line_no: row.line_no,
            lot: row.lot_id,
            amount: row.amount,
            currency: row.currency,
            rate: row.rate,
            value: row.value,
            corrected_on: row.corrected_on,
            reason: row.reason,
            actor: row.actor,
            recorded_at: instant(row.recorded_at),
            shares: shares.remove(&row.id).unwrap_or_default(),
        })
        .collect())
}
