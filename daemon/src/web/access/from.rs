//! From where somebody comes, as far as it is one place: what is counted by address is counted by this.
//! Never in here: how much of anything it may have.

use std::net::{IpAddr, Ipv6Addr};

/// The part of an IPv6 address that a network gets; whoever has one has all addresses in it (RFC 4291, 2.5.4).
const NETWORK: u128 = !0 << 64;

/// The address of IPv4, however it is written, and the network of one of IPv6.
pub fn place(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => Ipv6Addr::from_bits(address.to_bits() & NETWORK).into(),
        address @ IpAddr::V4(_) => address,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_network_of_ipv6_is_one_place_and_an_address_of_ipv4_is_itself() {
        let of = |text: &str| place(text.parse().expect("an address"));
        assert_eq!(of("2001:db8:1:2::7"), of("2001:db8:1:2:ffff::9"));
        assert_ne!(of("2001:db8:1:2::7"), of("2001:db8:1:3::7"));
        assert_eq!(of("::ffff:192.0.2.5"), of("192.0.2.5"));
        assert_ne!(of("192.0.2.5"), of("192.0.2.6"));
    }
}
