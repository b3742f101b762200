//! Strong entity tags from a row's version, and the `If-Match` that a change must carry (RFC 9110, sections 8.8.3 and 13.1.1).

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header::IF_MATCH;
use actix_web::{FromRequest, HttpRequest};

use super::problem::Problem;
use crate::base::Error;

/// The `If-Match` header of a request, if there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IfMatch(Option<String>);

/// The entity tag of a version.
pub(super) fn etag_text(version: i64) -> String {
    format!("\"{version}\"")
}

impl IfMatch {
    /// The header that names a version, or none.
    #[must_use]
    pub fn of(version: Option<i64>) -> Self {
        Self(version.map(etag_text))
    }

    /// The header that takes the thing as it is, whatever its version.
    #[must_use]
    pub fn any() -> Self {
        Self(Some("*".to_owned()))
    }

    /// Holds the header against the version that stands in the books.
    ///
    /// # Errors
    /// [`Error::PreconditionRequired`] without a header, [`Error::VersionMismatch`] when it names another version.
    pub fn check(&self, version: i64) -> Result<(), Error> {
        let header = self.0.as_deref().ok_or(Error::PreconditionRequired)?;
        let named = |tag: &str| tag.trim() == "*" || tag.trim() == etag_text(version);
        if header.split(',').any(named) {
            Ok(())
        } else {
            Err(Error::VersionMismatch { current: version })
        }
    }
}

impl FromRequest for IfMatch {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let header = request
            .headers()
            .get(IF_MATCH)
            .and_then(|value| value.to_str().ok());
        ready(Ok(Self(header.map(str::to_owned))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(header: Option<&str>, version: i64, expected: bool) {
        assert_eq!(
            IfMatch(header.map(str::to_owned)).check(version).is_ok(),
            expected
        );
    }

    #[test]
    fn if_match() {
        check(None, 1, false);
        check(Some("\"1\""), 1, true);
        check(Some("\"2\", \"3\""), 3, true);
        check(Some("W/\"3\""), 3, false);
        check(Some("*"), 7, true);
    }

    proptest! {
        #[test]
        fn a_version_is_taken_by_its_own_tag_alone(version in any::<i64>(), other in any::<i64>()) {
            prop_assert_eq!(IfMatch::of(Some(version)).check(other).is_ok(), version == other);
            prop_assert!(IfMatch::any().check(other).is_ok());
        }

        /// Tags in a list, between blanks, in any order (RFC 9110, section 13.1.1).
        #[test]
        fn one_of_a_list_is_enough(versions in prop::collection::vec(0_i64..20, 1..6), asked in 0_i64..20, blanks in "[ \t]{0,3}") {
            let tags: Vec<String> = versions.iter().map(|version| format!("{blanks}\"{version}\"{blanks}")).collect();
            prop_assert_eq!(IfMatch(Some(tags.join(","))).check(asked).is_ok(), versions.contains(&asked));
        }

        #[test]
        fn a_weak_tag_and_a_bare_number_never_match(version in any::<i64>()) {
            let (weak, bare) = (format!("W/\"{version}\""), version.to_string());
            prop_assert!(IfMatch(Some(weak)).check(version).is_err());
            prop_assert!(IfMatch(Some(bare)).check(version).is_err());
        }

        #[test]
        fn any_header_matches_or_not(text in "\\PC{0,40}", version in any::<i64>()) {
            let named = text.contains('*') || text.contains(&etag_text(version));
            prop_assert!(named || IfMatch(Some(text)).check(version).is_err());
        }
    }
}
