//! Loading the catalogue's pages, and doing what their forms ask for: the operations behind the API's doors.

use std::collections::{BTreeMap, btree_map};

use chrono::NaiveDate;
use serde_json::{Map, Value};

use super::document::{Typed, patch_between, told, typed_from};
use super::entry_view::{Known, changed_meanwhile, known};
use super::form::{Given, form};
use super::guide::{Need, Standing, Step, catalogue_path};
use super::lists::Row;
use super::probe::{KIND, Naming, Suited, fixed, namings, suited};
use super::rows::Line;
use super::schema::{Property, properties};
use super::shown::{FormShown, Offer, Offers};
use crate::base::{Currency, Error, FieldError};
use crate::casting::life::view::casts_list;
use crate::catalogue::{
    ElastomerBody, Entry, EntryOut, GrantBody, KitBody, MaterialBody, MaterialKind, MoldBody, Noun,
    RecipeBody, SupplierBody, entries_naming, entry_all, entry_change, entry_create, entry_retire,
    entry_show,
};
use crate::db::{AnyConnection, Tx};
use crate::http::{IfMatch, MergePatch, Page, Problem, document_read, merge_patch};
use crate::stock::views::lots_list;

/// Does something with the document's type of a noun.
macro_rules! of_noun {
    ($noun:expr, $body:ident => $does:expr) => {
        match $noun {
            Noun::Material => {
                type $body = MaterialBody;
                $does
            }
            Noun::Elastomer => {
                type $body = ElastomerBody;
                $does
            }
            Noun::Kit => {
                type $body = KitBody;
                $does
            }
            Noun::Mold => {
                type $body = MoldBody;
                $does
            }
            Noun::Recipe => {
                type $body = RecipeBody;
                $does
            }
            Noun::Grant => {
                type $body = GrantBody;
                $does
            }
            Noun::Supplier => {
                type $body = SupplierBody;
                $does
            }
        }
    };
}

/// The way to a first cast, as far as it is gone.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(in crate::pages) fn steps(
    conn: &mut AnyConnection,
    (today, currency): (NaiveDate, Currency),
) -> Result<Vec<Step>, Error> {
    Ok(standing(conn, (today, currency))?.steps())
}

/// What there is, and what is needed for a first cast.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn standing(
    conn: &mut AnyConnection,
    (today, currency): (NaiveDate, Currency),
) -> Result<Standing, Error> {
    let mut standing = Standing::default();
    for noun in Noun::ALL {
        let rows = rows(conn, noun, None)?;
        let active = rows.iter().filter(|row| !row.retired);
        standing.entries.insert(noun, active.clone().count());
        for kind in active.filter_map(|row| MaterialKind::parse(row.kind)) {
            *standing.kinds.entry(kind).or_default() += 1;
        }
        standing
            .needs
            .insert(noun, of_noun!(noun, B => needs::<B>()));
    }
    let one = Page { after: 0, limit: 1 };
    standing.stocked = !lots_list(conn, None, None, one, today)?.is_empty();
    standing.cast = !casts_list(conn, (None, None), (0, 1), currency)?.is_empty();
    Ok(standing)
}

fn needs<B: Line>() -> Vec<Need> {
    let properties = properties::<B>();
    let required = |naming: &Naming| {
        let mut all = properties.iter();
        all.any(|one| one.required && naming.pattern == format!("/{}", one.name))
    };
    let namings = namings::<B>(&properties).into_iter();
    let need = |naming: Naming| Need {
        noun: naming.noun,
        kinds: naming.kinds,
    };
    namings.filter(required).map(need).collect()
}

/// The entries of a noun as they are listed; with what matters of them where a currency is given.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn rows(
    conn: &mut AnyConnection,
    noun: Noun,
    currency: Option<Currency>,
) -> Result<Vec<Row>, Error> {
    of_noun!(noun, B => {
        let entries = entry_all::<B>(conn)?.into_iter();
        Ok(entries.map(|entry| row(entry, currency)).collect())
    })
}

fn row<B: Line>(entry: Entry<B>, currency: Option<Currency>) -> Row {
    let kind = entry.body.stock().map(|(kind, _)| kind);
    let place = kind.and_then(|kind| MaterialKind::ALL.iter().position(|known| *known == kind));
    Row {
        line: currency
            .map(|currency| entry.body.line(currency))
            .unwrap_or_default(),
        code: entry.code.into_string(),
        name: entry.name,
        kind: kind.map_or("", MaterialKind::as_str),
        retired: entry.retired,
        place: place.unwrap_or(0),
    }
}

/// What the fields of a noun may name.
fn offers<B: Line>(
    conn: &mut AnyConnection,
    properties: &[Property],
) -> Result<BTreeMap<String, Offers>, Error> {
    let mut known: BTreeMap<Noun, Vec<Row>> = BTreeMap::new();
    let mut offers = BTreeMap::new();
    for naming in namings::<B>(properties) {
        if let btree_map::Entry::Vacant(unknown) = known.entry(naming.noun) {
            unknown.insert(rows(conn, naming.noun, None)?);
        }
        let fits = |row: &&Row| {
            let kind = MaterialKind::parse(row.kind);
            !row.retired
                && (naming.kinds.is_empty()
                    || kind.is_some_and(|kind| naming.kinds.contains(&kind)))
        };
        let mut there: Vec<Offer> = known[&naming.noun]
            .iter()
            .filter(fits)
            .map(|row| Offer {
                code: row.code.clone(),
                name: row.name.clone(),
            })
            .collect();
        there.sort_by_cached_key(|offer| offer.name.to_lowercase());
        let need = Need {
            noun: naming.noun,
            kinds: naming.kinds,
        };
        let found = Offers {
            there,
            one: need.words().to_owned(),
            address: need.address(),
        };
        offers.insert(naming.pattern, found);
    }
    Ok(offers)
}

/// The form for a new entry, with what was typed and what is wrong with it.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn new_form(
    conn: &mut AnyConnection,
    noun: Noun,
    typed: &Typed,
    faults: &[FieldError],
    currency: Currency,
) -> Result<FormShown, Error> {
    of_noun!(noun, B => {
        let properties = properties::<B>();
        let given = given::<B>(conn, &properties, told(&properties, typed).typed, faults, currency)?;
        Ok(form(&properties, given))
    })
}

fn given<'a, B: Line>(
    conn: &mut AnyConnection,
    properties: &[Property],
    typed: Typed,
    faults: &'a [FieldError],
    currency: Currency,
) -> Result<Given<'a>, Error> {
    Ok(Given {
        suited: suited_to::<B>(properties, &typed),
        typed,
        offers: offers::<B>(conn, properties)?,
        faults,
        currency: currency.to_string(),
        ..Given::default()
    })
}

fn suited_to<B: Line>(properties: &[Property], typed: &Typed) -> Suited {
    let kind = typed.get(&format!("/{KIND}")).map_or("", String::as_str);
    suited::<B>(properties, kind)
}

/// Makes an entry of a form. Returns its code.
///
/// # Errors
/// [`Error::Invalid`] with all that is missing, and as creating an entry.
pub(super) fn entry_made(tx: &mut Tx<'_>, noun: Noun, typed: &Typed) -> Result<String, Error> {
    of_noun!(noun, B => made::<B>(tx, typed))
}

fn made<B: Line>(tx: &mut Tx<'_>, typed: &Typed) -> Result<String, Error> {
    let told = told(&properties::<B>(), typed);
    let body: B = document_read(Value::Object(told.document))
        .map_err(|error| with_missing(error, told.missing))?;
    let made = entry_create(tx, body)?;
    Ok(made.body.code().as_str().to_owned())
}

/// An error of reading a document, which names the first fault alone, with all else that is missing.
fn with_missing(error: Error, missing: Vec<FieldError>) -> Error {
    match error {
        Error::Invalid(mut faults) if !missing.is_empty() => {
            let told =
                |fault: &FieldError| faults.iter().any(|known| known.pointer == fault.pointer);
            let more: Vec<FieldError> = missing.into_iter().filter(|fault| !told(fault)).collect();
            faults.extend(more);
            Error::Invalid(faults)
        }
        other => other,
    }
}

/// A change that a form asks for.
#[derive(Debug, Clone, Default)]
pub(super) struct Sent {
    /// What was typed.
    pub(super) typed: Typed,
    /// The version that was read.
    pub(super) version: Option<i64>,
    /// The document that was read.
    pub(super) read: Map<String, Value>,
}

impl Sent {
    /// The merge patch that it means: what was changed of what was read. With it, what must be there and is not.
    fn patch<B: Line>(&self, now: &Map<String, Value>) -> (Map<String, Value>, Vec<FieldError>) {
        let properties = properties::<B>();
        let fixed = fixed::<B>(&properties, now);
        let changing: Vec<Property> = properties
            .into_iter()
            .filter(|one| !fixed.contains(&one.name))
            .collect();
        let told = told(&changing, &self.typed);
        let mut after = told.document;
        let kept = self.read.iter().filter(|(name, _)| fixed.contains(*name));
        after.extend(kept.map(|(name, value)| (name.clone(), value.clone())));
        (patch_between(&self.read, &after), told.missing)
    }
}

/// Changes an entry. Returns whether anything was to be changed.
///
/// # Errors
/// [`Error::Invalid`] with all that is missing, and as changing an entry.
pub(super) fn entry_changed(
    tx: &mut Tx<'_>,
    noun: Noun,
    code: &str,
    sent: &Sent,
) -> Result<bool, Error> {
    of_noun!(noun, B => changed::<B>(tx, code, sent))
}

fn changed<B: Line>(tx: &mut Tx<'_>, code: &str, sent: &Sent) -> Result<bool, Error> {
    let now = document_of(&entry_show::<B>(tx.conn, code)?)?;
    let (patch, missing) = sent.patch::<B>(&now);
    if patch.is_empty() {
        return Ok(false);
    }
    let patch = MergePatch::<B>::new(patch);
    let changed = entry_change(tx, code, patch, &IfMatch::of(sent.version));
    changed.map_err(|error| with_missing(error, missing))?;
    Ok(true)
}

/// Retires an entry.
///
/// # Errors
/// As retiring an entry.
pub(super) fn entry_retired(tx: &mut Tx<'_>, noun: Noun, code: &str) -> Result<(), Error> {
    of_noun!(noun, B => entry_retire::<B>(tx, code).map(drop))
}

/// An entry with what its page shows of it.
pub(super) struct EntryFacts {
    /// Its name.
    pub(super) name: String,
    /// The kind's word of a material, which chooses the hue.
    pub(super) kind: &'static str,
    /// What matters of it.
    pub(super) line: String,
    /// Its version.
    pub(super) version: i64,
    /// Its document, as text.
    pub(super) read: String,
    /// Whether it is retired.
    pub(super) retired: bool,
    /// What is known of it.
    pub(super) known: Known,
    /// What it names: addresses with codes.
    pub(super) names: Vec<(String, String)>,
    /// What names it: addresses with words.
    pub(super) named_by: Vec<(String, String)>,
    /// The form to change it.
    pub(super) form: FormShown,
}

/// What was sent and refused.
pub(super) struct Refusal {
    /// What was sent.
    pub(super) sent: Sent,
    /// What is wrong with it.
    pub(super) faults: Vec<FieldError>,
    /// Whether the entry has changed since it was read.
    pub(super) changed_meanwhile: bool,
}

fn document_of<B: Line>(shown: &EntryOut<B>) -> Result<Map<String, Value>, Error> {
    match serde_json::to_value(&shown.body).map_err(Error::internal)? {
        Value::Object(document) => Ok(document),
        _ => Err(Error::internal("a document is no object")),
    }
}

/// Loads an entry's page, with a change that was refused.
///
/// # Errors
/// [`Error::NotFound`] without such an entry.
pub(super) fn entry_facts(
    conn: &mut AnyConnection,
    noun: Noun,
    code: &str,
    refused: Option<&Refusal>,
    currency: Currency,
) -> Result<EntryFacts, Error> {
    of_noun!(noun, B => entry_facts_of::<B>(conn, code, refused, currency))
}

fn entry_facts_of<B: Line>(
    conn: &mut AnyConnection,
    code: &str,
    refused: Option<&Refusal>,
    currency: Currency,
) -> Result<EntryFacts, Error> {
    let shown = entry_show::<B>(conn, code)?;
    let properties = properties::<B>();
    let document = document_of(&shown)?;
    let now = typed_from(&properties, &Value::Object(document.clone()));
    let fixed = fixed::<B>(&properties, &document);
    let kept = |typed: &Typed| -> Typed {
        let of_fixed = |pointer: &str| fixed.contains(pointer.trim_start_matches('/'));
        let own = now.iter().filter(|(pointer, _)| of_fixed(pointer));
        let own = own.map(|(pointer, text)| (pointer.clone(), text.clone()));
        told(&properties, typed)
            .typed
            .into_iter()
            .chain(own)
            .collect()
    };
    let faults = refused.map_or(&[][..], |refused| refused.faults.as_slice());
    let (mut version, mut read, mut notes) = (shown.version, document.clone(), BTreeMap::new());
    let typed = match refused {
        None => now.clone(),
        Some(refused) if refused.changed_meanwhile => {
            // What was sent is a change of what was read: it is made again, of what stands there now.
            let (patch, _) = refused.sent.patch::<B>(&document);
            let merged = merge_patch(Value::Object(document.clone()), Value::Object(patch));
            let mine = typed_from(&properties, &merged);
            let was = typed_from(&properties, &Value::Object(refused.sent.read.clone()));
            notes = changed_meanwhile(&was, &now, &mine);
            mine
        }
        Some(refused) => {
            version = refused.sent.version.unwrap_or(version);
            read = refused.sent.read.clone();
            kept(&refused.sent.typed)
        }
    };
    let given = Given {
        fixed,
        notes,
        ..given::<B>(conn, &properties, typed, faults, currency)?
    };
    let named_by = entries_naming(conn, shown.id)?
        .into_iter()
        .map(|(noun, code, name)| {
            let words = format!("{} ({code})", name);
            (format!("{}/{code}", catalogue_path(noun)), words)
        });
    let names = shown.body.links().into_iter();
    let names = names.map(|link| {
        (
            format!("{}/{}", catalogue_path(link.target), link.code),
            link.code.to_string(),
        )
    });
    Ok(EntryFacts {
        name: shown.body.name().to_owned(),
        kind: shown.body.stock().map_or("", |(kind, _)| kind.as_str()),
        line: shown.body.line(currency),
        version,
        read: serde_json::to_string(&read).map_err(Error::internal)?,
        retired: shown.retired_at.is_some(),
        known: known(&properties, &now),
        names: names.collect(),
        named_by: named_by.collect(),
        form: form(&properties, given),
    })
}

/// What is wrong, each at its field; what has none is without a pointer.
pub(super) fn faults(problem: &Problem) -> Vec<FieldError> {
    if !problem.errors().is_empty() {
        return problem.errors().to_vec();
    }
    let document = serde_json::to_value(problem.body()).unwrap_or_default();
    let detail = problem.words().1;
    let pointer = match (document["pointer"].as_str(), document["type"].as_str()) {
        (Some(pointer), _) => pointer,
        (None, Some("urn:heeltap:problem:already-exists")) => "/code",
        _ => "",
    };
    let own = format!("{pointer}: ");
    vec![FieldError::new(
        pointer,
        detail.strip_prefix(&own).unwrap_or(detail),
    )]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::RefusalKind;

    #[track_caller]
    fn check(error: Error, expected: (&str, &str)) {
        let found = faults(&Problem::from(error));
        assert_eq!(
            (found[0].pointer.as_str(), found[0].detail.as_str()),
            expected
        );
    }

    #[test]
    fn a_refusal_stands_at_the_field_it_is_about() {
        check(Error::invalid("/heel", "too much"), ("/heel", "too much"));
        let retired = Error::refused(
            RefusalKind::Retired,
            "/cup: the material \"c\" is retired".to_owned(),
        );
        check(
            retired.with("pointer", "/cup"),
            ("/cup", "the material \"c\" is retired"),
        );
        check(
            Error::refused(RefusalKind::AlreadyExists, "taken".to_owned()),
            ("/code", "taken"),
        );
        check(
            Error::refused(RefusalKind::Retired, "it is retired".to_owned()),
            ("", "it is retired"),
        );
    }
}
