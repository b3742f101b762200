//! The real binary, run as a person would: its own process, ended by its own handle.

use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use tempfile::NamedTempFile;

use super::database::TestDatabase;

/// How long a process may take for anything.
const PATIENCE: Duration = Duration::from_secs(30);

/// A serving process.
pub(crate) struct Heeltap {
    child: Child,
    lines: Receiver<String>,
    /// The administrator's token, when this start made it.
    pub(crate) token: Option<String>,
    /// Where it listens.
    pub(crate) address: SocketAddr,
}

/// The binary with a clean environment, without standard input, on a database.
fn command(database: Option<&TestDatabase>, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_heeltap"));
    command.env_clear().stdin(Stdio::null()).args(arguments);
    if let Some(database) = database {
        // The address as it is, not as it is shown: that hides a password.
        command.env("DATABASE_URL", address(database));
    }
    command
}

fn address(database: &TestDatabase) -> String {
    match database.url() {
        heeltap::db::DatabaseUrl::Sqlite { path, .. } => format!("sqlite://{path}"),
        heeltap::db::DatabaseUrl::Postgres(address) => address.clone(),
    }
}

/// Runs a command to its end.
pub(crate) fn heeltap(database: Option<&TestDatabase>, arguments: &[&str]) -> Output {
    command(database, arguments)
        .output()
        .expect("the binary must start")
}

impl Heeltap {
    /// Serves on a free port.
    pub(crate) fn serve(database: &TestDatabase) -> Self {
        Self::serve_with(database, &[])
    }

    /// Serves on a free port, with further flags.
    pub(crate) fn serve_with(database: &TestDatabase, flags: &[&str]) -> Self {
        Self::serve_into(database, flags, Stdio::inherit())
    }

    /// Serves on a free port, with further flags; its log goes into a file.
    pub(crate) fn serve_logged(database: &TestDatabase, flags: &[&str]) -> (Self, NamedTempFile) {
        let log = NamedTempFile::new().expect("a file");
        let written = log.reopen().expect("the file");
        (Self::serve_into(database, flags, written.into()), log)
    }

    fn serve_into(database: &TestDatabase, flags: &[&str], log: Stdio) -> Self {
        let usual = ["serve", "--listen", "127.0.0.1:0"];
        let quiet: &[&str] = if flags.contains(&"--log") {
            &[]
        } else {
            &["--log", "warn"]
        };
        let mut child = command(Some(database), &[&usual, quiet, flags].concat())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .expect("the binary must start");
        let out = BufReader::new(child.stdout.take().expect("standard output"));
        let (told, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if told.send(line).is_err() {
                    return;
                }
            }
        });
        let mut token = None;
        let address = loop {
            let line = lines
                .recv_timeout(PATIENCE)
                .expect("it must say where it listens");
            if let Some(secret) = line.strip_prefix("administrator token: ") {
                token = Some(secret.to_owned());
            } else if let Some(address) = line.strip_prefix("listening on http://") {
                break address.parse().expect("an address");
            } else {
                panic!("an unknown line: {line}");
            }
        };
        Self {
            child,
            lines,
            token,
            address,
        }
    }

    /// The number of the process.
    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// Sends it a signal, such as `TERM`.
    pub(crate) fn signal(&self, name: &str) {
        let line = format!("kill -{name} {}", self.child.id());
        let sent = Command::new("sh").args(["-c", &line]).status();
        assert!(sent.expect("a shell").success());
    }

    /// Ends it as a power cut would.
    pub(crate) fn kill(mut self) {
        self.child.kill().expect("it must be running");
        self.child.wait().expect("its end");
    }

    /// Waits for its end; what it printed after its address comes along.
    pub(crate) fn ended(mut self) -> (ExitStatus, Vec<String>) {
        let started = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("its state") {
                break status;
            }
            assert!(started.elapsed() < PATIENCE, "it does not end");
            std::thread::sleep(Duration::from_millis(10));
        };
        (status, self.lines.iter().collect())
    }
}

impl Drop for Heeltap {
    fn drop(&mut self) {
        // Fails when it has ended already, which is what is wanted.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
