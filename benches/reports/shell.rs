//! The bare limit: the same sums in SQL, run by the database's own shell and timed by it.
//!
//! Each statement is written in two ways, a row for each component and a column for each, and the quicker counts. Where
//! the shell is not installed, it runs through the program's connection, and the table says so.

use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use heeltap::base::Error;
use heeltap::casting::cost::Component;
use heeltap::costing::period::Period;
use heeltap::costing::replica_cost::grouping::GroupBy;
use heeltap::db::{DatabaseUrl, Db};

/// Where statements run.
pub(crate) enum Shell {
    /// The database's own, by program and arguments, and what it reads before statements.
    Own(&'static str, Vec<String>, &'static str),
    /// The program's own connection.
    Connection,
}

impl Shell {
    /// The shell of a database, when it is installed.
    pub(crate) fn of(url: &DatabaseUrl) -> Self {
        let own = match url {
            DatabaseUrl::Sqlite { path, .. } => Self::Own(
                "sqlite3",
                vec!["-batch".into(), "-readonly".into(), path.clone()],
                ".timer on\n",
            ),
            DatabaseUrl::Postgres(address) => {
                let quiet = ["-X", "-q", "-A", "-t"].map(str::to_owned);
                let arguments = quiet.into_iter().chain([address.clone()]).collect();
                Self::Own("psql", arguments, "\\timing on\n")
            }
        };
        match &own {
            Self::Own(program, ..) if installed(program) => own,
            _ => Self::Connection,
        }
    }

    /// What it is called.
    pub(crate) fn name(&self) -> &'static str {
        match self {
            Self::Own(program, ..) => program,
            Self::Connection => {
                "SQL through the program's connection, as the shell is not installed"
            }
        }
    }

    /// How long the quicker way of writing a statement takes: the median of several runs, once it is warm.
    pub(crate) fn time(&self, db: &Db, ways: &[String], runs: usize) -> Result<Duration, Error> {
        let mut best = Duration::MAX;
        for way in ways {
            let warm = self.times(db, way, 2)?[1];
            // A way that is far slower need not be measured well.
            if warm / 2 < best {
                best = best.min(super::median(&mut self.times(db, way, 1 + runs)?[1..]));
            }
        }
        Ok(best)
    }

    /// How long each run takes.
    fn times(&self, db: &Db, sql: &str, runs: usize) -> Result<Vec<Duration>, Error> {
        match self {
            Self::Own(program, arguments, first) => {
                let mut script = (*first).to_owned();
                for _ in 0..runs {
                    let _ = writeln!(script, "{sql};");
                }
                let said = run(program, arguments, &script).map_err(Error::internal)?;
                let times: Vec<Duration> = said.lines().filter_map(timed).collect();
                assert_eq!(times.len(), runs, "{program} timed something else");
                Ok(times)
            }
            Self::Connection => (0..runs)
                .map(|_| {
                    let start = Instant::now();
                    db.bare(|conn| Ok(conn.batch_execute(sql)?))?;
                    Ok(start.elapsed())
                })
                .collect(),
        }
    }
}

fn installed(program: &str) -> bool {
    let mut command = Command::new(program);
    command.arg("--version").stdout(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

fn run(program: &str, arguments: &[String], script: &str) -> std::io::Result<String> {
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()?;
    // The script fits into the pipe, so that the shell's answer need not be read at the same time.
    child
        .stdin
        .take()
        .expect("a pipe")
        .write_all(script.as_bytes())?;
    let output = child.wait_with_output()?;
    assert!(output.status.success(), "{program} failed");
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// The time that a line of the shell tells: `Run Time: real 1.234 user …` in seconds, or `Time: 1234.567 ms` .
fn timed(line: &str) -> Option<Duration> {
    let (text, unit_s) = match line.strip_prefix("Run Time: real ") {
        Some(text) => (text, 1.0),
        None => (line.strip_prefix("Time: ")?, 0.001),
    };
    let number: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(Duration::from_secs_f64(number * unit_s))
}

/// What a report sums, in SQL, in two ways.
pub(crate) fn sums(url: &DatabaseUrl, by: GroupBy, period: Period) -> [String; 2] {
    let key = match (by, url.is_sqlite()) {
        (GroupBy::Grant, _) => "cast_costs.grant_id",
        (GroupBy::Month, true) => "substr(casts.demolded_on, 1, 7)",
        (GroupBy::Month, false) => "date_trunc('month', casts.demolded_on)",
        (GroupBy::Recipe, _) => "casts.recipe_id",
        // By material the report reads cast by cast too.
        (GroupBy::Cast | GroupBy::Material, _) => "cast_costs.cast_id",
    };
    let (first, last) = period.days();
    let from = format!(
        "FROM cast_costs JOIN casts ON casts.id = cast_costs.cast_id WHERE casts.demolded_on BETWEEN '{first}' AND '{last}'"
    );
    let columns: Vec<String> = Component::ALL
        .into_iter()
        .map(|component| {
            let word = component.as_str();
            format!("SUM(amount_micro) FILTER (WHERE component = '{word}')")
        })
        .collect();
    [
        format!("SELECT {key}, component, SUM(amount_micro) {from} GROUP BY {key}, component"),
        format!("SELECT {key}, {} {from} GROUP BY {key}", columns.join(", ")),
    ]
}
