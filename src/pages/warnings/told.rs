//! How a warning is told: its day, its sentence, how grave it is, and where it is seen to.

use chrono::NaiveDate;

use crate::pages::words::day;
use crate::stock::warnings::Warning;

/// From this severity on, a warning is marked as grave.
const GRAVE: i32 = 3;

/// Whether it costs money or safety if ignored.
pub(in crate::pages) fn is_grave(warning: &Warning) -> bool {
    warning.severity >= GRAVE
}

/// Its day in words, such as `by Fri 4 Dec`, `today` or `since Mon 2 Mar`.
pub(in crate::pages) fn due(warning: &Warning, today: NaiveDate) -> String {
    match warning.due_on {
        None => "now".to_owned(),
        Some(on) if on == today => "today".to_owned(),
        Some(on) if on < today => format!("since {}", day(on, today)),
        Some(on) => format!("by {}", day(on, today)),
    }
}

/// Its sentence; the reason of an order does not say of what.
pub(in crate::pages) fn says(warning: &Warning) -> String {
    match warning.kind.as_str() {
        "order_by" => format!("{}: {}", warning.subject, warning.reason),
        _ => warning.reason.clone(),
    }
}

/// Where it is seen to: the address, and its words.
pub(in crate::pages) fn where_done(warning: &Warning) -> Option<(String, &'static str)> {
    let subject = &warning.subject;
    match warning.subject_noun.as_str() {
        "lot" => Some((format!("/lots/{subject}"), "The lot")),
        "cast" => Some((format!("/casts/{subject}"), "The cast")),
        "material" | "kit" => Some(("/buy".to_owned(), "What to buy")),
        "order_line" => Some(("/receive".to_owned(), "What is on order")),
        _ => None,
    }
}
