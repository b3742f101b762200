//! A lot's label: what a bottle must say on the shelf, with a code that leads a phone to the lot's page.
//!
//! Invariants: the address is that of this service as the browser knows it, and of nothing else; the code holds that address and
//! nothing more (ISO/IEC 18004, error correction level M). Deliberately absent: pictograms and the words of the hazard
//! statements, which the maker's own label has.

use chrono::NaiveDate;
use qrcode::render::svg::Color;
use qrcode::{EcLevel, QrCode};
use url::Url;

use crate::base::Error;
use crate::catalogue::{Entry, MaterialBody};
use crate::stock::views::LotView;

/// The most hazard statements that find room.
const HAZARDS_MAX: usize = 9;
/// The modules of quiet around the code, both sides together (ISO/IEC 18004: four on each).
const QUIET: usize = 8;

/// A label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Label {
    /// The material's name.
    pub(super) material: String,
    /// The supplier's lot code.
    pub(super) lot: String,
    /// The last good day, if there is one.
    pub(super) last_good: Option<String>,
    /// The hazard statements.
    pub(super) hazards: Option<String>,
    /// The code, as SVG.
    pub(super) code: String,
    /// The address in it.
    pub(super) address: String,
}

/// The label of a lot.
///
/// # Errors
/// [`Error::Invalid`] when the address is too long for a code.
pub(super) fn label(
    lot: &LotView,
    material: &Entry<MaterialBody>,
    address: String,
) -> Result<Label, Error> {
    Ok(Label {
        material: material.name.clone(),
        lot: lot.lot.clone(),
        last_good: lot.expires_on.map(last_good),
        hazards: hazards(&material.body.hazard_statements),
        code: code(&address)?,
        address,
    })
}

/// The last good day, always with its year: a label is read in other years than it is printed in.
fn last_good(last: NaiveDate) -> String {
    last.format("%a %-d %b %Y").to_string()
}

fn hazards(statements: &[String]) -> Option<String> {
    let shown = statements.iter().take(HAZARDS_MAX).cloned();
    let shown: Vec<String> = shown.collect();
    let more = statements.len() - shown.len();
    match (shown.is_empty(), more) {
        (true, _) => None,
        (false, 0) => Some(shown.join(", ")),
        (false, more) => Some(format!("{} and {more} more", shown.join(", "))),
    }
}

/// The absolute address of a lot's page at the host that the browser asked; none when that is no host.
pub(super) fn address(scheme: &str, host: &str, lot_id: i64) -> Option<String> {
    let plain = |c: char| c.is_ascii_alphanumeric() || ".-:[]".contains(c);
    let known = matches!(scheme, "http" | "https");
    if !known || host.is_empty() || !host.chars().all(plain) {
        return None;
    }
    let url = Url::parse(&format!("{scheme}://{host}/lots/{lot_id}")).ok()?;
    Some(url.to_string())
}

/// The code of an address, as SVG in the colour of the text around it.
fn code(address: &str) -> Result<String, Error> {
    let code = QrCode::with_error_correction_level(address, EcLevel::M).map_err(|_| {
        let length = address.len();
        Error::invalid(
            "/host",
            format!("an address of {length} characters finds no room on a label"),
        )
    })?;
    let size = code.width() + QUIET;
    let drawn = code
        .render::<Color>()
        .module_dimensions(1, 1)
        .dark_color(Color("currentColor"))
        .light_color(Color("none"))
        .build();
    // The library writes a file of its own; in a page its head is not wanted.
    let (_, rest) = drawn.split_once("<svg").unwrap_or_default();
    let (_, inner) = rest.split_once('>').unwrap_or_default();
    Ok(format!(
        "<svg class=\"code\" viewBox=\"0 0 {size} {size}\" shape-rendering=\"crispEdges\" role=\"img\" \
         aria-label=\"The address of this lot's page, as a QR code\">{inner}"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(scheme: &str, host: &str, expected: Option<&str>) {
        assert_eq!(address(scheme, host, 3).as_deref(), expected);
    }

    #[test]
    fn the_address_is_one_of_a_host_and_of_nothing_else() {
        check("http", "lab-pc:8080", Some("http://lab-pc:8080/lots/3"));
        check(
            "https",
            "Stock.Example",
            Some("https://stock.example/lots/3"),
        );
        check("http", "[::1]:80", Some("http://[::1]/lots/3"));
        for host in [
            "",
            "a/b",
            "user@elsewhere",
            "a\"b",
            "a:99999",
            "a b",
            "a#",
            "a?b",
            "[::1",
        ] {
            check("http", host, None);
        }
        check("javascript", "lab-pc", None);
    }

    #[test]
    fn a_code_has_a_square_for_each_dark_module() {
        let drawn = code("http://lab-pc/lots/3").unwrap();
        let known =
            QrCode::with_error_correction_level("http://lab-pc/lots/3", EcLevel::M).unwrap();
        let dark = known.to_colors().into_iter();
        let dark = dark.filter(|color| *color == qrcode::Color::Dark).count();
        assert_eq!(drawn.matches("h1v1").count(), dark);
        assert!(
            drawn.starts_with("<svg class=\"code\" viewBox=\"0 0 33 33\""),
            "{drawn}"
        );
        assert!(drawn.ends_with("</svg>") && !drawn.contains("xmlns"));
        assert!(code(&"a".repeat(5000)).is_err());
    }

    #[test]
    fn the_last_good_day_has_its_year() {
        assert_eq!(last_good("2026-12-04".parse().unwrap()), "Fri 4 Dec 2026");
    }

    #[test]
    fn hazards_beyond_the_room_are_counted() {
        let of = |count: usize| hazards(&vec!["H225".to_owned(); count]);
        assert_eq!(of(0), None);
        assert_eq!(of(2).as_deref(), Some("H225, H225"));
        assert!(of(12).unwrap().ends_with("H225 and 3 more"));
    }
}
