//! The calendar file (RFC 5545, with the name and the hints of RFC 7986).
//!
//! Invariants: an event is of a whole day and takes nobody's time; its end is the day after, as the end is exclusive; the
//! same events and stamp give the same bytes. Deliberately absent: time zones (there are only days), a method (nobody is
//! invited).

use chrono::{DateTime, NaiveDate, Utc};

use super::content_lines::ContentLines;
use super::events::Event;

/// What the calendar is called where it is shown.
const NAME: &str = "heeltap";

/// How often a calendar is asked to look again.
const REFRESH: &str = "PT1H";

/// The file. `stamp` is the instant that the events are of.
#[must_use]
pub fn feed_text(events: &[Event], stamp: DateTime<Utc>) -> String {
    let mut lines = ContentLines::default();
    lines.put("BEGIN", "VCALENDAR");
    lines.put("VERSION", "2.0");
    lines.put(
        "PRODID",
        concat!("-//heeltap//heeltap ", env!("CARGO_PKG_VERSION"), "//EN"),
    );
    lines.put("CALSCALE", "GREGORIAN");
    lines.put_text("NAME", NAME);
    lines.put("REFRESH-INTERVAL;VALUE=DURATION", REFRESH);
    // The two of common practice, for calendars older than RFC 7986.
    lines.put_text("X-WR-CALNAME", NAME);
    lines.put("X-PUBLISHED-TTL", REFRESH);
    for event in events {
        event_put(&mut lines, event, stamp);
    }
    lines.put("END", "VCALENDAR");
    lines.into_text()
}

fn event_put(lines: &mut ContentLines, event: &Event, stamp: DateTime<Utc>) {
    lines.put("BEGIN", "VEVENT");
    lines.put_text("UID", &event.uid);
    lines.put("DTSTAMP", &stamp.format("%Y%m%dT%H%M%SZ").to_string());
    lines.put("DTSTART;VALUE=DATE", &date(event.on));
    if let Some(end) = event.on.succ_opt() {
        lines.put("DTEND;VALUE=DATE", &date(end));
    }
    if let Some(sequence) = event.sequence {
        lines.put("SEQUENCE", &sequence.to_string());
    }
    lines.put_text("SUMMARY", &event.summary);
    lines.put_text("DESCRIPTION", &event.description);
    lines.put_text("CATEGORIES", event.category.word());
    lines.put(
        "STATUS",
        match event.tentative {
            true => "TENTATIVE",
            false => "CONFIRMED",
        },
    );
    lines.put("TRANSP", "TRANSPARENT");
    lines.put("END", "VEVENT");
}

fn date(day: NaiveDate) -> String {
    day.format("%Y%m%d").to_string()
}

#[cfg(test)]
mod tests {
    use super::super::events::events;
    use super::super::events::tests::{day, facts};
    use super::*;

    #[test]
    fn a_file_of_one_event_word_for_word() {
        let mut facts = facts();
        (facts.advice, facts.expiries) = (Vec::new(), Vec::new());
        facts.casts[0].recipe_name = "Chip; 4 mm, \"blå\"".to_owned();
        let text = feed_text(
            &events(&facts, day("2026-03-02")),
            DateTime::from_timestamp(1_772_442_000, 0).unwrap(),
        );
        let expected = concat!(
            "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//heeltap//heeltap 0.1.0//EN\r\nCALSCALE:GREGORIAN\r\n",
            "NAME:heeltap\r\nREFRESH-INTERVAL;VALUE=DURATION:PT1H\r\nX-WR-CALNAME:heeltap\r\nX-PUBLISHED-TTL:PT1H\r\n",
            "BEGIN:VEVENT\r\nUID:cast-C-00001.0a1b@heeltap\r\nDTSTAMP:20260302T090000Z\r\n",
            "DTSTART;VALUE=DATE:20260310\r\nDTEND;VALUE=DATE:20260311\r\nSEQUENCE:0\r\n",
            "SUMMARY:Cast C-00001: 4 trays of chip (Chip\\; 4 mm\\, \"blå\")\r\n",
            "DESCRIPTION:4 trays of chip (Chip\\; 4 mm\\, \"blå\")\\, booked by bench.\r\n",
            "CATEGORIES:Cast\r\nSTATUS:CONFIRMED\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
        );
        assert_eq!(text, expected);
    }

    #[test]
    fn no_text_can_begin_a_line_of_its_own() {
        let mut facts = facts();
        facts.advice[0].reason = "One.\r\nEND:VEVENT\r\nBEGIN:VALARM".to_owned();
        facts.casts[0].booked_by = "x\nATTENDEE:mailto:y".to_owned();
        let text = feed_text(&events(&facts, day("2026-03-02")), DateTime::UNIX_EPOCH);
        let begin = |start: &str| {
            text.split("\r\n")
                .filter(|line| line.starts_with(start))
                .count()
        };
        assert_eq!(
            (
                begin("END:VEVENT"),
                begin("BEGIN:VALARM"),
                begin("ATTENDEE")
            ),
            (3, 0, 0)
        );
        assert!(!text.replace("\r\n", "").contains(['\r', '\n']));
    }
}
