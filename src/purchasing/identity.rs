//! Whether a row was imported before: what counts as its content, and what changed.
//!
//! A row is named by `(order_no, line_no)`. Invariants: the content is what the row means, not how it was
//! written (`1.1 kg` and `1100 g`, `eur` and `EUR` are the same); its text is stable between versions, as
//! its first line says which version made it; equal contents have equal digests. Deliberately absent: the
//! database the contents are kept in.

use sha2::{Digest, Sha256};

use super::row::PurchaseRow;

/// The first line of a content's text; a new rule of writing gets a new number.
const VERSION: &str = "purchase row 1";

/// What a row may fill in when its line arrives, without being another line.
const ARRIVAL_COLUMNS: [&str; 10] = [
    "received_on",
    "lot",
    "kit_lot",
    "expires_on",
    "freight",
    "rate",
    "duty",
    "fees",
    "tax",
    "tax_recoverable",
];

/// The content of a row, column by column, in a fixed order and writing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowContent {
    /// Column and value; blank ones are kept, so that filling one in is a change. A column that a later
    /// version of this program adds is absent in older texts, and then counts as blank.
    columns: Vec<(String, String)>,
}

/// How a row stands to the one imported before under the same name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// The same content: there is nothing to do.
    Same,
    /// The line was on order and this row says that it arrived.
    Arrival,
    /// Another content: the columns that differ.
    Changed(Vec<String>),
}

/// A text that is no stored content.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the stored content of a purchase row is not readable: {0}")]
pub struct ContentError(pub String);

impl RowContent {
    /// The content of a row.
    #[must_use]
    pub fn of(row: &PurchaseRow) -> RowContent {
        fn text(value: Option<impl ToString>) -> String {
            value.map(|v| v.to_string()).unwrap_or_default()
        }
        let pack = row.pack.as_ref();
        let taxed = !row.tax.is_zero();
        let columns = [
            ("order_no", row.order_no.clone()),
            ("line_no", row.line_no.to_string()),
            ("supplier", row.supplier.clone()),
            ("ordered_on", row.ordered_on.to_string()),
            ("received_on", text(row.received_on)),
            ("item", row.item.to_string()),
            ("lot", text(row.lot.as_ref())),
            ("packs", row.packs.to_string()),
            ("pack_quantity", text(pack.map(|p| p.quantity))),
            ("unit", text(pack.map(|p| p.unit))),
            ("line_price", row.line_price.to_string()),
            ("currency", row.currency.to_string()),
            ("freight", row.freight.to_string()),
            ("expires_on", text(row.expires_on)),
            ("rate", text(row.rate)),
            ("duty", row.duty.to_string()),
            ("fees", row.fees.to_string()),
            ("tax", row.tax.to_string()),
            // Without tax the answer means nothing.
            (
                "tax_recoverable",
                text(taxed.then_some(row.tax_recoverable)),
            ),
            ("kit_lot", text(row.kit_lot.as_ref())),
            ("funded_by", text(row.funded_by.as_ref())),
        ];
        RowContent {
            columns: columns
                .into_iter()
                .map(|(column, value)| (column.to_owned(), value))
                .collect(),
        }
    }

    /// The text to keep: one `column=value` a line. No value holds a line break.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("{VERSION}\n");
        for (column, value) in &self.columns {
            text.push_str(column);
            text.push('=');
            text.push_str(value);
            text.push('\n');
        }
        text
    }

    /// Reads a text that was kept.
    ///
    /// # Errors
    /// [`ContentError`] if it is no such text.
    pub fn parse(text: &str) -> Result<RowContent, ContentError> {
        let mut lines = text.split_terminator('\n');
        let first = lines.next().unwrap_or_default();
        if first != VERSION {
            let shown: String = first.chars().take(40).collect();
            return Err(ContentError(format!("it begins with \"{shown}\"")));
        }
        let column = |line: &str| {
            line.split_once('=')
                .map(|(column, value)| (column.to_owned(), value.to_owned()))
                .ok_or_else(|| ContentError("a line has no '='".to_owned()))
        };
        let columns = lines.map(column).collect::<Result<_, _>>()?;
        Ok(RowContent { columns })
    }

    /// SHA-256 of the text.
    #[must_use]
    pub fn digest(&self) -> [u8; 32] {
        Sha256::digest(self.text()).into()
    }

    /// The value of a column; blank if it has none.
    #[must_use]
    pub fn get(&self, column: &str) -> &str {
        self.columns
            .iter()
            .find(|(name, _)| name == column)
            .map_or("", |(_, value)| value)
    }
}

/// The columns in which two contents differ, in the order of the newer one.
#[must_use]
pub fn changed_columns(old: &RowContent, new: &RowContent) -> Vec<String> {
    let known = new.columns.iter().map(|(column, _)| column);
    let gone = old
        .columns
        .iter()
        .map(|(column, _)| column)
        .filter(|column| !new.columns.iter().any(|(name, _)| name == *column));
    known
        .chain(gone)
        .filter(|column| old.get(column) != new.get(column))
        .cloned()
        .collect()
}

/// How `new` stands to `old`, the content imported before under the same order and line number.
///
/// A line on order (blank `received_on`) arrives when a later row gives the day; that row may also fill in lot,
/// kit lot, expiry, and what only the invoice says (rate, freight, duty, fees, tax). What was ordered, and
/// its price, must stay.
#[must_use]
pub fn compare(old: &RowContent, new: &RowContent) -> Comparison {
    let changed = changed_columns(old, new);
    if changed.is_empty() {
        return Comparison::Same;
    }
    let arrived = old.get("received_on").is_empty() && !new.get("received_on").is_empty();
    if arrived
        && changed
            .iter()
            .all(|c| ARRIVAL_COLUMNS.contains(&c.as_str()))
    {
        return Comparison::Arrival;
    }
    Comparison::Changed(changed)
}

/// Two rows of one file under the same order and line number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repeat {
    /// Place of the first in the list, from 0.
    pub first: usize,
    /// Place of the later one, from 0.
    pub later: usize,
    /// How the later one stands to the first.
    pub comparison: Comparison,
}

/// Every row that repeats the order and line number of an earlier one of the same file.
#[must_use]
pub fn repeats(rows: &[&PurchaseRow]) -> Vec<Repeat> {
    let mut seen = std::collections::HashMap::new();
    let mut found = Vec::new();
    for (later, row) in rows.iter().enumerate() {
        match seen.entry((row.order_no.as_str(), row.line_no)) {
            std::collections::hash_map::Entry::Vacant(entry) => {
                entry.insert(later);
            }
            std::collections::hash_map::Entry::Occupied(entry) => {
                let first = *entry.get();
                found.push(Repeat {
                    first,
                    later,
                    comparison: compare(&RowContent::of(rows[first]), &RowContent::of(row)),
                });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::purchasing::csv_file::FileFormat;
    use crate::purchasing::number::DecimalMark;
    use crate::purchasing::row::{ReadContext, read_purchases};
    use chrono::NaiveDate;

    const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on";
    const OPEN: &str = "O-1,1,North,2026-01-20,,base,,2,1.1,kg,179.00,EUR,,";
    const RECEIVED: &str =
        "O-1,1,North,2026-01-20,2026-02-03,base,L1,2,1.1,kg,179.00,EUR,12.50,2027-02-01";

    fn rows(lines: &[&str]) -> Vec<PurchaseRow> {
        let file = format!("{HEADER}\n{}\n", lines.join("\n"));
        let context = ReadContext {
            decimal: DecimalMark::Point,
            today: NaiveDate::MAX,
        };
        match read_purchases(file.as_bytes(), &FileFormat::default(), &context) {
            Ok(read) => read
                .into_iter()
                .map(|r| r.row.unwrap_or_else(|errors| panic!("{errors:?}")))
                .collect(),
            Err(error) => panic!("{error}"),
        }
    }

    fn compared(old: &str, new: &str) -> Comparison {
        let both = rows(&[old, new]);
        compare(&RowContent::of(&both[0]), &RowContent::of(&both[1]))
    }

    #[test]
    fn the_way_of_writing_is_no_content() {
        let other =
            "O-1,01, North ,2026-01-20,2026-02-03,base,L1,2.0,1100,g,179,eur,12.5,2027-02-01";
        assert_eq!(compared(RECEIVED, other), Comparison::Same);
        let both = rows(&[RECEIVED, other]);
        let digest = |row: &PurchaseRow| RowContent::of(row).digest();
        assert_eq!(digest(&both[0]), digest(&both[1]));
    }

    #[test]
    fn a_line_on_order_arrives() {
        assert_eq!(compared(OPEN, RECEIVED), Comparison::Arrival);
        let fewer = RECEIVED.replace(",2,1.1", ",1,1.1");
        assert_eq!(
            compared(OPEN, &fewer),
            Comparison::Changed(
                ["received_on", "lot", "packs", "freight", "expires_on"]
                    .map(str::to_owned)
                    .to_vec()
            )
        );
        // What has arrived cannot go back on order.
        assert!(matches!(compared(RECEIVED, OPEN), Comparison::Changed(_)));
    }

    #[test]
    fn another_content_names_its_columns() {
        let dearer = RECEIVED.replace("179.00", "180.00");
        assert_eq!(
            compared(RECEIVED, &dearer),
            Comparison::Changed(vec!["line_price".to_owned()])
        );
        let both = rows(&[RECEIVED, &dearer]);
        assert_ne!(
            RowContent::of(&both[0]).digest(),
            RowContent::of(&both[1]).digest()
        );
    }

    #[test]
    fn what_was_kept_is_read_back() {
        let row = &rows(&[&RECEIVED.replace("North", "A=B")])[0];
        let content = RowContent::of(row);
        assert_eq!(RowContent::parse(&content.text()), Ok(content));
        assert!(RowContent::parse("purchase row 2\n").is_err());
        assert!(RowContent::parse("purchase row 1\nx\n").is_err());
    }

    #[test]
    fn the_text_of_a_content_stays_as_it_is() {
        // Contents of this form are kept in databases: a change here needs a new version line.
        let row = &rows(&[RECEIVED])[0];
        let expected = "purchase row 1\norder_no=O-1\nline_no=1\nsupplier=North\nordered_on=2026-01-20\n\
            received_on=2026-02-03\nitem=base\nlot=L1\npacks=2\npack_quantity=1100\nunit=g\n\
            line_price=179\ncurrency=EUR\nfreight=12.5\nexpires_on=2027-02-01\nrate=\nduty=0\nfees=0\n\
            tax=0\ntax_recoverable=\nkit_lot=\nfunded_by=\n";
        assert_eq!(RowContent::of(row).text(), expected);
    }

    #[test]
    fn repeats_within_a_file_are_found() {
        let dearer = RECEIVED.replace("179.00", "180.00");
        let read = rows(&[RECEIVED, RECEIVED, &RECEIVED.replace("O-1", "O-2"), &dearer]);
        let found = repeats(&read.iter().collect::<Vec<_>>());
        let places: Vec<_> = found.iter().map(|r| (r.first, r.later)).collect();
        assert_eq!(places, [(0, 1), (0, 3)]);
        assert_eq!(found[0].comparison, Comparison::Same);
        assert!(matches!(found[1].comparison, Comparison::Changed(_)));
    }
}
