//! Words that the calendar and the mail have in common.

use chrono::NaiveDate;

use crate::casting::life::booked::BookedCast;
use crate::reorder::kept::KeptAdvice;
use crate::reorder::reason::shown;
use crate::reorder::view::ItemKind;
use crate::stock::expiries::Expiry;

/// How much of what to order, such as `2 packs of base` or `1 of kit kit-a`.
#[must_use]
pub fn order_short(advice: &KeptAdvice) -> String {
    match (advice.kind, advice.order_packs) {
        // Nothing is left of the budget for it.
        (ItemKind::Kit, 0) => format!("kit {}", advice.material),
        (ItemKind::Material, 0) => advice.material.clone(),
        (ItemKind::Kit, many) => format!("{many} of kit {}", advice.material),
        (ItemKind::Material, 1) => format!("1 pack of {}", advice.material),
        (ItemKind::Material, many) => format!("{many} packs of {}", advice.material),
    }
}

/// The same with the name and the quantity, such as `2 packs of base (Base, 2000 g)` or `1 of kit kit-a (Kit)`.
#[must_use]
pub fn order_words(advice: &KeptAdvice) -> String {
    let (short, name) = (order_short(advice), &advice.name);
    match advice.kind {
        _ if advice.order_packs == 0 => format!("{short} ({name})"),
        ItemKind::Kit => format!("{short} ({name})"),
        ItemKind::Material => {
            let quantity = shown(advice.order_quantity.micro());
            format!("{short} ({name}, {quantity} {})", advice.order_unit)
        }
    }
}

/// The stock that is good until a day, in a sentence.
#[must_use]
pub fn expiry_sentence(expiry: &Expiry, currency: &str, today: NaiveDate) -> String {
    let lot = format!("ot {} of {}", expiry.lot, expiry.material);
    let what = match expiry.pack {
        Some((_, no)) => format!("Pack {no} of l{lot}, which is open,"),
        None => format!("L{lot}"),
    };
    let worth = match expiry.value.micro() {
        0 => String::new(),
        value => format!(" (worth {} {currency})", shown(value)),
    };
    let quantity = shown(expiry.quantity.micro());
    let (on, unit) = (expiry.on, &expiry.unit);
    if expiry.on < today {
        format!("{what} was good until {on} and still holds {quantity} {unit}{worth}.")
    } else {
        format!("{what} is good until {on} and holds {quantity} {unit}{worth}.")
    }
}

/// What is cast, such as `4 trays of chip (Chip)`.
#[must_use]
pub fn cast_words(cast: &BookedCast) -> String {
    let (recipe, name) = (&cast.recipe, &cast.recipe_name);
    match cast.containers {
        1 => format!("1 tray of {recipe} ({name})"),
        many => format!("{many} trays of {recipe} ({name})"),
    }
}
