//! How long the released program takes for a page of the demo lab, and how long each page is.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::addresses::addresses;
use crate::support::Client;

/// How long the server may take for a page, on the machine of the checks.
const MOST: Duration = Duration::from_millis(20);
/// How long a page may be, in bytes.
const MOST_BYTES: usize = 100_000;
/// How often each page is asked for; the middle of the times counts.
const TIMES: usize = 9;

/// The demo, served by the released program, ended with its value.
struct Demo {
    child: Child,
    lines: Vec<String>,
}

impl Drop for Demo {
    fn drop(&mut self) {
        // Fails when it has ended already, which is what is wanted.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn demo(folder: &std::path::Path) -> Demo {
    let program = std::env::var("HEELTAP_RELEASE")
        .expect("HEELTAP_RELEASE must name the released program: see .ci/pages");
    let mut child = Command::new(program)
        .env_clear()
        .current_dir(folder)
        .args(["demo", "--listen", "127.0.0.1:0", "--log", "warn"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program must start");
    let out = BufReader::new(child.stdout.take().expect("standard output"));
    let lines = out.lines().map_while(Result::ok).take(3).collect();
    Demo { child, lines }
}

#[test]
#[ignore = "needs the released program: .ci/pages runs it"]
fn a_page_is_small_and_quick() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = demo(folder.path());
    let after = |line: usize, begin: &str| {
        let told = demo.lines[line].strip_prefix(begin);
        told.unwrap_or_else(|| panic!("{:?}", demo.lines))
            .to_owned()
    };
    let link = after(0, "open ").replace(" in a browser", "");
    let address = after(1, "listening on http://");
    let token = after(2, "administrator token: ");
    let client = Client::new(address.parse().expect("an address"), Some(token));
    // The client wants a provider of cryptography even where it never uses it.
    heeltap::http::outbound::tls_ready();
    let browser = reqwest::blocking::Client::builder()
        .cookie_store(true)
        .build()
        .expect("a browser");
    browser.get(link).send().expect("an answer");
    let mut faults = Vec::new();
    for path in addresses(&client) {
        let mut times = Vec::new();
        let mut bytes = 0;
        for _ in 0..TIMES {
            let started = Instant::now();
            let page = browser.get(format!("http://{address}{path}")).send();
            let page = page.expect("an answer");
            assert_eq!(page.status().as_u16(), 200, "{path}");
            bytes = page.text().expect("a page").len();
            times.push(started.elapsed());
        }
        times.sort();
        let middle = times[TIMES / 2];
        println!(
            "{path}: {bytes} bytes, {:.1} ms",
            middle.as_secs_f64() * 1e3
        );
        if bytes >= MOST_BYTES || middle >= MOST {
            faults.push(format!("{path}: {bytes} bytes in {middle:?}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
