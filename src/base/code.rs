//! The code by which a person and the API call a thing.
//!
//! Invariant: `[A-Za-z0-9._-]{1,64}`, and not `.` or `..`, which every web client removes from an
//! address before it is sent. Case matters. Deliberately absent: whether the code is taken (the stores
//! know).

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, de};

/// Longest code, in characters.
pub const CODE_MAX_CHARS: usize = 64;

/// The code of a material, kit, grant, cast or any other named thing.
///
/// ```
/// use heeltap::base::Code;
/// assert_eq!(Code::parse("base-10.kg")?.as_str(), "base-10.kg");
/// assert!(Code::parse("base 10").is_err());
/// # Ok::<(), heeltap::base::CodeError>(())
/// ```
#[derive(
    Clone,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    diesel::deserialize::FromSqlRow,
    diesel::expression::AsExpression,
)]
#[diesel(sql_type = diesel::sql_types::Text)]
#[serde(transparent)]
pub struct Code(
    /// Always 1 to 64 characters of `[A-Za-z0-9._-]`, and neither `.` nor `..`.
    String,
);

/// Why a text is not a code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{value}\" is not a code: use 1 to 64 of the characters A-Z a-z 0-9 . _ - (and neither \".\" nor \"..\" alone)"
)]
pub struct CodeError {
    /// The text, cut if long.
    pub value: String,
}

impl Code {
    /// Reads a code.
    ///
    /// # Errors
    /// [`CodeError`] naming the value and the rule.
    pub fn parse(text: &str) -> Result<Code, CodeError> {
        let allowed = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'_' | b'-');
        let good = (1..=CODE_MAX_CHARS).contains(&text.len())
            && text.bytes().all(allowed)
            && text != "."
            && text != "..";
        if good {
            Ok(Code(text.to_owned()))
        } else {
            let value = text.chars().take(CODE_MAX_CHARS).collect();
            Err(CodeError { value })
        }
    }

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The text, owned.
    #[must_use]
    pub fn into_string(self) -> String {
        self.0
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl AsRef<str> for Code {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl std::borrow::Borrow<str> for Code {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl std::str::FromStr for Code {
    type Err = CodeError;

    fn from_str(text: &str) -> Result<Code, CodeError> {
        Code::parse(text)
    }
}

impl<'de> Deserialize<'de> for Code {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Code, D::Error> {
        let text = String::deserialize(deserializer)?;
        Code::parse(&text).map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_rule_is_kept_at_its_edges() {
        assert!(Code::parse(&"a".repeat(64)).is_ok());
        assert!(Code::parse(&"a".repeat(65)).is_err());
        for bad in ["", ".", "..", "a/b", "ä", "a b", "a\n", "a%2F"] {
            assert!(Code::parse(bad).is_err(), "{bad:?}");
        }
        assert!(Code::parse("...").is_ok());
    }

    #[test]
    fn json_keeps_the_rule() {
        assert!(serde_json::from_str::<Code>("\"a-1\"").is_ok());
        let error = serde_json::from_str::<Code>("\"a b\"").map_err(|e| e.to_string());
        assert!(error.is_err_and(|e| e.contains("\"a b\" is not a code")));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            if let Ok(code) = Code::parse(&text) {
                prop_assert_eq!(code.as_str(), text);
            }
        }
    }
}
