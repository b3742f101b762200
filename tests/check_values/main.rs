//! The sums held against values from outside: published, or computed elsewhere; each with its source in the data files.

mod casting;
mod costing;
mod hostile;
mod purchasing;
mod reorder;
mod stock;
