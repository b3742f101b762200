//! Reports held against the books, to the millionth.

use diesel::prelude::*;
use diesel::sql_types::BigInt;
use heeltap::base::Money;
use heeltap::costing::charges::ops::charges;
use heeltap::costing::charges::statement::Line;
use heeltap::costing::period::Period;
use heeltap::costing::replica_cost::grouping::GroupBy;
use heeltap::costing::replica_cost::ops::replica_cost;
use heeltap::costing::stock_value::flow::Flow;
use heeltap::costing::stock_value::grouping::StockBy;
use heeltap::costing::stock_value::ops::stock_value;
use heeltap::costing::stock_value::report::{StockRow, StockValue};
use heeltap::costing::waste::category::Category;
use heeltap::costing::waste::grouping::WasteBy;
use heeltap::costing::waste::ops::waste;
use heeltap::costing::waste::report::{WasteReport, WasteRow};
use heeltap::db::AnyConnection;

use super::TestApp;

#[derive(QueryableByName)]
struct Sum {
    #[diesel(sql_type = BigInt)]
    sum: i64,
}

/// What a statement of one number says.
fn books(conn: &mut AnyConnection, of: &str) -> i64 {
    let sql = format!("SELECT CAST(COALESCE({of}, 0) AS BIGINT) AS sum");
    let row: Result<Sum, _> = match conn {
        AnyConnection::Sqlite(conn) => diesel::sql_query(sql).get_result(conn),
        AnyConnection::Postgres(conn) => diesel::sql_query(sql).get_result(conn),
    };
    row.expect("the books must answer").sum
}

fn flow(row: &StockRow, flow: Flow) -> i64 {
    let found = row.flows.iter().find(|amount| amount.flow == flow);
    found.expect("every flow is there").exact.micro()
}

/// Proves that all reports over all time, however grouped, say what the books hold, and that months add up to it.
pub(crate) fn reconciled(app: &TestApp) {
    let read = app.service.db().read(|conn| {
        let stock = stock_agrees(conn);
        let cost = cost_agrees(conn);
        waste_agrees(conn, cost, &stock);
        charges_agree(conn, cost.0);
        months_add_up(conn);
        Ok(())
    });
    read.expect("the books must be read");
}

/// What a row says before rounding; printed, the columns of each grouping are sums of its own cells.
fn exact(row: &StockRow) -> Vec<i64> {
    let flows = row.flows.iter().map(|flow| flow.exact.micro());
    flows.chain([row.exact_closing.micro()]).collect()
}

fn euro() -> heeltap::base::Currency {
    heeltap::base::Currency::parse("EUR").expect("a currency")
}

fn stock_of(conn: &mut AnyConnection, period: Period, by: StockBy) -> StockValue {
    stock_value(conn, period, by, euro()).expect("the report must be made")
}

fn waste_of(conn: &mut AnyConnection, period: Period, by: WasteBy) -> WasteReport {
    waste(conn, period, by, euro()).expect("the report must be made")
}

/// The stock is worth what the lots hold; what was used is what casts and coats were given.
fn stock_agrees(conn: &mut AnyConnection) -> StockValue {
    let whole = stock_of(conn, Period::default(), StockBy::Material);
    for by in StockBy::ALL {
        let report = stock_of(conn, Period::default(), by);
        assert_eq!(
            exact(&report.total),
            exact(&whole.total),
            "by {}",
            by.as_str()
        );
        let rows: i64 = report
            .rows
            .iter()
            .map(|row| row.exact_closing.micro())
            .sum();
        assert_eq!(rows, report.total.exact_closing.micro());
        for row in report.rows.iter().chain([&report.total]) {
            let printed: i64 = row.flows.iter().map(|flow| flow.amount.micro()).sum();
            assert_eq!(printed, row.closing.micro(), "{}", row.key);
        }
    }
    let total = &whole.total;
    let held = books(conn, "(SELECT SUM(remaining_value_micro) FROM lots)");
    assert_eq!(total.exact_closing.micro(), held, "what the lots hold");
    let landed = books(conn, "(SELECT SUM(landed_cost_micro) FROM lots)");
    let brought = flow(total, Flow::Received) + flow(total, Flow::Corrected);
    assert_eq!(brought, landed, "what the lots cost");
    let pools: i64 = whole.pools.iter().map(|pool| pool.closing.micro()).sum();
    let pooled = books(conn, "(SELECT SUM(remaining_value_micro) FROM cost_pools)");
    assert_eq!(pools, pooled, "what the pools hold");
    let pool = |kind: &str| {
        let found = whole.pools.iter().find(|pool| pool.kind == kind);
        found.expect("every kind of pool is there")
    };
    let (coat, mold) = (pool("coat"), pool("mold"));
    let given =
        -flow(total, Flow::Used) - coat.filled.micro() - coat.drawn.micro() - mold.drawn.micro();
    let costs = books(conn, "(SELECT SUM(amount_micro) FROM cast_costs)");
    assert_eq!(
        given, costs,
        "ledger issues and pool issues are the costs of casts"
    );
    whole
}

/// Costs of demoulded casts and work in progress are all that is kept under casts. Returns cost and residue of the former.
fn cost_agrees(conn: &mut AnyConnection) -> (Money, Money) {
    let mut totals = Vec::new();
    for by in GroupBy::ALL {
        let report = replica_cost(conn, Period::default(), by, euro()).expect("a report");
        let costs = books(conn, "(SELECT SUM(amount_micro) FROM cast_costs)");
        let in_progress = report.work_in_progress.exact_total.micro();
        assert_eq!(report.total.exact_total.micro() + in_progress, costs);
        totals.push(report.total.exact_total);
    }
    totals.dedup();
    assert_eq!(totals.len(), 1, "{totals:?}");
    let residue = books(
        conn,
        "(SELECT SUM(amount_micro) FROM cast_costs JOIN casts ON casts.id = cast_id \
         WHERE demolded_on IS NOT NULL AND component = 'residue')",
    );
    (totals[0], Money::from_micro(residue))
}

/// The kinds of a row before rounding.
fn kinds(row: &WasteRow) -> Vec<(Category, i64)> {
    let amounts = row.amounts.iter();
    amounts
        .map(|kind| (kind.category, kind.exact.micro()))
        .collect()
}

fn in_casts(row: &WasteRow) -> i64 {
    row.exact_in_casts.micro()
}

fn waste_agrees(conn: &mut AnyConnection, (cost, residue): (Money, Money), stock: &StockValue) {
    let mut totals = Vec::new();
    for by in WasteBy::ALL {
        let report = waste_of(conn, Period::default(), by);
        assert_eq!(report.total.spent_on_casts, cost, "by {}", by.as_str());
        let spent: i64 = report
            .rows
            .iter()
            .map(|row| row.spent_on_casts.micro())
            .sum();
        assert_eq!(spent, cost.micro(), "by {}", by.as_str());
        let (exact, within): (Vec<i64>, Vec<i64>) = report
            .rows
            .iter()
            .map(|row| (row.exact_total.micro(), in_casts(row)))
            .unzip();
        assert_eq!(exact.iter().sum::<i64>(), report.total.exact_total.micro());
        assert_eq!(within.iter().sum::<i64>(), in_casts(&report.total));
        for row in report.rows.iter().chain([&report.total]) {
            let printed: i64 = row.amounts.iter().map(|kind| kind.amount.micro()).sum();
            assert_eq!(printed, row.total.micro(), "{}", row.key);
            assert!(in_casts(row) <= row.spent_on_casts.micro(), "{}", row.key);
        }
        totals.push((
            report.total.exact_total,
            report.total.exact_in_casts,
            kinds(&report.total),
        ));
    }
    totals.dedup();
    assert_eq!(
        totals.len(),
        1,
        "every grouping wastes the same: {totals:?}"
    );
    let (total, within, kinds) = &totals[0];
    assert!(*within >= residue);
    let wasted: i64 = stock.pools.iter().map(|pool| pool.wasted.micro()).sum();
    let corrected = books(
        conn,
        "(SELECT SUM(amount_micro) FROM price_shares WHERE kind = 'waste')",
    );
    let outside = total.micro() - within.micro();
    assert_eq!(
        outside,
        -flow(&stock.total, Flow::Lost) - wasted + corrected,
        "what was lost outside of casts"
    );
    let all: i64 = kinds.iter().map(|kind| kind.1).sum();
    assert_eq!(all, total.micro(), "{kinds:?}");
}

/// What is charged is what casts cost and corrections laid on them; what is to pay is what came from common stock.
fn charges_agree(conn: &mut AnyConnection, cost: Money) {
    let statement = charges(conn, Period::default(), euro()).expect("the statement must be made");
    let corrected = books(
        conn,
        "(SELECT SUM(amount_micro) FROM price_shares WHERE kind = 'price_variance')",
    );
    let total = &statement.total;
    assert_eq!(total.exact_charged.micro(), cost.micro() + corrected);
    let line = |line: Line| {
        let found = total.lines.iter().find(|amount| amount.line == line);
        found.expect("every line is there").exact.micro()
    };
    let crossed: i64 = statement
        .cross_charges
        .iter()
        .map(|cross| cross.exact.micro())
        .sum();
    assert_eq!(crossed, -line(Line::OwedByOthers));
    let paid = line(Line::PaidAlready) + line(Line::OwedByOthers);
    assert_eq!(
        total.exact_to_pay.micro(),
        total.exact_charged.micro() + paid
    );
}

/// Nothing falls between two months, and nothing counts in both.
fn months_add_up(conn: &mut AnyConnection) {
    let period = |from, to| Period::parse(from, to).expect("a period");
    let parts = [
        period(None, Some("2026-02-28")),
        period(Some("2026-03-01"), Some("2026-03-31")),
        period(Some("2026-04-01"), None),
    ];
    let (mut wasted, mut lost, mut closing) = (0, 0, 0);
    for part in parts {
        wasted += waste_of(conn, part, WasteBy::Grant)
            .total
            .exact_total
            .micro();
        let stock = stock_of(conn, part, StockBy::Grant).total;
        lost += flow(&stock, Flow::Lost);
        let opening = part.from().map_or(0, |_| closing);
        assert_eq!(flow(&stock, Flow::Opening), opening, "{part}");
        closing = stock.exact_closing.micro();
    }
    let whole = waste_of(conn, Period::default(), WasteBy::Grant).total;
    assert_eq!(wasted, whole.exact_total.micro());
    let whole = stock_of(conn, Period::default(), StockBy::Grant).total;
    assert_eq!(
        (lost, closing),
        (flow(&whole, Flow::Lost), whole.exact_closing.micro())
    );
}
