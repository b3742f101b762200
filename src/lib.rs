//! heeltap: inventory and cost for labs that cast replicas in two-part silicone elastomer.

pub mod base;
pub mod catalogue;
pub mod db;
pub mod http;
pub mod stock;
