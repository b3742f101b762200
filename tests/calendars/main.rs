//! The calendar of the demo lab, read by another library (icalendar, from PyPI) and held event by event against what the API
//! says of lots, casts and advice.
//!
//! The run itself is left to `.ci/calendars`, since it installs that library into an environment of its own. Invariant: the
//! real binary is asked over HTTP, as a calendar would ask it.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// The library and what it needs, at the versions that these tests were written with.
const LIBRARIES: [&str; 4] = [
    "icalendar==7.3.2",
    "python-dateutil==4.0.0",
    "typing_extensions==4.16.0",
    "tzdata==2026.6",
];

/// The demo, served until this is dropped.
struct Demo(Child);

impl Drop for Demo {
    fn drop(&mut self) {
        // Fails when it has ended already, which is what is wanted.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Demo {
    /// Serves the demo on a free port; its address and a token come along.
    fn start(database: &str) -> (Self, String, String) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_heeltap"))
            .args(["demo", "--listen", "127.0.0.1:0", "--log", "warn"])
            .env_clear()
            .env("DATABASE_URL", database)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the binary must start");
        let out = BufReader::new(child.stdout.take().expect("standard output"));
        let demo = Self(child);
        let (mut address, mut token) = (None, None);
        for line in out.lines() {
            let line = line.expect("a line");
            if let Some(said) = line.strip_prefix("listening on ") {
                address = Some(said.to_owned());
            }
            if let Some(said) = line.strip_prefix("administrator token: ") {
                token = Some(said.to_owned());
                break;
            }
        }
        let address = address.expect("it must say where it listens");
        (demo, address, token.expect("it must give a token"))
    }
}

fn done(command: &mut Command) {
    let status = command
        .status()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    assert!(status.success(), "{command:?} ended with {status}");
}

#[test]
#[ignore = "installs a library from PyPI: run by .ci/calendars"]
fn another_library_reads_what_the_api_says() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let environment = folder.path().join("python");
    done(
        Command::new("python3")
            .args(["-m", "venv"])
            .arg(&environment),
    );
    let python = environment.join("bin/python");
    done(
        Command::new(&python)
            .args(["-m", "pip", "install", "--quiet", "--no-deps"])
            .args(LIBRARIES),
    );
    let database = format!("sqlite://{}", folder.path().join("demo.sqlite3").display());
    let (_demo, address, token) = Demo::start(&database);
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/calendars/reread.py");
    done(
        Command::new(&python)
            .arg(script)
            .arg(address)
            .env("TOKEN", token),
    );
}
