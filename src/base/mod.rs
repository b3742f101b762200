//! The ground floor: exact decimals, quantities, money, codes, units, currencies, the one error, and
//! the clock and random source that are passed in.
//!
//! Invariants: nothing here knows a feature; no stored quantity and no money is a float; every text from
//! outside passes a constructor that names the value it refuses. Only `sql.rs` knows the database library
//! and only `openapi.rs` the documentation library. Deliberately absent: input and output of any kind,
//! but for the two adapters [`SystemClock`] and [`OsEntropy`].

mod apportion;
mod clock;
mod code;
mod currency;
mod entropy;
mod error;
mod micro;
mod micro_json;
mod money;
mod newtype;
mod openapi;
mod quantity;
mod sql;
mod unit;
mod words;

pub use apportion::{ApportionError, apportion, round_half_even_div};
pub use clock::{Clock, ManualClock, SystemClock, local_date};
pub use code::{CODE_MAX_CHARS, Code, CodeError};
pub use currency::{Currency, CurrencyError};
pub use entropy::{Entropy, EntropyError, OsEntropy, SeededEntropy};
pub use error::{Error, FieldError, Refusal, RefusalKind, Result};
pub use micro::{INPUT_MAX_UNITS, MICRO_PER_UNIT, Micro, MicroError};
pub use micro_json::kept_read;
pub use money::Money;
pub use quantity::Quantity;
pub use unit::{Converted, Factor, Unit, UnitError, convert, convert_by_density, factor};
pub use words::{WORDS_MAX, short_words};
