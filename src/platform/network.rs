//! Where a request comes from, as far as limits tell callers apart.

use std::future::{Ready, ready};
use std::net::{IpAddr, Ipv6Addr, SocketAddr};

use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest, dev::Payload};

use super::config::Config;
use super::problem::Problem;

/// An IPv4 address, or the /64 of an IPv6 address: one household or phone has the whole /64, so a single address of it
/// says nothing. Empty when the connection has no address (calls in process).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Network(String);

impl Network {
    /// As text, for keys.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// That of a request.
    pub fn of(req: &HttpRequest) -> Self {
        Self(address(req).map(class).unwrap_or_default())
    }
}

/// The address that a request comes from: behind a proxy, the one that the proxy saw.
pub fn address(req: &HttpRequest) -> Option<IpAddr> {
    let behind_proxy = req.app_data::<Data<Config>>().is_some_and(|config| config.behind_proxy);
    // What clients write stands before what the proxy appends, so only the last entry of the last line counts.
    let lines = req.headers().get_all("x-forwarded-for").filter_map(|value| value.to_str().ok());
    let forwarded = lines.last().and_then(|list| list.rsplit(',').next()).and_then(written);
    forwarded.filter(|_| behind_proxy).or_else(|| req.peer_addr().map(|peer| peer.ip()))
}

/// An address as proxies write it, with or without a port.
fn written(text: &str) -> Option<IpAddr> {
    let text = text.trim();
    text.parse().ok().or_else(|| text.parse::<SocketAddr>().ok().map(|full| full.ip()))
}

fn class(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            format!("{}/64", Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
        }
    }
}

impl FromRequest for Network {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Ok(Self::of(req)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_told_apart_by_household() {
        let of = |text: &str| written(text).map(class);
        assert_eq!(of(" 192.0.2.7 ").as_deref(), Some("192.0.2.7"));
        assert_eq!(of("192.0.2.7:4711").as_deref(), Some("192.0.2.7"));
        assert_eq!(of("::ffff:192.0.2.7").as_deref(), Some("192.0.2.7"));
        assert_eq!(of("2001:db8:1:2:3:4:5:6").as_deref(), Some("2001:db8:1:2::/64"));
        assert_eq!(of("[2001:db8:1:2::9]:443"), of("2001:db8:1:2:ffff::"));
        assert_ne!(of("2001:db8:1:3::9"), of("2001:db8:1:2::9"));
        assert_eq!(of("unknown"), None);
    }
}
