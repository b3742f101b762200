//! The lines of a calendar file (RFC 5545, section 3.1).
//!
//! Invariants: a line ends with CR LF and has at most 75 octets before it; a longer one is folded, and never within a
//! character; a text cannot end its line or begin another. Deliberately absent: what the lines say.
//!
//! Written here because the well-kept library that was tried folds at 76 octets where a rest of 75 is left, lets a bare CR
//! through, and reads the clock.

/// Most octets of a line, without its end.
const OCTETS_MAX: usize = 75;

/// A text as the value of a property (RFC 5545, section 3.3.11): backslash, semicolon and comma are escaped, an end of line
/// is `\n`, and what else controls a terminal is left out.
///
/// ```
/// use heeltap::notify::calendar::content_lines::escaped;
/// assert_eq!(escaped(r"20 g, or 30; C:\tray"), r"20 g\, or 30\; C:\\tray");
/// assert_eq!(escaped("one\r\ntwo\nthree\rfour\u{7}"), r"one\ntwo\nthree\nfour");
/// ```
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' | ';' | ',' => out.extend(['\\', letter]),
            '\r' => {
                letters.next_if_eq(&'\n');
                out.push_str("\\n");
            }
            '\n' => out.push_str("\\n"),
            '\t' => out.push('\t'),
            control if control.is_control() => {}
            other => out.push(other),
        }
    }
    out
}

/// A line with its end, folded where it is too long.
///
/// ```
/// use heeltap::notify::calendar::content_lines::folded;
/// assert_eq!(folded("SUMMARY:short"), "SUMMARY:short\r\n");
/// assert_eq!(folded(&"x".repeat(76)), format!("{}\r\n x\r\n", "x".repeat(75)));
/// ```
#[must_use]
pub fn folded(line: &str) -> String {
    let mut out = String::with_capacity(line.len() + line.len() / OCTETS_MAX * 3 + 2);
    let mut octets = 0;
    for letter in line.chars() {
        if octets + letter.len_utf8() > OCTETS_MAX {
            out.push_str("\r\n ");
            octets = 1;
        }
        out.push(letter);
        octets += letter.len_utf8();
    }
    out.push_str("\r\n");
    out
}

/// Lines, one after the other.
#[derive(Debug, Default)]
pub struct ContentLines(String);

impl ContentLines {
    /// A property whose value is written as it is: a date, a number, a word of ours.
    pub fn put(&mut self, property: &str, value: &str) {
        self.0.push_str(&folded(&format!("{property}:{value}")));
    }

    /// A property whose value is a text of anybody's.
    pub fn put_text(&mut self, property: &str, text: &str) {
        self.put(property, &escaped(text));
    }

    /// All of them.
    #[must_use]
    pub fn into_text(self) -> String {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What a reader makes of folded lines (RFC 5545, section 3.1): an end of line with a blank after it is nothing.
    fn unfolded(text: &str) -> String {
        text.replace("\r\n ", "")
    }

    /// What a reader makes of a text's value.
    fn unescaped(value: &str) -> String {
        let mut out = String::new();
        let mut letters = value.chars();
        while let Some(letter) = letters.next() {
            match letter {
                '\\' => match letters.next() {
                    Some('n') => out.push('\n'),
                    Some(other) => out.push(other),
                    None => panic!("a backslash at the end: {value}"),
                },
                other => out.push(other),
            }
        }
        out
    }

    #[track_caller]
    fn check(line: &str) {
        let folded = folded(line);
        for part in folded.split("\r\n") {
            assert!(part.len() <= OCTETS_MAX, "{} octets: {part}", part.len());
        }
        assert_eq!(unfolded(&folded), format!("{line}\r\n"));
    }

    #[test]
    fn no_line_has_more_than_75_octets_and_none_is_cut_within_a_character() {
        for length in 0..400 {
            check(&"x".repeat(length));
            check(&format!("x{}", "é".repeat(length)));
            check(&format!("xx{}", "老".repeat(length)));
            check(&format!("x{}", "🧪".repeat(length)));
            check(&" ".repeat(length));
        }
    }

    proptest! {
        #[test]
        fn whatever_the_text_a_reader_gets_it_back(text in "\\PC*", more in "[\\\\;,:\" \tnNäß老🧪]{0,200}") {
            let text = format!("{text}{more}");
            let mut lines = ContentLines::default();
            lines.put_text("SUMMARY", &text);
            let written = lines.into_text();
            prop_assert!(written.split("\r\n").all(|line| line.len() <= OCTETS_MAX));
            let whole = unfolded(&written);
            let value = whole.strip_prefix("SUMMARY:").and_then(|rest| rest.strip_suffix("\r\n"));
            prop_assert_eq!(unescaped(value.expect("one line")), text);
        }

        #[test]
        fn no_text_makes_a_line_of_its_own(text in "(?s).*") {
            let value = escaped(&text);
            prop_assert!(!value.contains(['\r', '\n', '\u{0}']), "{:?}", value);
        }
    }
}
