//! Counts connections, in all and of each address.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, PoisonError};

/// Lets so many connections in.
#[derive(Debug)]
pub struct Door {
    total: usize,
    each: usize,
    inside: Mutex<(usize, HashMap<IpAddr, usize>)>,
}

/// A place inside; dropping it gives it back.
#[derive(Debug)]
pub struct Seat {
    door: Arc<Door>,
    address: Option<IpAddr>,
}

/// Whose connections are counted together: an IPv4 address, or an IPv6 network of 64 bits, which one subscriber has.
fn counted(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() >> 64 << 64)),
        v4 @ IpAddr::V4(_) => v4,
    }
}

impl Door {
    /// Room for `total` connections, and for `each` of one address (0: as many as there is room for).
    pub fn new(total: usize, each: usize) -> Arc<Self> {
        let each = if each == 0 { total } else { each };
        Arc::new(Self { total, each, inside: Mutex::default() })
    }

    /// A place for a connection, when there is room.
    ///
    /// When three quarters are taken, an address has an eighth of its usual share: the rest is for those who have few.
    pub fn enter(self: &Arc<Self>, address: Option<IpAddr>) -> Option<Seat> {
        let address = address.map(counted);
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        let (all, by) = &mut *inside;
        let scarce = self.each < self.total && *all * 4 >= self.total * 3;
        let share = if scarce { self.each.div_ceil(8) } else { self.each };
        let own = address.and_then(|address| by.get(&address)).copied().unwrap_or(0);
        if *all >= self.total || own >= share {
            return None;
        }
        *all += 1;
        if let Some(address) = address {
            *by.entry(address).or_default() += 1;
        }
        Some(Seat { door: Arc::clone(self), address })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut inside = self.door.inside.lock().unwrap_or_else(PoisonError::into_inner);
        let (all, by) = &mut *inside;
        *all -= 1;
        if let Some(address) = self.address
            && let Some(own) = by.get_mut(&address)
        {
            *own -= 1;
            if *own == 0 {
                by.remove(&address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(address: &str) -> IpAddr {
        address.parse().unwrap()
    }

    #[test]
    fn an_address_has_its_share_and_others_have_theirs() {
        let door = Door::new(100, 8);
        let mut seats: Vec<Seat> = (0..8).map(|_| door.enter(Some(at("192.0.2.1"))).unwrap()).collect();
        assert!(door.enter(Some(at("192.0.2.1"))).is_none());
        assert!(door.enter(Some(at("::ffff:192.0.2.1"))).is_none(), "the same address written as IPv6");
        seats.push(door.enter(Some(at("192.0.2.2"))).unwrap());
        seats.remove(0);
        assert!(door.enter(Some(at("192.0.2.1"))).is_some());
    }

    #[test]
    fn a_network_of_ipv6_is_one_address() {
        let door = Door::new(100, 1);
        let _seat = door.enter(Some(at("2001:db8:1:2::1"))).unwrap();
        assert!(door.enter(Some(at("2001:db8:1:2:ffff::9"))).is_none());
        assert!(door.enter(Some(at("2001:db8:1:3::1"))).is_some());
    }

    #[test]
    fn when_room_is_scarce_those_who_have_few_come_in() {
        let door = Door::new(16, 8);
        let mut seats = Vec::new();
        for address in ["192.0.2.1", "192.0.2.2"] {
            while let Some(seat) = door.enter(Some(at(address))) {
                seats.push(seat);
            }
        }
        assert_eq!(seats.len(), 12, "the two have three quarters");
        for last in 3..=6 {
            let address = format!("192.0.2.{last}");
            seats.push(door.enter(Some(at(&address))).unwrap());
            assert!(door.enter(Some(at(&address))).is_none());
        }
        assert!(door.enter(Some(at("192.0.2.9"))).is_none(), "the house is full");
        drop(seats);
        assert_eq!(*door.inside.lock().unwrap(), (0, HashMap::new()));
    }

    #[test]
    fn behind_a_proxy_only_the_total_counts() {
        let door = Door::new(4, 0);
        let seats: Vec<Seat> = (0..4).map(|_| door.enter(Some(at("192.0.2.1"))).unwrap()).collect();
        assert!(door.enter(Some(at("192.0.2.1"))).is_none());
        drop(seats);
    }
}
