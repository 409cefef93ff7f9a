//! Who a receiver is: what its maker sets, and hello tells.

use core::fmt;

use coilrig_wire::{FORMAT_VERSION, GainSteps, Hello, MAX_GAIN_STEPS};
use heapless::String;

use crate::{GAIN, GROUP_DELAY_S, SAMPLE_RATE_HZ, TUNED_HZ};

/// Firmware name of this crate in hello.
pub const FIRMWARE: &str = "coilrig-receiver";
/// Longest serial number.
pub const MAX_SERIAL_NUMBER_BYTES: usize = 32;

/// How many coils a receiver has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axes {
    /// One coil.
    One,
    /// Coils along x, y and z.
    Three,
}

impl Axes {
    /// 1 or 3.
    pub const fn count(self) -> usize {
        match self {
            Self::One => 1,
            Self::Three => 3,
        }
    }
}

/// Who a receiver is.
#[derive(Clone, Debug)]
pub struct Identity {
    serial_number: String<MAX_SERIAL_NUMBER_BYTES>,
    axes: Axes,
    gain_steps_db: GainSteps,
    clip_counts: u16,
}

impl Identity {
    /// A receiver of this serial number, with one gain in dB for every step of
    /// its amplifier. The ADC clips at the ends of i16.
    pub fn new(
        serial_number: &str,
        axes: Axes,
        gain_steps_db: &[f32],
    ) -> Result<Self, IdentityError> {
        let serial_number =
            String::try_from(serial_number).map_err(|_| IdentityError::SerialNumber)?;
        let gain_steps_db =
            GainSteps::from_slice(gain_steps_db).map_err(|_| IdentityError::GainSteps)?;
        if gain_steps_db.is_empty() {
            return Err(IdentityError::GainSteps);
        }
        Ok(Self { serial_number, axes, gain_steps_db, clip_counts: i16::MAX as u16 })
    }

    /// The same receiver with an ADC that clips at ± `clip_counts`.
    pub fn with_clip_counts(self, clip_counts: u16) -> Self {
        Self { clip_counts, ..self }
    }

    /// Coils.
    pub fn axes(&self) -> Axes {
        self.axes
    }

    /// Smallest ADC magnitude that counts as clipped.
    pub(crate) fn clip_counts(&self) -> u16 {
        self.clip_counts
    }

    /// Number of gain steps.
    pub(crate) fn gain_steps(&self) -> usize {
        self.gain_steps_db.len()
    }

    pub(crate) fn hello(&self) -> Hello<'_> {
        Hello {
            format_version: FORMAT_VERSION,
            firmware: FIRMWARE,
            firmware_version: env!("CARGO_PKG_VERSION"),
            serial_number: &self.serial_number,
            sample_rate_hz: SAMPLE_RATE_HZ,
            axes: self.axes.count() as u8,
            tuned_hz: TUNED_HZ,
            sample_bits: 16,
            full_scale_counts: (f64::from(self.clip_counts) * GAIN) as u16,
            group_delay_ns: (GROUP_DELAY_S * 1e9 + 0.5) as u32,
            gain_steps_db: self.gain_steps_db.clone(),
        }
    }
}

/// What cannot be told in a hello.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IdentityError {
    /// Longer than [`MAX_SERIAL_NUMBER_BYTES`].
    SerialNumber,
    /// None, or more than [`MAX_GAIN_STEPS`].
    GainSteps,
}

impl fmt::Display for IdentityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SerialNumber => {
                write!(f, "serial number longer than {MAX_SERIAL_NUMBER_BYTES} bytes")
            }
            Self::GainSteps => write!(f, "a receiver has 1 to {MAX_GAIN_STEPS} gain steps"),
        }
    }
}

impl core::error::Error for IdentityError {}
