//! The driver of a real browser, on a free port of its own, ended with its value.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// Where Debian's package puts the driver.
const PROGRAM: &str = "chromedriver";

/// A driver that runs.
pub(crate) struct Driver {
    child: Child,
    /// Where it listens.
    pub(crate) address: String,
}

impl Driver {
    /// Starts it. `CHROMEDRIVER` names another program.
    pub(crate) fn start() -> Self {
        let program = std::env::var("CHROMEDRIVER").unwrap_or_else(|_| PROGRAM.to_owned());
        let mut child = Command::new(&program)
            .args(["--port=0"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("{program} does not start ({error}): .ci/pages installs it")
            });
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let port = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| {
                let (_, port) = line.split_once("started successfully on port ")?;
                port.trim_end_matches('.').parse::<u16>().ok()
            })
            .expect("the driver must say where it listens");
        // What it says later is of no interest, but must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        Self {
            child,
            address: format!("http://127.0.0.1:{port}"),
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Fails when it has ended already, which is what is wanted.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
