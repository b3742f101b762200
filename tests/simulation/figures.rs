//! Means over replications with their standard errors, and the printed table.

use heeltap::reorder::facts::ServiceMeasure;

use crate::shelf::Outcome;

/// The columns of [`line`].
pub(crate) const TABLE_HEAD: &str = "\
| ordering | cycle service | fill rate | mean stock, g | expired, g | orders | packs an order |
| --- | --- | --- | --- | --- | --- | --- |";

/// A mean and its standard error.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mean {
    pub(crate) mean: f64,
    pub(crate) error: f64,
}

/// Over all replications.
pub(crate) fn mean(values: impl Iterator<Item = f64>) -> Mean {
    let values: Vec<f64> = values.collect();
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Mean {
        mean,
        error: (squares / (count - 1.0) / count).sqrt(),
    }
}

pub(crate) fn over(outcomes: &[Outcome], figure: impl Fn(&Outcome) -> f64) -> Mean {
    mean(outcomes.iter().map(figure))
}

/// The service that is promised.
pub(crate) fn reached(outcomes: &[Outcome], measure: ServiceMeasure) -> Mean {
    match measure {
        ServiceMeasure::Cycle => over(outcomes, |one| one.cycle_service),
        ServiceMeasure::FillRate => over(outcomes, |one| one.fill_rate),
    }
}

/// The figures of one way of ordering.
pub(crate) fn line(name: &str, outcomes: &[Outcome]) -> String {
    let cycle = reached(outcomes, ServiceMeasure::Cycle);
    let fill = reached(outcomes, ServiceMeasure::FillRate);
    let stock = over(outcomes, |one| one.mean_stock_g);
    format!(
        "| {name} | {:.4} +- {:.4} | {:.4} +- {:.4} | {:.0} +- {:.0} | {:.0} | {:.1} | {:.2} |",
        cycle.mean,
        cycle.error,
        fill.mean,
        fill.error,
        stock.mean,
        stock.error,
        over(outcomes, |one| one.expired_g).mean,
        over(outcomes, |one| one.orders).mean,
        over(outcomes, |one| one.packs_per_order).mean,
    )
}
