//! Check values from outside the project, one file per room, each value beside its published source.

mod casting;
mod purchasing;
mod stock;
