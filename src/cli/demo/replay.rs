//! The replay: the demo's history, in the order in which it happened, through the same operations as the API's.
//!
//! Invariants: each step is one transaction, with the clock at the step's day and hour, so that days, instants and
//! actors in the books are those of a lab at work; a cast that finds the shelf empty is an error, not a gap. The
//! order of the steps depends on the files alone, never on the day. Deliberately absent: any write of its own.

use std::collections::{BTreeMap, HashMap};

use chrono::{NaiveDate, NaiveTime, TimeDelta, TimeZone, Timelike};
use serde::Serialize;
use utoipa::ToSchema;

use super::day::Day;
use super::seeds::{Amount, CastSeed, Catalogue, Cup, Delivery, EventKind, EventSeed, Seeds};
use crate::base::{Error, ManualClock, Micro, Quantity};
use crate::casting::life::book::{Booking, cast_book};
use crate::casting::life::demold::cast_demold;
use crate::casting::life::demold_input::DemoldIn;
use crate::casting::life::pour::cast_pour;
use crate::casting::life::pour_input::{PourBatch, PourIn};
use crate::casting::life::undo::cast_cancel;
use crate::casting::planning::plan_view::{BatchView, CastPlan};
use crate::casting::planning::request::PlanRequest;
use crate::catalogue::{CatalogueBody, entry_create, material_by_code};
use crate::db::Tx;
use crate::http::{Page, Service};
use crate::purchasing::ops::{ImportSettings, import_commit};
use crate::stock::counting::{CountIn, pack_count};
use crate::stock::events::{HoldIn, pack_hold, pack_release};
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::views::{PackView, lots_list};

/// Who sets the lab up and buys.
const BUYER: &str = "office";
/// When the first step of a day is recorded.
const MORNING_H: u32 = 8;
/// Minutes between two steps of a day.
const STEP_MIN: i64 = 7;
/// The catalogue is entered on this day.
const FIRST_DAY: &str = "today-445";
/// More lots of one material than the demo has.
const LOTS: i64 = 1_000;

/// What was replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, ToSchema)]
pub struct Replayed {
    /// Entries of the catalogue.
    pub entries: usize,
    /// Deliveries and open orders.
    pub deliveries: usize,
    /// Casts.
    pub casts: usize,
    /// Bench events.
    pub events: usize,
}

/// A step of the history.
#[derive(Debug, Clone, Copy)]
enum Step<'a> {
    Demold(usize, &'a CastSeed),
    Import(&'a Delivery),
    Event(&'a EventSeed),
    Cancel(usize, &'a CastSeed),
    Book(usize, &'a CastSeed),
    Pour(usize, &'a CastSeed),
}

/// Fills an empty database with the demo's history up to `today`, the service's own day when it is over; `clock` is the
/// service's clock and stands at the last step in the end. `progress` is told how many of how many steps are done.
///
/// # Errors
/// [`Error::Internal`] when a file of the demo cannot be read or a step of it is refused; [`Error::Unavailable`] when
/// the database does not answer.
pub fn replay(
    service: &Service,
    clock: &ManualClock,
    today: NaiveDate,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<Replayed, Error> {
    let seeds = Seeds::read(today).map_err(Error::internal)?;
    let agenda = agenda(&seeds);
    let first = Day::parse(FIRST_DAY).map_err(Error::internal)?;
    let mut lab = Lab {
        service,
        clock,
        today,
        steps_of_day: BTreeMap::new(),
        casts: HashMap::new(),
    };
    let entries = lab.furnish(first, &seeds.catalogue)?;
    for (done, (day, step)) in agenda.iter().enumerate() {
        progress(done, agenda.len());
        lab.take(*day, *step)?;
    }
    progress(agenda.len(), agenda.len());
    Ok(Replayed {
        entries,
        deliveries: seeds.deliveries.len(),
        casts: seeds.casts.len(),
        events: seeds.events.len(),
    })
}

/// The steps in the order of their days; on one day in the order of the bench: chips come out in the morning, the mail
/// comes, things are counted, casts are booked, and poured last.
fn agenda(seeds: &Seeds) -> Vec<(Day, Step<'_>)> {
    let mut steps: Vec<(Day, u8, Step<'_>)> = Vec::new();
    for delivery in &seeds.deliveries {
        steps.push((delivery.day, 1, Step::Import(delivery)));
    }
    for event in &seeds.events {
        steps.push((event.day, 2, Step::Event(event)));
    }
    for (index, cast) in seeds.casts.iter().enumerate() {
        steps.push((cast.booked_on, 4, Step::Book(index, cast)));
        if !cast.cups.is_empty() {
            steps.push((cast.cast_on, 5, Step::Pour(index, cast)));
        }
        if let Some(day) = cast.cancelled_on {
            steps.push((day, 3, Step::Cancel(index, cast)));
        }
        if let Some(demolded) = &cast.demolded {
            steps.push((demolded.on, 0, Step::Demold(index, cast)));
        }
    }
    // Stable: what is on one day and of one kind stays in the order of the file.
    steps.sort_by_key(|(day, rank, _)| (*day, *rank));
    steps
        .into_iter()
        .map(|(day, _, step)| (day, step))
        .collect()
}

/// The lab at work.
struct Lab<'a> {
    service: &'a Service,
    clock: &'a ManualClock,
    today: NaiveDate,
    /// How many steps each day has had.
    steps_of_day: BTreeMap<NaiveDate, i64>,
    /// The codes of the casts, and the plans they were booked with.
    casts: HashMap<usize, (String, CastPlan)>,
}

impl Lab<'_> {
    /// Moves the clock to the next step of a day.
    fn go_to(&mut self, date: NaiveDate) {
        let steps = self.steps_of_day.entry(date).or_insert(0);
        let midnight = date.and_time(NaiveTime::MIN);
        // A local time that the change to summer time leaves out is taken as one of UTC: the day is what matters.
        let local = midnight
            .with_hour(MORNING_H)
            .unwrap_or(midnight)
            .checked_add_signed(TimeDelta::minutes(STEP_MIN * *steps))
            .unwrap_or(midnight);
        *steps += 1;
        let zone = self.service.time_zone();
        let instant = zone.from_local_datetime(&local).earliest();
        self.clock
            .set(instant.map_or(local.and_utc(), |instant| instant.to_utc()));
    }

    fn acts<T>(
        &self,
        who: &str,
        work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.service.as_actor(who, work)
    }

    /// Enters the catalogue; returns how many entries it has.
    fn furnish(&mut self, day: Day, catalogue: &Catalogue) -> Result<usize, Error> {
        let date = day.bench(self.today);
        let mut entries = 0;
        macro_rules! enter {
            ($($noun:ident),*) => {$(
                self.go_to(date);
                entries += self.enter(&catalogue.$noun)?;
            )*};
        }
        enter!(
            suppliers, grants, materials, elastomers, kits, molds, recipes
        );
        Ok(entries)
    }

    fn enter<B: CatalogueBody + Clone>(&self, bodies: &[B]) -> Result<usize, Error> {
        self.acts(BUYER, |tx| {
            for body in bodies {
                let what = format!("catalogue.json, {} `{}`", B::NOUN.as_str(), body.code());
                entry_create(tx, body.clone()).map_err(|e| at(&what, e))?;
            }
            Ok(bodies.len())
        })
    }

    fn take(&mut self, day: Day, step: Step<'_>) -> Result<(), Error> {
        self.go_to(day.bench(self.today));
        match step {
            Step::Import(delivery) => self.import(delivery),
            Step::Event(event) => self
                .event(event)
                .map_err(|e| at(&format!("events.csv, line {}", event.line), e)),
            Step::Book(index, cast) => self.book(index, cast).map_err(|e| at_cast(cast, e)),
            Step::Pour(index, cast) => self.pour(index, cast).map_err(|e| at_cast(cast, e)),
            Step::Demold(index, cast) => self.demold(index, cast).map_err(|e| at_cast(cast, e)),
            Step::Cancel(index, cast) => {
                let (code, _) = self.booked(index)?;
                self.acts(&cast.who, |tx| cast_cancel(tx, code))
                    .map(drop)
                    .map_err(|e| at_cast(cast, e))
            }
        }
    }

    fn import(&self, delivery: &Delivery) -> Result<(), Error> {
        let file = delivery.file(self.today).map_err(Error::internal)?;
        let settings = ImportSettings::default();
        self.acts(BUYER, |tx| import_commit(tx, &file, &settings))
            .map(drop)
            .map_err(|e| at(&format!("purchases.csv, order {}", delivery.order_no), e))
    }

    fn event(&self, event: &EventSeed) -> Result<(), Error> {
        let books = self.pack(event)?;
        let reason = event.reason.clone();
        self.acts(&event.who, |tx| match event.kind {
            EventKind::Count => {
                let on_hand = match event.amount {
                    Amount::All => books.on_hand,
                    Amount::Of(found) => Quantity::new(found),
                    Amount::Books(off) => Quantity::new(books.on_hand.value().checked_add(off)?),
                };
                let count = CountIn {
                    on_hand: Some(on_hand),
                    reason,
                    ..CountIn::default()
                };
                pack_count(tx, books.id, &count)
            }
            EventKind::Spill | EventKind::WriteOff => {
                let kind = if event.kind == EventKind::Spill {
                    Loss::Spill
                } else {
                    Loss::WriteOff
                };
                let loss = LossIn {
                    quantity: match event.amount {
                        Amount::All => None,
                        Amount::Of(lost) => Some(Quantity::new(lost)),
                        Amount::Books(_) => {
                            return Err(Error::internal(
                                "only a count is written against the books",
                            ));
                        }
                    },
                    reason,
                    on: None,
                };
                pack_lose(tx, books.id, kind, &loss)
            }
            EventKind::Hold => pack_hold(tx, books.id, &HoldIn { reason }),
            EventKind::Release => pack_release(tx, books.id),
        })
        .map(drop)
    }

    /// The pack that an event names, as the books have it.
    fn pack(&self, event: &EventSeed) -> Result<PackView, Error> {
        let today = self.service.today();
        let lots = self.service.db().read(|conn| {
            let material = material_by_code(conn, event.material.as_str())?.id;
            lots_list(
                conn,
                Some(material),
                None,
                Page {
                    after: 0,
                    limit: LOTS,
                },
                today,
            )
        })?;
        lots.into_iter()
            .filter(|lot| lot.lot == event.lot)
            .flat_map(|lot| lot.packs)
            .find(|pack| pack.no == event.pack)
            .ok_or_else(|| Error::internal("there is no such pack"))
    }

    fn book(&mut self, index: usize, cast: &CastSeed) -> Result<(), Error> {
        let request = PlanRequest {
            containers_per_batch: None,
            recipe: cast.recipe.clone(),
            containers: Some(cast.containers),
            good_chips_wanted: None,
            groups: cast.groups,
            cast_on: cast.cast_on.bench(self.today),
            charges: cast.charges.clone(),
            residue_quantile: None,
            allow_mixed_kits: false,
            allow_cross_charge: false,
            allow_short: false,
            take_from_later: false,
            heat_override_reason: None,
        };
        match self.acts(&cast.who, |tx| cast_book(tx, &request))? {
            Booking::Booked(view) => {
                self.casts.insert(index, (view.code, view.plan));
                Ok(())
            }
            Booking::Refused(error) => Err(error),
        }
    }

    /// A cast that was booked: its code and its plan.
    fn booked(&self, index: usize) -> Result<(&str, &CastPlan), Error> {
        self.casts
            .get(&index)
            .map(|(code, plan)| (code.as_str(), plan))
            .ok_or_else(|| Error::internal("the cast was not booked before"))
    }

    fn pour(&self, index: usize, cast: &CastSeed) -> Result<(), Error> {
        let (code, plan) = self.booked(index)?;
        let pour = PourIn {
            poured_on: cast.cast_on.bench(self.today),
            batches: weighed(&cast.cups, &plan.batches)?,
            containers_poured: None,
            level_mm: cast.level_mm,
            coats_renewed: true,
            recount: false,
        };
        self.acts(&cast.who, |tx| cast_pour(tx, code, &pour))
            .map(drop)
    }

    fn demold(&self, index: usize, cast: &CastSeed) -> Result<(), Error> {
        let (code, _) = self.booked(index)?;
        let Some(demolded) = &cast.demolded else {
            return Ok(());
        };
        let counted = DemoldIn {
            demolded_on: demolded.on.bench(self.today),
            good: Some(demolded.good),
            rejects: demolded.rejects.clone(),
            containers: None,
            chip_thickness_mm: None,
        };
        self.acts(&cast.who, |tx| cast_demold(tx, code, &counted))
            .map(drop)
    }
}

/// What the balance showed: the plan's masses and what was off. A cup that was thrown away was mixed again, so that
/// each cup of the plan is poured once.
fn weighed(cups: &[Cup], planned: &[BatchView]) -> Result<Vec<PourBatch>, Error> {
    let poured = cups.iter().filter(|cup| cup.discarded.is_none()).count();
    if poured != planned.len() {
        return Err(Error::internal(format!(
            "{poured} cups were poured, but the plan has {}",
            planned.len()
        )));
    }
    let mut next = 0;
    cups.iter()
        .map(|cup| {
            let plan = &planned[next.min(planned.len() - 1)];
            next += usize::from(cup.discarded.is_none());
            let sum = |one: Micro, off: Micro| one.checked_add(off).map_err(Error::internal);
            Ok(PourBatch {
                base_g: sum(plan.base_g, cup.base_off_g)?,
                curing_agent_g: sum(plan.curing_agent_g, cup.curing_agent_off_g)?,
                residue_g: None,
                cup_tare_g: None,
                cup_gross_g: cup.gross_g,
                stirrer_in_weighing: false,
                discarded: cup.discarded.clone(),
                base_pack_id: None,
                curing_agent_pack_id: None,
            })
        })
        .collect()
}

/// Says at which place of the files a step failed.
fn at(place: &str, error: Error) -> Error {
    match error {
        Error::Unavailable { .. } => error,
        other => Error::internal(format!("seeds-demo/{place}: {other}")),
    }
}

fn at_cast(cast: &CastSeed, error: Error) -> Error {
    at(&format!("casts.csv, line {}", cast.line), error)
}
