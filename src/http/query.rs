//! The query of a request, read into a type. A parameter that is not understood is named with its value.

use std::future::{Ready, ready};
use std::ops::Deref;

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use serde::de::DeserializeOwned;

use super::problem::Problem;

/// The query of a request.
#[derive(Debug, Clone)]
pub struct Query<T>(T);

impl<T> Query<T> {
    /// What was read.
    #[must_use]
    pub fn into_inner(self) -> T {
        self.0
    }
}

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(
            parse(request.query_string())
                .map(Self)
                .map_err(|detail| Problem::bad_query(&detail)),
        )
    }
}

/// Reads a query, or says which parameter is wrong.
fn parse<T: DeserializeOwned>(query: &str) -> Result<T, String> {
    let pairs = || form_urlencoded::parse(query.as_bytes());
    let reader = serde_urlencoded::Deserializer::new(pairs());
    serde_path_to_error::deserialize(reader).map_err(|error| {
        let name = error.path().to_string();
        let given = pairs().find(|(given, _)| *given == name);
        match given {
            Some((_, value)) => format!("{name} `{value}`: {}", error.inner()),
            None => error.inner().to_string(),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Asked {
        limit: Option<u32>,
        day: Option<chrono::NaiveDate>,
    }

    /// Expected: the limit and the day, or what is said.
    #[track_caller]
    fn check(query: &str, expected: &str) {
        let shown = match parse::<Asked>(query) {
            Ok(asked) => format!("{:?} {:?}", asked.limit, asked.day),
            Err(said) => said,
        };
        assert!(shown.starts_with(expected), "{shown}");
    }

    #[test]
    fn a_parameter_that_is_wrong_is_named_with_its_value() {
        check("", "None None");
        check("limit=5&day=2026-03-02", "Some(5) Some(2026-03-02)");
        check("limit=many", "limit `many`: invalid digit");
        check("day=2026%2D13-01", "day `2026-13-01`: ");
        check("colour=red", "colour `red`: unknown field `colour`");
        check("limit=1&limit=2", "duplicate field `limit`");
    }

    #[derive(Debug, PartialEq, serde::Serialize, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Named {
        material: String,
        limit: Option<u32>,
        dry_run: Option<bool>,
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(material in any::<String>(), limit in any::<Option<u32>>(), dry_run in any::<Option<bool>>()) {
            let named = Named { material, limit, dry_run };
            let query = serde_urlencoded::to_string(&named).expect("a query");
            prop_assert_eq!(parse::<Named>(&query), Ok(named));
        }

        #[test]
        fn any_query_is_read_or_refused(query in "\\PC{0,40}|[a-z%=&+0-9]{0,40}|limit=\\PC{0,20}") {
            if let Err(said) = parse::<Asked>(&query) {
                prop_assert!(!said.is_empty());
            }
        }

        #[test]
        fn a_wrong_value_is_named_with_its_parameter(value in "[^0-9+]\\PC{0,12}") {
            let query: String = form_urlencoded::Serializer::new(String::new()).append_pair("limit", &value).finish();
            let said = parse::<Asked>(&query).err();
            prop_assert!(said.as_ref().is_some_and(|said| said.starts_with(&format!("limit `{value}`: "))), "{:?}", said);
        }

        #[test]
        fn an_unknown_parameter_is_named(name in "[a-z_]{1,10}") {
            prop_assume!(!["limit", "day"].contains(&name.as_str()));
            let said = parse::<Asked>(&format!("{name}=1")).err();
            prop_assert!(said.as_ref().is_some_and(|said| said.contains(&format!("`{name}`"))), "{:?}", said);
        }
    }
}
