//! What damage on the line costs.

use coilrig_wire::{
    Answer, Decoder, Error, FORMAT_VERSION, FromHost, FromReceiver, GainSteps, Hello,
    MAX_PACKET_BYTES, Samples, Status, encode,
};
use proptest::prelude::*;

/// A message that owns its bytes, so that it can be generated.
#[derive(Clone, Debug)]
enum Sent {
    Hello(String, Vec<f32>),
    Samples(u32, u64, u8, bool, Vec<u8>),
    Status(f32, f32, u64),
    Answer(u8, Option<String>),
}

impl Sent {
    fn message(&self) -> FromReceiver<'_> {
        match self {
            Self::Hello(serial_number, gain_steps_db) => FromReceiver::Hello(Hello {
                format_version: FORMAT_VERSION,
                firmware: "test",
                firmware_version: "1.2.3",
                serial_number,
                sample_rate_hz: 8000,
                axes: 3,
                tuned_hz: 457_000,
                sample_bits: 16,
                full_scale_counts: 32_000,
                group_delay_ns: 5_000_000,
                gain_steps_db: GainSteps::from_slice(gain_steps_db).unwrap(),
            }),
            &Self::Samples(sequence, first_index, gain_step, overload, ref iq) => {
                FromReceiver::Samples(Samples { sequence, first_index, gain_step, overload, iq })
            }
            &Self::Status(temperature_c, supply_v, dropped_samples) => {
                FromReceiver::Status(Status { temperature_c, supply_v, dropped_samples })
            }
            Self::Answer(step, refused) => FromReceiver::Answer(Answer {
                command: FromHost::SetGain(*step),
                refused: refused.as_deref(),
            }),
        }
    }

    fn packet(&self) -> Vec<u8> {
        let mut buffer = [0; MAX_PACKET_BYTES];
        encode(&self.message(), &mut buffer).unwrap().to_vec()
    }
}

fn sent() -> impl Strategy<Value = Sent> {
    let decibels = -120.0f32..120.0;
    prop_oneof![
        ("[ -~]{0,30}", prop::collection::vec(decibels.clone(), 0..16))
            .prop_map(|(serial, gains)| Sent::Hello(serial, gains)),
        (any::<u32>(), any::<u64>(), any::<u8>(), any::<bool>(), iq()).prop_map(
            |(sequence, index, step, overload, iq)| Sent::Samples(
                sequence, index, step, overload, iq
            )
        ),
        (decibels.clone(), decibels, any::<u64>())
            .prop_map(|(temperature, supply, dropped)| Sent::Status(temperature, supply, dropped)),
        (any::<u8>(), prop::option::of("[a-z ]{0,20}"))
            .prop_map(|(step, reason)| Sent::Answer(step, reason)),
    ]
}

/// Samples with many zeros, with few, and with none: the cases of COBS.
fn iq() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::collection::vec(0u8..2, 0..1920),
        prop::collection::vec(any::<u8>(), 0..1920),
        prop::collection::vec(1u8.., 0..1920),
    ]
}

/// Something done to the stream at a place between 0 and 1 along it.
#[derive(Clone, Debug)]
enum Damage {
    Overwrite(f64, Vec<u8>),
    Cut(f64, usize),
    Insert(f64, Vec<u8>),
}

fn damage() -> impl Strategy<Value = Damage> {
    let noise = || prop::collection::vec(prop_oneof![Just(0), any::<u8>()], 1..40);
    let overlong = prop::collection::vec(1u8.., 2 * MAX_PACKET_BYTES);
    prop_oneof![
        4 => (0.0..1.0, noise()).prop_map(|(at, noise)| Damage::Overwrite(at, noise)),
        4 => (0.0..1.0, 1usize..3000).prop_map(|(at, count)| Damage::Cut(at, count)),
        4 => (0.0..1.0, noise()).prop_map(|(at, noise)| Damage::Insert(at, noise)),
        1 => (0.0..1.0, overlong).prop_map(|(at, noise)| Damage::Insert(at, noise)),
    ]
}

/// A byte on the line, and where it stood when it was sent if it is as sent.
type Byte = (u8, Option<usize>);

fn inflict(stream: &mut Vec<Byte>, damage: &Damage) {
    let place = |at: f64| (at * stream.len() as f64) as usize;
    match damage {
        Damage::Overwrite(at, noise) => {
            let start = place(*at);
            for (byte, &noise) in stream[start..].iter_mut().zip(noise) {
                if byte.0 != noise {
                    *byte = (noise, None);
                }
            }
        }
        Damage::Cut(at, count) => {
            let start = place(*at);
            stream.drain(start..(start + count).min(stream.len()));
        }
        Damage::Insert(at, noise) => {
            let start = place(*at);
            stream.splice(start..start, noise.iter().map(|&byte| (byte, None)));
        }
    }
}

/// Whether the packet sent at `span` arrived whole, right after a delimiter.
fn is_intact(stream: &[Byte], span: std::ops::Range<usize>) -> bool {
    let Some(start) = stream.iter().position(|byte| byte.1 == Some(span.start)) else {
        return false;
    };
    let arrived = stream[start..].iter().map(|byte| byte.1);
    let is_whole = arrived.take(span.len()).eq(span.map(Some));
    is_whole && (start == 0 || stream[start - 1].0 == 0)
}

proptest! {
    /// Any stream, cut and corrupted anywhere and read in pieces of any size,
    /// gives every packet that arrived whole, in order, and no other.
    #[test]
    fn damage_costs_the_packets_it_hit(
        sent in prop::collection::vec(sent(), 1..20),
        damages in prop::collection::vec(damage(), 0..6),
        piece in 1usize..4000,
    ) {
        // Packets told apart by what is in them: none is sent twice.
        let mut packets = std::collections::HashSet::new();
        let sent: Vec<_> = sent.into_iter().filter(|s| packets.insert(s.packet())).collect();
        let mut stream = Vec::new();
        let mut spans = Vec::new();
        for message in &sent {
            let start = stream.len();
            stream.extend(message.packet());
            spans.push(start..stream.len());
        }
        let mut stream: Vec<Byte> =
            stream.into_iter().enumerate().map(|(place, byte)| (byte, Some(place))).collect();
        for damage in &damages {
            inflict(&mut stream, damage);
        }
        let bytes: Vec<u8> = stream.iter().map(|byte| byte.0).collect();

        let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
        let mut due = sent.iter().zip(&spans);
        let mut failed = 0;
        for mut input in bytes.chunks(piece) {
            while let Some(result) = decoder.next::<FromReceiver>(&mut input) {
                let Ok(message) = result else {
                    failed += 1;
                    continue;
                };
                // Packets passed over on the way must have been hit.
                let passed_over = due.by_ref().take_while(|(sent, _)| sent.message() != message);
                for (lost, span) in passed_over {
                    prop_assert!(!is_intact(&stream, span.clone()), "lost {lost:?}");
                }
            }
        }
        for (lost, span) in due {
            prop_assert!(!is_intact(&stream, span.clone()), "lost {lost:?}");
        }
        prop_assert_eq!(decoder.discarded().frames, failed);
        if damages.is_empty() {
            prop_assert_eq!(failed, 0);
        }
    }

    /// Noise alone never makes a packet, in either direction.
    #[test]
    fn noise_is_no_packet(
        noise in prop::collection::vec(prop_oneof![Just(0), Just(1), Just(5), any::<u8>()], 0..9000)
    ) {
        let mut input = &noise[..];
        let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
        while let Some(result) = decoder.next::<FromReceiver>(&mut input) {
            prop_assert!(result.is_err());
        }
        let mut input = &noise[..];
        let mut decoder = Decoder::<32>::new();
        while let Some(result) = decoder.next::<FromHost>(&mut input) {
            prop_assert!(result.is_err());
        }
    }
}

/// The only packet in `bytes`, or why it is none.
fn decode_one(mut bytes: &[u8]) -> Result<String, Error> {
    let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
    let message = decoder.next::<FromReceiver>(&mut bytes).expect("a frame")?;
    Ok(format!("{message:?}"))
}

fn packet_of(message: &[u8]) -> Vec<u8> {
    let mut framed = message.to_vec();
    framed.extend(crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(message).to_le_bytes());
    let mut packet = vec![0; cobs::max_encoding_length(framed.len()) + 1];
    let length = cobs::encode(&framed, &mut packet);
    packet.truncate(length);
    packet.push(0);
    packet
}

#[test]
fn a_hello_from_the_future_is_known_as_such_whatever_follows_the_version() {
    for rest in [&b""[..], b"\x05other", &[0xFF; 300]] {
        // Version 300 as varint: low seven bits 0101100 with the continuation bit, then 2.
        let message = [&[0x00, 0xAC, 0x02][..], rest].concat();
        assert_eq!(decode_one(&packet_of(&message)), Err(Error::FutureVersion(300)));
    }
    assert_eq!(decode_one(&packet_of(&[0x00, 0x00])), Err(Error::Malformed), "no version 0");
}

#[test]
fn a_sound_packet_with_something_else_in_it_is_malformed() {
    let status = Sent::Status(20.0, 5.0, 0).packet();
    assert!(decode_one(&status).is_ok());
    let mut message = vec![2];
    message.extend(20.0f32.to_le_bytes());
    message.extend(5.0f32.to_le_bytes());
    message.push(0);
    assert_eq!(packet_of(&message), status, "the layout that the documentation states");
    message.push(0);
    assert_eq!(decode_one(&packet_of(&message)), Err(Error::Malformed), "a byte too many");
    assert_eq!(decode_one(&packet_of(&[9, 1, 2])), Err(Error::Malformed), "no such message");
}

#[test]
fn a_line_that_echoes_is_no_receiver() {
    for command in [FromHost::Start, FromHost::Stop, FromHost::SetGain(1), FromHost::Identify] {
        let mut buffer = [0; MAX_PACKET_BYTES];
        let echo = encode(&command, &mut buffer).unwrap();
        assert_eq!(decode_one(echo), Err(Error::Malformed), "{command:?}");
    }
}

#[test]
fn more_gain_steps_than_a_reader_holds_are_malformed_not_a_panic() {
    let hello = Sent::Hello("1".into(), vec![0.0; 16]).packet();
    assert!(decode_one(&hello).is_ok());
    let mut frame = hello[..hello.len() - 1].to_vec();
    let length = cobs::decode_in_place(&mut frame).unwrap() - 4;
    let mut message = frame[..length].to_vec();
    let count = length - 16 * 4 - 1;
    assert_eq!(message[count], 16);
    message[count] = 17;
    message.extend(0.0f32.to_le_bytes());
    assert_eq!(decode_one(&packet_of(&message)), Err(Error::Malformed));
}
