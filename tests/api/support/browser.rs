//! A browser as far as the tests of the pages need one: cookies, forms, and no redirect that is followed unseen.

use heeltap::http::Role;
use reqwest::blocking::{Client as Http, Response};
use reqwest::redirect::Policy;

use super::TestApp;

/// A browser with its cookies; it follows no redirect by itself.
pub(crate) struct Browser<'a> {
    pub(crate) app: &'a TestApp,
    pub(crate) http: Http,
}

/// An answer: its status, where it leads, its headers and its text.
pub(crate) struct Seen {
    pub(crate) status: u16,
    pub(crate) location: String,
    pub(crate) headers: reqwest::header::HeaderMap,
    pub(crate) text: String,
}

fn seen(response: Response) -> Seen {
    let (status, headers) = (response.status().as_u16(), response.headers().clone());
    let location = headers
        .get("location")
        .map_or("", |to| to.to_str().unwrap_or(""));
    Seen {
        status,
        location: location.to_owned(),
        headers: headers.clone(),
        text: response.text().expect("a text"),
    }
}

impl<'a> Browser<'a> {
    pub(crate) fn open(app: &'a TestApp) -> Self {
        // The client wants a provider of cryptography even where it never uses it.
        heeltap::http::outbound::tls_ready();
        let http = Http::builder()
            .cookie_store(true)
            .redirect(Policy::none())
            .build()
            .expect("a browser");
        Self { app, http }
    }

    pub(crate) fn signed_in(app: &'a TestApp) -> Self {
        Self::by_token(app, app.token())
    }

    /// Signed in with a token of a role.
    pub(crate) fn as_role(app: &'a TestApp, role: Role) -> Self {
        Self::by_token(app, app.role(role).token())
    }

    fn by_token(app: &'a TestApp, token: &str) -> Self {
        let browser = Self::open(app);
        let answer = browser.send("/sign-in", &[("token", token), ("next", "/")]);
        assert_eq!((answer.status, answer.location.as_str()), (303, "/"));
        browser
    }

    pub(crate) fn address(&self, path: &str) -> String {
        format!("http://{}{path}", self.app.address)
    }

    pub(crate) fn get(&self, path: &str) -> Seen {
        seen(self.http.get(self.address(path)).send().expect("an answer"))
    }

    /// Drops a purchase file on the page for it, with other fields.
    pub(crate) fn drop_file(
        &self,
        name: &str,
        file: impl AsRef<[u8]>,
        fields: &[(&str, &str)],
    ) -> Seen {
        let page = self.get("/receive").text;
        let mut form = vec![("form_key", form_key(&page))];
        form.extend(fields);
        self.send_parts("/receive/files", &form, Some((name, file.as_ref())))
    }

    /// Sends a form in parts, with a file. (The client's own way would bring a library of its own.)
    pub(crate) fn send_parts(
        &self,
        path: &str,
        fields: &[(&str, &str)],
        file: Option<(&str, &[u8])>,
    ) -> Seen {
        const BOUNDARY: &str = "a-line-that-stands-nowhere-else";
        let mut body = Vec::new();
        for (name, value) in fields {
            body.extend_from_slice(
                format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").as_bytes(),
            );
        }
        if let Some((name, file)) = file {
            body.extend_from_slice(
                format!(
                    "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\
                     Content-Type: text/csv\r\n\r\n"
                )
                .as_bytes(),
            );
            body.extend_from_slice(file);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(format!("--{BOUNDARY}--\r\n").as_bytes());
        let kind = format!("multipart/form-data; boundary={BOUNDARY}");
        let request = self
            .http
            .post(self.address(path))
            .header("content-type", kind);
        seen(request.body(body).send().expect("an answer"))
    }

    pub(crate) fn send(&self, path: &str, form: &[(&str, &str)]) -> Seen {
        let request = self.http.post(self.address(path)).form(form);
        seen(request.send().expect("an answer"))
    }
}

/// What a form of a page sends along.
pub(crate) fn form_key(page: &str) -> &str {
    let (_, rest) = page
        .split_once("name=\"form_key\" value=\"")
        .expect("a form");
    rest.split('"').next().expect("a key")
}
