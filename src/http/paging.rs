//! Lists in pages: a cursor on an immutable key, and a `Link` header to the next page (RFC 8288).

use actix_web::http::header::LINK;
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::limits::Limits;
use super::problem::{Answer, Problem};
use crate::base::Error;

/// The rows of a page of which nothing is said.
const ROWS_USUAL: i64 = 100;

/// The query of a list.
#[derive(Debug, Clone, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PageQuery {
    /// Where the page begins: the `next` of the page before.
    #[param(pattern = "^[0-9]{1,18}$")]
    pub cursor: Option<String>,
    /// How many rows at most, 1 to 1000 (or what this service allows); 100 unless said.
    #[param(minimum = 1, maximum = 1000)]
    pub limit: Option<i64>,
}

/// A page asked for: rows with an id above `after`, `limit` of them at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Page {
    /// The id after which the page begins.
    pub after: i64,
    /// The most rows.
    pub limit: i64,
}

impl PageQuery {
    /// The page meant.
    ///
    /// # Errors
    /// 400 when the cursor is none of ours, or the limit is less than 1 or beyond what `limits` allow.
    pub fn page(&self, limits: Limits) -> Result<Page, Problem> {
        let after = match self.cursor.as_deref() {
            None => 0,
            Some(text) => text
                .parse()
                .ok()
                .filter(|id| *id >= 0 && text.bytes().all(|b| b.is_ascii_digit()))
                .ok_or_else(|| Problem::bad_query(&format!("cursor `{text}` is not one that a list gave: take `next` from the page before")))?,
        };
        let limit = self.limit.unwrap_or(ROWS_USUAL.min(limits.page_rows));
        if !(1..=limits.page_rows).contains(&limit) {
            return Err(Problem::bad_query(&format!(
                "limit {limit} is out of range: 1 to {}",
                limits.page_rows
            )));
        }
        Ok(Page { after, limit })
    }
}

/// One page of a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct List<T> {
    /// The rows.
    pub items: Vec<T>,
    /// The cursor of the next page; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

impl<T: Serialize> List<T> {
    /// A page from rows fetched with one more than asked for, so that the last page is known.
    #[must_use]
    pub fn from_rows(mut rows: Vec<T>, page: Page, id: impl Fn(&T) -> i64) -> Self {
        let more = i64::try_from(rows.len()).unwrap_or(i64::MAX) > page.limit;
        rows.truncate(usize::try_from(page.limit).unwrap_or(usize::MAX));
        let next = rows
            .last()
            .filter(|_| more)
            .map(|last| id(last).to_string());
        Self { items: rows, next }
    }

    /// The response to the request for this list, with its `Link`: the same address with the cursor of the next page.
    ///
    /// # Errors
    /// As [`List::answer`].
    pub fn answer_to(&self, request: &HttpRequest) -> Answer {
        self.answer(&without_cursor(request.path(), request.query_string()))
    }

    /// The response, with its `Link`. `path_and_query` is the list's address without cursor, such as `/v1/lots?material=A`.
    ///
    /// # Errors
    /// A problem when a row cannot be written.
    pub fn answer(&self, path_and_query: &str) -> Answer {
        let mut response = HttpResponse::Ok();
        if let Some(next) = &self.next {
            let joint = if path_and_query.contains('?') {
                '&'
            } else {
                '?'
            };
            response.insert_header((
                LINK,
                format!("<{path_and_query}{joint}cursor={next}>; rel=\"next\""),
            ));
        }
        let body = serde_json::to_string(self).map_err(|e| Error::Internal(e.to_string()))?;
        Ok(response.content_type("application/json").body(body))
    }
}

fn without_cursor(path: &str, query: &str) -> String {
    let kept: Vec<&str> = query
        .split('&')
        .filter(|part| !part.is_empty() && !part.starts_with("cursor="))
        .collect();
    if kept.is_empty() {
        path.to_owned()
    } else {
        format!("{path}?{}", kept.join("&"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_last_page_has_no_next() {
        let page = Page { after: 0, limit: 2 };
        assert_eq!(
            List::from_rows(vec![1_i64, 2, 3], page, |id| *id)
                .next
                .as_deref(),
            Some("2")
        );
        assert_eq!(List::from_rows(vec![1_i64, 2], page, |id| *id).next, None);
    }

    #[track_caller]
    fn check(cursor: Option<&str>, limit: Option<i64>, expected: Option<Page>) {
        let query = PageQuery {
            cursor: cursor.map(str::to_owned),
            limit,
        };
        assert_eq!(query.page(Limits::default()).ok(), expected);
    }

    #[test]
    fn the_address_of_the_next_page_keeps_the_rest_of_the_query() {
        assert_eq!(
            without_cursor("/v1/lots", "cursor=7&material=a%20b&limit=2"),
            "/v1/lots?material=a%20b&limit=2"
        );
        assert_eq!(without_cursor("/v1/lots", "cursor=7"), "/v1/lots");
    }

    #[test]
    fn pages_asked_for() {
        check(
            None,
            None,
            Some(Page {
                after: 0,
                limit: 100,
            }),
        );
        check(
            Some("7"),
            Some(1000),
            Some(Page {
                after: 7,
                limit: 1000,
            }),
        );
        check(Some("-7"), None, None);
        check(Some("x"), None, None);
        check(None, Some(0), None);
        check(None, Some(1001), None);
    }

    proptest! {
        #[test]
        fn any_cursor_is_one_of_ours_or_named(text in "\\PC{0,30}|[-+]?[0-9]{0,25}") {
            let query = PageQuery { cursor: Some(text.clone()), limit: None };
            let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
            let expected = text.parse::<i64>().ok().filter(|_| digits);
            match query.page(Limits::default()) {
                Ok(page) => prop_assert_eq!(Some(page.after), expected),
                Err(problem) => prop_assert!(expected.is_none() && problem.to_string().contains(&text), "{}", problem),
            }
        }

        #[test]
        fn any_limit_is_taken_or_named(limit in prop_oneof![any::<i64>(), -5_i64..1_010]) {
            let query = PageQuery { cursor: None, limit: Some(limit) };
            match query.page(Limits::default()) {
                Ok(page) => prop_assert!(page.limit == limit && (1..=1_000).contains(&limit)),
                Err(problem) => prop_assert!(!(1..=1_000).contains(&limit) && problem.to_string().contains(&limit.to_string())),
            }
        }

        /// Page after page by `next`, each row comes once and in order.
        #[test]
        fn pages_together_are_the_whole_list(ids in prop::collection::btree_set(1_i64..1_000, 0..60), limit in 1_i64..20) {
            let all: Vec<i64> = ids.into_iter().collect();
            let (mut seen, mut cursor) = (Vec::new(), None);
            loop {
                let query = PageQuery { cursor, limit: Some(limit) };
                let page = query.page(Limits::default()).map_err(|e| TestCaseError::fail(e.to_string()))?;
                let fetched = usize::try_from(page.limit + 1).expect("a limit");
                let rows = all.iter().copied().filter(|id| *id > page.after).take(fetched).collect();
                let list = List::from_rows(rows, page, |id| *id);
                prop_assert!(list.items.len() <= 20 && (list.next.is_none() || list.items.len() as i64 == limit));
                seen.extend(list.items);
                cursor = list.next;
                if cursor.is_none() {
                    break;
                }
            }
            prop_assert_eq!(seen, all);
        }

        #[test]
        fn the_next_address_has_one_cursor(names in prop::collection::vec("cursor|[a-z]{1,6}", 0..6)) {
            let query: Vec<String> = names.iter().map(|name| format!("{name}=1")).collect();
            let address = without_cursor("/v1/lots", &query.join("&"));
            prop_assert!(!address.contains("cursor=1") || names.iter().any(|name| name != "cursor" && name.ends_with("cursor")));
            let kept = names.iter().filter(|name| *name != "cursor").count();
            prop_assert_eq!(address.matches('=').count(), kept);
        }
    }
}
