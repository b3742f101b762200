//! TLS by certificate files, their renewal, and what changes for browsers over it.

use std::fs;
use std::path::Path;

use heeltap::app::{self, Outside};
use heeltap::http::tls::{TlsFiles, certificates_turn};
use rcgen::{CertifiedKey, generate_simple_self_signed};
use reqwest::blocking::{Client, Response};
use reqwest::redirect::Policy;

use crate::support::{TestApp, TestDatabase};

/// Writes a new certificate for this machine's loopback address, with its key; what trusts it.
fn issue(folder: &Path) -> reqwest::Certificate {
    let names = vec!["127.0.0.1".to_owned()];
    let CertifiedKey { cert, signing_key } =
        generate_simple_self_signed(names).expect("a certificate");
    fs::write(folder.join("chain.pem"), cert.pem()).expect("a file");
    fs::write(folder.join("key.pem"), signing_key.serialize_pem()).expect("a file");
    reqwest::Certificate::from_pem(cert.pem().as_bytes()).expect("a certificate")
}

fn files(folder: &Path) -> TlsFiles {
    TlsFiles {
        certificate: folder.join("chain.pem"),
        key: folder.join("key.pem"),
    }
}

/// A client that trusts one certificate alone.
fn trusting(certificate: reqwest::Certificate) -> Client {
    heeltap::http::outbound::tls_ready();
    Client::builder()
        .tls_certs_only([certificate])
        .redirect(Policy::none())
        .no_proxy()
        .build()
        .expect("a client")
}

fn got(client: &Client, app: &TestApp, path: &str) -> Result<Response, reqwest::Error> {
    client.get(format!("https://{}{path}", app.address)).send()
}

#[test]
fn it_speaks_tls_with_the_files_it_is_given_and_takes_renewed_ones() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let first = trusting(issue(folder.path()));
    let app = TestApp::with(|settings| settings.tls = Some(files(folder.path())));
    let answer = got(&first, &app, "/healthz").expect("an answer over TLS");
    assert_eq!(answer.status(), 200);
    assert_eq!(
        answer.headers()["strict-transport-security"],
        "max-age=31536000"
    );
    let plain = Client::builder()
        .tls_certs_only([])
        .no_proxy()
        .build()
        .expect("a client");
    let plain = plain.get(format!("http://{}/healthz", app.address)).send();
    assert!(plain.is_err(), "nothing is answered in the clear");
    // Renewed files are taken; what trusts only the old ones is not answered any more.
    let second = trusting(issue(folder.path()));
    assert!(
        got(&second, &app, "/healthz").is_err(),
        "not before they are read"
    );
    certificates_turn(&app.service).expect("the new pair is right");
    assert!(got(&second, &app, "/healthz").is_ok());
    assert!(got(&trusting(issue(folder.path())), &app, "/healthz").is_err());
    // A pair that is not right is told, and what was in use stays so.
    fs::write(folder.path().join("key.pem"), "nonsense").expect("a file");
    let told = certificates_turn(&app.service)
        .expect_err("no key")
        .to_string();
    assert!(
        told.contains("HEELTAP_TLS_KEY") && told.contains("no private key"),
        "{told}"
    );
    assert!(got(&second, &app, "/healthz").is_ok());
}

#[test]
fn over_tls_the_cookie_is_for_this_host_and_for_tls_alone() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let client = trusting(issue(folder.path()));
    let app = TestApp::with(|settings| settings.tls = Some(files(folder.path())));
    let form = [("token", app.token()), ("next", "/")];
    let sign_in = client.post(format!("https://{}/sign-in", app.address));
    let answer = sign_in.form(&form).send().expect("an answer");
    assert_eq!(answer.status(), 303);
    let cookie = answer.headers()["set-cookie"]
        .to_str()
        .expect("a cookie")
        .to_owned();
    assert!(cookie.starts_with("__Host-heeltap_session="), "{cookie}");
    for part in ["HttpOnly", "SameSite=Lax", "Secure", "Path=/"] {
        assert!(
            cookie.split("; ").any(|found| found == part),
            "{part}: {cookie}"
        );
    }
    let pair = cookie.split(';').next().expect("a pair");
    let shelf = client
        .get(format!("https://{}/", app.address))
        .header("Cookie", pair);
    assert_eq!(shelf.send().expect("an answer").status(), 200);
    // What a browser would have kept over plain HTTP opens nothing here.
    let renamed = pair.replace("__Host-", "");
    let shelf = client
        .get(format!("https://{}/", app.address))
        .header("Cookie", renamed);
    assert_eq!(shelf.send().expect("an answer").status(), 303);
}

#[test]
fn files_that_do_not_fit_are_named_at_the_start() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let other = tempfile::TempDir::new().expect("a folder");
    issue(folder.path());
    issue(other.path());
    let database = TestDatabase::new();
    let told = |files: TlsFiles| {
        let mut settings = TestApp::settings(&database);
        settings.tls = Some(files);
        let opened = app::open(&settings, Outside::default());
        opened.err().expect("it must not open").to_string()
    };
    let missing = told(TlsFiles {
        certificate: folder.path().join("none.pem"),
        key: folder.path().join("key.pem"),
    });
    assert!(
        missing.contains("HEELTAP_TLS_CERTIFICATE") && missing.contains("none.pem"),
        "{missing}"
    );
    let swapped = told(TlsFiles {
        certificate: folder.path().join("key.pem"),
        key: folder.path().join("key.pem"),
    });
    assert!(swapped.contains("holds no certificate"), "{swapped}");
    let foreign = told(TlsFiles {
        certificate: folder.path().join("chain.pem"),
        key: other.path().join("key.pem"),
    });
    assert!(
        foreign.contains("HEELTAP_TLS_KEY") && foreign.contains("does not fit"),
        "{foreign}"
    );
}
