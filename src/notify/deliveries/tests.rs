//! Deliveries claimed, settled and forgotten, on a database.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::attempt::{AttemptEnd, Retries, Settlement};
use super::ops::{Claimed, claim, deliveries_forget, deliveries_list, drop_waiting, due, settle};
use super::view::{Channel, Delivery, DeliveryState};
use crate::base::{Currency, ManualClock, SeededEntropy};
use crate::db::fixture::on_database;
use crate::db::{Db, House, WARNING_RAISED, WORKING_DAY_MIN_DEFAULT, outbox_put_mail};
use crate::http::{Limits, Page, Service};

const LEASE: Duration = Duration::from_secs(60);

const RETRIES: Retries = Retries {
    attempts_max: 2,
    first: Duration::from_secs(30),
    longest: Duration::from_secs(3_600),
};

fn process(db: &Db, seed: u64) -> (Service, Arc<ManualClock>) {
    let start: DateTime<Utc> = "2026-03-02T09:00:00Z".parse().unwrap();
    let clock = Arc::new(ManualClock::new(start));
    let service = Service::new(
        db.clone(),
        Arc::clone(&clock) as _,
        Arc::new(SeededEntropy::new(seed)),
        House {
            base_currency: Currency::parse("EUR").unwrap(),
            working_day_min: WORKING_DAY_MIN_DEFAULT,
        },
        chrono_tz::UTC,
        Limits::default(),
    );
    (service, clock)
}

/// Puts messages out for mail, a second apart.
fn put(service: &Service, clock: &ManualClock, count: usize) {
    for number in 0..count {
        service
            .as_actor("test", |tx| outbox_put_mail(tx, WARNING_RAISED, &number))
            .unwrap();
        clock.advance(TimeDelta::seconds(1));
    }
}

fn take(service: &Service, count: u32) -> Vec<Claimed> {
    claim(service, (Channel::Mail, None), LEASE, count).unwrap()
}

fn ids(claimed: &[Claimed]) -> Vec<i64> {
    claimed.iter().map(|one| one.id).collect()
}

fn failed() -> AttemptEnd {
    AttemptEnd::Failed {
        said: "answered 500".to_owned(),
        retry_after: None,
    }
}

fn delivered() -> AttemptEnd {
    AttemptEnd::Delivered {
        said: "answered 204".to_owned(),
    }
}

fn list(service: &Service) -> Vec<Delivery> {
    let page = Page {
        after: 0,
        limit: 100,
    };
    service
        .db()
        .read(|conn| deliveries_list(conn, (None, None), page))
        .unwrap()
}

#[test]
fn what_one_process_holds_another_does_not_claim_until_the_lease_runs_out() {
    on_database(|db| {
        let ((one, clock), (other, other_clock)) = (process(&db, 1), process(&db, 2));
        put(&one, &clock, 3);
        other_clock.advance(TimeDelta::seconds(3));
        let first = take(&one, 2);
        assert_eq!((first.len(), first[0].attempt), (2, 1));
        assert!(first[0].id < first[1].id);
        let rest = take(&other, 5);
        assert_eq!(rest.len(), 1);
        assert!(!ids(&first).contains(&rest[0].id));
        let looked = due(&other, Channel::Mail).unwrap();
        assert_eq!((looked.waiting, looked.receivers.len()), (3, 0));
        // The first process is gone: a moment before the end of its lease, and at its end.
        other_clock.advance(TimeDelta::milliseconds(59_999));
        assert_eq!(take(&other, 5), []);
        other_clock.advance(TimeDelta::milliseconds(1));
        assert_eq!(due(&other, Channel::Mail).unwrap().receivers, [None]);
        let again = take(&other, 2);
        assert_eq!(ids(&again), ids(&first));
        assert_eq!(again[0].message_id, first[0].message_id);
        assert_eq!(again[0].payload, first[0].payload);
        assert_eq!(again[0].attempt, 2);
    });
}

#[test]
fn an_attempt_is_settled_once_and_by_whoever_holds_it() {
    on_database(|db| {
        let ((one, clock), (other, other_clock)) = (process(&db, 1), process(&db, 2));
        put(&one, &clock, 1);
        let late = take(&one, 1).remove(0);
        other_clock.advance(TimeDelta::seconds(120));
        let held = take(&other, 1).remove(0);
        // The late one's failure is no news: the other is at it.
        assert_eq!(settle(&one, &late, &failed(), &RETRIES).unwrap(), None);
        assert_eq!(list(&one)[0].last_outcome, None);
        // Its success is.
        let settled = settle(&one, &late, &delivered(), &RETRIES).unwrap();
        assert_eq!(settled, Some(Settlement::Delivered));
        for end in [failed(), delivered()] {
            assert_eq!(settle(&other, &held, &end, &RETRIES).unwrap(), None);
        }
        let shown = list(&one).remove(0);
        assert_eq!(shown.state, DeliveryState::Delivered);
        assert_eq!(shown.last_outcome.as_deref(), Some("answered 204"));
        assert_eq!(shown.next_attempt_at, None);
    });
}

#[test]
fn a_failure_waits_for_its_pause_and_the_last_one_is_dead() {
    on_database(|db| {
        let (service, clock) = process(&db, 1);
        put(&service, &clock, 1);
        let first = take(&service, 1).remove(0);
        let settled = settle(&service, &first, &failed(), &RETRIES).unwrap();
        let Some(Settlement::Again(pause)) = settled else {
            panic!("{settled:?}");
        };
        assert!((15_000..=30_000).contains(&pause.as_millis()), "{pause:?}");
        let shown = list(&service).remove(0);
        let pause = TimeDelta::from_std(pause).unwrap();
        assert_eq!(shown.state, DeliveryState::Waiting);
        assert_eq!(shown.next_attempt_at.unwrap() - pause, service_now(&clock));
        clock.advance(pause - TimeDelta::milliseconds(1));
        assert_eq!(take(&service, 1), []);
        clock.advance(TimeDelta::milliseconds(1));
        let last = take(&service, 1).remove(0);
        assert_eq!((last.id, last.attempt), (first.id, 2));
        let settled = settle(&service, &last, &failed(), &RETRIES).unwrap();
        assert_eq!(settled, Some(Settlement::Dead));
        let shown = list(&service).remove(0);
        assert_eq!(shown.state, DeliveryState::Dead);
        assert_eq!(shown.settled_at, Some(service_now(&clock)));
        assert_eq!(shown.attempts, 2);
        clock.advance(TimeDelta::days(400));
        assert_eq!(take(&service, 1), []);
    });
}

fn service_now(clock: &ManualClock) -> DateTime<Utc> {
    crate::base::Clock::now(clock)
}

#[test]
fn what_is_done_is_forgotten_after_thirty_days_and_what_is_not_is_kept() {
    on_database(|db| {
        let (service, clock) = process(&db, 1);
        put(&service, &clock, 3);
        let claimed = take(&service, 2);
        let refused = AttemptEnd::Refused {
            said: "answered 410".to_owned(),
        };
        settle(&service, &claimed[0], &delivered(), &RETRIES).unwrap();
        settle(&service, &claimed[1], &refused, &RETRIES).unwrap();
        let all = list(&service);
        clock.advance(TimeDelta::days(30));
        deliveries_forget(&service).unwrap();
        assert_eq!(list(&service).len(), 3);
        clock.advance(TimeDelta::microseconds(1));
        deliveries_forget(&service).unwrap();
        let kept: Vec<i64> = list(&service).iter().map(|one| one.id).collect();
        assert_eq!(kept, [all[1].id, all[2].id]);
        // Its message is gone, too; those of the others are not.
        let gone = |id| {
            let shown = service
                .db()
                .read(|conn| super::ops::delivery_show(conn, id));
            shown.is_err()
        };
        assert!(gone(all[0].id) && !gone(all[1].id) && !gone(all[2].id));
        assert_eq!(super::store::messages_count(&service), 2);
    });
}

#[test]
fn nothing_is_dropped_of_others() {
    on_database(|db| {
        let (service, clock) = process(&db, 1);
        put(&service, &clock, 1);
        let dropped = service.as_actor("test", |tx| drop_waiting(tx, 1)).unwrap();
        assert_eq!(dropped, 0);
        assert_eq!(list(&service)[0].state, DeliveryState::Waiting);
    });
}
