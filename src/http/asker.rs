//! Where a request comes from, and whether it came over TLS: from the connection, or from a proxy that is trusted.
//!
//! Invariant: what a request says of itself counts only when the connection comes from a network that is listed as trusted;
//! else the connection alone counts. Deliberately absent: who asks (tokens and sessions say).

use std::net::{IpAddr, Ipv4Addr};

use actix_web::HttpMessage;
use actix_web::dev::ServiceRequest;
use actix_web::http::header::HeaderMap;
use ipnet::IpNet;

/// The networks whose word about those behind them is taken.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TrustedProxies(Vec<IpNet>);

impl TrustedProxies {
    /// Reads networks and addresses with commas between them, such as `127.0.0.1,10.20.0.0/16`; nothing is none.
    ///
    /// # Errors
    /// What is not understood, in words.
    pub fn parse(text: &str) -> Result<Self, String> {
        text.split(',')
            .map(str::trim)
            .filter(|part| !part.is_empty())
            .map(|part| {
                part.parse::<IpNet>()
                    .or_else(|_| part.parse::<IpAddr>().map(IpNet::from))
                    .map_err(|_| {
                        format!("`{part}` is no network or address: write such as 127.0.0.1 or 10.20.0.0/16")
                    })
            })
            .collect::<Result<_, _>>()
            .map(Self)
    }

    fn has(&self, address: IpAddr) -> bool {
        let address = address.to_canonical();
        self.0.iter().any(|network| network.contains(&address))
    }
}

/// Where a request comes from. Put among its extensions by the door.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asker {
    /// The address.
    pub address: IpAddr,
    /// Whether what is said between them is encrypted.
    pub over_tls: bool,
}

impl Asker {
    /// Of a request's connection and headers. `own_tls` says that this process speaks TLS itself.
    pub(super) fn of(request: &ServiceRequest, proxies: &TrustedProxies, own_tls: bool) -> Self {
        let peer = request.peer_addr().map(|peer| peer.ip());
        Self::found(peer, request.headers(), proxies, own_tls)
    }

    /// What the door found out about a request; an unencrypted one of nobody when it did not pass the door.
    pub fn known(request: &impl HttpMessage) -> Self {
        let known = request.extensions().get::<Self>().copied();
        known.unwrap_or(Self {
            address: Ipv4Addr::UNSPECIFIED.into(),
            over_tls: false,
        })
    }

    /// The scheme under which one was asked.
    #[must_use]
    pub fn scheme(&self) -> &'static str {
        match self.over_tls {
            true => "https",
            false => "http",
        }
    }

    fn found(
        peer: Option<IpAddr>,
        headers: &HeaderMap,
        proxies: &TrustedProxies,
        own_tls: bool,
    ) -> Self {
        let peer = peer.unwrap_or(Ipv4Addr::UNSPECIFIED.into()).to_canonical();
        if !proxies.has(peer) {
            return Self {
                address: peer,
                over_tls: own_tls,
            };
        }
        // A proxy adds whom it was asked by at the end; what stands before may have been made up by them.
        let hops: Vec<IpAddr> = values(headers, "x-forwarded-for")
            .map_while(|hop| hop.parse().ok())
            .collect();
        let outside = hops.iter().find(|hop| !proxies.has(**hop));
        let address = outside.or(hops.last()).copied().unwrap_or(peer);
        let proto = values(headers, "x-forwarded-proto").next();
        Self {
            address: address.to_canonical(),
            over_tls: own_tls || proto.is_some_and(|proto| proto.eq_ignore_ascii_case("https")),
        }
    }
}

/// The parts of a header that lists some, the last first.
fn values<'a>(headers: &'a HeaderMap, name: &str) -> impl Iterator<Item = &'a str> {
    let lines: Vec<&str> = headers
        .get_all(name)
        .filter_map(|value| value.to_str().ok())
        .collect();
    lines
        .into_iter()
        .rev()
        .flat_map(|line| line.rsplit(','))
        .map(str::trim)
}

#[cfg(test)]
mod tests {
    use actix_web::http::header::{HeaderName, HeaderValue};

    use super::*;

    /// Expected: the address, and whether over TLS.
    #[track_caller]
    fn check(proxies: &str, peer: &str, headers: &[(&'static str, &str)], expected: (&str, bool)) {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(
                HeaderName::from_static(name),
                HeaderValue::from_str(value).unwrap(),
            );
        }
        let proxies = TrustedProxies::parse(proxies).unwrap();
        let found = Asker::found(peer.parse().ok(), &map, &proxies, false);
        let address: IpAddr = expected.0.parse().unwrap();
        assert_eq!((found.address, found.over_tls), (address, expected.1));
    }

    #[test]
    fn nobody_is_believed_but_a_listed_proxy() {
        let forged = [
            ("x-forwarded-for", "198.51.100.9"),
            ("x-forwarded-proto", "https"),
        ];
        check("", "192.0.2.1", &forged, ("192.0.2.1", false));
        check("192.0.2.2", "192.0.2.1", &forged, ("192.0.2.1", false));
        check("192.0.2.1", "192.0.2.1", &forged, ("198.51.100.9", true));
        check(
            "192.0.2.0/24",
            "::ffff:192.0.2.1",
            &forged,
            ("198.51.100.9", true),
        );
    }

    #[test]
    fn the_last_address_that_is_no_proxy_counts() {
        let list = "10.0.0.0/8";
        let of = |chain| [("x-forwarded-for", chain)];
        check(
            list,
            "10.0.0.1",
            &of("203.0.113.7, 198.51.100.9, 10.0.0.2"),
            ("198.51.100.9", false),
        );
        check(
            list,
            "10.0.0.1",
            &of("10.0.0.3, 10.0.0.2"),
            ("10.0.0.3", false),
        );
        check(list, "10.0.0.1", &of("nonsense"), ("10.0.0.1", false));
        check(
            list,
            "10.0.0.1",
            &of("203.0.113.7, nonsense, 10.0.0.2"),
            ("10.0.0.2", false),
        );
        check(list, "10.0.0.1", &[], ("10.0.0.1", false));
        let lines = [
            ("x-forwarded-for", "203.0.113.7"),
            ("x-forwarded-for", "198.51.100.9"),
        ];
        check(list, "10.0.0.1", &lines, ("198.51.100.9", false));
    }

    #[test]
    fn the_proxy_nearest_to_this_service_says_whether_it_was_tls() {
        let of = |proto| [("x-forwarded-proto", proto)];
        check("10.0.0.1", "10.0.0.1", &of("http"), ("10.0.0.1", false));
        check("10.0.0.1", "10.0.0.1", &of("HTTPS"), ("10.0.0.1", true));
        check(
            "10.0.0.1",
            "10.0.0.1",
            &of("https, http"),
            ("10.0.0.1", false),
        );
    }

    #[test]
    fn a_list_that_is_not_understood_is_refused() {
        assert!(TrustedProxies::parse("10.0.0.0/8, ::1").is_ok());
        let told = TrustedProxies::parse("proxy.lab.internal").unwrap_err();
        assert!(
            told.starts_with("`proxy.lab.internal` is no network"),
            "{told}"
        );
    }
}
