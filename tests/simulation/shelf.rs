//! The lab's shelf, and the clock that replays a demand against it under a way of ordering.
//!
//! In the morning what arrives is put on the shelf; on a review day the lab may order; then the day's demand is taken, first
//! expired first out; in the evening what expires is lost. Demand that the shelf cannot meet is lost (the part that is there
//! is taken). Orders take the days that the stream says for the day they are placed, whatever the way of ordering.

use crate::demand::{DAYS, HISTORY_DAYS, MEASURED_DAYS, SETTLING_DAYS, Stream, micro};
use crate::kinds::Kind;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pack {
    pub(crate) quantity_micro: i64,
    /// The last day on which it can be used.
    pub(crate) last_day: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Order {
    pub(crate) placed: usize,
    pub(crate) arrives: usize,
    pub(crate) packs: u64,
}

/// What the lab has in the morning of a day.
#[derive(Debug, Clone)]
pub(crate) struct Shelf {
    pub(crate) day: usize,
    /// What expires first comes first.
    pub(crate) packs: Vec<Pack>,
    /// What has not arrived yet.
    pub(crate) orders: Vec<Order>,
    /// What the received orders took.
    pub(crate) lead_days: Vec<u32>,
    /// What was taken on each day gone by.
    pub(crate) used_micro: Vec<i64>,
}

impl Shelf {
    pub(crate) fn on_hand_micro(&self) -> i64 {
        self.packs.iter().map(|pack| pack.quantity_micro).sum()
    }

    fn put(&mut self, kind: &Kind, quantity_micro: i64) {
        let last_day = kind
            .shelf_life_days
            .map(|life| self.day + usize::from(life));
        self.packs.push(Pack {
            quantity_micro,
            last_day,
        });
        self.packs
            .sort_by_key(|pack| pack.last_day.unwrap_or(usize::MAX));
    }

    /// What is lacking.
    fn take(&mut self, mut wanted_micro: i64) -> i64 {
        for pack in &mut self.packs {
            let taken = pack.quantity_micro.min(wanted_micro);
            pack.quantity_micro -= taken;
            wanted_micro -= taken;
        }
        self.packs.retain(|pack| pack.quantity_micro > 0);
        wanted_micro
    }

    fn expire(&mut self) -> i64 {
        let today = self.day;
        let gone = |pack: &Pack| pack.last_day.is_some_and(|last| last <= today);
        let lost = self
            .packs
            .iter()
            .filter(|pack| gone(pack))
            .map(|pack| pack.quantity_micro)
            .sum();
        self.packs.retain(|pack| !gone(pack));
        lost
    }
}

/// What two years brought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Outcome {
    /// Share of the times from one arrival to the next in which nothing was lacking.
    pub(crate) cycle_service: f64,
    /// Share of the demand that was met.
    pub(crate) fill_rate: f64,
    /// Mean stock in the evening, in grams.
    pub(crate) mean_stock_g: f64,
    /// What expired, in grams.
    pub(crate) expired_g: f64,
    pub(crate) orders: f64,
    /// Mean order, in packs.
    pub(crate) packs_per_order: f64,
}

#[derive(Debug, Default)]
struct Tally {
    cycles: u32,
    cycles_short: u32,
    short_in_cycle: bool,
    asked_micro: i64,
    short_micro: i64,
    stock_g: f64,
    expired_micro: i64,
    orders: u32,
    packs: u64,
}

/// Replays `stream`; `order` says how many packs to order, from the shelf on a review day.
pub(crate) fn replay(
    kind: &Kind,
    stream: &Stream,
    mut order: impl FnMut(&Shelf) -> u64,
) -> Outcome {
    let mut shelf = opening(kind, stream);
    let mut tally = Tally::default();
    for day in HISTORY_DAYS..DAYS {
        if day == HISTORY_DAYS + SETTLING_DAYS {
            tally = Tally::default();
        }
        shelf.day = day;
        receive(kind, &mut shelf, &mut tally);
        if day % kind.review_days == 0 {
            let packs = order(&shelf);
            if packs > 0 {
                shelf.orders.push(Order {
                    placed: day,
                    arrives: day + stream.lead_days[day],
                    packs,
                });
                tally.orders += 1;
                tally.packs += packs;
            }
        }
        let asked = stream.asked_micro[day];
        let short = shelf.take(asked);
        shelf.used_micro.push(asked - short);
        tally.asked_micro += asked;
        tally.short_micro += short;
        tally.short_in_cycle |= short > 0;
        tally.expired_micro += shelf.expire();
        tally.stock_g += shelf.on_hand_micro() as f64 / 1e6;
    }
    tally.outcome()
}

/// Ten weeks of the past demand, and nothing on order.
fn opening(kind: &Kind, stream: &Stream) -> Shelf {
    let used_micro = stream.asked_micro[..HISTORY_DAYS].to_vec();
    let mean: i64 = used_micro.iter().sum::<i64>() / HISTORY_DAYS as i64;
    let mut shelf = Shelf {
        day: HISTORY_DAYS,
        packs: Vec::new(),
        orders: Vec::new(),
        lead_days: stream.past_lead_days.clone(),
        used_micro,
    };
    shelf.put(kind, mean * 70);
    shelf
}

fn receive(kind: &Kind, shelf: &mut Shelf, tally: &mut Tally) {
    let today = shelf.day;
    let (arrived, coming): (Vec<Order>, Vec<Order>) = shelf
        .orders
        .iter()
        .partition(|order| order.arrives <= today);
    shelf.orders = coming;
    for order in arrived {
        shelf.put(kind, order.packs as i64 * micro(kind.pack_g));
        shelf.lead_days.push((today - order.placed) as u32);
        tally.cycles += 1;
        tally.cycles_short += u32::from(tally.short_in_cycle);
        tally.short_in_cycle = false;
    }
}

impl Tally {
    fn outcome(&self) -> Outcome {
        let share = |part: f64, of: f64| if of > 0.0 { part / of } else { 0.0 };
        Outcome {
            cycle_service: 1.0 - share(f64::from(self.cycles_short), f64::from(self.cycles)),
            fill_rate: 1.0 - share(self.short_micro as f64, self.asked_micro as f64),
            mean_stock_g: self.stock_g / MEASURED_DAYS as f64,
            expired_g: self.expired_micro as f64 / 1e6,
            orders: f64::from(self.orders),
            packs_per_order: share(self.packs as f64, f64::from(self.orders)),
        }
    }
}
