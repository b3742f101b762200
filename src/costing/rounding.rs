//! Printing amounts so that they add up: grand total, then rows, then cells, by largest remainder.
//!
//! Invariants: the printed total is the exact one rounded half to even; the printed rows add up to it, the cells of a
//! row to the row, and a column's total is the sum of its printed cells, so that both ways lead to the same grand total;
//! no printed figure is a whole minor unit or more away from the exact one, and one that needs no rounding keeps its
//! value. Deliberately absent: which amounts (the report knows).

use std::cmp::Reverse;

use crate::base::{Currency, Error, Money, round_half_even_div};

/// Rounds parts to whole units so that they add up to a total.
///
/// `exact` and `unit` (above 0) are in the same small unit, `total` counts whole `unit`s and is less than one away from
/// the exact sum. Every part is cut to the whole unit below it; what is left of the total goes, one unit each, to the
/// largest remainders, ties to the lowest index (Hamilton's method). A part without remainder stays as it is.
///
/// # Errors
/// [`Error::Internal`] when the total is not less than one unit away from the exact sum.
///
/// ```
/// use heeltap::costing::rounding::parts_adding_up;
/// // 0.334 + 0.333 + 0.333 = 1.000 in hundredths: 33 + 33 + 33 leave one over.
/// assert_eq!(parts_adding_up(&[334, 333, 333], 100, 10)?, [34, 33, 33]);
/// assert_eq!(parts_adding_up(&[-15, 20], 0, 10)?, [-2, 2]);
/// assert!(parts_adding_up(&[10, 10], 5, 10).is_err());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn parts_adding_up(exact: &[i128], total: i128, unit: i128) -> Result<Vec<i128>, Error> {
    let mut parts: Vec<i128> = exact.iter().map(|part| part.div_euclid(unit)).collect();
    let left = total - parts.iter().sum::<i128>();
    let mut by_remainder: Vec<usize> = (0..exact.len())
        .filter(|&at| exact[at].rem_euclid(unit) > 0)
        .collect();
    let reachable = usize::try_from(left).is_ok_and(|left| left <= by_remainder.len());
    if !reachable {
        return Err(Error::internal(format!(
            "parts cannot be rounded to a total of {total}: {left} units are left for {} remainders",
            by_remainder.len()
        )));
    }
    // The sort is stable, which is what sends ties to the lowest index.
    by_remainder.sort_by_key(|&at| Reverse(exact[at].rem_euclid(unit)));
    for (at, _) in by_remainder.into_iter().zip(0..left) {
        parts[at] += 1;
    }
    Ok(parts)
}

/// A row as it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedRow<const N: usize> {
    /// Its cells.
    pub cells: [Money; N],
    /// Their sum.
    pub total: Money,
}

/// A table as it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedTable<const N: usize> {
    /// The rows.
    pub rows: Vec<PrintedRow<N>>,
    /// The columns' totals and the grand total.
    pub total: PrintedRow<N>,
}

/// Rounds a table of exact amounts to the currency's minor unit (ISO 4217) so that rows and columns add up.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::{Currency, Money};
/// use heeltap::costing::rounding::print_table;
/// let exact = ["0.334", "0.333", "0.333"].map(|text| [Money::parse(text).unwrap_or_default()]);
/// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
/// let table = print_table(&exact, euro)?;
/// let printed: Vec<String> = table.rows.iter().map(|row| euro.format(row.total)).collect();
/// assert_eq!((printed, euro.format(table.total.total)), (vec!["0.34".into(), "0.33".into(), "0.33".into()], "1.00".into()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn print_table<const N: usize>(
    exact: &[[Money; N]],
    currency: Currency,
) -> Result<PrintedTable<N>, Error> {
    let unit = i128::from(currency.minor_unit_micro());
    let micro = |amount: &Money| i128::from(amount.micro());
    let sums: Vec<i128> = exact
        .iter()
        .map(|row| row.iter().map(micro).sum())
        .collect();
    let grand = round_half_even_div(sums.iter().sum(), unit).unwrap_or_default();
    let totals = parts_adding_up(&sums, grand, unit)?;
    let mut rows = Vec::with_capacity(exact.len());
    let mut columns = [0_i128; N];
    for (row, total) in exact.iter().zip(totals) {
        let cells = parts_adding_up(&row.map(|amount| micro(&amount)), total, unit)?;
        let mut printed = [Money::ZERO; N];
        for (at, cell) in cells.into_iter().enumerate() {
            columns[at] += cell;
            printed[at] = money(cell * unit)?;
        }
        rows.push(PrintedRow {
            cells: printed,
            total: money(total * unit)?,
        });
    }
    let mut cells = [Money::ZERO; N];
    for (cell, column) in cells.iter_mut().zip(columns) {
        *cell = money(column * unit)?;
    }
    let total = PrintedRow {
        cells,
        total: money(grand * unit)?,
    };
    Ok(PrintedTable { rows, total })
}

/// An amount of millionths as money.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of money.
///
/// ```
/// assert_eq!(heeltap::costing::rounding::money(1_500_000)?.to_string(), "1.5");
/// assert!(heeltap::costing::rounding::money(i128::MAX).is_err());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn money(micro: i128) -> Result<Money, Error> {
    i64::try_from(micro)
        .map(Money::from_micro)
        .map_err(|_| crate::base::MicroError::Overflow.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn currency(digits: u8) -> Currency {
        Currency::parse(["JPY", "", "EUR", "BHD", "UYW"][usize::from(digits)]).unwrap()
    }

    #[track_caller]
    fn check(exact: &[i128], total: i128, expected: &[i128]) {
        assert_eq!(parts_adding_up(exact, total, 100).unwrap(), expected);
    }

    #[test]
    fn remainders_decide_and_ties_go_to_the_lowest_index() {
        check(&[150, 150], 3, &[2, 1]);
        check(&[120, 170, 110], 4, &[1, 2, 1]);
        check(&[100, 250, 250], 6, &[1, 3, 2]);
        check(&[100, 200], 3, &[1, 2]);
        check(&[-150, -150], -3, &[-1, -2]);
        check(&[], 0, &[]);
    }

    #[test]
    fn a_total_that_is_not_theirs_is_refused() {
        assert!(parts_adding_up(&[150, 150], 5, 100).is_err());
        assert!(parts_adding_up(&[150, 150], 1, 100).is_err());
        assert!(parts_adding_up(&[], 1, 100).is_err());
    }

    #[test]
    fn a_row_may_be_rounded_away_from_its_own_nearest() {
        // Three rows of 0.004 are 0.012 together: one cent, in the first row.
        let exact = [[Money::from_micro(4_000)]; 3];
        let table = print_table(&exact, currency(2)).unwrap();
        let rows: Vec<i64> = table.rows.iter().map(|row| row.total.micro()).collect();
        assert_eq!(rows, [10_000, 0, 0]);
        assert_eq!(table.total.total.micro(), 10_000);
    }

    proptest! {
        #[test]
        fn a_printed_table_adds_up_and_stays_close(
            rows in prop::collection::vec(prop::array::uniform4(-3_000_000_i64..50_000_000_000), 0..20),
            digits in prop::sample::select(vec![0_u8, 2, 3, 4]),
        ) {
            let currency = currency(digits);
            let unit = currency.minor_unit_micro();
            let exact: Vec<[Money; 4]> = rows.iter().map(|row| row.map(Money::from_micro)).collect();
            let table = print_table(&exact, currency).map_err(|e| TestCaseError::fail(e.to_string()))?;
            let sum = |cells: &[Money]| cells.iter().map(|cell| cell.micro()).sum::<i64>();
            let mut columns = [0_i64; 4];
            for (printed, exact) in table.rows.iter().zip(&exact) {
                prop_assert_eq!(sum(&printed.cells), printed.total.micro());
                prop_assert!((printed.total.micro() - sum(exact)).abs() < unit);
                for (at, cell) in printed.cells.iter().enumerate() {
                    columns[at] += cell.micro();
                    prop_assert_eq!(cell.micro() % unit, 0);
                    let off = (cell.micro() - exact[at].micro()).abs();
                    prop_assert!(off < unit && (exact[at].micro() % unit != 0 || off == 0));
                }
            }
            prop_assert_eq!(columns.map(Money::from_micro), table.total.cells);
            prop_assert_eq!(columns.iter().sum::<i64>(), table.total.total.micro());
            let rows: Vec<Money> = table.rows.iter().map(|row| row.total).collect();
            prop_assert_eq!(sum(&rows), table.total.total.micro());
            let whole: i64 = exact.iter().map(|row| sum(row)).sum();
            prop_assert_eq!(table.total.total, currency.round_to_minor(Money::from_micro(whole)).unwrap());
        }
    }
}
