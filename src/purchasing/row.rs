//! One row of a purchase file, read into types, or everything that is wrong with it.
//!
//! Invariants: every bad cell of a row is reported, not the first; a cell is text until its column says
//! otherwise (`00123` and `1E5` stay as they are in a lot code); a blank cell is never a zero where a number
//! is needed. Deliberately absent: whether item, grant and supplier exist, and whether the row was imported
//! before (the import plan decides that).

use chrono::NaiveDate;

use super::cell::Reader;
use super::csv_file::{CellError, Column, FileError, FileFormat, Row, read_table};
use super::number::DecimalMark;
use super::pack::read_pack;
use super::rate::Rate;
use crate::base::{Code, Currency, Micro, Money, Quantity, Unit};

pub use super::cell::CellWarning;
pub use super::pack::PackContent;

const fn required(name: &'static str) -> Column {
    Column {
        name,
        required: true,
    }
}

const fn optional(name: &'static str) -> Column {
    Column {
        name,
        required: false,
    }
}

/// The columns of a purchase file. A required column must be there; whether its cells may be blank is said
/// at [`PurchaseRow`].
pub const COLUMNS: &[Column] = &[
    required("order_no"),
    required("line_no"),
    required("supplier"),
    required("ordered_on"),
    required("received_on"),
    required("item"),
    required("lot"),
    required("packs"),
    required("pack_quantity"),
    required("unit"),
    required("line_price"),
    required("currency"),
    required("freight"),
    required("expires_on"),
    optional("rate"),
    optional("duty"),
    optional("fees"),
    optional("tax"),
    optional("tax_recoverable"),
    optional("kit_lot"),
    optional("funded_by"),
];

/// Longest free text (supplier, lot, kit lot), in characters.
pub const TEXT_MAX_CHARS: usize = 200;

/// Longest order number, in characters.
pub const ORDER_NO_MAX_CHARS: usize = 64;

/// Largest line number of an order.
pub const LINE_NO_MAX: u32 = 999_999;

/// Most packs on one line; each is kept as a pack of its own.
pub const PACKS_MAX: u32 = 10_000;

/// What reading a row depends on besides the row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadContext {
    /// The decimal mark of the file, as its sender says.
    pub decimal: DecimalMark,
    /// Today's date at the installation; a purchase cannot have been ordered or received after it.
    pub today: NaiveDate,
}

/// A good row of a purchase file. Amounts are in `currency`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PurchaseRow {
    /// The physical line of the file, from 1.
    pub line: u64,
    /// Number of the order, 1 to 64 characters.
    pub order_no: String,
    /// Number of the line within the order, from 1.
    pub line_no: u32,
    /// Name or code of the supplier, 1 to 200 characters.
    pub supplier: String,
    /// The day it was ordered.
    pub ordered_on: NaiveDate,
    /// The day it was received; `None` while it is on order.
    pub received_on: Option<NaiveDate>,
    /// Code of the material or kit.
    pub item: Code,
    /// The supplier's lot code; always there once the line is received.
    pub lot: Option<String>,
    /// Number of packs, 1 to [`PACKS_MAX`].
    pub packs: u32,
    /// What one pack holds; `None` on a row of kits, which needs none.
    pub pack: Option<PackContent>,
    /// Price of the whole line, zero or more.
    pub line_price: Money,
    /// The currency of every amount of the row.
    pub currency: Currency,
    /// Freight; blank is zero.
    pub freight: Money,
    /// The day it expires.
    pub expires_on: Option<NaiveDate>,
    /// Units of the base currency for one unit of `currency`.
    pub rate: Option<Rate>,
    /// Duty; blank is zero.
    pub duty: Money,
    /// Fees; blank is zero.
    pub fees: Money,
    /// Tax of the line; blank is zero.
    pub tax: Money,
    /// Whether the tax is recovered, and so no part of the cost; always stated where there is tax.
    pub tax_recoverable: bool,
    /// The lot code of the kit the parts belong to.
    pub kit_lot: Option<String>,
    /// Code of the grant that paid for the lot.
    pub funded_by: Option<Code>,
}

impl PurchaseRow {
    /// The tax that is part of the cost.
    #[must_use]
    pub fn tax_not_recovered(&self) -> Money {
        if self.tax_recoverable {
            Money::ZERO
        } else {
            self.tax
        }
    }

    /// What one pack holds in the unit the material is kept in; between mass and volume by its density.
    ///
    /// # Errors
    /// [`CellError`] at `pack_quantity` or `unit`: blank, or a unit that cannot be turned into `to`.
    pub fn pack_quantity(
        &self,
        to: Unit,
        density_g_per_ml: Option<Micro>,
    ) -> Result<Quantity, CellError> {
        match &self.pack {
            Some(pack) => pack.quantity_in(to, density_g_per_ml, self.packs),
            None => {
                let detail = format!(
                    "a material needs what one pack holds, in {to} or a unit of the same kind"
                );
                Err(CellError::new("pack_quantity", "", detail))
            }
        }
    }
}

/// What reading one row gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowReading {
    /// The physical line of the file, from 1.
    pub line: u64,
    /// The row, or every error in it.
    pub row: Result<PurchaseRow, Vec<CellError>>,
    /// What was accepted but should be looked at.
    pub warnings: Vec<CellWarning>,
}

/// Reads a purchase file: every row, good or bad.
///
/// # Errors
/// [`FileError`] if the file as a whole cannot be used.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::purchasing::csv_file::FileFormat;
/// use heeltap::purchasing::number::DecimalMark;
/// use heeltap::purchasing::row::{ReadContext, read_purchases};
/// let file = b"order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n\
/// O-1,1,North Supply,2026-01-20,2026-02-03,base,00123,2,1.1,kg,179.00,eur,12.50,2027-02-01\n";
/// let context = ReadContext { decimal: DecimalMark::Point, today: NaiveDate::MAX };
/// let rows = read_purchases(file, &FileFormat::default(), &context)?;
/// let row = rows[0].row.as_ref().map_err(|errors| format!("{errors:?}"))?;
/// assert_eq!(row.lot.as_deref(), Some("00123"));
/// assert_eq!(row.pack.as_ref().map(|p| p.quantity.to_string()).as_deref(), Some("1100"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_purchases(
    bytes: &[u8],
    format: &FileFormat,
    context: &ReadContext,
) -> Result<Vec<RowReading>, FileError> {
    let table = read_table(bytes, COLUMNS, format)?;
    Ok(table.rows().map(|row| read_row(row, context)).collect())
}

/// Reads one row.
#[must_use]
pub fn read_row(row: Row<'_>, context: &ReadContext) -> RowReading {
    let line = row.line();
    if let Err(error) = row.check_width() {
        return RowReading {
            line,
            row: Err(vec![error]),
            warnings: Vec::new(),
        };
    }
    let mut reader = Reader::new(row, context.decimal);
    let read = read_cells(&mut reader, line, context);
    let (errors, warnings) = reader.finish();
    let row = match read {
        Some(row) if errors.is_empty() => Ok(row),
        _ => Err(errors),
    };
    RowReading {
        line,
        row,
        warnings,
    }
}

/// Whether whoever sends a request would take it out of its address, percent-encoded or not.
fn is_dots(order_no: &str) -> bool {
    matches!(order_no.trim(), "." | "..")
}

/// Reads every cell before giving up, so that all errors are known. `None` only with an error reported.
fn read_cells(reader: &mut Reader<'_>, line: u64, context: &ReadContext) -> Option<PurchaseRow> {
    let order_no = reader.needed_text("order_no", ORDER_NO_MAX_CHARS);
    if order_no.as_deref().is_some_and(is_dots) {
        let detail = "is what an address means a step by (RFC 3986), so that no order can be asked for by it: write another";
        reader.fail("order_no", detail);
    }
    let line_no = reader.needed_whole("line_no", LINE_NO_MAX);
    let supplier = reader.needed_text("supplier", TEXT_MAX_CHARS);
    let (ordered_on, received_on, expires_on) = read_dates(reader, context);
    let item = reader.needed_code("item");
    let lot = reader.text("lot", TEXT_MAX_CHARS);
    if received_on.is_some() && reader.is_blank("lot") {
        reader.fail(
            "lot",
            "a received line needs the supplier's lot code; where the goods carry none, write one of your own, such as the order number",
        );
    }
    let packs = reader.needed_whole("packs", PACKS_MAX);
    let pack = read_pack(reader, packs);
    let currency = reader.currency("currency");
    if reader.is_blank("line_price") {
        reader.fail(
            "line_price",
            "the price of the whole line is needed; a free sample costs 0",
        );
    }
    let line_price = reader.amount("line_price", currency);
    let freight = reader.amount("freight", currency);
    let duty = reader.amount("duty", currency);
    let fees = reader.amount("fees", currency);
    let tax = reader.amount("tax", currency);
    let recoverable = reader.yes_or_no("tax_recoverable");
    if tax.is_some_and(Money::is_positive) && reader.is_blank("tax_recoverable") {
        reader.fail(
            "tax_recoverable",
            "tax is given, so say whether it is recovered: yes (no part of the cost) or no",
        );
    }
    let rate = reader.rate("rate");
    let kit_lot = reader.text("kit_lot", TEXT_MAX_CHARS);
    let funded_by = reader.code("funded_by");
    Some(PurchaseRow {
        line,
        order_no: order_no?,
        line_no: line_no?,
        supplier: supplier?,
        ordered_on: ordered_on?,
        received_on,
        item: item?,
        lot,
        packs: packs?,
        pack,
        line_price: line_price?,
        currency: currency?,
        freight: freight?,
        expires_on,
        rate,
        duty: duty?,
        fees: fees?,
        tax: tax?,
        tax_recoverable: recoverable.unwrap_or(false),
        kit_lot,
        funded_by,
    })
}

/// The three dates and how they must follow each other.
fn read_dates(
    reader: &mut Reader<'_>,
    context: &ReadContext,
) -> (Option<NaiveDate>, Option<NaiveDate>, Option<NaiveDate>) {
    let today = context.today;
    if reader.is_blank("ordered_on") {
        reader.fail(
            "ordered_on",
            "the day of the order is needed, such as 2026-02-03",
        );
    }
    let ordered = reader.date("ordered_on");
    let received = reader.date("received_on");
    let expires = reader.date("expires_on");
    for (column, date) in [("ordered_on", ordered), ("received_on", received)] {
        if let Some(date) = date.filter(|date| *date > today) {
            reader.fail(column, format!("{date} is in the future; today is {today}"));
        }
    }
    if let (Some(ordered), Some(received)) = (ordered, received)
        && received < ordered
    {
        let detail = format!("{received} is before the day of the order, {ordered}");
        reader.fail("received_on", detail);
    }
    if let (Some(expires), Some(received)) = (expires, received)
        && expires < received
    {
        let detail = format!(
            "{expires} is before the day it was received, {received}: it is expired on arrival"
        );
        reader.warn("expires_on", detail);
    }
    (ordered, received, expires)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on,rate,duty,fees,tax,tax_recoverable,kit_lot,funded_by";
    const GOOD: [&str; 21] = [
        "O-1",
        "1",
        "North Supply",
        "2026-01-20",
        "2026-02-03",
        "base",
        "00123",
        "2",
        "1.1",
        "kg",
        "179.00",
        "EUR",
        "12.50",
        "2027-02-01",
        "",
        "",
        "",
        "",
        "",
        "",
        "",
    ];

    /// Reads a good row with some cells replaced.
    fn read_with(cells: &[(&str, &str)]) -> RowReading {
        let mut values: Vec<String> = GOOD.iter().map(|v| (*v).to_owned()).collect();
        for (column, value) in cells {
            let place = HEADER.split(',').position(|name| name == *column);
            values[place.unwrap_or(usize::MAX)] = format!("\"{value}\"");
        }
        let file = format!("{HEADER}\n{}\n", values.join(","));
        let today = NaiveDate::from_ymd_opt(2026, 6, 30).unwrap_or_default();
        let context = ReadContext {
            decimal: DecimalMark::Point,
            today,
        };
        match read_purchases(file.as_bytes(), &FileFormat::default(), &context) {
            Ok(mut rows) => rows.remove(0),
            Err(error) => panic!("{error}"),
        }
    }

    #[track_caller]
    fn good(cells: &[(&str, &str)]) -> PurchaseRow {
        match read_with(cells).row {
            Ok(row) => row,
            Err(errors) => panic!("{errors:?}"),
        }
    }

    #[track_caller]
    fn bad(cells: &[(&str, &str)], column: &str, part: &str) {
        match read_with(cells).row {
            Ok(row) => panic!("{row:?}"),
            Err(errors) => {
                let found = errors
                    .iter()
                    .any(|e| e.column == column && e.detail.contains(part));
                assert!(found, "{errors:?}");
            }
        }
    }

    #[test]
    fn a_good_row_is_read() {
        let row = good(&[]);
        assert_eq!(row.packs, 2);
        assert_eq!(
            row.pack_quantity(Unit::G, None),
            Ok(Quantity::from_int(1_100))
        );
        assert_eq!(row.line_price, Money::from_int(179));
        assert_eq!(row.freight.to_string(), "12.5");
        assert!(read_with(&[]).warnings.is_empty());
    }

    #[test]
    fn every_bad_cell_is_reported() {
        let reading = read_with(&[
            ("line_no", "0"),
            ("ordered_on", "03/04/2026"),
            ("item", "a b"),
            ("packs", "1.5"),
            ("unit", "oz"),
            ("line_price", "89.505"),
            ("freight", "x"),
            ("rate", "0"),
            ("tax_recoverable", "maybe"),
            ("funded_by", "?"),
            ("supplier", ""),
        ]);
        let columns: Vec<String> = reading
            .row
            .err()
            .unwrap_or_default()
            .into_iter()
            .map(|e| e.column)
            .collect();
        let mut sorted = columns.clone();
        sorted.sort();
        assert_eq!(
            sorted,
            [
                "freight",
                "funded_by",
                "item",
                "line_no",
                "line_price",
                "ordered_on",
                "packs",
                "rate",
                "supplier",
                "tax_recoverable",
                "unit"
            ]
        );
    }

    #[test]
    fn an_open_line_needs_no_lot_but_a_received_one_does() {
        let open = good(&[("received_on", ""), ("lot", ""), ("expires_on", "")]);
        assert_eq!((open.received_on, open.lot), (None, None));
        bad(&[("lot", "")], "lot", "needs the supplier's lot code");
    }

    #[test]
    fn dates_follow_each_other() {
        bad(
            &[("received_on", "2026-01-19")],
            "received_on",
            "before the day of the order",
        );
        bad(
            &[("received_on", "2026-07-01")],
            "received_on",
            "in the future; today is 2026-06-30",
        );
        let warned = read_with(&[("expires_on", "2026-02-02")]).warnings;
        assert!(warned.iter().any(|w| w.column == "expires_on"));
    }

    #[test]
    fn a_kit_row_needs_no_content() {
        assert_eq!(good(&[("pack_quantity", ""), ("unit", "")]).pack, None);
        assert_eq!(good(&[("pack_quantity", "1"), ("unit", "kit")]).pack, None);
        bad(
            &[("pack_quantity", "3"), ("unit", "kit")],
            "pack_quantity",
            "counted in packs",
        );
        bad(&[("unit", "")], "unit", "needs its unit");
        bad(&[("pack_quantity", "0")], "pack_quantity", "above zero");
        bad(
            &[("pack_quantity", "900000"), ("packs", "9999")],
            "pack_quantity",
            "at most 1000000000 g",
        );
    }

    #[test]
    fn units_must_suit_the_material() {
        let row = good(&[("unit", "L")]);
        assert!(
            row.pack_quantity(Unit::G, None)
                .is_err_and(|e| e.column == "unit")
        );
        let density = Micro::parse("1.03").ok();
        assert_eq!(
            row.pack_quantity(Unit::G, density),
            Ok(Quantity::from_int(1_133))
        );
    }

    #[test]
    fn tax_must_say_whether_it_is_recovered() {
        bad(
            &[("tax", "34.01")],
            "tax_recoverable",
            "say whether it is recovered",
        );
        let kept = good(&[("tax", "34.01"), ("tax_recoverable", "no")]);
        assert_eq!(kept.tax_not_recovered().to_string(), "34.01");
        let back = good(&[("tax", "34.01"), ("tax_recoverable", "Yes")]);
        assert_eq!(back.tax_not_recovered(), Money::ZERO);
    }

    #[test]
    fn text_is_kept_literally_and_odd_characters_are_noticed() {
        assert_eq!(good(&[("lot", "1E5")]).lot.as_deref(), Some("1E5"));
        assert_eq!(good(&[("supplier", "=1+1")]).supplier, "=1+1");
        let folded = read_with(&[("supplier", "North\r\nSupply")]);
        assert_eq!(
            folded.row.map(|r| r.supplier),
            Ok("North Supply".to_owned())
        );
        assert_eq!(folded.warnings.len(), 1);
        let hidden = read_with(&[("lot", "a\u{202e}b")]);
        assert!(hidden.row.is_ok() && hidden.warnings[0].detail.contains("U+202E"));
        bad(&[("lot", "a\u{7}b")], "lot", "control character U+0007");
        bad(&[("supplier", &"x".repeat(201))], "supplier", "at most 200");
        assert_eq!(
            good(&[("supplier", &"ä".repeat(200))])
                .supplier
                .chars()
                .count(),
            200
        );
    }

    #[test]
    fn an_error_repeats_no_more_than_the_start_of_a_value() {
        let long = "y".repeat(3_000);
        let errors = read_with(&[("item", &long), ("packs", &long)])
            .row
            .err()
            .unwrap_or_default();
        assert!(errors.len() == 2 && errors.iter().all(|e| e.value.chars().count() == 81));
        assert!(errors.iter().all(|e| e.detail.len() < 400));
    }

    proptest! {
        #[test]
        fn any_cells_are_read_or_refused(
            cells in prop::collection::vec("[-0-9a-zA-Z.,/ \u{a0}\u{202e}=€]{0,12}", 21),
        ) {
            let pairs: Vec<(&str, &str)> =
                HEADER.split(',').zip(cells.iter().map(String::as_str)).collect();
            if let Err(errors) = read_with(&pairs).row {
                prop_assert!(!errors.is_empty());
            }
        }

        #[test]
        fn one_odd_cell_is_read_or_refused(place in 0_usize..21, cell in "[^\"\u{0}]{0,20}") {
            let column = HEADER.split(',').nth(place).unwrap_or("item");
            if let Err(errors) = read_with(&[(column, &cell)]).row {
                prop_assert!(!errors.is_empty());
            }
        }
    }
}
