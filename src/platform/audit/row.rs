//! A row of the audit.

use std::fmt::Write as _;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use chrono::{DateTime, SubsecRound, Utc};
use uuid::Uuid;

use crate::platform::words::words;

/// How long a row keeps the whole address, days.
pub const SHORTENED_DAYS: i64 = 30;
/// How long a row is kept unless the operator says otherwise, days: a season and the time in which somebody asks about it (design
/// choice).
pub const KEPT_DAYS: u16 = 400;

words! {
    /// What was done.
    Act as AuditAct {
        /// Records were handed out.
        Read = "read",
        /// Records were handed out as a file: CSV, SVG and the like.
        Exported = "exported",
        /// Records were made, changed or deleted.
        Changed = "changed",
        /// A place in the club, a role or access was given or taken.
        Granted = "granted",
        /// A member signed in.
        SignedIn = "signed_in",
        /// Somebody asked for what they may not have, or with a password that is wrong.
        Refused = "refused",
        /// So many rows of an instance could not be kept, because far too much came at once.
        Lost = "lost",
    }
}

words! {
    /// Which athletes a row is about.
    Reach as AuditReach {
        /// The athletes that it names.
        Named = "named",
        /// Some or all of those whom the caller saw at that time: a list, a session, a feed.
        Seen = "seen",
        /// None.
        None = "none",
    }
}

/// One row before it has a number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// When, whole microseconds.
    pub at: DateTime<Utc>,
    /// What was done.
    pub act: Act,
    /// Method and route.
    pub operation: String,
    /// The status of the answer; none for what is stored with a write.
    pub status: Option<i16>,
    /// Who; none for the service itself.
    pub account: Option<Uuid>,
    /// The sign-in.
    pub device: Option<Uuid>,
    /// The app that acted for them; none for their own sign-in.
    pub app: Option<Uuid>,
    /// The network of the address.
    pub network: String,
    /// The address, as long as it is kept.
    pub address: Option<String>,
    /// Which athletes.
    pub reach: Reach,
    /// The athletes that are named.
    pub athletes: Vec<Uuid>,
    /// The other records that are named.
    pub records: Vec<Uuid>,
    /// How often, when it is said once for several.
    pub times: i32,
}

impl Entry {
    /// A change by the service itself, by one of its chores if it is one.
    pub fn of_service(chore: Option<&str>) -> Self {
        Self {
            at: Utc::now().trunc_subsecs(6),
            act: Act::Changed,
            operation: ["service"].into_iter().chain(chore).collect::<Vec<_>>().join(" "),
            status: None,
            account: None,
            device: None,
            app: None,
            network: String::new(),
            address: None,
            reach: Reach::None,
            athletes: Vec::new(),
            records: Vec::new(),
            times: 1,
        }
    }

    /// So many rows that could not be kept.
    pub fn lost(times: i32) -> Self {
        Self { act: Act::Lost, times, ..Self::of_service(None) }
    }
}

/// A row as it is stored.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its place in the club's audit, from 1 without a gap.
    pub number: i64,
    /// What it says.
    pub entry: Entry,
    /// SHA-256 of the hash before it and what it says.
    pub hash: Vec<u8>,
}

/// Bytes as hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The network of an address: 24 bits of IPv4, 48 of IPv6.
pub fn network(address: IpAddr) -> String {
    match address {
        IpAddr::V4(address) => {
            let [a, b, c, _] = address.octets();
            format!("{}/24", Ipv4Addr::new(a, b, c, 0))
        }
        IpAddr::V6(address) => {
            let [a, b, c, ..] = address.segments();
            format!("{}/48", Ipv6Addr::new(a, b, c, 0, 0, 0, 0, 0))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_network_tells_no_household() {
        let of = |text: &str| text.parse().map(network).unwrap();
        assert_eq!(of("192.0.2.77"), "192.0.2.0/24");
        assert_eq!(of("2001:db8:1:2:3::4"), "2001:db8:1::/48");
    }
}
