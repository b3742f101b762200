//! Orders as they are sent: the same fields as a row of a purchase file, in JSON, turned into such rows, so that both
//! ways meet the same reader and the same decision.
//!
//! Invariant: a fault in a cell comes back at the JSON pointer of the field that the cell was made of. Deliberately
//! absent: what is right and wrong (the reader and the decision know).

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::csv_file::{CellError, Table};
use super::identity::RowContent;
use super::landed::SpreadBasis;
use super::number::DecimalMark;
use super::rate::Rate;
use super::row::{COLUMNS, ReadContext, RowReading, read_row};
use crate::base::{Code, Currency, FieldError, Micro, Money};

/// An order to be placed.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderIn {
    /// Its number, 1 to 64 characters.
    #[schema(
        min_length = 1,
        max_length = 64,
        pattern = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\s][^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"
    )]
    pub order_no: String,
    /// Name or code of the supplier; one that is not known is created.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\s][^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"
    )]
    pub supplier: String,
    /// The day of the order.
    pub ordered_on: NaiveDate,
    /// Its lines.
    #[schema(min_items = 1)]
    pub lines: Vec<OrderLineIn>,
    /// That the same freight on every line is each line's own, and not the order's repeated.
    #[serde(default)]
    pub confirm_repeated_freight: bool,
    /// What freight, duty and fees are spread by.
    #[serde(default)]
    pub spread_by: SpreadBasis,
}

/// Defines a line of what is sent: its own fields, and those that only the invoice and the delivery say.
macro_rules! line {
    ($(#[$meta:meta])* $name:ident { $($(#[$field_meta:meta])* $field:ident: $kind:ty,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Deserialize, ToSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$field_meta])* pub $field: $kind,)*
            /// The supplier's lot code; needed once it is received.
            #[schema(max_length = 200, pattern = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$")]
            pub lot: Option<String>,
            /// The lot code that both parts of a kit share; the lot code unless said.
            #[schema(max_length = 200, pattern = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$")]
            pub kit_lot: Option<String>,
            /// When it expires.
            pub expires_on: Option<NaiveDate>,
            /// Freight; summed over the order.
            pub freight: Option<Money>,
            /// Duty; summed over the order.
            pub duty: Option<Money>,
            /// Fees; summed over the order.
            pub fees: Option<Money>,
            /// Tax of the line.
            pub tax: Option<Money>,
            /// Whether the tax is recovered, and so no part of the cost.
            pub tax_recoverable: Option<bool>,
            /// Units of the base currency for one unit of the line's currency.
            #[schema(value_type = Option<String>, pattern = r"^[0-9]+(\.[0-9]+)?$")]
            pub rate: Option<Rate>,
        }

        impl $name {
            /// The cell of a column; none where nothing was said or the column is another's.
            fn arrival_cell(&self, column: &str) -> Option<String> {
                match column {
                    "lot" => self.lot.clone(),
                    "kit_lot" => self.kit_lot.clone(),
                    "expires_on" => self.expires_on.map(|day| day.to_string()),
                    "freight" => self.freight.map(|amount| amount.to_string()),
                    "duty" => self.duty.map(|amount| amount.to_string()),
                    "fees" => self.fees.map(|amount| amount.to_string()),
                    "tax" => self.tax.map(|amount| amount.to_string()),
                    "tax_recoverable" => self.tax_recoverable.map(|is| is.to_string()),
                    "rate" => self.rate.map(|rate| rate.to_string()),
                    _ => None,
                }
            }
        }
    };
}

line! {
    /// A line of an order to be placed.
    OrderLineIn {
        /// Its number within the order, from 1.
        #[schema(minimum = 1, maximum = 999_999)]
        line_no: u32,
        /// Code of a material or kit.
        #[schema(value_type = Code)]
        item: String,
        /// Number of packs.
        #[schema(minimum = 1, maximum = 10_000)]
        packs: u32,
        /// What one pack holds; none for a kit.
        pack_quantity: Option<Micro>,
        /// The unit of that, such as g, kg, mL or each.
        unit: Option<String>,
        /// Price of the whole line.
        line_price: Money,
        /// The currency of every amount of the line; the base currency unless said.
        currency: Option<String>,
        /// When it arrived, if it has.
        received_on: Option<NaiveDate>,
        /// Code of the grant that pays.
        #[schema(value_type = Option<Code>)]
        funded_by: Option<String>,
    }
}

line! {
    /// The arrival of one line. What is not said stays as it was ordered.
    ReceiveLineIn {
        /// Its number within the order.
        line_no: u32,
    }
}

/// The arrival of lines that are on order.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReceiveIn {
    /// When they arrived.
    pub received_on: NaiveDate,
    /// The lines that arrived, whole.
    #[schema(min_items = 1)]
    pub lines: Vec<ReceiveLineIn>,
    /// That the same freight on every line is each line's own, and not the order's repeated.
    #[serde(default)]
    pub confirm_repeated_freight: bool,
    /// What freight, duty and fees are spread by.
    #[serde(default)]
    pub spread_by: SpreadBasis,
}

/// What is not to be cancelled whole.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CancelIn {
    /// The numbers of the lines to cancel; all that are on order unless said.
    pub lines: Option<Vec<u32>>,
}

fn text(value: Option<impl ToString>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

impl OrderIn {
    /// The order as rows of a file.
    #[must_use]
    pub fn readings(&self, today: NaiveDate, base: Currency) -> Vec<RowReading> {
        let cells = |line: &OrderLineIn| -> Vec<String> {
            let cell = |column: &str| match column {
                "order_no" => self.order_no.clone(),
                "supplier" => self.supplier.clone(),
                "ordered_on" => self.ordered_on.to_string(),
                "line_no" => line.line_no.to_string(),
                "item" => line.item.clone(),
                "packs" => line.packs.to_string(),
                "pack_quantity" => text(line.pack_quantity),
                "unit" => text(line.unit.as_ref()),
                "line_price" => line.line_price.to_string(),
                "currency" => line.currency.clone().unwrap_or_else(|| base.to_string()),
                "received_on" => text(line.received_on),
                "funded_by" => text(line.funded_by.as_ref()),
                other => line.arrival_cell(other).unwrap_or_default(),
            };
            COLUMNS.iter().map(|column| cell(column.name)).collect()
        };
        read(self.lines.iter().map(cells).collect(), today)
    }
}

impl ReceiveIn {
    /// The arrival as rows of a file: what was ordered, with what the delivery says.
    #[must_use]
    pub fn readings(&self, ordered: &[RowContent], today: NaiveDate) -> Vec<RowReading> {
        let cells = |(line, content): (&ReceiveLineIn, &RowContent)| -> Vec<String> {
            let cell = |column: &str| match column {
                "received_on" => self.received_on.to_string(),
                other => line
                    .arrival_cell(other)
                    .unwrap_or_else(|| content.get(other).to_owned()),
            };
            COLUMNS.iter().map(|column| cell(column.name)).collect()
        };
        read(self.lines.iter().zip(ordered).map(cells).collect(), today)
    }
}

/// One row of a purchase file that was typed cell by cell; `cell` gives the text of a column.
#[must_use]
pub fn typed_row(cell: impl Fn(&str) -> String, today: NaiveDate) -> Vec<RowReading> {
    let cells = COLUMNS.iter().map(|column| cell(column.name)).collect();
    read(vec![cells], today)
}

fn read(cells: Vec<Vec<String>>, today: NaiveDate) -> Vec<RowReading> {
    let context = ReadContext {
        decimal: DecimalMark::Point,
        today,
    };
    let table = Table::of_cells(COLUMNS, cells);
    table.rows().map(|row| read_row(row, &context)).collect()
}

/// The errors of the row at `index` at the fields they come from; `common` columns are fields of the whole.
pub(super) fn field_errors(index: usize, errors: &[CellError], common: &[&str]) -> Vec<FieldError> {
    let field = |error: &CellError| {
        let pointer = if common.contains(&error.column.as_str()) {
            format!("/{}", error.column)
        } else {
            format!("/lines/{index}/{}", error.column)
        };
        let detail = match error.value.as_str() {
            value if error.detail.contains(value) => error.detail.clone(),
            value => format!("{value}: {}", error.detail),
        };
        FieldError::new(pointer, detail)
    };
    errors.iter().map(field).collect()
}
