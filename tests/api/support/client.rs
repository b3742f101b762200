//! A small client over real HTTP, made for tests of a few lines.

use std::net::SocketAddr;
use std::sync::LazyLock;
use std::time::Duration;

use reqwest::Method;
use reqwest::blocking::{Client as Http, RequestBuilder};
use serde_json::Value;

static HTTP: LazyLock<Http> = LazyLock::new(|| {
    // The client wants a provider of cryptography even where it never uses it.
    heeltap::http::outbound::tls_ready();
    Http::builder()
        .tls_certs_only([])
        .timeout(Duration::from_secs(30))
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .build()
        .expect("a client")
});

/// Who asks: an address and a token.
#[derive(Clone)]
pub(crate) struct Client {
    base: String,
    token: Option<String>,
}

/// What was answered.
#[derive(Debug)]
pub(crate) struct Answer {
    /// The status.
    pub(crate) status: u16,
    /// The headers.
    pub(crate) headers: reqwest::header::HeaderMap,
    /// The body.
    pub(crate) text: String,
    asked: String,
}

impl Client {
    /// A client of the service at `address`.
    pub(crate) fn new(address: SocketAddr, token: Option<String>) -> Self {
        Self {
            base: format!("http://{address}"),
            token,
        }
    }

    /// Its token.
    pub(crate) fn token(&self) -> &str {
        self.token.as_deref().expect("this client has no token")
    }

    /// A request with the token, to be completed and given to `send`.
    pub(crate) fn request(&self, method: &str, path: &str) -> RequestBuilder {
        let method = Method::from_bytes(method.as_bytes()).expect("a method");
        let request = HTTP.request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    /// GET.
    pub(crate) fn get(&self, path: &str) -> Answer {
        send(self.request("GET", path))
    }

    /// POST of JSON.
    pub(crate) fn post(&self, path: &str, body: Value) -> Answer {
        send(self.request("POST", path).json(&body))
    }

    /// POST of JSON with an idempotency key.
    pub(crate) fn post_once(&self, path: &str, key: &str, body: Value) -> Answer {
        let request = self.request("POST", path).header("Idempotency-Key", key);
        send(request.json(&body))
    }

    /// POST of text as it is.
    pub(crate) fn post_text(&self, path: &str, content_type: &str, body: &str) -> Answer {
        let request = self.request("POST", path);
        send(
            request
                .header("Content-Type", content_type)
                .body(body.to_owned()),
        )
    }

    /// PATCH of JSON, with the entity tag that was read.
    pub(crate) fn patch(&self, path: &str, etag: &str, body: Value) -> Answer {
        send(
            self.request("PATCH", path)
                .header("If-Match", etag)
                .json(&body),
        )
    }

    /// DELETE.
    pub(crate) fn delete(&self, path: &str) -> Answer {
        send(self.request("DELETE", path))
    }
}

/// Sends a request.
pub(crate) fn send(request: RequestBuilder) -> Answer {
    let request = request.build().expect("a request");
    let asked = format!("{} {}", request.method(), request.url().path());
    let response = HTTP
        .execute(request)
        .unwrap_or_else(|e| panic!("{asked} was not answered: {e}"));
    Answer {
        status: response.status().as_u16(),
        headers: response.headers().clone(),
        text: response.text().expect("a body"),
        asked,
    }
}

impl Answer {
    /// The same answer, when it has the status; else the test ends with what was answered.
    #[track_caller]
    pub(crate) fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}: {}", self.asked, self.text);
        self
    }

    /// The body as JSON.
    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.text)
            .unwrap_or_else(|e| panic!("{}: {e}: {}", self.asked, self.text))
    }

    /// A header; empty when it is missing.
    pub(crate) fn header(&self, name: &str) -> &str {
        let value = self.headers.get(name);
        value.and_then(|v| v.to_str().ok()).unwrap_or_default()
    }

    /// The kind of a problem, such as `not-found`, with the status in its document checked.
    #[track_caller]
    pub(crate) fn problem(&self) -> String {
        let kind = self.header("content-type");
        assert_eq!(
            kind, "application/problem+json",
            "{}: {}",
            self.asked, self.text
        );
        let body = self.json();
        assert_eq!(body["status"], self.status, "{}", self.asked);
        let name = body["type"]
            .as_str()
            .and_then(|t| t.strip_prefix("urn:heeltap:problem:"));
        name.unwrap_or_else(|| panic!("no type: {body}")).to_owned()
    }

    /// The pointers of a problem's `errors`.
    #[track_caller]
    pub(crate) fn pointers(&self) -> Vec<String> {
        let body = self.json();
        let errors = body["errors"].as_array().cloned().unwrap_or_default();
        let text = |error: &Value| error["pointer"].as_str().unwrap_or_default().to_owned();
        errors.iter().map(text).collect()
    }

    /// What a problem says: its detail, and that of its first error if there is one.
    #[track_caller]
    pub(crate) fn detail(&self) -> String {
        let body = self.json();
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        format!(
            "{} {}",
            text(&body["detail"]),
            text(&body["errors"][0]["detail"])
        )
    }
}
