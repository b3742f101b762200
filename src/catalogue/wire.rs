//! The catalogue's shapes on the wire: an entry as it is shown, and a change as it is sent.
//!
//! Invariants: an entry is shown as its document and, beside its fields, what the books add; a patch has the
//! document's fields, none of them required, each of them removable. Deliberately absent: the documents (each stands
//! in the file of its noun).

use std::borrow::Cow;
use std::marker::PhantomData;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::{Map, Value};
use utoipa::openapi::schema::{
    AdditionalProperties, ArrayBuilder, KnownFormat, Object, ObjectBuilder, OneOfBuilder, Schema,
    SchemaFormat, Type,
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

/// A merge patch (RFC 7396) of a document of type `B`.
pub struct MergePatch<B> {
    pub(super) members: Map<String, Value>,
    of: PhantomData<fn() -> B>,
}

impl<B> MergePatch<B> {
    /// A patch of these members.
    #[must_use]
    pub fn new(members: Map<String, Value>) -> Self {
        Self {
            members,
            of: PhantomData,
        }
    }
}

impl<'de, B> Deserialize<'de> for MergePatch<B> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Map::deserialize(deserializer).map(Self::new)
    }
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

impl<B: CatalogueBody> PartialSchema for MergePatch<B> {
    fn schema() -> RefOr<Schema> {
        let mut patch = document::<B>();
        patch.required.clear();
        for property in patch.properties.values_mut() {
            let null = ObjectBuilder::new().schema_type(Type::Null);
            let set = std::mem::replace(property, RefOr::Ref(Ref::new("")));
            *property = OneOfBuilder::new().item(set).item(null).into();
        }
        patch.description = Some(format!(
            "A merge patch (RFC 7396) of {}: fields left out stay as they are, `null` removes a field",
            B::NOUN.with_article()
        ));
        patch.additional_properties = Some(Box::new(AdditionalProperties::FreeForm(false)));
        RefOr::T(Schema::Object(patch))
    }
}

impl<B: CatalogueBody> ToSchema for MergePatch<B> {
    fn name() -> Cow<'static, str> {
        format!("{}Patch", stem::<B>()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        B::schemas(schemas);
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

    #[test]
    fn a_patch_may_leave_out_or_remove_any_field() {
        let schema = serde_json::to_value(MergePatch::<GrantBody>::schema()).unwrap();
        assert!(schema.get("required").is_none());
        let choices = &schema["properties"]["name"]["oneOf"];
        assert_eq!(choices[0]["type"], "string");
        assert_eq!(choices[1]["type"], "null");
        assert_eq!(schema["additionalProperties"], false);
    }
}
