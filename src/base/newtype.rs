//! The macro behind [`Quantity`](super::Quantity) and [`Money`](super::Money).
//!
//! Invariant: the two forward to [`Micro`](super::Micro) and to nothing else, and are never converted into
//! each other. Deliberately absent: products of the two.

/// Declares a newtype over [`Micro`] that forwards arithmetic, text and serde, so that a quantity and
/// an amount of money can never be mixed up.
macro_rules! micro_newtype {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash,
            serde::Serialize, serde::Deserialize, diesel::deserialize::FromSqlRow, diesel::expression::AsExpression,
        )]
        #[diesel(sql_type = diesel::sql_types::BigInt)]
        #[serde(transparent)]
        pub struct $name($crate::base::Micro);

        impl $name {
            /// Zero.
            pub const ZERO: $name = $name($crate::base::Micro::ZERO);

            /// Wraps a decimal.
            #[must_use]
            pub const fn new(value: $crate::base::Micro) -> $name {
                $name(value)
            }

            /// Wraps a count of millionths (any `i64`).
            #[must_use]
            pub const fn from_micro(micro: i64) -> $name {
                $name($crate::base::Micro::from_micro(micro))
            }

            /// A whole number of units.
            #[must_use]
            pub const fn from_int(units: i32) -> $name {
                $name($crate::base::Micro::from_int(units))
            }

            /// Reads a decimal under the rules of [`Micro::parse`]($crate::base::Micro::parse).
            ///
            /// # Errors
            /// [`MicroError`]($crate::base::MicroError) naming the value and what would be right.
            pub fn parse(text: &str) -> Result<$name, $crate::base::MicroError> {
                $crate::base::Micro::parse(text).map($name)
            }

            /// The count of millionths.
            #[must_use]
            pub const fn micro(self) -> i64 {
                self.0.micro()
            }

            /// The plain decimal.
            #[must_use]
            pub const fn value(self) -> $crate::base::Micro {
                self.0
            }

            /// The plain decimal, borrowed.
            #[must_use]
            pub const fn as_micro(&self) -> &$crate::base::Micro {
                &self.0
            }

            /// The sum.
            ///
            /// # Errors
            /// [`MicroError::Overflow`]($crate::base::MicroError::Overflow).
            pub fn checked_add(self, other: $name) -> Result<$name, $crate::base::MicroError> {
                self.0.checked_add(other.0).map($name)
            }

            /// The difference.
            ///
            /// # Errors
            /// [`MicroError::Overflow`]($crate::base::MicroError::Overflow).
            pub fn checked_sub(self, other: $name) -> Result<$name, $crate::base::MicroError> {
                self.0.checked_sub(other.0).map($name)
            }

            /// The value with its sign turned.
            ///
            /// # Errors
            /// [`MicroError::Overflow`]($crate::base::MicroError::Overflow).
            pub fn checked_neg(self) -> Result<$name, $crate::base::MicroError> {
                self.0.checked_neg().map($name)
            }

            /// The sum of many.
            ///
            /// # Errors
            /// [`MicroError::Overflow`]($crate::base::MicroError::Overflow) if the final sum does not fit.
            pub fn checked_sum(
                values: impl IntoIterator<Item = $name>,
            ) -> Result<$name, $crate::base::MicroError> {
                $crate::base::Micro::checked_sum(values.into_iter().map(|v| v.0)).map($name)
            }

            /// `self * num / den`, exact in 128 bits and rounded once, half to even.
            ///
            /// # Errors
            /// Division by zero, or a result that does not fit.
            pub fn mul_div_half_even(
                self,
                num: i64,
                den: i64,
            ) -> Result<$name, $crate::base::MicroError> {
                self.0.mul_div_half_even(num, den).map($name)
            }

            /// Whether it is zero.
            #[must_use]
            pub const fn is_zero(self) -> bool {
                self.0.is_zero()
            }

            /// Whether it is below zero.
            #[must_use]
            pub const fn is_negative(self) -> bool {
                self.0.is_negative()
            }

            /// Whether it is above zero.
            #[must_use]
            pub const fn is_positive(self) -> bool {
                self.0.is_positive()
            }

            /// The nearest binary floating point number, for physics only.
            #[must_use]
            pub fn to_f64(self) -> f64 {
                self.0.to_f64()
            }

            /// Rounds a physical result to a millionth, half to even.
            ///
            /// # Errors
            /// Not finite, or beyond 10^9.
            pub fn from_f64_half_even(value: f64) -> Result<$name, $crate::base::MicroError> {
                $crate::base::Micro::from_f64_half_even(value).map($name)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                std::fmt::Display::fmt(&self.0, f)
            }
        }

        impl From<$name> for $crate::base::Micro {
            fn from(value: $name) -> $crate::base::Micro {
                value.0
            }
        }
    };
}
pub(super) use micro_newtype;
