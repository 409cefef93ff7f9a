//! Messages into packets.

use cobs::CobsEncoder;

use crate::{CRC, CRC_BYTES, Error, Message};

/// Longest message in postcard encoding. Samples packets of 20 ms, three axes
/// at 8 kS/s, take 1940 bytes at most.
pub const MAX_MESSAGE_BYTES: usize = 2048;
/// Longest packet, delimiter included.
pub const MAX_PACKET_BYTES: usize = cobs::max_encoding_length(MAX_MESSAGE_BYTES + CRC_BYTES) + 1;

/// Put `message` into a packet at the start of `buffer`, and give the packet.
///
/// # Errors
///
/// [`Error::TooLong`] when the message exceeds [`MAX_MESSAGE_BYTES`] or the
/// packet exceeds `buffer`. [`MAX_PACKET_BYTES`] hold any packet.
pub fn encode<'b, 'm>(message: &impl Message<'m>, buffer: &'b mut [u8]) -> Result<&'b [u8], Error> {
    let mut scratch = [0; MAX_MESSAGE_BYTES];
    let message = postcard::to_slice(message, &mut scratch).map_err(|_| Error::TooLong)?;

    let mut frame = CobsEncoder::new(buffer);
    frame.push(message).map_err(|_| Error::TooLong)?;
    frame.push(&CRC.checksum(message).to_le_bytes()).map_err(|_| Error::TooLong)?;
    let length = frame.finalize();

    *buffer.get_mut(length).ok_or(Error::TooLong)? = 0;
    Ok(&buffer[..=length])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{FromHost, FromReceiver, Samples};

    #[test]
    fn the_checksum_is_the_iso_hdlc_one() {
        // Check value of the CRC catalogue, https://reveng.sourceforge.io/crc-catalogue/
        assert_eq!(CRC.checksum(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn a_samples_packet_of_the_rig_fits_at_any_count() {
        let iq = [0xA5; 160 * 3 * 4];
        let samples = Samples {
            sequence: u32::MAX,
            first_index: u64::MAX,
            gain_step: u8::MAX,
            overload: true,
            iq: &iq,
        };
        let mut buffer = [0; MAX_PACKET_BYTES];
        let packet = encode(&FromReceiver::Samples(samples), &mut buffer).unwrap();
        // Message 1940, checksum 4, one stuffing byte for each 254 begun, delimiter.
        assert_eq!(packet.len(), 1940 + 4 + 8 + 1);
    }

    #[test]
    fn what_does_not_fit_is_refused_at_every_size() {
        let mut whole = [0; 16];
        let needed = encode(&FromHost::SetGain(3), &mut whole).unwrap().len();
        for size in 0..needed {
            let mut buffer = [0; 16];
            let cut = encode(&FromHost::SetGain(3), &mut buffer[..size]);
            assert_eq!(cut, Err(Error::TooLong), "{size} bytes");
        }
        let iq = [0; MAX_MESSAGE_BYTES];
        let samples =
            Samples { sequence: 0, first_index: 0, gain_step: 0, overload: false, iq: &iq };
        let mut buffer = [0; 2 * MAX_PACKET_BYTES];
        assert_eq!(encode(&FromReceiver::Samples(samples), &mut buffer), Err(Error::TooLong));
    }
}
