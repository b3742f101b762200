//! What a row brings: its materials, how much of each a pack holds, who pays for it, and what its amounts are in the
//! base currency; or everything that is wrong with it against the books.
//!
//! Invariants: every fault is reported at its column; a fault says what would be right; a row in the base currency is
//! never converted, and one in another never without a rate. Deliberately absent: other rows of the file.

use chrono::NaiveDate;

use super::csv_file::CellError;
use super::facts::{GrantFacts, ImportFacts, ItemFacts, ItemKind, PartFacts};
use super::landed::LineAmounts;
use super::quoted::{QuotedRate, RATE_DAYS_BACK};
use super::rate::Quote;
use super::row::PurchaseRow;
use crate::base::{
    Code, MICRO_PER_UNIT, Micro, MicroError, Money, Quantity, Unit, convert_by_density,
};

/// Largest quantity of one line, in millionths of its unit.
const QUANTITY_MAX_MICRO: i64 = 1_000_000_000_000_000;

/// What a row brings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Goods {
    /// The material or kit.
    pub item_id: i64,
    /// The kit, if it is one.
    pub kit_id: Option<i64>,
    /// Its parts: one, or the two of a kit.
    pub parts: Vec<Part>,
    /// The grant that pays.
    pub funded_by_id: Option<i64>,
    /// Days from ordering to arrival, if known for the item.
    pub lead_time_days: Option<u32>,
    /// The mass of the whole line in g, where it is known.
    pub mass_g: Option<Quantity>,
}

/// A material of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// The material.
    pub material_id: i64,
    /// Its code.
    pub code: Code,
    /// What one pack holds of it, in its unit.
    pub pack_quantity: Quantity,
}

impl Goods {
    /// What one pack holds; none for a kit.
    #[must_use]
    pub fn pack_quantity(&self) -> Option<Quantity> {
        match (self.kit_id, self.parts.as_slice()) {
            (None, [part]) => Some(part.pack_quantity),
            _ => None,
        }
    }
}

/// What a row brings, by the books.
///
/// # Errors
/// Every [`CellError`]: an item or grant that is unknown or retired, a unit that does not fit, a supplier that is
/// retired, a day in a closed period.
pub fn goods_of(row: &PurchaseRow, facts: &ImportFacts) -> Result<Goods, Vec<CellError>> {
    let mut errors = Vec::new();
    check_supplier(row, facts, &mut errors);
    check_period(row, facts.closed_through, &mut errors);
    let funded_by_id = keep(grant_of(row, facts), &mut errors).flatten();
    let goods = keep(item_of(row, facts), &mut errors)
        .and_then(|item| keep(parts_of(row, item), &mut errors));
    match goods {
        Some(goods) if errors.is_empty() => Ok(Goods {
            funded_by_id,
            ..goods
        }),
        _ => Err(errors),
    }
}

fn keep<T>(result: Result<T, CellError>, errors: &mut Vec<CellError>) -> Option<T> {
    result.map_err(|error| errors.push(error)).ok()
}

fn check_supplier(row: &PurchaseRow, facts: &ImportFacts, errors: &mut Vec<CellError>) {
    let supplier = facts.suppliers.get(&row.supplier);
    if supplier.is_some_and(|supplier| supplier.retired) {
        let detail = "the supplier is retired: name one that is in use";
        errors.push(CellError::new("supplier", &row.supplier, detail));
    }
}

fn check_period(row: &PurchaseRow, closed_through: Option<NaiveDate>, errors: &mut Vec<CellError>) {
    let Some((day, closed)) = row.received_on.zip(closed_through) else {
        return;
    };
    if day <= closed {
        let detail = format!(
            "the books are closed through {closed}: what arrived on {day} cannot be entered on that day any more; use a day after {closed}"
        );
        errors.push(CellError::new("received_on", &day.to_string(), detail));
    }
}

fn grant_of(row: &PurchaseRow, facts: &ImportFacts) -> Result<Option<i64>, CellError> {
    let Some(code) = &row.funded_by else {
        return Ok(None);
    };
    let wrong = |detail: &str| CellError::new("funded_by", code.as_str(), detail);
    match facts.grants.get(code.as_str()) {
        None => Err(wrong(
            "there is no grant of this code: write the code of one, create it first, or leave the cell blank",
        )),
        Some(GrantFacts { retired: true, .. }) => {
            Err(wrong("the grant is retired: name one that is in use"))
        }
        Some(grant) => Ok(Some(grant.id)),
    }
}

fn item_of<'a>(row: &PurchaseRow, facts: &'a ImportFacts) -> Result<&'a ItemFacts, CellError> {
    let wrong = |detail: String| CellError::new("item", row.item.as_str(), detail);
    match facts.items.get(row.item.as_str()) {
        None => {
            let twin = facts
                .items
                .keys()
                .find(|code| code.eq_ignore_ascii_case(row.item.as_str()));
            Err(wrong(match twin {
                Some(code) => format!(
                    "there is no material or kit of this code; upper and lower case matter: write \"{code}\""
                ),
                None => "there is no material or kit of this code: write the code of one as the catalogue has it, or create it there first".to_owned(),
            }))
        }
        Some(item) if item.retired => Err(wrong(
            "it is retired, so that nothing of it is bought any more: name one that is in use"
                .to_owned(),
        )),
        Some(item) => Ok(item),
    }
}

fn parts_of(row: &PurchaseRow, item: &ItemFacts) -> Result<Goods, CellError> {
    let goods = |kit_id, parts, mass_g| Goods {
        item_id: item.id,
        kit_id,
        parts,
        funded_by_id: None,
        lead_time_days: item.lead_time_days,
        mass_g,
    };
    match &item.kind {
        ItemKind::Material {
            unit,
            density_g_per_ml,
        } => {
            let pack_quantity = row.pack_quantity(*unit, *density_g_per_ml)?;
            check_whole(row, *unit, pack_quantity)?;
            let mass_g = mass_of(pack_quantity, *unit, *density_g_per_ml, row.packs);
            let part = Part {
                material_id: item.id,
                code: item.code.clone(),
                pack_quantity,
            };
            Ok(goods(None, vec![part], mass_g))
        }
        ItemKind::Kit(parts) => {
            let kit_g = parts[0]
                .mass_g
                .checked_add(parts[1].mass_g)
                .map_err(|error| too_much(row, &error.to_string()))?;
            check_kit(row, kit_g)?;
            let part = |part: &PartFacts| Part {
                material_id: part.material_id,
                code: part.code.clone(),
                pack_quantity: part.mass_g,
            };
            let mass_g = mass_of(kit_g, Unit::G, None, row.packs);
            Ok(goods(
                Some(item.id),
                parts.iter().map(part).collect(),
                mass_g,
            ))
        }
    }
}

/// Things that are counted come whole.
fn check_whole(row: &PurchaseRow, unit: Unit, pack_quantity: Quantity) -> Result<(), CellError> {
    if unit != Unit::Each || pack_quantity.micro() % MICRO_PER_UNIT == 0 {
        return Ok(());
    }
    let written = row.pack.as_ref().map(|pack| pack.written.to_string());
    let detail = "this material is counted: a pack holds a whole number of it";
    Err(CellError::new(
        "pack_quantity",
        &written.unwrap_or_default(),
        detail,
    ))
}

/// A kit is counted in packs. Its content may be repeated where it cannot be misread: as 1 each, or as its mass.
fn check_kit(row: &PurchaseRow, kit_g: Quantity) -> Result<(), CellError> {
    let line = kit_g.micro().checked_mul(i64::from(row.packs));
    if line.is_none_or(|micro| micro > QUANTITY_MAX_MICRO) {
        return Err(too_much(row, "a line holds at most 1000000000 g"));
    }
    let Some(pack) = &row.pack else {
        return Ok(());
    };
    let one = pack.unit == Unit::Each && pack.quantity == Quantity::from_int(1);
    let whole = pack.unit == Unit::G && pack.quantity == kit_g;
    if one || whole {
        return Ok(());
    }
    let detail = format!(
        "a kit's content stands in the catalogue ({kit_g} g): leave pack_quantity and unit blank, and write the number of kits in packs"
    );
    Err(CellError::new(
        "pack_quantity",
        &pack.written.to_string(),
        detail,
    ))
}

fn too_much(row: &PurchaseRow, detail: &str) -> CellError {
    CellError::new("packs", &row.packs.to_string(), detail)
}

/// The mass of a line in g; none for what is counted, measured in metres, or a volume without a density.
fn mass_of(
    pack_quantity: Quantity,
    unit: Unit,
    density_g_per_ml: Option<Micro>,
    packs: u32,
) -> Option<Quantity> {
    let pack_g = match (unit, density_g_per_ml) {
        (Unit::G, _) => pack_quantity,
        (Unit::Ml, Some(density)) => {
            convert_by_density(pack_quantity.value(), "mL", Unit::G, density)
                .ok()?
                .quantity
        }
        _ => return None,
    };
    pack_g
        .micro()
        .checked_mul(i64::from(packs))
        .map(Quantity::from_micro)
}

/// The amounts of a row that was received on `day`, in the base currency, each rounded once.
///
/// # Errors
/// [`CellError`] at `rate` when there is none, or one where none belongs; at the amount that does not fit.
pub fn amounts_of(
    row: &PurchaseRow,
    day: NaiveDate,
    mass_g: Option<Quantity>,
    facts: &ImportFacts,
) -> Result<LineAmounts, CellError> {
    let rate = rate_of(row, day, facts)?;
    let base = |column: &str, amount: Money| match rate {
        Some(rate) => rate
            .to_base(amount)
            .map_err(|error| CellError::new(column, &amount.to_string(), error.to_string())),
        None => Ok(amount),
    };
    Ok(LineAmounts {
        price: base("line_price", row.line_price)?,
        tax: base("tax", row.tax_not_recovered())?,
        freight: base("freight", row.freight)?,
        duty: base("duty", row.duty)?,
        fees: base("fees", row.fees)?,
        mass_g,
        packs: row.packs,
    })
}

/// The rate to convert by; none for a row in the base currency.
fn rate_of(
    row: &PurchaseRow,
    day: NaiveDate,
    facts: &ImportFacts,
) -> Result<Option<QuotedRate>, CellError> {
    let (currency, base) = (row.currency, facts.base_currency);
    if currency == base {
        return match row.rate {
            Some(rate) if rate.to_string() != "1" => Err(CellError::new(
                "rate",
                &rate.to_string(),
                format!(
                    "the row is in {base}, the currency of the books: leave rate blank, or correct the currency"
                ),
            )),
            _ => Ok(None),
        };
    }
    let stated = row.rate.map(|rate| QuotedRate {
        rate,
        quote: Quote::BasePerForeign,
    });
    let found = stated.or_else(|| facts.rates.on(currency, day));
    found.map(Some).ok_or_else(|| {
        let detail = format!(
            "there is no exchange rate from {currency} to {base} for {day}, nor for the {RATE_DAYS_BACK} days before: write in rate how many {base} one {currency} cost that day, or enter the day's exchange rate first"
        );
        CellError::new("rate", "", detail)
    })
}

/// The sum of a row's amounts in the base currency.
///
/// # Errors
/// [`MicroError`] if it does not fit.
pub fn amounts_sum(amounts: &LineAmounts) -> Result<Money, MicroError> {
    Money::checked_sum([
        amounts.price,
        amounts.tax,
        amounts.freight,
        amounts.duty,
        amounts.fees,
    ])
}
