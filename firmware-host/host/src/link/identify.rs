//! Finding out what answers on a port.

use std::collections::VecDeque;
use std::path::Path;
use std::time::Duration;

use coilrig_wire::{FORMAT_VERSION, FromHost, Hello};
use serde::Serialize;
use tokio::time::{Instant, timeout_at};

use super::line::{Line, Packet};
use super::port;
use crate::error::Error;

/// How often the question is put: a receiver that is just starting, or noise
/// on the line, may eat it.
const ASK_EVERY: Duration = Duration::from_millis(300);

/// A receiver, as it says itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Receiver {
    /// Firmware name.
    pub firmware: String,
    /// Firmware version.
    pub firmware_version: String,
    /// Serial number.
    pub serial_number: String,
    /// Nominal complex samples per second and axis.
    pub sample_rate_hz: u32,
    /// Channels, 1 or 3.
    pub axes: u8,
    /// Radio frequency at 0 Hz of the baseband.
    pub tuned_hz: u32,
    /// Width of I and of Q.
    pub sample_bits: u8,
    /// Complex magnitude of the carrier that just fills the ADC.
    pub full_scale_counts: u16,
    /// Delay from the antenna to a finished sample.
    pub group_delay_ns: u32,
    /// Gain of each step, dB.
    pub gain_steps_db: Vec<f32>,
}

impl Receiver {
    /// Refuse a gain step that it has not.
    pub fn check_gain_step(&self, step: u8) -> crate::error::Result<()> {
        let steps = self.gain_steps_db.len();
        match usize::from(step) < steps {
            true => Ok(()),
            false => Err(Error::usage(
                format!("gain step {step}: the receiver has steps 0 to {}", steps - 1),
                "choose one of these",
            )),
        }
    }
}

impl From<Hello<'_>> for Receiver {
    fn from(hello: Hello) -> Self {
        Self {
            firmware: hello.firmware.into(),
            firmware_version: hello.firmware_version.into(),
            serial_number: hello.serial_number.into(),
            sample_rate_hz: hello.sample_rate_hz,
            axes: hello.axes,
            tuned_hz: hello.tuned_hz,
            sample_bits: hello.sample_bits,
            full_scale_counts: hello.full_scale_counts,
            group_delay_ns: hello.group_delay_ns,
            gain_steps_db: hello.gain_steps_db.to_vec(),
        }
    }
}

impl Receiver {
    /// What this program cannot work with, if anything.
    fn unusable(&self) -> Option<String> {
        if !matches!(self.axes, 1 | 3) {
            Some(format!("{} axes", self.axes))
        } else if self.sample_bits != 16 {
            Some(format!("samples of {} bits", self.sample_bits))
        } else if self.sample_rate_hz == 0 {
            Some("a sample rate of zero".into())
        } else if self.gain_steps_db.is_empty() {
            Some("no gain step".into())
        } else if self.full_scale_counts == 0 {
            Some("a full scale of zero".into())
        } else {
            None
        }
    }
}

/// Why there is no receiver to talk to on a port.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoReceiver {
    /// The port does not open.
    #[error(transparent)]
    Port(#[from] port::CannotOpen),
    /// The port went away meanwhile.
    #[error("the port went away: {0}")]
    Gone(String),
    /// Not a byte came.
    #[error("nothing answers like a coilrig receiver: the port is silent")]
    Silent,
    /// Bytes came, but no packet.
    #[error("nothing answers like a coilrig receiver: {0} bytes came that are no packets of one")]
    Other(u64),
    /// Packets came, but no hello.
    #[error("a receiver sends packets but does not say who it is")]
    Mute,
    /// A receiver whose format is newer than this program.
    #[error("the receiver speaks format version {0}, this coilrig knows {FORMAT_VERSION}")]
    FutureVersion(u16),
    /// A receiver that contradicts the format.
    #[error("the receiver says it has {0}, which this coilrig cannot read")]
    Unusable(String),
}

impl NoReceiver {
    /// The error for a person, with what to do.
    pub fn on(&self, port: &Path) -> Error {
        let remedy = match self {
            Self::Port(cannot) => cannot.remedy,
            Self::Gone(_) => "check the cable and plug the receiver in again",
            Self::Silent => {
                "check that it is the receiver's port (`coilrig ports`), its power and its cable"
            }
            Self::Other(_) => {
                "another device is on this port: `coilrig ports` shows where the receiver is"
            }
            Self::Mute => "unplug the receiver and plug it in again",
            Self::FutureVersion(_) => "update coilrig",
            Self::Unusable(_) => "update coilrig, or the receiver's firmware",
        };
        Error::receiver(port.display(), self.to_string(), remedy)
    }

    /// Whether waiting for the port cannot help.
    pub(super) fn is_final(&self) -> bool {
        matches!(self, Self::FutureVersion(_) | Self::Unusable(_))
    }
}

/// Ask who is on the port, for at most `patience`.
pub async fn identify(path: &Path, patience: Duration) -> Result<Receiver, NoReceiver> {
    open_line(path, patience).await.map(|(_, receiver)| receiver)
}

/// Open the port and ask who is there, for at most `patience`.
pub(super) async fn open_line(
    path: &Path,
    patience: Duration,
) -> Result<(Line, Receiver), NoReceiver> {
    let mut line = Line::new(port::open(path)?);
    let gone = |e: std::io::Error| NoReceiver::Gone(e.to_string());
    let end = Instant::now() + patience;
    let mut ask_at = Instant::now();
    // A receiver that streams already has samples to tell in the meantime.
    let mut meanwhile = VecDeque::new();
    loop {
        let now = Instant::now();
        if now >= end {
            return Err(match (line.bytes(), line.packets()) {
                (0, _) => NoReceiver::Silent,
                (bytes, 0) => NoReceiver::Other(bytes),
                _ => NoReceiver::Mute,
            });
        }
        if now >= ask_at {
            // A port that takes no bytes must not hold this up for ever.
            match timeout_at(end, line.send(FromHost::Identify)).await {
                Ok(sent) => sent.map_err(gone)?,
                Err(_) => continue,
            }
            ask_at = now + ASK_EVERY;
        }
        match timeout_at(ask_at.min(end), line.receive()).await {
            Ok(Ok(Packet::Hello(receiver))) => {
                line.put_back(meanwhile);
                return match receiver.unusable() {
                    None => Ok((line, receiver)),
                    Some(what) => Err(NoReceiver::Unusable(what)),
                };
            }
            Ok(Ok(Packet::FutureVersion(version))) => {
                return Err(NoReceiver::FutureVersion(version));
            }
            Ok(Ok(other)) => meanwhile.push_back(other),
            Err(_) => {}
            Ok(Err(e)) => return Err(gone(e)),
        }
    }
}
