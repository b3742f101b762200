//! The demand of an invented lab, day by day, with what was known of it before.
//!
//! Courses run in two terms of fifteen weeks and are booked four to ten weeks ahead; research casts are booked up to ten
//! days ahead, less often out of term; what a cast takes is near what was planned, and something is spilt now and then.

use crate::chance::Chance;
use crate::kinds::Kind;

/// Days of the past that are known when the lab begins to order.
pub(crate) const HISTORY_DAYS: usize = 78 * 7;
/// Days of ordering before anything is measured.
pub(crate) const SETTLING_DAYS: usize = 13 * 7;
/// Days that are measured: two years.
pub(crate) const MEASURED_DAYS: usize = 104 * 7;
/// All of them. Day 0 is a Monday.
pub(crate) const DAYS: usize = HISTORY_DAYS + SETTLING_DAYS + MEASURED_DAYS;
/// Courses that begin beyond the end are booked within it.
const BOOKED_BEYOND_DAYS: usize = 100;

const YEAR_DAYS: usize = 364;
const TERM_DAYS: usize = 15 * 7;
const TERMS_BEGIN: [usize; 2] = [4 * 7, 36 * 7];
const SESSIONS: usize = 6;
const COURSE_NOTICE_DAYS: (u64, u64) = (28, 70);
const RESEARCH_NOTICE_DAYS: (u64, u64) = (0, 10);
/// Standard deviation of what a cast takes over what was planned, and by how much it is more on average.
const TAKEN: (f64, f64) = (0.05, 1.02);

/// Something that takes material on a day. A spill is planned as nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Use {
    /// Days before day 0 are negative.
    pub(crate) booked: i64,
    pub(crate) on: usize,
    pub(crate) planned_micro: i64,
    pub(crate) taken_micro: i64,
}

/// The whole demand of one replication, and how long an order of each day would take.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stream {
    /// By day, also beyond the last, for what is booked by then.
    pub(crate) uses: Vec<Use>,
    /// What is asked for on each day.
    pub(crate) asked_micro: Vec<i64>,
    pub(crate) lead_days: Vec<usize>,
    /// What past orders took.
    pub(crate) past_lead_days: Vec<u32>,
}

/// The demand of replication `place`.
pub(crate) fn stream(kind: &Kind, seed: u64, place: u64) -> Stream {
    let mut chance = Chance::new(seed, place);
    let mut uses = Vec::new();
    for day in 0..DAYS + BOOKED_BEYOND_DAYS {
        if day % 7 < 5 {
            research(kind, &mut chance, day, &mut uses);
        }
        if TERMS_BEGIN.contains(&(day % YEAR_DAYS)) {
            courses(kind, &mut chance, day, &mut uses);
        }
    }
    uses.sort_by_key(|one| (one.on, one.booked));
    let mut asked_micro = vec![0; DAYS];
    for one in uses.iter().filter(|one| one.on < DAYS) {
        asked_micro[one.on] += one.taken_micro;
    }
    let mut lead = || {
        chance
            .gamma(kind.lead_days.0, kind.lead_days.1)
            .round()
            .max(1.0)
    };
    Stream {
        uses,
        asked_micro,
        lead_days: (0..DAYS).map(|_| lead() as usize).collect(),
        past_lead_days: (0..12).map(|_| lead() as u32).collect(),
    }
}

fn in_term(day: usize) -> bool {
    let mut terms = TERMS_BEGIN.iter();
    terms.any(|begin| (*begin..begin + TERM_DAYS).contains(&(day % YEAR_DAYS)))
}

fn research(kind: &Kind, chance: &mut Chance, day: usize, uses: &mut Vec<Use>) {
    let of_term = if in_term(day) { 1.0 } else { 0.5 };
    for _ in 0..chance.poisson(kind.research_per_week / 5.0 * of_term) {
        let notice = chance.between(RESEARCH_NOTICE_DAYS.0, RESEARCH_NOTICE_DAYS.1);
        let (mean, variation) = kind.research_g;
        let planned_g = chance.gamma(mean, variation);
        uses.push(cast(chance, day, notice, planned_g));
    }
    for _ in 0..chance.poisson(kind.spills_per_week / 5.0) {
        uses.push(Use {
            booked: day as i64,
            on: day,
            planned_micro: 0,
            taken_micro: micro(chance.gamma(kind.research_g.0 / 10.0, 0.5)),
        });
    }
}

fn courses(kind: &Kind, chance: &mut Chance, term: usize, uses: &mut Vec<Use>) {
    for _ in 0..kind.courses_per_term {
        let weeks = chance.between(0, (TERM_DAYS / 7 - SESSIONS) as u64) as usize;
        let first = term + 7 * weeks + chance.between(0, 4) as usize;
        let notice = chance.between(COURSE_NOTICE_DAYS.0, COURSE_NOTICE_DAYS.1);
        let session_g = chance.gamma(kind.session_g, 0.3);
        for session in 0..SESSIONS {
            let later = 7 * session;
            uses.push(cast(
                chance,
                first + later,
                notice + later as u64,
                session_g,
            ));
        }
    }
}

fn cast(chance: &mut Chance, on: usize, notice_days: u64, planned_g: f64) -> Use {
    let (spread, more) = TAKEN;
    Use {
        booked: on as i64 - notice_days as i64,
        on,
        planned_micro: micro(planned_g),
        taken_micro: micro(planned_g * chance.gamma(more, spread)),
    }
}

/// Grams in millionths.
pub(crate) fn micro(grams: f64) -> i64 {
    (grams * 1e6).round() as i64
}
