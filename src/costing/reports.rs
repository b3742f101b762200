//! The reports of this room by their names, and how each can be grouped.

use serde::Serialize;

use super::export::sheet::Tabular;
use super::period::Period;
use super::replica_cost::grouping::GroupBy;
use super::residue::grouping::ResidueBy;
use super::stock_value::grouping::StockBy;
use super::waste::grouping::WasteBy;
use crate::base::Error;

/// Which report, and how it is grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReportBy {
    /// What replicas cost.
    ReplicaCost(GroupBy),
    /// What was paid for and became no good chip.
    Waste(WasteBy),
    /// What the stock is worth.
    StockValue(StockBy),
    /// What stays in the cups.
    Residue(ResidueBy),
    /// What each grant owes; always by grant.
    Charges,
}

/// The names of the reports.
pub const REPORTS: [&str; 5] = ["replica-cost", "waste", "stock-value", "residue", "charges"];

impl ReportBy {
    /// The report of a name, grouped by a word or as it is unless said.
    ///
    /// # Errors
    /// What was not understood, with what would be.
    ///
    /// ```
    /// use heeltap::costing::reports::ReportBy;
    /// assert_eq!(ReportBy::parse("waste", Some("material")).unwrap().group_by(), "material");
    /// assert!(ReportBy::parse("waste", Some("day")).unwrap_err().contains("grant, material, month, recipe, cast"));
    /// assert!(ReportBy::parse("wast", None).is_err());
    /// ```
    pub fn parse(name: &str, group_by: Option<&str>) -> Result<Self, String> {
        let found = match name {
            "replica-cost" => by(group_by, GroupBy::from_word).map(Self::ReplicaCost),
            "waste" => by(group_by, WasteBy::from_word).map(Self::Waste),
            "stock-value" => by(group_by, StockBy::from_word).map(Self::StockValue),
            "residue" => by(group_by, ResidueBy::from_word).map(Self::Residue),
            "charges" => group_by
                .is_none_or(|word| word == "grant")
                .then_some(Self::Charges),
            _ => return Err(not_one_of("report", name, &REPORTS)),
        };
        let groupings: Vec<&str> = Self::all()
            .into_iter()
            .filter(|report| report.name() == name)
            .map(Self::group_by)
            .collect();
        found.ok_or_else(|| not_one_of("group_by", group_by.unwrap_or_default(), &groupings))
    }

    /// Every report in every grouping.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let cost = GroupBy::ALL.into_iter().map(Self::ReplicaCost);
        let waste = WasteBy::ALL.into_iter().map(Self::Waste);
        let stock = StockBy::ALL.into_iter().map(Self::StockValue);
        let residue = ResidueBy::ALL.into_iter().map(Self::Residue);
        cost.chain(waste)
            .chain(stock)
            .chain(residue)
            .chain([Self::Charges])
            .collect()
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ReplicaCost(_) => "replica-cost",
            Self::Waste(_) => "waste",
            Self::StockValue(_) => "stock-value",
            Self::Residue(_) => "residue",
            Self::Charges => "charges",
        }
    }

    /// The word of its grouping.
    #[must_use]
    pub const fn group_by(self) -> &'static str {
        match self {
            Self::ReplicaCost(by) => by.as_str(),
            Self::Waste(by) => by.as_str(),
            Self::StockValue(by) => by.as_str(),
            Self::Residue(by) => by.as_str(),
            Self::Charges => "grant",
        }
    }
}

/// The grouping of a word; the usual one without a word.
fn by<T: Default>(word: Option<&str>, of: fn(&str) -> Option<T>) -> Option<T> {
    word.map_or_else(|| Some(T::default()), of)
}

/// That a word is none of those that are understood.
///
/// ```
/// use heeltap::costing::reports::not_one_of;
/// assert_eq!(not_one_of("format", "pdf", &["json", "csv"]), "format `pdf` is not one of json, csv");
/// ```
#[must_use]
pub fn not_one_of(name: &str, word: &str, words: &[&str]) -> String {
    let word: String = word.chars().take(32).collect();
    format!("{name} `{word}` is not one of {}", words.join(", "))
}

/// How a report is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Format {
    /// JSON.
    #[default]
    Json,
    /// CSV.
    Csv,
    /// A spreadsheet.
    Xlsx,
}

impl Format {
    /// Every format.
    pub const ALL: [Self; 3] = [Self::Json, Self::Csv, Self::Xlsx];

    /// Its word, and the ending of its files.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Json => "json",
            Self::Csv => "csv",
            Self::Xlsx => "xlsx",
        }
    }

    /// The media type of its files.
    #[must_use]
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Json => "application/json",
            Self::Csv => "text/csv; charset=utf-8",
            Self::Xlsx => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        }
    }

    /// The format of a word; JSON without one.
    ///
    /// # Errors
    /// What was not understood, with what would be.
    ///
    /// ```
    /// use heeltap::costing::reports::Format;
    /// assert_eq!(Format::parse(Some("xlsx")), Ok(Format::Xlsx));
    /// assert!(Format::parse(Some("pdf")).is_err());
    /// ```
    pub fn parse(word: Option<&str>) -> Result<Self, String> {
        let Some(word) = word else {
            return Ok(Self::Json);
        };
        let words = Self::ALL.map(Self::as_str);
        Self::ALL
            .into_iter()
            .find(|format| format.as_str() == word)
            .ok_or_else(|| not_one_of("format", word, &words))
    }
}

/// A report that is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// Which, and how it is grouped.
    pub report: ReportBy,
    /// The days.
    pub period: Period,
}

/// A report that was made.
pub trait Report: Tabular {
    /// All of it as JSON.
    ///
    /// # Errors
    /// [`Error::Internal`] when it cannot be written.
    fn json(&self) -> Result<String, Error>;
}

impl<T: Tabular + Serialize> Report for T {
    fn json(&self) -> Result<String, Error> {
        serde_json::to_string(self).map_err(Error::internal)
    }
}
