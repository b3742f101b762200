//! How a purchase file is to be read and taken, as fields of a form: the same as the query of the API.
//!
//! Invariant: a value that is not known is refused, as it is there; what is not said has its default.

use std::collections::HashMap;

use crate::purchasing::csv_file::{Delimiter, Encoding, FileFormat};
use crate::purchasing::import::ImportOptions;
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::ops::ImportSettings;

/// A field with a few values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Choice {
    /// Its name.
    pub(super) name: &'static str,
    /// What it asks.
    pub(super) label: &'static str,
    /// The values with their words, and which stands.
    pub(super) values: Vec<(&'static str, &'static str, bool)>,
}

/// The fields.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Options {
    /// Those of which one value is chosen.
    pub(super) choices: Vec<Choice>,
    /// Whether repeated freight is each row's own.
    pub(super) confirm_repeated_freight: bool,
    /// Whether anything is other than usual.
    pub(super) unusual: bool,
}

const DELIMITERS: [(&str, &str); 3] = [
    ("comma", "a comma (,)"),
    ("semicolon", "a semicolon (;)"),
    ("tab", "a tab"),
];
const DECIMALS: [(&str, &str); 2] = [("point", "a point (1234.5)"), ("comma", "a comma (1234,5)")];
const ENCODINGS: [(&str, &str); 2] = [
    ("utf-8", "UTF-8"),
    ("windows-1252", "Windows-1252 (Western European)"),
];
const SPREADS: [(&str, &str); 3] = [
    ("value", "the lines' prices"),
    ("mass", "the lines' masses"),
    ("count", "the lines' packs"),
];

/// The fields as they stand.
pub(super) fn options(settings: &ImportSettings) -> Options {
    let chosen = |name, label, values: &[(&'static str, &'static str)], stands: &str| Choice {
        name,
        label,
        values: values
            .iter()
            .map(|(value, words)| (*value, *words, *value == stands))
            .collect(),
    };
    let usual = ImportSettings::default();
    let names = |of: &ImportSettings| {
        (
            of.format.delimiter,
            of.decimal,
            of.format.encoding,
            of.options,
        )
    };
    Options {
        choices: vec![
            chosen(
                "delimiter",
                "Between two cells stands",
                &DELIMITERS,
                settings.format.delimiter.name(),
            ),
            chosen(
                "decimal",
                "Before the decimals stands",
                &DECIMALS,
                settings.decimal.name(),
            ),
            chosen(
                "encoding",
                "The characters are in",
                &ENCODINGS,
                settings.format.encoding.name(),
            ),
            chosen(
                "spread_by",
                "Freight and fees are spread by",
                &SPREADS,
                settings.options.spread_by.name(),
            ),
        ],
        confirm_repeated_freight: settings.options.confirm_repeated_freight,
        unusual: names(settings) != names(&usual),
    }
}

/// How the file is read, in words, such as `commas between cells, a decimal point, UTF-8`.
pub(super) fn said(settings: &ImportSettings) -> String {
    let encoding = match settings.format.encoding {
        Encoding::Utf8 => "UTF-8",
        Encoding::Windows1252 => "Windows-1252",
    };
    format!(
        "{}s between cells, a decimal {}, {encoding}",
        settings.format.delimiter.name(),
        settings.decimal.name(),
    )
}

/// What the fields say.
///
/// # Errors
/// What is not understood, in words.
pub(super) fn settings(fields: &HashMap<String, String>) -> Result<ImportSettings, String> {
    fn read<T: Default>(
        fields: &HashMap<String, String>,
        name: &str,
        parse: fn(&str) -> Option<T>,
    ) -> Result<T, String> {
        match fields.get(name).map(String::as_str) {
            None | Some("") => Ok(T::default()),
            Some(value) => parse(value).ok_or_else(|| format!("{name}: `{value}` is not known")),
        }
    }
    Ok(ImportSettings {
        format: FileFormat {
            delimiter: read(fields, "delimiter", Delimiter::parse)?,
            encoding: read(fields, "encoding", Encoding::parse)?,
            ..FileFormat::default()
        },
        decimal: read(fields, "decimal", DecimalMark::parse)?,
        options: ImportOptions {
            confirm_repeated_freight: read(fields, "confirm_repeated_freight", yes)?,
            spread_by: read(fields, "spread_by", SpreadBasis::parse)?,
        },
    })
}

/// A box that is ticked.
fn yes(text: &str) -> Option<bool> {
    text.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_of_a_field_is_read_as_itself() {
        for choice in options(&ImportSettings::default()).choices {
            for (value, ..) in &choice.values {
                let fields = [(choice.name.to_owned(), (*value).to_owned())].into();
                let read = options(&settings(&fields).unwrap());
                let again = read.choices.iter().find(|one| one.name == choice.name);
                let stands = again.unwrap().values.iter().find(|(.., chosen)| *chosen);
                assert_eq!(stands.unwrap().0, *value);
            }
        }
    }

    #[test]
    fn what_is_not_known_is_refused_and_what_is_not_said_is_usual() {
        assert!(!options(&settings(&HashMap::new()).unwrap()).unusual);
        let fields = [("delimiter".to_owned(), "pipe".to_owned())].into();
        assert_eq!(
            settings(&fields).unwrap_err(),
            "delimiter: `pipe` is not known"
        );
        let fields = [("confirm_repeated_freight".to_owned(), "true".to_owned())].into();
        assert!(options(&settings(&fields).unwrap()).confirm_repeated_freight);
    }
}
