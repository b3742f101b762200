//! Where a rate comes from: what somebody wrote, or what marks a rate as fetched.
//!
//! Invariant: a source that begins with [`FETCHED`] was written by a fetch and by nothing else, so that a fetch knows which
//! rates it may replace and which somebody entered. Deliberately absent: the fetch.

/// How the source of every fetched rate begins.
pub const FETCHED: &str = "fetched:";

/// Longest source, in characters.
pub const SOURCE_MAX_CHARS: usize = 200;

/// Whether a rate with this source was fetched, and may be replaced by a fetch.
///
/// ```
/// use heeltap::purchasing::rate_source::is_fetched;
/// assert!(is_fetched("fetched: rates.example"));
/// assert!(!is_fetched("the invoice"));
/// assert!(!is_fetched(""));
/// ```
#[must_use]
pub fn is_fetched(source: &str) -> bool {
    source.starts_with(FETCHED)
}

/// What is wrong with a source that somebody wrote, if anything.
///
/// ```
/// use heeltap::purchasing::rate_source::source_fault;
/// assert_eq!(source_fault("the invoice"), None);
/// assert!(source_fault("fetched: by hand").is_some_and(|fault| fault.contains("write another source")));
/// assert!(source_fault(&"x".repeat(201)).is_some());
/// ```
#[must_use]
pub fn source_fault(source: &str) -> Option<String> {
    let length = source.chars().count();
    if length > SOURCE_MAX_CHARS || source.chars().any(char::is_control) {
        return Some(format!(
            "has {length} characters: send at most {SOURCE_MAX_CHARS}, none of them a control character"
        ));
    }
    is_fetched(source).then(|| {
        format!("begins with \"{FETCHED}\", which marks the rates that are fetched and may be replaced by a fetch: write another source")
    })
}
