//! The words of the daily mail, as text and as HTML.
//!
//! Invariants: both say the same; a text of anybody's stays within its line, and in HTML within its element; nothing is
//! fetched from anywhere when the mail is read. Deliberately absent: pictures, scripts and styles.

use chrono::{Datelike, NaiveDate};

use super::digest::{Digest, DigestWarning};
use crate::casting::life::booked::BookedCast;
use crate::notify::words::{cast_words, expiry_sentence, order_short, order_words};
use crate::reorder::alarms::{EXPIRING, ORDER_BY, OVERDUE_ORDER};
use crate::reorder::kept::KeptAdvice;
use crate::stock::expiries::Expiry;

/// The gravity of what is to be done today.
const ACT_TODAY: i32 = 3;

/// A mail's words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rendered {
    /// The subject: one line.
    pub subject: String,
    /// The plain text.
    pub text: String,
    /// The HTML document.
    pub html: String,
}

/// A heading with what stands below it.
struct Section {
    title: &'static str,
    entries: Vec<Entry>,
}

/// What there is to say of one thing.
#[derive(Default)]
struct Entry {
    head: String,
    more: Vec<String>,
}

/// The words of a digest.
#[must_use]
pub fn rendered(digest: &Digest) -> Rendered {
    let sections: Vec<Section> = [
        orders(digest),
        expiries(digest),
        overdue(digest),
        casts(digest),
        others(digest),
    ]
    .into_iter()
    .filter(|section| !section.entries.is_empty())
    .collect();
    let (title, intro) = (title(digest.day), intro(digest));
    Rendered {
        subject: one_line(&subject(digest)),
        text: text(&title, &intro, &sections),
        html: html(&title, &intro, &sections),
    }
}

/// A text without anything that could end a line: what controls a terminal is a blank, and several blanks are one, as many a
/// reader of headers has it anyway.
///
/// ```
/// use heeltap::notify::mail::render::one_line;
/// assert_eq!(one_line("late\r\nBcc:  x@mail.example\0"), "late Bcc: x@mail.example");
/// ```
#[must_use]
pub fn one_line(text: &str) -> String {
    let letters = text
        .chars()
        .map(|letter| if letter.is_control() { ' ' } else { letter });
    // The separators of lines and paragraphs of Unicode are blanks too.
    let blanked: String = letters.collect();
    let words: Vec<&str> = blanked.split_whitespace().collect();
    words.join(" ")
}

/// A text within an element or an attribute of HTML.
///
/// ```
/// use heeltap::notify::mail::render::html_escaped;
/// assert_eq!(html_escaped("<b> & \"it's\""), "&lt;b&gt; &amp; &quot;it&#39;s&quot;");
/// ```
#[must_use]
pub fn html_escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

/// The most urgent thing, and how many more there are.
fn subject(digest: &Digest) -> String {
    let mut open = digest
        .warnings
        .iter()
        .filter(|warning| warning.acknowledged.is_none());
    let Some(first) = open.next() else {
        return "heeltap: nothing is open".to_owned();
    };
    let more = match open.count() {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    format!("heeltap: {}{more}", in_short(first, digest))
}

/// A warning in a few words.
fn in_short(warning: &DigestWarning, digest: &Digest) -> String {
    let (noun, subject) = (warning.subject_noun.replace('_', " "), &warning.subject);
    let order = digest
        .orders
        .iter()
        .find(|advice| warning.kind == ORDER_BY && advice.material == *subject);
    let expiry = digest
        .expiries
        .iter()
        .find(|expiry| warning.kind == EXPIRING && is_of(expiry, warning));
    match (warning.kind.as_str(), order, expiry) {
        (_, Some(advice), _) => match (advice.late, advice.order_by) {
            (false, Some(by)) => format!("order {} by {by}", order_short(advice)),
            _ => format!("order {} today, already late", order_short(advice)),
        },
        (_, _, Some(expiry)) => {
            let was = match expiry.on < digest.day {
                true => "was",
                false => "is",
            };
            let (lot, material, on) = (&expiry.lot, &expiry.material, expiry.on);
            format!("lot {lot} of {material} {was} good until {on}")
        }
        ("cast_short", ..) => format!("cast {subject} lacks stock"),
        (OVERDUE_ORDER, ..) => format!("{noun} {subject} has not come"),
        (kind, ..) => format!("{noun} {subject}: {}", kind.replace('_', " ")),
    }
}

fn title(day: NaiveDate) -> String {
    format!("heeltap, {} {day}", day.format("%A"))
}

fn intro(digest: &Digest) -> String {
    let count = |acknowledged: bool| {
        let of = |warning: &&DigestWarning| warning.acknowledged.is_some() == acknowledged;
        digest.warnings.iter().filter(of).count()
    };
    let open = match count(false) {
        1 => "1 warning stands".to_owned(),
        many => format!("{many} warnings stand"),
    };
    match count(true) {
        0 => format!("{open}."),
        known => format!("{open}, and {known} more that somebody has acknowledged."),
    }
}

fn orders(digest: &Digest) -> Section {
    let entry = |advice: &KeptAdvice| {
        let when = |advice: &KeptAdvice| match (advice.late, advice.order_by) {
            (false, Some(by)) => format!("by {by}"),
            _ => "today, already late".to_owned(),
        };
        let said = |warning: &&DigestWarning| {
            warning.kind == ORDER_BY && warning.subject == advice.material
        };
        let mut entry = Entry {
            head: format!("{}: {}", order_words(advice), when(advice)),
            more: vec![advice.reason.clone()],
        };
        let warning = digest.warnings.iter().find(said);
        entry.more.extend(warning.and_then(acknowledgement));
        entry
    };
    Section {
        title: "To order",
        entries: digest.orders.iter().map(entry).collect(),
    }
}

fn expiries(digest: &Digest) -> Section {
    let entry = |expiry: &Expiry| {
        let said = |warning: &&DigestWarning| warning.kind == EXPIRING && is_of(expiry, warning);
        let warning = digest.warnings.iter().find(said);
        Entry {
            head: expiry_sentence(expiry, &digest.currency, digest.day),
            more: warning.and_then(acknowledgement).into_iter().collect(),
        }
    };
    Section {
        title: "Expires",
        entries: digest.expiries.iter().map(entry).collect(),
    }
}

fn is_of(expiry: &Expiry, warning: &DigestWarning) -> bool {
    warning.subject == expiry.lot_id.to_string()
}

fn overdue(digest: &Digest) -> Section {
    let orders = digest
        .warnings
        .iter()
        .filter(|warning| warning.kind == OVERDUE_ORDER);
    let casts = digest.overdue_casts.iter().map(|cast| Entry {
        head: format!(
            "Cast {} ({}) was booked for {} and is not poured.",
            cast.code,
            cast_words(cast),
            cast.cast_on
        ),
        more: Vec::new(),
    });
    Section {
        title: "Overdue",
        entries: orders.map(told).chain(casts).collect(),
    }
}

fn casts(digest: &Digest) -> Section {
    let entry = |cast: &BookedCast| {
        let day = match cast.cast_on == digest.day {
            true => "Today".to_owned(),
            false => format!("{} {}", cast.cast_on.weekday(), cast.cast_on),
        };
        let short = match cast.short {
            true => ". It lacks stock",
            false => "",
        };
        Entry {
            head: format!("{day}: {}, {}{short}.", cast.code, cast_words(cast)),
            more: Vec::new(),
        }
    };
    Section {
        title: "Casts of the next days",
        entries: digest.casts.iter().map(entry).collect(),
    }
}

/// The warnings that no other section tells.
fn others(digest: &Digest) -> Section {
    let told_above = |warning: &DigestWarning| match warning.kind.as_str() {
        ORDER_BY => digest
            .orders
            .iter()
            .any(|advice| advice.material == warning.subject),
        EXPIRING => digest.expiries.iter().any(|expiry| is_of(expiry, warning)),
        OVERDUE_ORDER => true,
        _ => false,
    };
    let left = digest.warnings.iter().filter(|one| !told_above(one));
    Section {
        title: "Other warnings",
        entries: left.map(told).collect(),
    }
}

fn told(warning: &DigestWarning) -> Entry {
    let today = match warning.severity >= ACT_TODAY {
        true => "Act today: ",
        false => "",
    };
    Entry {
        head: format!("{today}{}", warning.reason),
        more: acknowledgement(warning).into_iter().collect(),
    }
}

fn acknowledgement(warning: &DigestWarning) -> Option<String> {
    let acknowledged = warning.acknowledged.as_ref()?;
    Some(match acknowledged.note.trim() {
        "" => format!("Acknowledged by {}.", acknowledged.by),
        note => format!("Acknowledged by {}: {note}", acknowledged.by),
    })
}

const CLOSING: &str =
    "Sent by heeltap, which was set up to write once a day while a warning stands.";

fn text(title: &str, intro: &str, sections: &[Section]) -> String {
    let mut out = format!("{title}\n\n{intro}\n");
    for section in sections {
        out += &format!("\n{}\n", section.title.to_uppercase());
        for entry in &section.entries {
            out += &format!("- {}\n", one_line(&entry.head));
            for more in &entry.more {
                out += &format!("  {}\n", one_line(more));
            }
        }
    }
    // Two dashes and a blank begin what readers take for a signature (RFC 3676, section 4.3).
    out + "\n-- \n" + CLOSING + "\n"
}

fn html(title: &str, intro: &str, sections: &[Section]) -> String {
    let escaped = |text: &str| html_escaped(&one_line(text));
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><title>{0}</title></head>\n<body>\n<h1>{0}</h1>\n<p>{1}</p>\n",
        escaped(title),
        escaped(intro)
    );
    for section in sections {
        out += &format!("<h2>{}</h2>\n<ul>\n", escaped(section.title));
        for entry in &section.entries {
            out += &format!("<li><strong>{}</strong>", escaped(&entry.head));
            for more in &entry.more {
                out += &format!("<br>{}", escaped(more));
            }
            out += "</li>\n";
        }
        out += "</ul>\n";
    }
    out + "<hr>\n<p>" + CLOSING + "</p>\n</body>\n</html>\n"
}

#[cfg(test)]
mod tests {
    use super::super::digest::tests::{digest, warning};
    use super::super::digest::{Acknowledged, Digest};
    use super::*;

    #[test]
    fn a_digest_word_for_word() {
        let words = rendered(&digest());
        assert_eq!(
            words.subject,
            "heeltap: order 2 packs of base today, already late, and 3 more"
        );
        assert_eq!(
            words.text,
            "heeltap, Monday 2026-03-02\n\n4 warnings stand, and 1 more that somebody has acknowledged.\n\n\
             TO ORDER\n- 2 packs of base (Base, 2000 g): today, already late\n  It runs out.\n\n\
             EXPIRES\n- Lot B0 of base was good until 2026-02-20 and still holds 5 g (worth 0.5 EUR).\n\
             - Lot B1 of base is good until 2026-03-10 and holds 500 g (worth 50 EUR).\n  Acknowledged by bench: used <first>\n\n\
             OVERDUE\n- Line 1 of order PO-1 has not come.\n\
             - Cast C-00001 (1 tray of chip (Chip)) was booked for 2026-02-27 and is not poured.\n\n\
             CASTS OF THE NEXT DAYS\n- Today: C-00002, 4 trays of chip (Chip). It lacks stock.\n\
             - Tue 2026-03-03: C-00003, 4 trays of chip (Chip).\n\n\
             OTHER WARNINGS\n- Act today: Cast C-00002 lacks base.\n\n\
             -- \nSent by heeltap, which was set up to write once a day while a warning stands.\n"
        );
        let html = [
            "<h2>To order</h2>\n<ul>\n<li><strong>2 packs of base (Base, 2000 g): today, already late</strong><br>It runs out.</li>\n</ul>",
            "<br>Acknowledged by bench: used &lt;first&gt;</li>",
        ];
        for part in html {
            assert!(words.html.contains(part), "{}", words.html);
        }
        assert!(!words.html.contains("<first>"));
    }

    #[test]
    fn text_and_html_say_the_same() {
        let words = rendered(&digest());
        let plain = words.html.replace("&lt;", "<").replace("&gt;", ">");
        for line in words.text.lines().filter(|line| line.len() > 3) {
            let said = line.trim_start_matches("- ").trim_start();
            let heading = said.to_uppercase() == said;
            assert!(heading || plain.contains(said), "{said}");
        }
    }

    /// The subject of a digest of one open warning and nothing besides.
    #[track_caller]
    fn check_subject(noun: &str, code: &str, kind: &str, expected: &str) {
        let digest = Digest {
            warnings: vec![warning(kind, noun, code, 2)],
            orders: Vec::new(),
            expiries: Vec::new(),
            ..digest()
        };
        assert_eq!(rendered(&digest).subject, format!("heeltap: {expected}"));
    }

    #[test]
    fn the_subject_says_the_most_urgent_thing() {
        check_subject("cast", "C-00002", "cast_short", "cast C-00002 lacks stock");
        check_subject(
            "order_line",
            "PO-1/1",
            "overdue_order",
            "order line PO-1/1 has not come",
        );
        check_subject("material", "base", "stranded", "material base: stranded");
        // An advice that is no longer kept cannot be named with its packs.
        check_subject("kit", "kit-a", "order_by", "kit kit-a: order by");
        let mut digest = digest();
        digest.warnings.retain(|warning| warning.kind == EXPIRING);
        digest.warnings[0].acknowledged = None;
        digest.warnings[0].subject = "7".to_owned();
        digest.warnings.truncate(1);
        assert_eq!(
            rendered(&digest).subject,
            "heeltap: lot B1 of base is good until 2026-03-10"
        );
    }

    #[test]
    fn nobodys_words_end_a_line() {
        let mut digest = digest();
        let evil = "x\r\nBcc: y\n.\r\n\u{2028}\u{85}\0z";
        digest.warnings[0].reason = evil.to_owned();
        digest.orders[0].material = format!("base{evil}");
        digest.warnings[0].subject = digest.orders[0].material.clone();
        digest.orders[0].reason = evil.to_owned();
        digest.expiries[0].lot = evil.to_owned();
        digest.casts[0].recipe_name = evil.to_owned();
        digest.warnings[1].acknowledged = Some(Acknowledged {
            by: evil.to_owned(),
            note: evil.to_owned(),
        });
        let words = rendered(&digest);
        assert!(
            words
                .subject
                .starts_with("heeltap: order 2 packs of basex Bcc: y")
        );
        let controls =
            |text: &str| text.contains(|letter: char| letter.is_control() && letter != '\n');
        for text in [&words.text, &words.html] {
            assert!(!controls(text) && !text.contains('\u{2028}'), "{text:?}");
            assert!(
                !text
                    .lines()
                    .any(|line| line.starts_with("Bcc") || line == "."),
                "{text}"
            );
        }
        assert!(!words.subject.contains(char::is_control));
    }
}
