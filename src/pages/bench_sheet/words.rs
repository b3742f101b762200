//! The words of the sheet: masses as the balance shows them, minutes, and times of the clock.
//!
//! Invariant: masses have the places of the balance. Deliberately absent: sentences (each file has its own).

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::ops::Names;
use crate::base::{Micro, Quantity, round_half_even_div};
use crate::casting::bench::sheet::{BenchSheet, SheetLot, StepDetail};
use crate::pages::words::{amount, day};

/// What the words of the steps are made with.
pub(super) struct Words<'a> {
    /// Materials by code.
    pub(super) names: &'a Names,
    /// The places of the balance.
    pub(super) places: usize,
    /// Where the clock hangs.
    pub(super) zone: Tz,
    /// The day of the cast.
    pub(super) on: NaiveDate,
}

impl Words<'_> {
    /// A material's name.
    pub(super) fn name(&self, code: &str) -> String {
        let known = self.names.get(code);
        known.map_or_else(|| code.to_owned(), |(name, _)| name.clone())
    }

    /// A quantity of a material.
    pub(super) fn of_material(&self, quantity: Quantity, code: &str) -> String {
        match self.names.get(code).map_or("", |(_, unit)| *unit) {
            "g" => grams(quantity.value(), self.places),
            unit => amount(quantity, unit),
        }
    }

    /// A time of the clock, with its day when it is another than the cast's.
    pub(super) fn clock(&self, at: DateTime<Utc>) -> String {
        let local = at.with_timezone(&self.zone);
        let (time, on) = (local.format("%H:%M"), local.date_naive());
        match on == self.on {
            true => time.to_string(),
            false => format!("{time} on {}", day(on, self.on)),
        }
    }

    /// From one time to another; the day is said once when both are of the same.
    pub(super) fn span(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> String {
        let local = |at: DateTime<Utc>| at.with_timezone(&self.zone);
        match local(from).date_naive() == local(to).date_naive() {
            true => format!("{} to {}", local(from).format("%H:%M"), self.clock(to)),
            false => format!("{} to {}", self.clock(from), self.clock(to)),
        }
    }

    /// A pack to take from.
    pub(super) fn lot(&self, lot: &SheetLot) -> String {
        let mut says = format!(
            "{} of {}: lot {}, pack {}",
            self.of_material(lot.quantity, &lot.material),
            self.name(&lot.material),
            lot.lot,
            lot.pack_no
        );
        if let Some(by) = lot.expires_on {
            says.push_str(&format!(", use by {}", day(by, self.on)));
        }
        says
    }
}

/// A mass with as many places as the balance shows.
pub(in crate::pages) fn grams(mass: Micro, places: usize) -> String {
    let places = places.min(6);
    let step = 10_i128.pow(6 - places as u32);
    let steps = round_half_even_div(i128::from(mass.micro()), step).unwrap_or(0);
    let (sign, steps) = (
        if steps < 0 { "\u{2212}" } else { "" },
        steps.unsigned_abs(),
    );
    let whole = 10_u128.pow(places as u32);
    match places {
        0 => format!("{sign}{steps} g"),
        _ => format!("{sign}{}.{:0places$} g", steps / whole, steps % whole),
    }
}

/// The places that the balance shows: as many as the targets have, which are counted in its steps.
pub(super) fn places(sheet: &BenchSheet) -> usize {
    let of = |mass: Micro| {
        let text = mass.to_string();
        text.split_once('.').map_or(0, |(_, places)| places.len())
    };
    let targets = sheet.steps.iter().filter_map(|step| match &step.detail {
        StepDetail::Weigh(detail) => Some([&detail.base, &detail.curing_agent]),
        _ => None,
    });
    targets
        .flatten()
        .flat_map(|part| [part.target_g, part.min_g, part.max_g])
        .map(of)
        .max()
        .unwrap_or(0)
}

/// Minutes in words, such as `5 min`, `48 h` or `2 h 30 min`.
pub(in crate::pages) fn minutes(minutes: Micro) -> String {
    let whole = minutes.to_f64().round() as i64;
    match (whole / 60, whole % 60) {
        (0, rest) => format!("{rest} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, rest) => format!("{hours} h {rest} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn masses_have_the_places_of_the_balance() {
        let of = |text: &str, places| grams(Micro::parse(text).unwrap(), places);
        assert_eq!(of("57.4", 2), "57.40 g");
        assert_eq!(of("16.06749", 2), "16.07 g");
        assert_eq!(of("1234.5", 1), "1234.5 g");
        assert_eq!(of("0.05", 1), "0.0 g");
        assert_eq!(of("3.6", 0), "4 g");
        assert_eq!(of("-1.25", 2), "\u{2212}1.25 g");
    }

    #[test]
    fn minutes_are_read_as_hours_when_they_are_many() {
        let of = |text: &str| minutes(Micro::parse(text).unwrap());
        assert_eq!(of("5"), "5 min");
        assert_eq!(of("2880"), "48 h");
        assert_eq!(of("150"), "2 h 30 min");
    }

    #[test]
    fn the_clock_names_the_day_when_it_is_another() {
        let names = Names::new();
        let words = Words {
            names: &names,
            places: 2,
            zone: chrono_tz::Europe::Berlin,
            on: "2026-03-02".parse().unwrap(),
        };
        let of = |at: &str| words.clock(at.parse().unwrap());
        assert_eq!(of("2026-03-02T09:40:00Z"), "10:40");
        assert_eq!(of("2026-03-02T23:40:00Z"), "00:40 on Tue 3 Mar");
        let span = |from: &str, to: &str| words.span(from.parse().unwrap(), to.parse().unwrap());
        assert_eq!(
            span("2026-03-02T09:40:00Z", "2026-03-02T09:45:00Z"),
            "10:40 to 10:45"
        );
        assert_eq!(
            span("2026-03-03T09:40:00Z", "2026-03-03T09:45:00Z"),
            "10:40 to 10:45 on Tue 3 Mar"
        );
        assert_eq!(
            span("2026-03-02T22:40:00Z", "2026-03-02T23:40:00Z"),
            "23:40 to 00:40 on Tue 3 Mar"
        );
    }
}
