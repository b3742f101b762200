//! A supplier: who delivers.
//!
//! Purchases name suppliers by free text, so a code can be derived from a name. Invariant: the same text always
//! derives the same code, and two texts that differ in a character a code cannot hold derive different ones.
//! Deliberately absent: prices and past deliveries (purchasing).

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

use super::check::{Checks, DAYS_MAX};
use super::noun::{CatalogueBody, Noun};
use crate::base::{CODE_MAX_CHARS, Code, FieldError};

const NOTE_MAX_CHARS: usize = 2_000;
const EMAIL_MAX_CHARS: usize = 254;

/// A supplier, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::SupplierBody;
/// let supplier: SupplierBody = serde_json::from_value(serde_json::json!(
///     {"code": "sup-1", "name": "Supplier 1", "email": "orders at sup"}
/// ))?;
/// assert_eq!(supplier.check()[0].pointer, "/email");
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplierBody {
    /// The code; it never changes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// Days from ordering to arrival, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub lead_time_days: Option<u32>,
    /// Where orders are sent, if it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        max_length = 254,
        pattern = r"^[^@\s\x00-\x1f\x7f-\x9f<>,;]+@[^@\s\x00-\x1f\x7f-\x9f<>,;]+$"
    )]
    pub email: Option<String>,
    /// Anything else, at most 2000 characters.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000, pattern = r"^[^\x00-\x08\x0b-\x1f\x7f-\x9f]*$")]
    pub note: Option<String>,
}

impl SupplierBody {
    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        checks.count_if("/lead_time_days", self.lead_time_days, 0, DAYS_MAX);
        if let Some(email) = self.email.as_deref().filter(|email| !is_email(email)) {
            let shown: String = email.chars().take(40).collect();
            checks.wrong(
                "/email",
                format!(
                    "{shown:?} is not an e-mail address: send one such as \"orders@example.org\""
                ),
            );
        }
        if let Some(note) = &self.note {
            let odd = |c: char| c.is_control() && c != '\n' && c != '\t';
            if note.chars().count() > NOTE_MAX_CHARS || note.chars().any(odd) {
                checks.wrong(
                    "/note",
                    format!(
                        "the note has {} characters: send at most {NOTE_MAX_CHARS}, with no control characters but line ends and tabs",
                        note.chars().count()
                    ),
                );
            }
        }
        checks.done()
    }
}

/// A rough look: one `@` with something before it and a host after it. Only a delivery proves an address.
fn is_email(text: &str) -> bool {
    let odd = |c: char| c.is_whitespace() || c.is_control() || matches!(c, '<' | '>' | ',' | ';');
    text.chars().count() <= EMAIL_MAX_CHARS
        && !text.chars().any(odd)
        && text.split_once('@').is_some_and(|(local, host)| {
            !local.is_empty() && !host.is_empty() && !host.contains('@')
        })
}

/// The code under which a supplier of this name is created: what a code cannot hold becomes a hyphen, runs of hyphens
/// one. When more than blanks and punctuation of ASCII is lost, or the text is too long, a short hash keeps it apart.
///
/// ```
/// use heeltap::catalogue::supplier_code;
/// assert_eq!(supplier_code("North & Sons, Ltd.")?.as_str(), "North-Sons-Ltd.");
/// assert_ne!(supplier_code("Zürich")?, supplier_code("Zörich")?);
/// # Ok::<(), heeltap::base::CodeError>(())
/// ```
///
/// # Errors
/// [`CodeError`](crate::base::CodeError) when there is nothing to make a code of: an empty text, or only blanks.
pub fn supplier_code(name: &str) -> Result<Code, crate::base::CodeError> {
    let name = name.trim();
    let mut code = String::new();
    for c in name.chars() {
        let kept = c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-');
        let c = if kept { c } else { '-' };
        if !(c == '-' && code.ends_with('-')) {
            code.push(c);
        }
    }
    let code = code.trim_matches('-');
    match Code::parse(code) {
        Ok(code) if name.is_ascii() => Ok(code),
        Err(error) if name.is_empty() => Err(error),
        _ => {
            let hash = hex::encode(Sha256::digest(name.as_bytes()));
            let stem: String = code.chars().take(CODE_MAX_CHARS - 9).collect();
            let stem = if stem.is_empty() { "supplier" } else { &stem };
            Code::parse(&format!("{stem}-{}", &hash[..8]))
        }
    }
}

impl CatalogueBody for SupplierBody {
    const NOUN: Noun = Noun::Supplier;

    fn code(&self) -> &Code {
        &self.code
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn check(&self) -> Vec<FieldError> {
        self.check()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    #[track_caller]
    fn check(email: &str, note: &str, expected: &[&str]) {
        let body = json!({"code": "sup-1", "name": "S", "email": email, "note": note});
        let body: SupplierBody = serde_json::from_value(body).unwrap();
        let found: Vec<String> = body.check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn an_address_has_two_parts_and_a_note_an_end() {
        check("orders@example.org", "two\nlines", &[]);
        for bad in ["", "@", "a@", "@b", "a b@c", "a@b@c", "a@b,c@d"] {
            check(bad, "", &["/email"]);
        }
        check("a@b", &"x".repeat(2_001), &["/note"]);
        check("a@b", "bell\u{7}", &["/note"]);
    }

    #[track_caller]
    fn code(name: &str, expected: &str) {
        assert_eq!(supplier_code(name).unwrap().as_str(), expected);
    }

    #[test]
    fn a_name_becomes_a_code() {
        code("Lab Co", "Lab-Co");
        code("  Lab   Co  ", "Lab-Co");
        code("(Lab) / Co.", "Lab-Co.");
        code("a_b.c-d", "a_b.c-d");
        code("实验", "supplier-5e42855d");
        assert_eq!(supplier_code(&"a b".repeat(60)).unwrap().as_str().len(), 64);
        code("-.-", ".-c3ba3324");
        code("Zürich", "Z-rich-4251685e");
        assert!(supplier_code("").is_err());
        assert!(supplier_code("   ").is_err());
    }

    proptest! {
        #[test]
        fn any_name_has_a_code(name in "\\PC{1,200}") {
            prop_assert_eq!(supplier_code(&name).is_ok(), !name.trim().is_empty());
        }
    }
}
