//! The framing that the format relies on, against its paper:
//! Cheshire & Baker, IEEE/ACM Trans. Networking 7 (1999) 159–172.

use proptest::prelude::*;

/// The worked example of the paper, the head of an IP packet (from memory).
#[test]
fn the_paper_s_example() {
    let packet = [0x45, 0x00, 0x00, 0x2C, 0x4C, 0x79, 0x00, 0x00, 0x40, 0x06, 0x4F, 0x37];
    let stuffed = [0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37];
    let mut buffer = [0; 16];
    let length = cobs::encode(&packet, &mut buffer);
    assert_eq!(buffer[..length], stuffed);
    let length = cobs::decode_in_place(&mut buffer[..length]).unwrap();
    assert_eq!(buffer[..length], packet);
}

proptest! {
    /// The paper's bounds: at least one byte, at most one more for every 254,
    /// and no zero left.
    #[test]
    fn overhead(packet in prop::collection::vec(any::<u8>(), 1..2100)) {
        let mut buffer = vec![0; cobs::max_encoding_length(packet.len())];
        let length = cobs::encode(&packet, &mut buffer);
        prop_assert!(length > packet.len());
        prop_assert!(length <= packet.len() + packet.len().div_ceil(254));
        prop_assert!(!buffer[..length].contains(&0));
    }
}

/// A packet without zeros costs the most: one byte for every 254 begun.
#[test]
fn the_worst_case_is_reached() {
    for length in [1, 253, 254, 255, 508, 509, 2052] {
        let mut buffer = vec![0; cobs::max_encoding_length(length)];
        assert_eq!(cobs::encode(&vec![1; length], &mut buffer), length + length.div_ceil(254));
    }
}
