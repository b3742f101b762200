//! The catalogue's shapes on the wire: an entry as it is shown.
//!
//! Invariant: an entry is shown as its document and, beside its fields, what the books add. Deliberately absent: the
//! documents (each stands in the file of its noun), and a change of one (a merge patch, see `http`).

use std::borrow::Cow;
use std::marker::PhantomData;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::openapi::schema::{
    ArrayBuilder, KnownFormat, Object, ObjectBuilder, Schema, SchemaFormat, Type,
};
use utoipa::openapi::{Ref, RefOr};
use utoipa::{IntoParams, PartialSchema, ToSchema};

use super::noun::CatalogueBody;

/// An entry as it is shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EntryOut<B> {
    /// The number by which the books name it; never shown.
    #[serde(skip)]
    pub id: i64,
    /// The document.
    #[serde(flatten)]
    pub body: B,
    /// How often it was changed, the creation included; the `ETag` is made of it.
    pub version: i64,
    /// When it was created.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
    /// When it was retired.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retired_at: Option<DateTime<Utc>>,
}

/// Which entries a list is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EntryState {
    /// Those that are in use.
    Active,
    /// Those that were retired.
    Retired,
}

impl EntryState {
    /// The state's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::Retired => "retired",
        }
    }
}

/// The query of a list, besides its page.
#[derive(Debug, Clone, Copy, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct StateQuery {
    /// Only these; every entry unless said.
    #[param(inline)]
    pub state: Option<EntryState>,
}

/// The fields of a document, as the documentation shows them.
fn document<B: CatalogueBody>() -> Object {
    match B::schema() {
        RefOr::T(Schema::Object(object)) => object,
        // Each document is a struct with named fields, which shows as an object.
        _ => Object::new(),
    }
}

/// The noun with a capital, such as `Material`: what its schemas' names begin with.
fn stem<B: CatalogueBody>() -> String {
    <B as ToSchema>::name().trim_end_matches("Body").to_owned()
}

fn instant(description: &str) -> ObjectBuilder {
    ObjectBuilder::new()
        .schema_type(Type::String)
        .format(Some(SchemaFormat::KnownFormat(KnownFormat::DateTime)))
        .description(Some(description))
}

impl<B: CatalogueBody> PartialSchema for EntryOut<B> {
    fn schema() -> RefOr<Schema> {
        let mut shown = document::<B>();
        let version = ObjectBuilder::new()
            .schema_type(Type::Integer)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int64)))
            .description(Some(
                "How often it was changed, the creation included; the `ETag` is made of it",
            ));
        let created = instant("When it was created");
        let updated = instant("When it was last changed");
        let retired = instant("When it was retired");
        let added = [
            ("version", version, true),
            ("created_at", created, true),
            ("updated_at", updated, true),
            ("retired_at", retired, false),
        ];
        for (name, property, always) in added {
            shown.properties.insert(name.to_owned(), property.into());
            if always {
                shown.required.push(name.to_owned());
            }
        }
        shown.description = Some(format!(
            "{} as it is shown",
            B::NOUN.with_article().replacen('a', "A", 1)
        ));
        shown.additional_properties = None;
        RefOr::T(Schema::Object(shown))
    }
}

impl<B: CatalogueBody> ToSchema for EntryOut<B> {
    fn name() -> Cow<'static, str> {
        format!("{}Entry", stem::<B>()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        B::schemas(schemas);
    }
}

/// How a page of entries shows in the documentation; what is written is a [`List`](crate::http::List) of
/// [`EntryOut`].
pub(super) struct EntryPage<B>(PhantomData<fn() -> B>);

impl<B: CatalogueBody> PartialSchema for EntryPage<B> {
    fn schema() -> RefOr<Schema> {
        let entry = Ref::from_schema_name(EntryOut::<B>::name());
        let next = ObjectBuilder::new()
            .schema_type(Type::String)
            .description(Some("The cursor of the next page; absent on the last"));
        ObjectBuilder::new()
            .description(Some("One page of a list"))
            .property("items", ArrayBuilder::new().items(RefOr::Ref(entry)))
            .required("items")
            .property("next", next)
            .into()
    }
}

impl<B: CatalogueBody> ToSchema for EntryPage<B> {
    fn name() -> Cow<'static, str> {
        format!("{}Page", stem::<B>()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((EntryOut::<B>::name().into(), EntryOut::<B>::schema()));
        EntryOut::<B>::schemas(schemas);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::GrantBody;

    #[test]
    fn an_entry_shows_its_document_and_what_the_books_add() {
        let schema = serde_json::to_value(EntryOut::<GrantBody>::schema()).unwrap();
        let required = serde_json::json!(["code", "name", "version", "created_at", "updated_at"]);
        assert_eq!(schema["required"], required);
        assert!(schema["properties"]["materials_budget"].is_object());
        assert!(schema.get("additionalProperties").is_none());
        assert_eq!(EntryOut::<GrantBody>::name(), "GrantEntry");
    }
}
