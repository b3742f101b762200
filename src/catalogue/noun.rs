//! The seven nouns of the catalogue and what each has to say for itself, so that one machinery serves them all.
//!
//! Invariants: a link's role is the JSON pointer of the field without its leading stroke, so that a fault in a
//! reference is shown where it was written. Links never form a ring: recipe -> elastomer, mold, material; kit ->
//! elastomer; elastomer -> material. Deliberately absent: the database.

use serde::Serialize;
use serde::de::DeserializeOwned;
use utoipa::ToSchema;

use super::kind::MaterialKind;
use crate::base::{Code, FieldError, Money, Unit};

/// A noun of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Noun {
    /// Something bought and kept.
    Material,
    /// A base and a curing agent with their ratio.
    Elastomer,
    /// A purchasable pack of base and curing agent.
    Kit,
    /// The master that is replicated.
    Mold,
    /// How one kind of chip is cast.
    Recipe,
    /// Who pays.
    Grant,
    /// Who delivers.
    Supplier,
}

impl Noun {
    /// Every noun, in a fixed order.
    pub const ALL: [Self; 7] = [
        Self::Material,
        Self::Elastomer,
        Self::Kit,
        Self::Mold,
        Self::Recipe,
        Self::Grant,
        Self::Supplier,
    ];

    /// The noun's word.
    ///
    /// ```
    /// assert_eq!(heeltap::catalogue::Noun::Mold.as_str(), "mold");
    /// ```
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Material => "material",
            Self::Elastomer => "elastomer",
            Self::Kit => "kit",
            Self::Mold => "mold",
            Self::Recipe => "recipe",
            Self::Grant => "grant",
            Self::Supplier => "supplier",
        }
    }

    /// The noun's word with its article, as it stands in a sentence.
    ///
    /// ```
    /// assert_eq!(heeltap::catalogue::Noun::Elastomer.with_article(), "an elastomer");
    /// ```
    #[must_use]
    pub fn with_article(self) -> String {
        let article = match self {
            Self::Elastomer => "an",
            _ => "a",
        };
        format!("{article} {}", self.as_str())
    }

    /// The address of the noun's list.
    ///
    /// ```
    /// assert_eq!(heeltap::catalogue::Noun::Grant.path(), "/v1/grants");
    /// ```
    #[must_use]
    pub const fn path(self) -> &'static str {
        match self {
            Self::Material => "/v1/materials",
            Self::Elastomer => "/v1/elastomers",
            Self::Kit => "/v1/kits",
            Self::Mold => "/v1/molds",
            Self::Recipe => "/v1/recipes",
            Self::Grant => "/v1/grants",
            Self::Supplier => "/v1/suppliers",
        }
    }

    /// The namespace in which the noun's codes are unique: materials and kits share one, since an order names either.
    ///
    /// ```
    /// use heeltap::catalogue::Noun;
    /// assert_eq!(Noun::Kit.namespace(), Noun::Material.namespace());
    /// ```
    #[must_use]
    pub const fn namespace(self) -> &'static str {
        match self {
            Self::Material | Self::Kit => "item",
            other => other.as_str(),
        }
    }

    /// The noun of a word.
    ///
    /// ```
    /// use heeltap::catalogue::Noun;
    /// assert_eq!(Noun::parse("kit"), Some(Noun::Kit));
    /// assert_eq!(Noun::parse("Kit"), None);
    /// ```
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|noun| noun.as_str() == word)
    }
}

/// A reference from one entry to another, by code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// The field that names it: a JSON pointer without its leading stroke, such as `extras/0/material`.
    pub role: String,
    /// What it must be.
    pub target: Noun,
    /// The code it names.
    pub code: Code,
    /// The kinds of material it may be; empty when the target is no material.
    pub kinds: &'static [MaterialKind],
}

impl Link {
    /// A reference to a material of one of some kinds.
    pub(super) fn material(
        role: impl Into<String>,
        code: &Code,
        kinds: &'static [MaterialKind],
    ) -> Self {
        Self {
            role: role.into(),
            target: Noun::Material,
            code: code.clone(),
            kinds,
        }
    }

    /// A reference to an entry that is no material.
    pub(super) fn to(role: &str, target: Noun, code: &Code) -> Self {
        Self {
            role: role.to_owned(),
            target,
            code: code.clone(),
            kinds: &[],
        }
    }

    /// Where the reference stands in the document.
    #[must_use]
    pub fn pointer(&self) -> String {
        format!("/{}", self.role)
    }
}

/// What a new mold brings into the books: spread over its uses as they happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PoolFill {
    /// The value to be spread.
    pub value: Money,
    /// The uses it is spread over, at least 1.
    pub uses: i64,
}

/// The document of one noun: exactly what is sent to create an entry, and what is kept.
pub trait CatalogueBody: Serialize + DeserializeOwned + ToSchema + Clone + Send + 'static {
    /// The noun.
    const NOUN: Noun;

    /// The code.
    fn code(&self) -> &Code;

    /// The name.
    fn name(&self) -> &str;

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    fn check(&self) -> Vec<FieldError>;

    /// The entries it names.
    fn links(&self) -> Vec<Link> {
        Vec::new()
    }

    /// What may not change from `before` to `self`, besides the code.
    fn fixed(&self, before: &Self) -> Vec<FieldError> {
        let _ = before;
        Vec::new()
    }

    /// For a material: its kind and the unit it is kept in.
    fn stock(&self) -> Option<(MaterialKind, Unit)> {
        None
    }

    /// For a mold with a cost: what it brings into the books.
    ///
    /// # Errors
    /// A fault when the value leaves the range of money.
    fn pool(&self) -> Result<Option<PoolFill>, FieldError> {
        Ok(None)
    }
}

/// Adds a fault when a field differs though it never may.
pub(super) fn unchanged<T: PartialEq + Serialize>(
    faults: &mut Vec<FieldError>,
    pointer: &str,
    before: &T,
    after: &T,
    advice: &str,
) {
    if before != after {
        let shown = |value: &T| serde_json::to_string(value).unwrap_or_default();
        faults.push(FieldError::new(
            pointer,
            format!(
                "{} cannot replace {}: this field never changes; {advice}",
                shown(after),
                shown(before)
            ),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_lead_back_to_nouns() {
        for noun in Noun::ALL {
            assert_eq!(Noun::parse(noun.as_str()), Some(noun));
            assert!(noun.path().contains(noun.as_str()));
        }
        assert_eq!(Noun::parse("cast"), None);
    }
}
