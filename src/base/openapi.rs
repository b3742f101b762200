//! How the ground floor's types show in the OpenAPI document.
//!
//! The only file of this room that knows the documentation library. Invariant: the pattern published
//! here is what the constructor accepts. Deliberately absent: the shapes of requests and answers (each
//! feature's routes hold them).

use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaFormat, Type};
use utoipa::{PartialSchema, ToSchema};

use super::{Code, Currency, FieldError, Micro, Money, Quantity, Unit};

/// Names a type's schema after the type.
macro_rules! named_schema {
    ($type:ident, $build:expr) => {
        impl PartialSchema for $type {
            fn schema() -> RefOr<Schema> {
                $build.into()
            }
        }

        impl ToSchema for $type {}
    };
}

fn text(description: &str, pattern: &str, example: &str) -> ObjectBuilder {
    ObjectBuilder::new()
        .schema_type(Type::String)
        .description(Some(description))
        .pattern(Some(pattern))
        .examples([example])
}

fn decimal(description: &str) -> ObjectBuilder {
    text(description, r"^-?[0-9]{1,10}(\.[0-9]{1,6})?$", "12.5")
        .format(Some(SchemaFormat::Custom("decimal".to_owned())))
}

named_schema!(
    Micro,
    decimal("A decimal with at most 6 decimal places, from -1000000000 to 1000000000")
);
named_schema!(
    Quantity,
    decimal("A quantity in the material's unit, with at most 6 decimal places")
);
named_schema!(
    Money,
    decimal("An amount of money, with at most 6 decimal places")
);
named_schema!(
    Code,
    text(
        "A code: 1 to 64 letters, digits, full stops, underscores or hyphens; it never changes",
        r"^(?!\.{1,2}$)[A-Za-z0-9._-]{1,64}$",
        "base-a",
    )
);
named_schema!(
    Currency,
    text("An ISO 4217 currency code", "^[A-Za-z]{3}$", "EUR")
);
named_schema!(
    Unit,
    ObjectBuilder::new()
        .schema_type(Type::String)
        .description(Some("The unit a material is kept in"))
        .enum_values(Some(Unit::ALL.map(Unit::as_str)))
        .examples(["g"])
);
named_schema!(
    FieldError,
    ObjectBuilder::new()
        .description(Some("One thing wrong with what was sent"))
        .property(
            "pointer",
            ObjectBuilder::new()
                .schema_type(Type::String)
                .description(Some("Where it stands: an RFC 6901 JSON pointer"))
                .examples(["/charges/0/share"]),
        )
        .required("pointer")
        .property(
            "detail",
            ObjectBuilder::new()
                .schema_type(Type::String)
                .description(Some("What is wrong and what would be right")),
        )
        .required("detail")
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_shows_as_a_string_with_its_pattern() {
        let schema = serde_json::to_value(Micro::schema()).unwrap_or_default();
        assert_eq!(schema["type"], "string");
        assert_eq!(schema["format"], "decimal");
        assert_eq!(schema["pattern"], r"^-?[0-9]{1,10}(\.[0-9]{1,6})?$");
        assert_eq!(Money::name(), "Money");
    }

    #[test]
    fn a_unit_lists_its_values() {
        let schema = serde_json::to_value(Unit::schema()).unwrap_or_default();
        assert_eq!(schema["enum"], serde_json::json!(["g", "mL", "m", "each"]));
    }
}
