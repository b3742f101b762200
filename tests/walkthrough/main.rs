//! Runs the README's walk-through word for word: every `sh` block in one shell, in order, and each answer held against
//! the `json` or `text` block that follows it.
//!
//! The run itself is left to `.ci/walkthrough`, since the README's commands build a release and listen on the usual
//! port. Invariants: nothing of a block is changed, left out or repeated; what a block starts is ended with the run.

mod compare;
mod readme;

use std::ffi::OsString;
use std::fs;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use compare::{json_differs, text_differs};
use readme::{Kind, Step, steps};

/// How long the whole may take, a release build included.
const PATIENCE: Duration = Duration::from_secs(25 * 60);

/// The shell, in a process group of its own with all that it starts.
struct Shell(Child);

impl Drop for Shell {
    fn drop(&mut self) {
        let group = format!("kill -TERM -- -{} 2>/dev/null", self.0.id());
        // Fails when nothing is left to end, which is as well.
        let _ = Command::new("bash").args(["-c", &group]).status();
        let _ = self.0.wait();
    }
}

/// The script: each block as it stands, with its own files for what it prints. A server that is started in one block
/// goes on printing into that block's files.
fn script(steps: &[Step], folder: &Path) -> String {
    let mut script = String::from("set -e\n");
    for (at, step) in steps.iter().enumerate() {
        let out = folder.join(format!("{at}.out"));
        script += &format!("exec >'{0}' 2>'{0}.err'\n", out.display());
        script += &step.commands;
        script += &format!("\nprintf done >'{}.done'\n", out.display());
    }
    script
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap_or_default()
}

/// What differs in a step, or how it failed.
fn fault(step: &Step, at: usize, folder: &Path) -> Option<String> {
    let out = read(folder, &format!("{at}.out"));
    let problem = if read(folder, &format!("{at}.out.done")).is_empty() {
        Some("it did not succeed".to_owned())
    } else {
        match &step.shown {
            None => None,
            Some((Kind::Json, shown)) => json_differs(shown, &out),
            Some((Kind::Text, shown)) => text_differs(shown, &out),
        }
    };
    problem.map(|problem| {
        format!(
            "README line {}: {problem}\n--- commands\n{}\n--- output\n{out}\n--- errors\n{}",
            step.line,
            step.commands,
            read(folder, &format!("{at}.out.err"))
        )
    })
}

/// What `cargo test` tells of the package that it runs. A newcomer's shell has none of it, and the build scripts of libraries
/// that look at it would run again, and all that is built on them with them.
fn told_by_cargo() -> impl Iterator<Item = OsString> {
    std::env::vars_os().map(|(name, _)| name).filter(|name| {
        let name = name.to_string_lossy();
        name.starts_with("CARGO_PKG_") || name.starts_with("CARGO_MANIFEST_")
    })
}

#[test]
#[ignore = "builds a release and listens on the usual port: .ci/walkthrough runs it"]
fn the_walk_through_does_what_it_shows() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let steps = steps(&fs::read_to_string(root.join("README.md")).expect("the README"));
    assert!(steps.len() > 2, "the README has no walk-through");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("walk-through.sh");
    fs::write(&file, script(&steps, folder.path())).expect("the script");
    let mut bash = Command::new("bash");
    for name in told_by_cargo() {
        bash.env_remove(name);
    }
    let child = bash
        .args(["--noprofile", "--norc"])
        .arg(&file)
        .current_dir(root)
        // What the commands put into temporary folders goes when the run ends.
        .env("TMPDIR", folder.path())
        .stdin(Stdio::null())
        .process_group(0)
        .spawn()
        .expect("bash");
    let mut shell = Shell(child);
    let started = Instant::now();
    while shell.0.try_wait().expect("the shell's state").is_none() {
        assert!(
            started.elapsed() < PATIENCE,
            "the walk-through does not end"
        );
        std::thread::sleep(Duration::from_millis(100));
    }
    drop(shell);
    let faults = steps.iter().enumerate();
    if let Some(first) = faults
        .filter_map(|(at, step)| fault(step, at, folder.path()))
        .next()
    {
        panic!("{first}");
    }
}
