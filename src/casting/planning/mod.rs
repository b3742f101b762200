//! Planning: from a recipe and a wish to everything a cast needs, with nothing written.
//!
//! Invariant: `load`, `charging_load`, `day_load`, `course_load`, `what_if_load` and `correct` read; the rest decides, purely, on what was read. Deliberately absent: promises (`life`)
//! and the choice of packs (stock).

pub(in crate::casting) mod bench_cautions;
pub mod charging;
pub(in crate::casting) mod charging_load;
pub mod coating;
pub(in crate::casting) mod coats_ahead;
pub mod correct;
pub mod correction;
pub mod correction_view;
pub mod course;
pub mod course_load;
pub mod course_request;
mod course_shelf;
pub mod course_view;
pub mod cure;
pub mod day;
mod day_load;
pub mod geometry;
pub mod leftovers;
pub(in crate::casting) mod load;
pub mod mixing;
mod needed;
pub mod plan;
pub mod plan_view;
pub mod request;
pub mod sizing;
pub mod taught_fill;
pub mod variations;
pub mod what_if;
pub mod what_if_load;
pub mod what_if_request;
pub mod what_if_view;
pub mod what_ifs;
