//! Dates in files: ISO 8601 calendar dates and nothing else.
//!
//! Invariants: `YYYY-MM-DD` only; anything else is refused, with the dates it might mean. Sources: serial
//! dates count days in two systems, 1900 and 1904, which are 1462 days apart; the 1900 system has a day
//! (serial 60, 29 February 1900) that never was. Deliberately absent: guessing day and month.

use chrono::{Datelike, Days, NaiveDate};

/// Why a cell is not a date.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DateError {
    /// Nothing there.
    #[error("a date is needed here, such as 2026-02-03")]
    Empty,
    /// There is no such day.
    #[error("there is no such day: {month_name} {year} has {days} days")]
    NoSuchDay {
        /// The month.
        month_name: &'static str,
        /// The year.
        year: i32,
        /// Days it has.
        days: u32,
    },
    /// There is no such month.
    #[error("there is no month {month}: write YYYY-MM-DD, such as 2026-02-03")]
    NoSuchMonth {
        /// The number.
        month: u32,
    },
    /// A year that is hardly meant.
    #[error("the year {year} is out of range: write a year from 1970 to 2199")]
    YearOutOfRange {
        /// The year.
        year: i32,
    },
    /// Day and month could be swapped.
    #[error(
        "is ambiguous: {day_first} (day first) or {month_first} (month first); write the one that is meant"
    )]
    Ambiguous {
        /// Read with the day first.
        day_first: NaiveDate,
        /// Read with the month first.
        month_first: NaiveDate,
    },
    /// A date in another order or with other separators.
    #[error("is not written as YYYY-MM-DD; write {meant}")]
    OtherForm {
        /// The date it means.
        meant: NaiveDate,
    },
    /// A spreadsheet's serial number.
    #[error(
        "looks like a spreadsheet serial number: {system_1900} in the 1900 system, {system_1904} in the 1904 system; write the date as YYYY-MM-DD"
    )]
    Serial {
        /// The date in the 1900 system, or why there is none.
        system_1900: String,
        /// The date in the 1904 system.
        system_1904: String,
    },
    /// No date at all.
    #[error("is not a date: write YYYY-MM-DD, such as 2026-02-03")]
    NotADate,
}

/// Why a serial number is no date.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SerialError {
    /// The day the 1900 system invented.
    #[error("29 February 1900 does not exist")]
    FictitiousDay,
    /// Zero, or after the year 9999.
    #[error("no date")]
    OutOfRange,
}

/// The last serial number of the 1900 system, 9999-12-31.
const SERIAL_MAX: u32 = 2_958_465;

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// Reads `YYYY-MM-DD`, years 1970 to 2199.
///
/// # Errors
/// [`DateError`], whose text continues the value ("03/04/2026 is ambiguous: ...").
///
/// ```
/// use heeltap::purchasing::date::read_date;
/// assert_eq!(read_date("2026-02-03").map(|d| d.to_string()), Ok("2026-02-03".to_owned()));
/// assert!(read_date("03/04/2026").is_err_and(|e| e.to_string().contains("2026-04-03")));
/// ```
pub fn read_date(text: &str) -> Result<NaiveDate, DateError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(DateError::Empty);
    }
    match text.as_bytes() {
        [a, b, c, d, b'-', e, f, b'-', g, h]
            if [a, b, c, d, e, f, g, h].iter().all(|x| x.is_ascii_digit()) =>
        {
            let number = |digits: &[&u8]| {
                digits
                    .iter()
                    .fold(0_u32, |n, digit| n * 10 + u32::from(**digit - b'0'))
            };
            let year = number(&[a, b, c, d]) as i32;
            checked(year, number(&[e, f]), number(&[g, h]))
        }
        _ => Err(other_writing(text)),
    }
}

/// A date from its numbers, with a reason if there is none.
fn checked(year: i32, month: u32, day: u32) -> Result<NaiveDate, DateError> {
    if !(1970..=2199).contains(&year) {
        return Err(DateError::YearOutOfRange { year });
    }
    if !(1..=12).contains(&month) {
        return Err(DateError::NoSuchMonth { month });
    }
    NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| DateError::NoSuchDay {
        month_name: MONTHS[month as usize - 1],
        year,
        days: days_in_month(year, month),
    })
}

fn days_in_month(year: i32, month: u32) -> u32 {
    (28..=31)
        .rev()
        .find(|day| NaiveDate::from_ymd_opt(year, month, *day).is_some())
        .unwrap_or(31)
}

/// What else a text may have been meant to be.
fn other_writing(text: &str) -> DateError {
    // A time after an ISO date.
    if let Some((date, _)) = text.split_once(['T', ' '])
        && let Ok(meant) = read_date(date)
    {
        return DateError::OtherForm { meant };
    }
    let whole = text.split(['.', ',']).next().unwrap_or(text);
    let rest = &text[whole.len()..];
    let is_digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let fraction_only = rest.is_empty() || is_digits(&rest[1..]);
    if is_digits(whole) && fraction_only {
        return number_for_a_date(whole);
    }
    let parts: Vec<&str> = text.split(['/', '.', '-', ' ']).collect();
    let numbers: Vec<u32> = parts
        .iter()
        .filter(|part| is_digits(part) && part.len() <= 4)
        .filter_map(|part| part.parse().ok())
        .collect();
    match (parts.as_slice(), numbers.as_slice()) {
        ([y, _, _], &[year, month, day]) if y.len() == 4 => checked(year as i32, month, day)
            .map_or_else(|e| e, |meant| DateError::OtherForm { meant }),
        ([_, _, y], &[first, second, year]) if y.len() == 4 || y.len() == 2 => {
            let year = if y.len() == 2 { 2_000 + year } else { year };
            swapped(year as i32, first, second)
        }
        _ => DateError::NotADate,
    }
}

/// The readings of a date that ends in the year.
fn swapped(year: i32, first: u32, second: u32) -> DateError {
    let day_first = checked(year, second, first);
    let month_first = checked(year, first, second);
    match (day_first, month_first) {
        (Ok(a), Ok(b)) if a == b => DateError::OtherForm { meant: a },
        (Ok(day_first), Ok(month_first)) => DateError::Ambiguous {
            day_first,
            month_first,
        },
        (Ok(meant), Err(_)) | (Err(_), Ok(meant)) => DateError::OtherForm { meant },
        (Err(_), Err(_)) => DateError::NotADate,
    }
}

/// Digits alone: a serial number, or a date without separators.
fn number_for_a_date(digits: &str) -> DateError {
    let Ok(number) = digits.parse::<u32>() else {
        return DateError::NotADate;
    };
    if digits.len() == 8
        && let Ok(meant) = checked((number / 10_000) as i32, number / 100 % 100, number % 100)
    {
        return DateError::OtherForm { meant };
    }
    if number == 0 || number > SERIAL_MAX {
        return DateError::NotADate;
    }
    let text = |date: Result<NaiveDate, SerialError>| match date {
        Ok(date) => date.to_string(),
        Err(error) => error.to_string(),
    };
    DateError::Serial {
        system_1900: text(serial_1900(number)),
        system_1904: text(serial_1904(number)),
    }
}

/// The date of a serial number in the 1900 system (serial 1 is 1900-01-01).
///
/// # Errors
/// [`SerialError`]: serial 60 is 29 February 1900, which never was; 0 and numbers after 9999-12-31.
///
/// ```
/// use heeltap::purchasing::date::serial_1900;
/// assert_eq!(serial_1900(46_056).map(|d| d.to_string()), Ok("2026-02-03".to_owned()));
/// assert!(serial_1900(60).is_err());
/// ```
pub fn serial_1900(serial: u32) -> Result<NaiveDate, SerialError> {
    let epoch_day = match serial {
        0 => return Err(SerialError::OutOfRange),
        60 => return Err(SerialError::FictitiousDay),
        // The day that never was pushes every later one on by one.
        1..60 => 31,
        _ => 30,
    };
    after(NaiveDate::from_ymd_opt(1899, 12, epoch_day), serial)
}

/// The date of a serial number in the 1904 system (serial 0 is 1904-01-01).
///
/// # Errors
/// [`SerialError::OutOfRange`] after the year 9999.
///
/// ```
/// use heeltap::purchasing::date::serial_1904;
/// assert_eq!(serial_1904(46_056).map(|d| d.to_string()), Ok("2030-02-04".to_owned()));
/// ```
pub fn serial_1904(serial: u32) -> Result<NaiveDate, SerialError> {
    after(NaiveDate::from_ymd_opt(1904, 1, 1), serial)
}

fn after(epoch: Option<NaiveDate>, days: u32) -> Result<NaiveDate, SerialError> {
    epoch
        .and_then(|date| date.checked_add_days(Days::new(u64::from(days))))
        .filter(|date| date.year() <= 9_999)
        .ok_or(SerialError::OutOfRange)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn refused(text: &str, part: &str) {
        let got = read_date(text).map_err(|e| e.to_string());
        assert!(
            got.as_ref().is_err_and(|e| e.contains(part)),
            "{text:?}: {got:?}"
        );
    }

    #[test]
    fn iso_dates_are_read() {
        assert!(read_date("2024-02-29").is_ok());
        assert!(read_date(" 2026-12-31 ").is_ok());
    }

    #[test]
    fn a_day_that_never_was_is_refused() {
        refused("2025-02-29", "February 2025 has 28 days");
        refused("2025-11-31", "November 2025 has 30 days");
        refused("2026-13-01", "no month 13");
        refused("2026-00-01", "no month 0");
        refused("2026-01-00", "January 2026 has 31 days");
        refused("0202-01-01", "year 202 is out of range");
    }

    #[test]
    fn another_writing_names_what_it_may_mean() {
        refused(
            "03/04/2026",
            "2026-04-03 (day first) or 2026-03-04 (month first)",
        );
        refused("13.02.2026", "write 2026-02-13");
        refused("02/13/26", "write 2026-02-13");
        refused("04-04-2026", "write 2026-04-04");
        refused("2026/02/03", "write 2026-02-03");
        refused("2026-2-3", "write 2026-02-03");
        refused("20260203", "write 2026-02-03");
        refused("2026-02-03T10:00:00Z", "write 2026-02-03");
        refused("2026-02-03 00:00", "write 2026-02-03");
        refused("3 Feb 2026", "is not a date");
        refused("32/13/2026", "is not a date");
        refused("\u{ff12}026-02-03", "is not a date");
        refused("", "a date is needed");
    }

    #[test]
    fn a_serial_number_names_both_systems() {
        refused(
            "46056",
            "2026-02-03 in the 1900 system, 2030-02-04 in the 1904 system",
        );
        refused("46056.5", "2026-02-03 in the 1900 system");
        refused("60", "29 February 1900 does not exist in the 1900 system");
        refused("0", "is not a date");
        refused("99999999999", "is not a date");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = read_date(&text);
        }

        #[test]
        fn text_like_a_date_is_read_or_refused(text in "[-0-9./ T]{0,14}") {
            if let Ok(date) = read_date(&text) {
                prop_assert_eq!(date.to_string(), text.trim());
            }
        }

        #[test]
        fn the_two_systems_stand_1462_days_apart(serial in 61_u32..2_000_000) {
            let (a, b) = (serial_1900(serial), serial_1904(serial));
            prop_assert_eq!(b.ok().zip(a.ok()).map(|(b, a)| (b - a).num_days()), Some(1462));
        }
    }

    proptest! {
        #[test]
        fn every_day_of_the_calendar_is_read(days in 0_u64..84_006) {
            let first: NaiveDate = "1970-01-01".parse().expect("a day");
            let day = first + Days::new(days);
            prop_assert!(day.year() <= 2199);
            prop_assert_eq!(read_date(&day.to_string()), Ok(day));
            prop_assert_eq!(read_date(&format!(" {day}\u{a0}")), Ok(day));
        }

        /// Three numbers that are a day are that day, and all others are refused, as the calendar of the library has it.
        #[test]
        fn numbers_are_a_day_or_refused(year in 1_960_i32..2_210, month in 0_u32..14, day in 0_u32..33) {
            let expected = NaiveDate::from_ymd_opt(year, month, day).filter(|_| (1_970..=2_199).contains(&year));
            prop_assert_eq!(read_date(&format!("{year}-{month:02}-{day:02}")).ok(), expected);
        }

        /// Whoever writes a day in another order is told that day, alone or beside the other that it may be.
        #[test]
        fn another_order_is_refused_with_the_day(days in 0_u64..84_006, separator in "[/.-]", day_first in any::<bool>()) {
            let first: NaiveDate = "1970-01-01".parse().expect("a day");
            let day = first + Days::new(days);
            let (d, m, y) = (day.day(), day.month(), day.year());
            let (a, b) = if day_first { (d, m) } else { (m, d) };
            let said = read_date(&format!("{a:02}{separator}{b:02}{separator}{y}")).map_err(|e| e.to_string());
            prop_assert!(said.as_ref().is_err_and(|said| said.contains(&day.to_string())), "{:?}", said);
        }
    }
}
