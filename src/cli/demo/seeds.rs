//! The demo's files, embedded and read: the catalogue, purchases, casts and bench events of an invented lab.
//!
//! Invariants: a row that cannot be read is an error that names its file, line and cell; nothing is left out silently.
//! The columns are explained in seeds-demo/README.md. Deliberately absent: what the rows do to the books (the replay).

use chrono::NaiveDate;
use serde::Deserialize;
use serde_json::Value;

use super::day::Day;
use super::sheet::{Row, Sheet};
use crate::base::{Code, Micro};
use crate::casting::life::demold_input::Reject;
use crate::casting::planning::request::Charge;
use crate::catalogue::{
    ElastomerBody, GrantBody, KitBody, MaterialBody, MoldBody, RecipeBody, SupplierBody,
};

const CATALOGUE: &str = include_str!("../../../seeds-demo/catalogue.json");
const PURCHASES: &str = include_str!("../../../seeds-demo/purchases.csv");
const CASTS: &str = include_str!("../../../seeds-demo/casts.csv");
const EVENTS: &str = include_str!("../../../seeds-demo/events.csv");

/// The catalogue; what stands earlier is created earlier.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Catalogue {
    pub(super) suppliers: Vec<SupplierBody>,
    pub(super) grants: Vec<GrantBody>,
    pub(super) materials: Vec<MaterialBody>,
    pub(super) elastomers: Vec<ElastomerBody>,
    pub(super) kits: Vec<KitBody>,
    pub(super) molds: Vec<MoldBody>,
    pub(super) recipes: Vec<RecipeBody>,
}

/// What arrived on one day from one order, or is on order since that day.
#[derive(Debug, Clone)]
pub(super) struct Delivery {
    pub(super) day: Day,
    pub(super) order_no: String,
    header: csv::StringRecord,
    rows: Vec<csv::StringRecord>,
}

/// A cast from its booking on.
#[derive(Debug, Clone)]
pub(super) struct CastSeed {
    /// The line of the file, for messages.
    pub(super) line: u64,
    pub(super) booked_on: Day,
    pub(super) cast_on: Day,
    pub(super) cancelled_on: Option<Day>,
    pub(super) who: String,
    pub(super) recipe: Code,
    pub(super) containers: u32,
    pub(super) groups: Option<u32>,
    pub(super) charges: Vec<Charge>,
    /// What went into each cup and what it weighed after pouring; none while the cast is not poured.
    pub(super) cups: Vec<Cup>,
    pub(super) level_mm: Option<Micro>,
    pub(super) demolded: Option<Demolded>,
}

/// One cup of mix at the bench.
#[derive(Debug, Clone)]
pub(super) struct Cup {
    /// What was weighed in beyond the plan, in g.
    pub(super) base_off_g: Micro,
    pub(super) curing_agent_off_g: Micro,
    /// What the cup weighed after pouring, in g; none when nobody weighed it.
    pub(super) gross_g: Option<Micro>,
    /// Why the whole cup was thrown away.
    pub(super) discarded: Option<String>,
}

/// The count of chips.
#[derive(Debug, Clone)]
pub(super) struct Demolded {
    pub(super) on: Day,
    pub(super) good: u32,
    pub(super) rejects: Vec<Reject>,
}

/// What happens to a pack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EventKind {
    Count,
    Spill,
    WriteOff,
    Hold,
    Release,
}

/// How much of a pack an event is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Amount {
    /// All that is there.
    All,
    /// So much, in the material's unit.
    Of(Micro),
    /// For a count: so much more (or less) than the books say.
    Books(Micro),
}

/// A bench event.
#[derive(Debug, Clone)]
pub(super) struct EventSeed {
    /// The line of the file, for messages.
    pub(super) line: u64,
    pub(super) day: Day,
    pub(super) who: String,
    pub(super) kind: EventKind,
    pub(super) material: Code,
    pub(super) lot: String,
    pub(super) pack: i32,
    pub(super) amount: Amount,
    pub(super) reason: String,
}

/// Everything the demo is made of.
#[derive(Debug, Clone)]
pub(super) struct Seeds {
    pub(super) catalogue: Catalogue,
    pub(super) deliveries: Vec<Delivery>,
    pub(super) casts: Vec<CastSeed>,
    pub(super) events: Vec<EventSeed>,
}

impl Seeds {
    /// Reads the embedded files as they are meant on a day.
    ///
    /// # Errors
    /// The first fault, with its file and place.
    pub(super) fn read(today: NaiveDate) -> Result<Self, String> {
        Ok(Self {
            catalogue: catalogue(today)?,
            deliveries: deliveries()?,
            casts: Sheet::read("casts.csv", CASTS)?.each(cast)?,
            events: Sheet::read("events.csv", EVENTS)?.each(event)?,
        })
    }
}

fn catalogue(today: NaiveDate) -> Result<Catalogue, String> {
    let wrong = |e: serde_json::Error| format!("seeds-demo/catalogue.json: {e}");
    let mut value: Value = serde_json::from_str(CATALOGUE).map_err(wrong)?;
    dated(&mut value, today);
    serde_json::from_value(value).map_err(wrong)
}

/// Puts dates in the place of days.
fn dated(value: &mut Value, today: NaiveDate) {
    match value {
        Value::String(text) => {
            if let Ok(day) = Day::parse(text) {
                *text = day.date(today).to_string();
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| dated(item, today)),
        Value::Object(members) => members.values_mut().for_each(|item| dated(item, today)),
        _ => {}
    }
}

/// The columns of purchases.csv that hold days on which somebody works.
const WORKING_DAYS: [&str; 2] = ["ordered_on", "received_on"];
const EXPIRES_ON: &str = "expires_on";

fn deliveries() -> Result<Vec<Delivery>, String> {
    let sheet = Sheet::read("purchases.csv", PURCHASES)?;
    let mut found: Vec<Delivery> = Vec::new();
    for record in &sheet.records {
        let row = sheet.row(record);
        let day = match row.day_if("received_on")? {
            Some(received) => received,
            None => row.day("ordered_on")?,
        };
        let order_no = row.text("order_no")?.to_owned();
        // Said here, so that a mistyped day does not wait for the import to be found.
        row.day("ordered_on")?;
        row.day_if(EXPIRES_ON)?;
        let same = |delivery: &&mut Delivery| delivery.day == day && delivery.order_no == order_no;
        match found.iter_mut().find(same) {
            Some(delivery) => delivery.rows.push(record.clone()),
            None => found.push(Delivery {
                day,
                order_no,
                header: sheet.header.clone(),
                rows: vec![record.clone()],
            }),
        }
    }
    Ok(found)
}

impl Delivery {
    /// The purchase file of this delivery, with real dates.
    ///
    /// # Errors
    /// A day or a file that cannot be written.
    pub(super) fn file(&self, today: NaiveDate) -> Result<Vec<u8>, String> {
        let wrong =
            |e: csv::Error| format!("seeds-demo/purchases.csv, order {}: {e}", self.order_no);
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&self.header).map_err(wrong)?;
        for row in &self.rows {
            let cells = self
                .header
                .iter()
                .zip(row)
                .map(|(column, cell)| match Day::parse(cell) {
                    Ok(day) if WORKING_DAYS.contains(&column) => day.bench(today).to_string(),
                    Ok(day) if column == EXPIRES_ON => day.date(today).to_string(),
                    _ => cell.to_owned(),
                });
            writer.write_record(cells).map_err(wrong)?;
        }
        writer
            .into_inner()
            .map_err(|e| format!("seeds-demo/purchases.csv: {e}"))
    }

    #[cfg(test)]
    fn cells(&self, column: &str) -> Vec<&str> {
        let at = self.header.iter().position(|name| name == column);
        let cell = |row| {
            at.and_then(|at| csv::StringRecord::get(row, at))
                .unwrap_or_default()
        };
        self.rows.iter().map(cell).collect()
    }
}

fn cast(row: &Row<'_>) -> Result<CastSeed, String> {
    let cups = cups(row)?;
    let demolded = match row.day_if("demolded_on")? {
        None => None,
        Some(on) => Some(Demolded {
            on,
            good: row.number("good")?,
            rejects: row.list("rejects", |item| {
                let (reason, count) = item.rsplit_once(' ').ok_or("write a reason and a count")?;
                let count = count.parse().map_err(|_| "the count is no whole number")?;
                Ok(Reject {
                    reason: reason.to_owned(),
                    count,
                })
            })?,
        }),
    };
    Ok(CastSeed {
        line: row.line,
        booked_on: row.day("booked_on")?,
        cast_on: row.day("cast_on")?,
        cancelled_on: row.day_if("cancelled_on")?,
        who: row.text("who")?.to_owned(),
        recipe: row.code("recipe")?,
        containers: row.number("containers")?,
        groups: row
            .cell("groups")
            .map(|_| row.number("groups"))
            .transpose()?,
        charges: row.list("charges", |item| {
            let (grant, share) = item.split_once(' ').ok_or("write a grant and a share")?;
            Ok(Charge {
                grant: Code::parse(grant).map_err(|_| "that is no code")?,
                share: Micro::parse(share).map_err(|_| "the share is no number")?,
            })
        })?,
        cups,
        level_mm: row
            .cell("level_mm")
            .map(|_| row.micro("level_mm"))
            .transpose()?,
        demolded,
    })
}

/// The cups of a pour: three lists of equal length, and a note on those thrown away.
fn cups(row: &Row<'_>) -> Result<Vec<Cup>, String> {
    let decimal = |item: &str| Micro::parse(item).map_err(|_| "that is no number");
    let base = row.list("base_off_g", decimal)?;
    let agent = row.list("curing_agent_off_g", decimal)?;
    let gross = row.list("cup_gross_g", |item| match item {
        "-" => Ok(None),
        weighed => decimal(weighed).map(Some),
    })?;
    if base.len() != agent.len() || base.len() != gross.len() {
        return Err(row.wrong("cup_gross_g", "the three lists of cups differ in length"));
    }
    let discarded = row.list("discarded", |item| {
        let (cup, reason) = item.split_once(": ").ok_or("write a cup and a reason")?;
        let cup: usize = cup.parse().map_err(|_| "the cup is no number")?;
        Ok((cup, reason.to_owned()))
    })?;
    if discarded
        .iter()
        .any(|(cup, _)| *cup == 0 || *cup > base.len())
    {
        return Err(row.wrong("discarded", "there is no such cup"));
    }
    let cups = base.into_iter().zip(agent).zip(gross).enumerate();
    Ok(cups
        .map(|(index, ((base_off_g, curing_agent_off_g), gross_g))| Cup {
            base_off_g,
            curing_agent_off_g,
            gross_g,
            discarded: discarded
                .iter()
                .find(|(cup, _)| *cup == index + 1)
                .map(|(_, reason)| reason.clone()),
        })
        .collect())
}

fn event(row: &Row<'_>) -> Result<EventSeed, String> {
    let kind = match row.text("event")? {
        "count" => EventKind::Count,
        "spill" => EventKind::Spill,
        "write_off" => EventKind::WriteOff,
        "hold" => EventKind::Hold,
        "release" => EventKind::Release,
        _ => return Err(row.wrong("event", "write count, spill, write_off, hold or release")),
    };
    let amount = match row.cell("quantity") {
        None => Amount::All,
        Some(cell) => {
            let (text, amount): (&str, fn(Micro) -> Amount) = match cell.strip_prefix("books") {
                Some(difference) => (difference.trim_start_matches('+'), Amount::Books),
                None => (cell, Amount::Of),
            };
            let number = Micro::parse(text);
            amount(number.map_err(|_| row.wrong("quantity", "write 12.5, or books-12.5"))?)
        }
    };
    let pack = row.number("pack")?;
    Ok(EventSeed {
        line: row.line,
        day: row.day("day")?,
        who: row.text("who")?.to_owned(),
        kind,
        material: row.code("material")?,
        lot: row.text("lot")?.to_owned(),
        pack: i32::try_from(pack).map_err(|_| row.wrong("pack", "too many"))?,
        amount,
        reason: row.cell("reason").unwrap_or_default().to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;
    use crate::catalogue::CatalogueBody;

    fn seeds() -> Seeds {
        Seeds::read("2026-03-02".parse().unwrap()).unwrap()
    }

    fn codes<B: CatalogueBody>(bodies: &[B]) -> HashSet<&str> {
        bodies.iter().map(|body| body.code().as_str()).collect()
    }

    #[test]
    fn the_files_name_only_what_there_is() {
        let seeds = seeds();
        let catalogue = &seeds.catalogue;
        let suppliers: HashSet<&str> = catalogue
            .suppliers
            .iter()
            .map(|s| s.name.as_str())
            .collect();
        let materials = codes(&catalogue.materials);
        let items: HashSet<&str> = &materials | &codes(&catalogue.kits);
        let (grants, recipes) = (codes(&catalogue.grants), codes(&catalogue.recipes));
        let mut lots = HashSet::new();
        for delivery in &seeds.deliveries {
            assert!(
                delivery
                    .cells("supplier")
                    .iter()
                    .all(|name| suppliers.contains(name))
            );
            assert!(
                delivery
                    .cells("item")
                    .iter()
                    .all(|code| items.contains(code))
            );
            let funded = delivery.cells("funded_by");
            assert!(
                funded
                    .iter()
                    .all(|code| code.is_empty() || grants.contains(code))
            );
            lots.extend(delivery.cells("lot"));
        }
        for cast in &seeds.casts {
            assert!(recipes.contains(cast.recipe.as_str()), "line {}", cast.line);
            assert!(
                cast.charges
                    .iter()
                    .all(|charge| grants.contains(charge.grant.as_str()))
            );
            let after = cast
                .demolded
                .as_ref()
                .map_or(cast.cast_on, |demolded| demolded.on);
            assert!(
                cast.booked_on <= cast.cast_on && cast.cast_on <= after,
                "line {}",
                cast.line
            );
            let poured = !cast.cups.is_empty();
            assert!(
                !poured || (!cast.cast_on.is_ahead() && cast.cancelled_on.is_none()),
                "line {}",
                cast.line
            );
            assert!(poured || cast.demolded.is_none(), "line {}", cast.line);
        }
        for event in &seeds.events {
            assert!(
                materials.contains(event.material.as_str()),
                "line {}",
                event.line
            );
            assert!(lots.contains(event.lot.as_str()), "line {}", event.line);
        }
        assert!(
            seeds
                .deliveries
                .iter()
                .all(|delivery| !delivery.day.is_ahead())
        );
        assert!(seeds.events.iter().all(|event| !event.day.is_ahead()));
    }

    #[test]
    fn a_delivery_is_a_purchase_file_with_real_dates() {
        let seeds = seeds();
        let order = seeds
            .deliveries
            .iter()
            .find(|delivery| delivery.order_no == "T-341");
        let text =
            String::from_utf8(order.unwrap().file("2026-03-02".parse().unwrap()).unwrap()).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[0].starts_with("order_no,line_no,supplier,ordered_on,received_on,item,lot,"));
        // 213 days before that Monday is a Friday, 196 a Monday; the expiry is 11 days ahead.
        assert_eq!(
            lines[1],
            "T-341,1,Torrisvik Kjemi,2025-08-01,2025-08-18,vial-release,TV-140,22,1,each,1650.00,NOK,95.00,2026-03-13,0.0858,,"
        );
        assert_eq!(lines.len(), 2);
    }

    #[track_caller]
    fn check<T>(columns: &str, row: &str, read: fn(&Row<'_>) -> Result<T, String>, expected: &str) {
        let sheet = Sheet::read("casts.csv", &format!("{columns}\n{row}\n")).unwrap();
        let error = sheet.each(read).err().unwrap();
        assert!(error.contains(expected), "{error}");
    }

    #[test]
    fn a_row_that_cannot_be_read_is_named() {
        let columns = "booked_on,cast_on,who,recipe,containers,charges,base_off_g,curing_agent_off_g,cup_gross_g,discarded";
        let cast = |cells: &str| format!("today-2,today-1,b,r,{cells}");
        for (cells, expected) in [
            ("x,,,,,", "line 2, containers `x`: it is no whole number"),
            ("2,g,,,,", "charges `g`: write a grant and a share"),
            (
                "2,,0.1,,9,",
                "cup_gross_g `9`: the three lists of cups differ in length",
            ),
            ("2,,0.1,0,heavy,", "cup_gross_g `heavy`: that is no number"),
            (
                "2,,0.1,0,9,2: why",
                "discarded `2: why`: there is no such cup",
            ),
        ] {
            check(columns, &cast(cells), super::cast, expected);
        }
        let columns = "day,who,event,material,lot,pack,quantity,reason";
        check(
            columns,
            "today-3,b,burn,m,l,1,,",
            super::event,
            "event `burn`: write count, spill",
        );
        check(
            columns,
            "2026-01-01,b,spill,m,l,1,,",
            super::event,
            "day `2026-01-01`: ",
        );
        check(
            columns,
            "today-3,b,count,m,l,1,books*2,",
            super::event,
            "quantity `books*2`",
        );
    }
}
