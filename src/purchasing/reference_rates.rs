//! The daily reference rates of a central bank, read from the XML in which they are published: an `Envelope` with a `Cube`,
//! in it a `Cube time="…"` for each day, in it a `Cube currency="…" rate="…"` for each currency. The rates are units of that
//! currency for one unit of the currency of the bank.
//!
//! Invariants: a file is read whole or refused whole; a document type, and with it every entity of its own, is refused;
//! nothing grows beyond the bytes of the file. Elements are known by their local names, whatever their prefixes and
//! namespaces; what is neither of these elements is passed over. A currency that nobody can pay with is passed over and
//! counted. Source: the form of the files, which is public, from memory. Deliberately absent: fetching, and what the rates
//! mean for the books.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use super::date::{DateError, read_date};
use super::rate::{Rate, RateError};
use crate::base::Currency;

/// Most elements within each other; four are enough.
const DEPTH_MAX: usize = 16;

/// Most attributes of an element; two are enough.
const ATTRIBUTES_MAX: usize = 16;

/// What a file says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReferenceRates {
    /// The rates by day and currency: units of that currency for one unit of the file's own.
    pub days: BTreeMap<NaiveDate, BTreeMap<Currency, Rate>>,
    /// Rates that were passed over, as their currency is none that anybody can pay with.
    pub unknown_currencies: u64,
}

/// Why a file was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReferenceError {
    /// Not UTF-8.
    #[error("byte {position} is not valid UTF-8")]
    NotUtf8 {
        /// The byte's place, from 1.
        position: usize,
    },
    /// Not XML.
    #[error("not well-formed XML at byte {position}: {detail}")]
    Malformed {
        /// About where, from 0.
        position: u64,
        /// What the parser says, cut if long.
        detail: String,
    },
    /// A document type, which could define entities.
    #[error("the file has a document type (DTD), which no file of reference rates has")]
    DocumentType,
    /// It is something else.
    #[error(
        "\"{found}\" is no file of reference rates: expected an Envelope with a Cube for each day"
    )]
    AnotherFile {
        /// The name of its root element, cut if long.
        found: String,
    },
    /// There is no day in it.
    #[error("the file has no Cube with a time: expected one for each day")]
    NoDay,
    /// An attribute is missing.
    #[error("a Cube of {place} has no \"{attribute}\"")]
    Missing {
        /// The day it stands in, or the file.
        place: String,
        /// The attribute.
        attribute: &'static str,
    },
    /// A day that is none.
    #[error("time=\"{value}\" {error}")]
    Day {
        /// The text, cut if long.
        value: String,
        /// Why.
        error: DateError,
    },
    /// A rate that is none.
    #[error("{currency} on {day}: {error}")]
    Rate {
        /// The day.
        day: NaiveDate,
        /// The currency.
        currency: Currency,
        /// Why.
        error: RateError,
    },
    /// A day stands twice.
    #[error("{0} stands in the file twice")]
    DayTwice(NaiveDate),
    /// A currency stands twice on a day.
    #[error("{currency} stands on {day} twice")]
    CurrencyTwice {
        /// The day.
        day: NaiveDate,
        /// The currency.
        currency: Currency,
    },
}

/// Reads a file.
///
/// # Errors
/// [`ReferenceError`]: whatever is wrong with it, naming the value.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::purchasing::reference_rates::read_reference_rates;
/// let file = br#"<Envelope><Cube><Cube time="2026-02-27"><Cube currency="USD" rate="1.0835"/></Cube></Cube></Envelope>"#;
/// let rates = read_reference_rates(file)?;
/// let day = &rates.days[&"2026-02-27".parse()?];
/// assert_eq!(day[&Currency::parse("USD")?].to_string(), "1.0835");
/// assert!(read_reference_rates(b"<html></html>").is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_reference_rates(bytes: &[u8]) -> Result<ReferenceRates, ReferenceError> {
    let text = std::str::from_utf8(bytes).map_err(|error| ReferenceError::NotUtf8 {
        position: error.valid_up_to() + 1,
    })?;
    let mut reader = Reader::from_str(text.trim_start_matches('\u{feff}'));
    let mut reading = Reading::default();
    loop {
        let event = reader
            .read_event()
            .map_err(|error| malformed(reader.error_position(), &error))?;
        let position = reader.buffer_position();
        match event {
            Event::Start(element) => reading.begin(&element, position)?,
            Event::Empty(element) => {
                reading.begin(&element, position)?;
                reading.end();
            }
            Event::End(_) => reading.end(),
            Event::DocType(_) => return Err(ReferenceError::DocumentType),
            Event::Text(text) => reading.text(&text.xml10_content(), position)?,
            Event::CData(_) | Event::GeneralRef(_) => reading.text("…", position)?,
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
            Event::Eof => return reading.finish(position),
        }
    }
}

fn malformed(position: u64, error: &dyn std::fmt::Display) -> ReferenceError {
    ReferenceError::Malformed {
        position,
        detail: cut(&error.to_string(), 200),
    }
}

fn cut(text: &str, max_chars: usize) -> String {
    text.chars().take(max_chars).collect()
}

/// What an element that is open is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Open {
    /// The root.
    Envelope,
    /// The one that holds the days.
    Days,
    /// A day.
    Day(NaiveDate),
    /// A rate.
    Rate,
    /// Something else, with all that is in it.
    Other,
}

/// A file that is being read.
#[derive(Default)]
struct Reading {
    open: Vec<Open>,
    has_root: bool,
    rates: ReferenceRates,
}

impl Reading {
    fn begin(&mut self, element: &BytesStart<'_>, position: u64) -> Result<(), ReferenceError> {
        if self.open.len() >= DEPTH_MAX {
            let detail = format!("more than {DEPTH_MAX} elements within each other");
            return Err(malformed(position, &detail));
        }
        let (name, attributes) = read_element(element, position)?;
        let is_cube = name == "Cube";
        let kind = match self.open.last() {
            None => self.root(name, position)?,
            Some(Open::Envelope) if is_cube => Open::Days,
            Some(Open::Days) if is_cube => Open::Day(self.day(&attributes)?),
            Some(Open::Day(day)) if is_cube => {
                let day = *day;
                self.rate(day, &attributes)?;
                Open::Rate
            }
            Some(_) => Open::Other,
        };
        self.open.push(kind);
        Ok(())
    }

    fn end(&mut self) {
        // The parser has compared the names already.
        self.open.pop();
    }

    fn root(&mut self, name: &str, position: u64) -> Result<Open, ReferenceError> {
        if self.has_root {
            return Err(malformed(position, &"a second root element"));
        }
        if name != "Envelope" {
            let found = cut(name, 40);
            return Err(ReferenceError::AnotherFile { found });
        }
        self.has_root = true;
        Ok(Open::Envelope)
    }

    fn day(&mut self, attributes: &Attributes) -> Result<NaiveDate, ReferenceError> {
        let text = attributes
            .value("time")
            .ok_or_else(|| ReferenceError::Missing {
                place: "the file".to_owned(),
                attribute: "time",
            })?;
        let day = read_date(text).map_err(|error| ReferenceError::Day {
            value: cut(text, 40),
            error,
        })?;
        if self.rates.days.insert(day, BTreeMap::new()).is_some() {
            return Err(ReferenceError::DayTwice(day));
        }
        Ok(day)
    }

    fn rate(&mut self, day: NaiveDate, attributes: &Attributes) -> Result<(), ReferenceError> {
        let needed = |attribute: &'static str| {
            attributes
                .value(attribute)
                .ok_or_else(|| ReferenceError::Missing {
                    place: day.to_string(),
                    attribute,
                })
        };
        let (code, number) = (needed("currency")?, needed("rate")?);
        let Ok(currency) = Currency::parse(code) else {
            self.rates.unknown_currencies += 1;
            return Ok(());
        };
        let rate = Rate::parse(number).map_err(|error| ReferenceError::Rate {
            day,
            currency,
            error,
        })?;
        let rates = self.rates.days.entry(day).or_default();
        if rates.insert(currency, rate).is_some() {
            return Err(ReferenceError::CurrencyTwice { day, currency });
        }
        Ok(())
    }

    /// Text says nothing, but outside the root there is none in XML.
    fn text(&self, text: &str, position: u64) -> Result<(), ReferenceError> {
        if self.open.is_empty() && !text.trim().is_empty() {
            let found = if self.has_root { "after" } else { "before" };
            return Err(malformed(
                position,
                &format!("text {found} the root element"),
            ));
        }
        Ok(())
    }

    fn finish(self, position: u64) -> Result<ReferenceRates, ReferenceError> {
        if !self.open.is_empty() || !self.has_root {
            return Err(malformed(position, &"the file ends too early"));
        }
        if self.rates.days.is_empty() {
            return Err(ReferenceError::NoDay);
        }
        Ok(self.rates)
    }
}

/// The attributes of an element by their local names, without declarations of namespaces.
struct Attributes(Vec<(String, String)>);

impl Attributes {
    fn value(&self, name: &str) -> Option<&str> {
        let found = self.0.iter().find(|(known, _)| known == name);
        found.map(|(_, value)| value.trim())
    }
}

/// The local name of an element, and its attributes. A character may stand as a reference; other entities are refused.
fn read_element<'a>(
    element: &'a BytesStart<'_>,
    position: u64,
) -> Result<(&'a str, Attributes), ReferenceError> {
    let mut attributes = Vec::new();
    // The parser looks for names that stand twice by comparing each with each, which the limit keeps short.
    for (index, attribute) in element.attributes().enumerate() {
        if index >= ATTRIBUTES_MAX {
            let detail = format!("more than {ATTRIBUTES_MAX} attributes");
            return Err(malformed(position, &detail));
        }
        let attribute = attribute.map_err(|error| malformed(position, &error))?;
        let key: &str = attribute.key.as_ref();
        if key == "xmlns" || key.starts_with("xmlns:") {
            continue;
        }
        let value = attribute
            .normalized_value(XmlVersion::Implicit1_0)
            .map_err(|error| malformed(position, &error))?;
        attributes.push((local(key).to_owned(), value.into_owned()));
    }
    Ok((local(element.name().into_inner()), Attributes(attributes)))
}

fn local(name: &str) -> &str {
    name.rsplit_once(':').map_or(name, |(_, local)| local)
}

#[cfg(test)]
mod tests;
