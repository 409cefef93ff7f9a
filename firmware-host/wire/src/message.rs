//! The messages; their fields are documented in the crate's first screen.

use heapless::Vec;
use serde::{Deserialize, Serialize, Serializer};

use crate::Error;

/// Version of the format described by this crate.
pub const FORMAT_VERSION: u16 = 1;
/// Most gain steps that a receiver may have.
pub const MAX_GAIN_STEPS: usize = 16;

/// Gain of each step, dB, step 0 first.
pub type GainSteps = Vec<f32, MAX_GAIN_STEPS>;

/// What a receiver says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum FromReceiver<'a> {
    /// Who it is.
    #[serde(borrow)]
    Hello(Hello<'a>),
    /// What its antennas caught.
    #[serde(borrow)]
    Samples(Samples<'a>),
    /// How it fares.
    Status(Status),
    /// What became of a command.
    #[serde(borrow)]
    Answer(Answer<'a>),
}

/// What a host asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum FromHost {
    /// Stream samples and status; sequence and sample index begin at 0.
    /// A receiver that streams already goes on as it was.
    Start,
    /// Stop streaming.
    Stop,
    /// Set the analogue gain to this step of [`Hello::gain_steps_db`].
    SetGain(u8),
    /// Say hello.
    Identify,
}

/// Who a receiver is and how to read its samples.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hello<'a> {
    /// [`FORMAT_VERSION`] of the sender.
    pub format_version: u16,
    /// Firmware name.
    pub firmware: &'a str,
    /// Firmware version.
    pub firmware_version: &'a str,
    /// Serial number of the receiver.
    pub serial_number: &'a str,
    /// Nominal complex samples per second and axis.
    pub sample_rate_hz: u32,
    /// Channels: 1, or 3 for x, y, z.
    pub axes: u8,
    /// Radio frequency at 0 Hz of the baseband, spectrum not inverted.
    pub tuned_hz: u32,
    /// Width of I and of Q.
    pub sample_bits: u8,
    /// Complex magnitude of the carrier that just fills the ADC.
    pub full_scale_counts: u16,
    /// Delay of the whole filter chain: a sample describes the antenna signal
    /// this long before the sample was finished.
    pub group_delay_ns: u32,
    /// Gain of each step, dB.
    pub gain_steps_db: GainSteps,
}

/// A stretch of samples without a gap.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Samples<'a> {
    /// Counts samples packets since start, wraps.
    pub sequence: u32,
    /// Index of the first sample since start, lost samples counted.
    pub first_index: u64,
    /// Gain step in force for the whole packet.
    pub gain_step: u8,
    /// Whether the ADC or the output clipped anywhere in the packet.
    pub overload: bool,
    /// I and Q as little-endian i16, interleaved by axis, then by sample.
    #[serde(serialize_with = "as_bytes")]
    pub iq: &'a [u8],
}

/// How a receiver fares, sent once a second while streaming.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// Temperature of the receiver, °C.
    pub temperature_c: f32,
    /// Supply voltage, V.
    pub supply_v: f32,
    /// Samples that the receiver itself lost since start.
    pub dropped_samples: u64,
}

/// What became of a command other than `Identify`, which a hello answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer<'a> {
    /// The command.
    pub command: FromHost,
    /// Why it was refused; `None` when it was done.
    #[serde(borrow)]
    pub refused: Option<&'a str>,
}

/// One direction of the cable: what can be put into a packet and taken out.
pub trait Message<'a>: Serialize + Deserialize<'a> {
    /// The message in `bytes`, all of which it must take.
    fn parse(bytes: &'a [u8]) -> Result<Self, Error> {
        match postcard::take_from_bytes(bytes) {
            Ok((message, [])) => Ok(message),
            _ => Err(Error::Malformed),
        }
    }
}

impl Message<'_> for FromHost {}

impl<'a> Message<'a> for FromReceiver<'a> {
    fn parse(bytes: &'a [u8]) -> Result<Self, Error> {
        if let [0, hello @ ..] = bytes {
            match postcard::take_from_bytes::<u16>(hello) {
                Ok((FORMAT_VERSION, _)) => {}
                Ok((version, _)) if version > FORMAT_VERSION => {
                    return Err(Error::FutureVersion(version));
                }
                _ => return Err(Error::Malformed),
            }
        }
        match postcard::take_from_bytes(bytes) {
            Ok((message, [])) => Ok(message),
            _ => Err(Error::Malformed),
        }
    }
}

/// One copy, where serde would push a slice element by element.
fn as_bytes<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_bytes(bytes)
}
