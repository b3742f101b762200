//! Statements that take long are told to the log: their text, never the values that they were given.

use std::time::{Duration, Instant};

use diesel::connection::{Instrumentation, InstrumentationEvent};

/// Watches the statements of one connection.
pub(super) struct SlowStatements {
    longest: Duration,
    begun: Option<Instant>,
}

impl SlowStatements {
    /// Tells of statements that take longer than `longest`.
    pub(super) fn new(longest: Duration) -> Self {
        Self {
            longest,
            begun: None,
        }
    }
}

/// A statement as it is logged: without the values, which may be somebody's secret, on one line.
fn text_alone(shown: &str) -> String {
    let text = shown.split(" -- binds:").next().unwrap_or_default();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Instrumentation for SlowStatements {
    fn on_connection_event(&mut self, event: InstrumentationEvent<'_>) {
        match event {
            InstrumentationEvent::StartQuery { .. } => self.begun = Some(Instant::now()),
            InstrumentationEvent::FinishQuery { query, .. } => {
                let took = self.begun.take().map(|begun| begun.elapsed());
                if let Some(took) = took.filter(|took| *took > self.longest) {
                    let took_ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
                    let statement = text_alone(&query.to_string());
                    tracing::warn!(took_ms, statement, "a slow statement");
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::text_alone;

    #[test]
    fn a_statement_is_told_without_its_values() {
        let shown =
            "SELECT `id`\n  FROM `tokens` WHERE `hash` = ? -- binds: [\"secret -- binds: x\"]";
        assert_eq!(
            text_alone(shown),
            "SELECT `id` FROM `tokens` WHERE `hash` = ?"
        );
    }
}
