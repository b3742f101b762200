//! How often one may ask: by token, by address, and to sign in.
//!
//! Invariants: each process counts for itself; a limit of 0 is none; what is kept of those who ask is forgotten once it no
//! longer counts, so that new addresses cannot fill the memory. Deliberately absent: who asks (the door finds out).

use std::hash::Hash;
use std::net::{IpAddr, Ipv6Addr};
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use governor::clock::{Clock, DefaultClock};
use governor::state::keyed::HashMapStateStore;
use governor::{Quota, RateLimiter};

use super::limits::Limits;
use super::problem::Problem;

/// After how many questions what no longer counts is forgotten.
const FORGET_EVERY: u32 = 4_096;

/// One limit (the generic cell rate algorithm), for each of those who ask.
struct Limit<K: Hash + Eq + Clone> {
    limiter: RateLimiter<K, HashMapStateStore<K>, DefaultClock>,
    clock: DefaultClock,
    asked: AtomicU32,
}

impl<K: Hash + Eq + Clone> Limit<K> {
    fn new(quota: Quota) -> Self {
        let clock = DefaultClock::default();
        Self {
            limiter: RateLimiter::new(quota, HashMapStateStore::default(), clock.clone()),
            clock,
            asked: AtomicU32::new(0),
        }
    }

    /// None when one may; else how long to wait.
    fn wait(&self, who: &K) -> Option<Duration> {
        if self.asked.fetch_add(1, Ordering::Relaxed) % FORGET_EVERY == FORGET_EVERY - 1 {
            self.limiter.retain_recent();
        }
        let refused = self.limiter.check_key(who).err()?;
        Some(refused.wait_time_from(self.clock.now()))
    }
}

/// The limits of a process.
pub(super) struct Rates {
    tokens: Option<Limit<i64>>,
    addresses: Option<Limit<IpAddr>>,
    sign_ins: Option<Limit<IpAddr>>,
}

impl Rates {
    /// Nobody has asked yet.
    pub(super) fn new(limits: &Limits) -> Self {
        let per_s = |count| NonZeroU32::new(count).map(Quota::per_second);
        let per_min = |count| NonZeroU32::new(count).map(Quota::per_minute);
        Self {
            tokens: per_s(limits.token_per_s).map(Limit::new),
            addresses: per_s(limits.address_per_s).map(Limit::new),
            sign_ins: per_min(limits.sign_ins_per_min).map(Limit::new),
        }
    }

    /// Whether a token may ask now.
    ///
    /// # Errors
    /// 429 with `Retry-After`.
    pub(super) fn token(&self, id: i64) -> Result<(), Problem> {
        let wait = self.tokens.as_ref().and_then(|limit| limit.wait(&id));
        told(wait, "requests of this token")
    }

    /// Whether one may ask from an address now.
    ///
    /// # Errors
    /// 429 with `Retry-After`.
    pub(super) fn address(&self, address: IpAddr) -> Result<(), Problem> {
        let limit = self.addresses.as_ref();
        let wait = limit.and_then(|limit| limit.wait(&network_of(address)));
        told(wait, "requests from this address")
    }

    /// Whether one may try to sign in from an address now.
    ///
    /// # Errors
    /// 429 with `Retry-After`.
    pub(super) fn sign_in(&self, address: IpAddr) -> Result<(), Problem> {
        let limit = self.sign_ins.as_ref();
        let wait = limit.and_then(|limit| limit.wait(&network_of(address)));
        told(wait, "attempts to sign in from this address")
    }
}

fn told(wait: Option<Duration>, what: &str) -> Result<(), Problem> {
    wait.map_or(Ok(()), |wait| Err(Problem::too_many(what, wait)))
}

/// What counts as one address: of IPv6 the network of 64 bits, which is what one site has at least (RFC 6177).
fn network_of(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(address) => IpAddr::V4(address),
        IpAddr::V6(address) => {
            let network = address.to_bits() >> 64 << 64;
            IpAddr::V6(Ipv6Addr::from_bits(network))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rates(token_per_s: u32, address_per_s: u32, sign_ins_per_min: u32) -> Rates {
        Rates::new(&Limits {
            token_per_s,
            address_per_s,
            sign_ins_per_min,
            ..Limits::default()
        })
    }

    /// How many of 50 that come at once are let in.
    fn let_in(mut ask: impl FnMut() -> Result<(), Problem>) -> usize {
        (0..50).filter(|_| ask().is_ok()).count()
    }

    #[test]
    fn each_has_a_limit_of_their_own_and_none_is_none() {
        let here: IpAddr = "192.0.2.1".parse().unwrap();
        let rates = rates(0, 0, 3);
        assert_eq!(let_in(|| rates.token(1)), 50);
        assert_eq!(let_in(|| rates.address(here)), 50);
        assert_eq!(let_in(|| rates.sign_in(here)), 3);
        assert_eq!(let_in(|| rates.sign_in("192.0.2.2".parse().unwrap())), 3);
    }

    #[test]
    fn one_token_may_ask_500_times_a_second_unless_told_otherwise() {
        let rates = Rates::new(&Limits::default());
        let here: IpAddr = "192.0.2.1".parse().unwrap();
        for _ in 0..500 {
            rates.address(here).and_then(|()| rates.token(7)).unwrap();
        }
    }

    #[test]
    fn whoever_asks_too_often_is_told_how_long_to_wait() {
        let rates = rates(1, 0, 0);
        rates.token(7).unwrap();
        let told = rates.token(7).unwrap_err().to_string();
        assert!(told.starts_with("429 too-many-requests"), "{told}");
        rates.token(8).unwrap();
    }

    #[test]
    fn a_network_of_ipv6_counts_as_one_address_and_ipv4_within_it_as_ipv4() {
        for (address, expected) in [
            ("192.0.2.1", "192.0.2.1"),
            ("::ffff:192.0.2.1", "192.0.2.1"),
            ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
            ("::1", "::"),
        ] {
            let found = network_of(address.parse().unwrap());
            assert_eq!(found, expected.parse::<IpAddr>().unwrap(), "{address}");
        }
    }

    #[test]
    fn what_no_longer_counts_is_forgotten() {
        let limit: Limit<u32> = Limit::new(Quota::per_second(NonZeroU32::new(100_000).unwrap()));
        for who in 0..4 * FORGET_EVERY {
            assert!(limit.wait(&who).is_none());
        }
        // Each counts for 10 microseconds; but for those of the last moment, all were forgotten.
        assert!(limit.limiter.len() <= 2 * FORGET_EVERY as usize);
    }
}
