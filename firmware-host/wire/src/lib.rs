//! The serial format between a coilrig receiver and its host.
//!
//! Both ends of the cable use this crate. It allocates nothing, needs no
//! standard library, and runs over any byte stream: USB, UART, pseudo-terminal.
//!
//! # A packet on the cable
//!
//! ```text
//! | COBS( message | CRC-32 of message ) | 00 |
//!         1 … 2048 bytes   4 bytes, LE    delimiter
//! ```
//!
//! * **message**: a [`FromReceiver`] or a [`FromHost`] in postcard encoding
//!   (version 1 of the postcard wire format): the variant as one byte, then the
//!   fields in order without names or padding. `u8` and `bool` take one byte,
//!   other integers are LEB128 varints, `f32` takes 4 bytes LE, text, bytes and
//!   lists are a varint length and then the elements.
//! * **CRC-32**: CRC-32/ISO-HDLC (polynomial 04C11DB7 reflected, initial value
//!   and final XOR FFFFFFFF) over the message bytes, little-endian.
//! * **COBS**: consistent overhead byte stuffing (Cheshire & Baker, IEEE/ACM
//!   Trans. Networking 7 (1999) 159–172), which keeps 00 for the delimiter.
//!
//! A bare 00 is no packet and may be sent at any time, to idle or to end
//! whatever stood on the line before. A lost, cut or corrupt packet costs that
//! packet only; [`Decoder`] finds the next one at the next delimiter.
//!
//! # Receiver → host, [`FromReceiver`]
//!
//! | byte | message | field | type | meaning |
//! |---|---|---|---|---|
//! | 0 | [`Hello`] | `format_version` | u16 | [`FORMAT_VERSION`]; stays the first field for ever |
//! |   | | `firmware` | text | firmware name |
//! |   | | `firmware_version` | text | its version |
//! |   | | `serial_number` | text | of the receiver; calibrations are kept by it |
//! |   | | `sample_rate_hz` | u32 | nominal complex samples per second and axis |
//! |   | | `axes` | u8 | 1, or 3 for x, y, z |
//! |   | | `tuned_hz` | u32 | radio frequency at 0 Hz of the baseband; not inverted |
//! |   | | `sample_bits` | u8 | width of I and of Q, 16 |
//! |   | | `full_scale_counts` | u16 | complex magnitude of the carrier that just fills the ADC |
//! |   | | `group_delay_ns` | u32 | a sample shows the antenna signal this long before it was finished |
//! |   | | `gain_steps_db` | list of f32 | gain of step 0, 1, …, dB |
//! | 1 | [`Samples`] | `sequence` | u32 | counts samples packets since start, wraps |
//! |   | | `first_index` | u64 | index of the first sample, lost ones counted |
//! |   | | `gain_step` | u8 | in force for every sample of the packet |
//! |   | | `overload` | bool | the ADC or the output clipped somewhere in the packet |
//! |   | | `iq` | bytes | I and Q as i16 LE: x I, x Q (, y I, y Q, z I, z Q), next sample, … |
//! | 2 | [`Status`] | `temperature_c` | f32 | of the receiver, °C |
//! |   | | `supply_v` | f32 | supply voltage, V |
//! |   | | `dropped_samples` | u64 | samples the receiver itself lost since start |
//! | 3 | [`Answer`] | `command` | as below | the command that is answered |
//! |   | | `refused` | optional text | 00: done; 01 and the reason: refused |
//!
//! # Host → receiver, [`FromHost`]
//!
//! | byte | command | field | does | answer |
//! |---|---|---|---|---|
//! | 0 | `Start` | | stream samples and status, counts from 0; no effect while streaming | [`Answer`] |
//! | 1 | `Stop` | | stop streaming | [`Answer`] |
//! | 2 | `SetGain` | u8, step | set the analogue gain; no packet mixes steps | [`Answer`] |
//! | 3 | `Identify` | | say who you are | [`Hello`] |
//!
//! # Versions
//!
//! For every version to come, a hello is a packet as above whose message begins
//! with the byte 0 and the version as a varint `u16`. A reader meets a newer
//! hello as [`Error::FutureVersion`] and can say so, whatever else has changed.
//!
//! # Example
//!
//! ```
//! use coilrig_wire::{Decoder, FromHost, MAX_PACKET_BYTES, encode};
//!
//! let mut buffer = [0; MAX_PACKET_BYTES];
//! let packet = encode(&FromHost::SetGain(1), &mut buffer)?;
//! // COBS code, message 02 01, its CRC-32 04E840EB, delimiter.
//! assert_eq!(packet, [0x07, 0x02, 0x01, 0xEB, 0x40, 0xE8, 0x04, 0x00]);
//!
//! let mut decoder = Decoder::<MAX_PACKET_BYTES>::new();
//! let mut input = packet;
//! assert_eq!(decoder.next::<FromHost>(&mut input), Some(Ok(FromHost::SetGain(1))));
//! # Ok::<(), coilrig_wire::Error>(())
//! ```

#![no_std]

mod decode;
mod encode;
mod error;
mod message;

pub use decode::{Decoder, Discarded};
pub use encode::{MAX_MESSAGE_BYTES, MAX_PACKET_BYTES, encode};
pub use error::Error;
pub use message::{
    Answer, FORMAT_VERSION, FromHost, FromReceiver, GainSteps, Hello, MAX_GAIN_STEPS, Message,
    Samples, Status,
};

/// The checksum of every message.
const CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
/// Bytes of the checksum.
const CRC_BYTES: usize = 4;
