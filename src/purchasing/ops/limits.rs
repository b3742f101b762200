//! How much of a file is read, as this process was told.

use crate::http::Service;
use crate::purchasing::csv_file::Limits;

/// The limits of files; the usual ones where the process was told nothing.
#[must_use]
pub fn csv_limits(service: &Service) -> Limits {
    service.part::<Limits>().copied().unwrap_or_default()
}
