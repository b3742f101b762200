//! From a bank's reference rates to the rates of these books, and which of them are to be kept.
//!
//! Invariants: where the books are in the currency of the file, a rate is kept as it is quoted, to the digit; where they are
//! in another currency of the file, a rate is the quotient of two of the same day, computed in integers and rounded once to
//! 10 significant digits ([`Rate::per`]), and its source says so; the currency of the file then has the rate that is quoted
//! for the base currency, as it is. A rate that somebody entered is never replaced. Deliberately absent: the database.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::quoted::QuotedRate;
use super::rate::{Quote, RATE_DIGITS_MAX, Rate};
use super::rate_file::{KeptRate, RateLine};
use super::rate_source::{FETCHED, is_fetched};
use super::reference_rates::ReferenceRates;
use crate::base::Currency;

/// Longest part of a host's name that a source repeats, in characters.
const HOST_MAX_CHARS: usize = 80;

/// What a file is decided on with.
#[derive(Clone, Copy, Debug)]
pub struct ReferenceContext<'a> {
    /// The currency that the file's rates are quoted for one unit of.
    pub own: Currency,
    /// The currency of the books.
    pub base: Currency,
    /// Today's date at the installation: later days are passed over.
    pub today: NaiveDate,
    /// Where the file comes from, for the source.
    pub host: &'a str,
}

/// What was passed over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PassedOver {
    /// Rates of currencies that nobody can pay with.
    pub unknown_currencies: u64,
    /// Days after today.
    pub future_days: u64,
    /// Days without a rate of the base currency.
    pub days_without_base: u64,
    /// Rates that do not fit: 10^10 and more, or below 10^-9.
    pub out_of_range: u64,
}

impl PassedOver {
    /// All of it together.
    ///
    /// ```
    /// use heeltap::purchasing::reference_decision::PassedOver;
    /// assert_eq!(PassedOver { future_days: 2, out_of_range: 1, ..PassedOver::default() }.all(), 3);
    /// ```
    #[must_use]
    pub fn all(self) -> u64 {
        self.unknown_currencies + self.future_days + self.days_without_base + self.out_of_range
    }
}

/// The rates of the books that a file gives.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Offered {
    /// The rates, by day and currency.
    pub lines: Vec<RateLine>,
    /// What was passed over.
    pub passed_over: PassedOver,
}

/// The file has no rate of the base currency.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "the file has no rate of {base}, the currency of the books, for one {own}: choose a file that has, or enter the rates"
)]
pub struct BaseMissing {
    /// The currency of the books.
    pub base: Currency,
    /// The currency of the file.
    pub own: Currency,
}

/// The rates of the books that a file gives.
///
/// # Errors
/// [`BaseMissing`] when the base currency is neither the file's own nor in the file.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::purchasing::reference_decision::{ReferenceContext, offered};
/// use heeltap::purchasing::reference_rates::read_reference_rates;
/// let file = br#"<Envelope><Cube><Cube time="2026-02-27"><Cube currency="USD" rate="1.0835"/></Cube></Cube></Envelope>"#;
/// let (eur, usd) = (Currency::parse("EUR")?, Currency::parse("USD")?);
/// let context = ReferenceContext { own: eur, base: eur, today: "2026-03-02".parse()?, host: "rates.example" };
/// let rates = read_reference_rates(file)?;
/// assert_eq!(offered(&rates, &context)?.lines[0].quoted.text(), "1/1.0835");
/// // In books in dollars it is the euro that has a rate.
/// let rate = offered(&rates, &ReferenceContext { base: usd, ..context })?.lines.remove(0);
/// assert_eq!((rate.currency, rate.quoted.text().as_str()), (eur, "1.0835"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn offered(
    rates: &ReferenceRates,
    context: &ReferenceContext<'_>,
) -> Result<Offered, BaseMissing> {
    let host: String = context.host.chars().take(HOST_MAX_CHARS).collect();
    let mut offered = Offered::default();
    let passed = &mut offered.passed_over;
    passed.unknown_currencies = rates.unknown_currencies;
    let mut days_taken = 0_u64;
    for (day, quoted) in &rates.days {
        if *day > context.today {
            passed.future_days += 1;
            continue;
        }
        let base_rate = match quoted.get(&context.base) {
            _ if context.base == context.own => None,
            Some(rate) => Some(*rate),
            None => {
                passed.days_without_base += 1;
                continue;
            }
        };
        days_taken += 1;
        let mut day_lines: Vec<RateLine> = Vec::with_capacity(quoted.len());
        for (currency, rate) in quoted {
            if *currency == context.base || *currency == context.own {
                continue;
            }
            match convert(*rate, *currency, base_rate, context, &host) {
                Some((quoted, source)) => day_lines.push(line(*currency, *day, quoted, source)),
                None => passed.out_of_range += 1,
            }
        }
        if let Some(rate) = base_rate {
            let quote = Quote::BasePerForeign;
            let quoted = QuotedRate { rate, quote };
            day_lines.push(line(context.own, *day, quoted, format!("{FETCHED} {host}")));
        }
        day_lines.sort_by_key(|line| line.currency);
        offered.lines.append(&mut day_lines);
    }
    if days_taken == 0 && passed.days_without_base > 0 {
        return Err(BaseMissing {
            base: context.base,
            own: context.own,
        });
    }
    Ok(offered)
}

fn line(currency: Currency, rate_on: NaiveDate, quoted: QuotedRate, source: String) -> RateLine {
    RateLine {
        currency,
        rate_on,
        quoted,
        source,
    }
}

/// A rate of the file in the books' terms, with its source; `None` when it does not fit.
fn convert(
    rate: Rate,
    currency: Currency,
    base_rate: Option<Rate>,
    context: &ReferenceContext<'_>,
    host: &str,
) -> Option<(QuotedRate, String)> {
    let Some(base_rate) = base_rate else {
        let quote = Quote::ForeignPerBase;
        return Some((QuotedRate { rate, quote }, format!("{FETCHED} {host}")));
    };
    let (own, base) = (context.own, context.base);
    let source = format!(
        "{FETCHED} {host}; 1 {own} = {base_rate} {base} = {rate} {currency}, cross rate rounded to {RATE_DIGITS_MAX} digits"
    );
    let quoted = QuotedRate {
        rate: base_rate.per(rate)?,
        quote: Quote::BasePerForeign,
    };
    Some((quoted, source))
}

/// What is to be done with rates that were fetched.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Merge {
    /// Rates of days that have none.
    pub entered: Vec<RateLine>,
    /// Rates that replace others that were fetched.
    pub replaced: Vec<RateLine>,
    /// Rates that are kept already.
    pub unchanged: u64,
    /// Rates of days for which somebody entered one, which stays.
    pub left_alone: u64,
}

/// Decides on fetched rates, given what is kept for their currencies and days.
///
/// ```
/// use std::collections::HashMap;
/// use heeltap::purchasing::reference_decision::{Merge, merge};
/// assert_eq!(merge(Vec::new(), &HashMap::new()), Merge::default());
/// ```
#[must_use]
pub fn merge(lines: Vec<RateLine>, kept: &HashMap<(Currency, NaiveDate), KeptRate>) -> Merge {
    let mut merge = Merge::default();
    for line in lines {
        match kept.get(&(line.currency, line.rate_on)) {
            None => merge.entered.push(line),
            Some((_, source)) if !is_fetched(source) => merge.left_alone += 1,
            Some((rate, _)) if *rate == line.quoted.text() => merge.unchanged += 1,
            Some(_) => merge.replaced.push(line),
        }
    }
    merge
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::purchasing::rate_source::SOURCE_MAX_CHARS;
    use crate::purchasing::reference_rates::read_reference_rates;

    fn currency(code: &str) -> Currency {
        Currency::parse(code).expect("a currency")
    }

    fn file(days: &[(&str, &[(&str, &str)])]) -> ReferenceRates {
        let days: String = days
            .iter()
            .map(|(day, rates)| {
                let rates: String = rates
                    .iter()
                    .map(|(code, rate)| format!("<Cube currency='{code}' rate='{rate}'/>"))
                    .collect();
                format!("<Cube time='{day}'>{rates}</Cube>")
            })
            .collect();
        let text = format!("<Envelope><Cube>{days}</Cube></Envelope>");
        read_reference_rates(text.as_bytes()).expect("a file")
    }

    fn decide(rates: &ReferenceRates, base: &str) -> Result<Offered, BaseMissing> {
        let context = ReferenceContext {
            own: currency("EUR"),
            base: currency(base),
            today: "2026-03-02".parse().expect("a day"),
            host: "127.0.0.1",
        };
        offered(rates, &context)
    }

    fn shown(lines: &[RateLine]) -> Vec<String> {
        lines
            .iter()
            .map(|line| format!("{} {} {}", line.rate_on, line.currency, line.quoted.text()))
            .collect()
    }

    const DAY: &[(&str, &str)] = &[("USD", "1.0835"), ("JPY", "162.4"), ("NOK", "11.4025")];

    #[test]
    fn rates_of_the_books_own_currency_are_kept_as_they_are_quoted() {
        let found = decide(&file(&[("2026-02-27", DAY)]), "EUR").expect("rates");
        assert_eq!(
            shown(&found.lines),
            [
                "2026-02-27 JPY 1/162.4",
                "2026-02-27 NOK 1/11.4025",
                "2026-02-27 USD 1/1.0835"
            ]
        );
        assert!(
            found
                .lines
                .iter()
                .all(|line| line.source == "fetched: 127.0.0.1")
        );
    }

    #[test]
    fn rates_of_another_currency_are_crossed_and_say_so() {
        let found = decide(&file(&[("2026-02-27", DAY)]), "NOK").expect("rates");
        // 11.4025 / 162.4 = 0.070212438423…, 11.4025 / 1.0835 = 10.523765574…
        assert_eq!(
            shown(&found.lines),
            [
                "2026-02-27 EUR 11.4025",
                "2026-02-27 JPY 0.07021243842",
                "2026-02-27 USD 10.52376557"
            ]
        );
        let sources: Vec<&str> = found
            .lines
            .iter()
            .map(|line| line.source.as_str())
            .collect();
        assert_eq!(
            sources,
            [
                "fetched: 127.0.0.1",
                "fetched: 127.0.0.1; 1 EUR = 11.4025 NOK = 162.4 JPY, cross rate rounded to 10 digits",
                "fetched: 127.0.0.1; 1 EUR = 11.4025 NOK = 1.0835 USD, cross rate rounded to 10 digits",
            ]
        );
    }

    #[test]
    fn a_base_that_is_missing_is_an_error_but_on_single_days() {
        let without: &[(&str, &str)] = &[("USD", "1.0835")];
        let error = decide(&file(&[("2026-02-27", without)]), "NOK").expect_err("an error");
        assert!(
            error
                .to_string()
                .contains("no rate of NOK, the currency of the books, for one EUR")
        );
        let found = decide(
            &file(&[("2026-02-26", without), ("2026-02-27", DAY)]),
            "NOK",
        )
        .expect("rates");
        assert_eq!(
            (found.lines.len(), found.passed_over.days_without_base),
            (3, 1)
        );
    }

    #[test]
    fn what_cannot_be_a_rate_here_is_passed_over_and_counted() {
        let odd: &[(&str, &str)] = &[
            ("ZZZ", "1"),
            ("XAU", "1"),
            ("EUR", "1"),
            ("IRR", "9999999999"),
            ("NOK", "0.000001"),
        ];
        let found =
            decide(&file(&[("2026-02-27", odd), ("2026-03-03", DAY)]), "NOK").expect("rates");
        assert_eq!(shown(&found.lines), ["2026-02-27 EUR 0.000001"]);
        let expected = PassedOver {
            unknown_currencies: 2,
            future_days: 1,
            days_without_base: 0,
            out_of_range: 1,
        };
        assert_eq!(found.passed_over, expected);
        assert_eq!(found.passed_over.all(), 4);
        let future = decide(&file(&[("2026-03-03", DAY)]), "SEK").expect("nothing");
        assert_eq!((future.lines.len(), future.passed_over.future_days), (0, 1));
    }

    #[test]
    fn the_longest_source_fits() {
        let rates = file(&[(
            "2026-02-27",
            &[("USD", "1.083512345"), ("NOK", "0.0000000012345678")],
        )]);
        let host = "h".repeat(250);
        let context = ReferenceContext {
            own: currency("EUR"),
            base: currency("USD"),
            today: "2026-03-02".parse().expect("a day"),
            host: &host,
        };
        let found = offered(&rates, &context).expect("rates");
        let longest = found
            .lines
            .iter()
            .map(|line| line.source.chars().count())
            .max();
        assert!(
            longest.is_some_and(|chars| chars <= SOURCE_MAX_CHARS),
            "{longest:?}"
        );
    }

    #[test]
    fn what_somebody_entered_stays_and_what_was_fetched_may_change() {
        let lines = decide(
            &file(&[("2026-02-26", DAY), ("2026-02-27", &[("USD", "1.1")])]),
            "EUR",
        );
        let key = |code: &str, day: &str| (currency(code), day.parse().expect("a day"));
        let kept = |rate: &str, source: &str| (rate.to_owned(), source.to_owned());
        let known = HashMap::from([
            (key("USD", "2026-02-26"), kept("0.9", "a person")),
            (
                key("JPY", "2026-02-26"),
                kept("1/162.4", "fetched: elsewhere"),
            ),
            (
                key("NOK", "2026-02-26"),
                kept("1/11.4", "fetched: 127.0.0.1"),
            ),
        ]);
        let found = merge(lines.expect("rates").lines, &known);
        assert_eq!(shown(&found.entered), ["2026-02-27 USD 1/1.1"]);
        assert_eq!(shown(&found.replaced), ["2026-02-26 NOK 1/11.4025"]);
        assert_eq!((found.unchanged, found.left_alone), (1, 1));
    }
}
