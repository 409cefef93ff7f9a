//! What a coilrig receiver does between its ADC and the cable.
//!
//! ```text
//! ADC, 192 kS/s ─▶ × e^(−jωt) ─▶ low-pass ─▶ ÷ 24 ─▶ i16, 8 kS/s ─▶ packets of 20 ms
//!  1 or 3 axes     oscillator     ╰──── filter ────╯    rounding      receiver
//! ```
//!
//! The arithmetic is integer, nothing is allocated and no standard library is
//! needed: the same code runs on the receiver's microcontroller and in the
//! host's emulator.
//!
//! * **Tuning.** 457 kHz is sampled at 192 kS/s and folds to 457 − 2 · 192 =
//!   73 kHz, in an odd Nyquist zone (4 · 96 kHz to 5 · 96 kHz), so the spectrum
//!   is not inverted: a carrier at 457.1 kHz shows at +100 Hz.
//! * **Scale.** An ADC sine of peak amplitude P counts at [`TUNED_HZ`] gives a
//!   complex magnitude of P · [`GAIN`] counts, and [`GAIN`] is 1.
//! * **Pass band.** ± 1 kHz, flat within 0.0004 dB.
//! * **Stop band.** From 7 kHz off tune on, which is all that folds into
//!   ± 1 kHz, at least 92 dB down.
//! * **Delay.** [`GROUP_DELAY_S`], the same at every frequency.

#![no_std]

mod design;
mod filter;
mod identity;
mod oscillator;
mod receiver;

pub use filter::{DECIMATION, GROUP_DELAY_FRAMES, SETTLING_SAMPLES};
pub use identity::{Axes, FIRMWARE, Identity, IdentityError, MAX_SERIAL_NUMBER_BYTES};
pub use receiver::{PACKET_SAMPLES, Receiver, Reply};

/// ADC frames per second.
pub const ADC_RATE_HZ: u32 = 192_000;
/// Complex samples per second and axis.
pub const SAMPLE_RATE_HZ: u32 = ADC_RATE_HZ / DECIMATION as u32;
/// Radio frequency at 0 Hz of the baseband. The oscillator's step is rounded to
/// 2⁻³² turns; the frequency it stands for is 15 µHz lower.
pub const TUNED_HZ: u32 = 457_000;
/// Complex magnitude in counts per ADC count of a carrier's peak amplitude.
/// Within 10⁻⁴ of it over ± 1 kHz; the sample itself is rounded to a count.
pub const GAIN: f64 = 1.0;
/// A sample describes the antenna signal this long before the last ADC frame
/// that went into it. Sample n after the start ends with frame 24 n + 23.
pub const GROUP_DELAY_S: f64 = GROUP_DELAY_FRAMES / ADC_RATE_HZ as f64;
