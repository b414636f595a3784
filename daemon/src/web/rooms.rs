//! How many connections each place holds, so that one alone cannot shut the page to the others.
//! Never in here: sockets.

use super::access::place;
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex};

/// Connections of one place at a time (judgement: three browsers with all that they may hold).
const MOST_OF_ONE: usize = 24;

/// Counts connections by place. This machine and the proxy speak for many and are not counted.
#[derive(Debug, Clone)]
pub struct Rooms {
    proxy: Option<IpAddr>,
    taken: Arc<Mutex<BTreeMap<IpAddr, usize>>>,
}

/// One connection; its room is free again when it is dropped.
#[derive(Debug)]
pub struct Room {
    of: Option<IpAddr>,
    taken: Arc<Mutex<BTreeMap<IpAddr, usize>>>,
}

impl Rooms {
    /// All free.
    pub fn new(proxy: Option<IpAddr>) -> Self {
        Self {
            proxy: proxy.map(|proxy| proxy.to_canonical()),
            taken: Arc::default(),
        }
    }

    /// For one more connection from an address; `None` where its place has as many as it may.
    pub fn take(&self, from: IpAddr) -> Option<Room> {
        let room = |of| Room {
            of,
            taken: self.taken.clone(),
        };
        if from.is_loopback() || self.proxy == Some(from) {
            return Some(room(None));
        }
        let of = place(from);
        let mut taken = self.taken.lock().expect("nothing under this lock panics");
        let count = taken.entry(of).or_default();
        if *count >= MOST_OF_ONE {
            return None;
        }
        *count += 1;
        Some(room(Some(of)))
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        let Some(of) = self.of else { return };
        let mut taken = self.taken.lock().expect("nothing under this lock panics");
        if let Some(count) = taken.get_mut(&of) {
            *count -= 1;
            if *count == 0 {
                taken.remove(&of);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    #[test]
    fn one_place_leaves_room_for_the_others_and_gets_its_own_back() {
        let rooms = Rooms::new(None);
        let one = |n: usize| rooms.take(address(&format!("2001:db8::{n:x}")));
        let mut held: Vec<Room> = (0..MOST_OF_ONE).map(|n| one(n).expect("room")).collect();
        assert!(one(99).is_none(), "of the same network");
        assert!(rooms.take(address("2001:db8:0:1::1")).is_some());
        assert!(rooms.take(address("192.0.2.7")).is_some());
        held.pop();
        assert!(one(99).is_some());
        held.clear();
        assert!(
            rooms.taken.lock().expect("whole").is_empty(),
            "nothing is kept"
        );
    }

    #[test]
    fn who_speaks_for_many_is_not_counted() {
        let proxy = address("192.0.2.5");
        let rooms = Rooms::new(Some(proxy));
        for from in [proxy, address("127.0.0.1"), address("::1")] {
            let held: Vec<Option<Room>> = (0..=MOST_OF_ONE).map(|_| rooms.take(from)).collect();
            assert!(held.iter().all(Option::is_some), "{from}");
        }
    }
}
