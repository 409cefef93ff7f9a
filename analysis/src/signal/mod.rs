//! From receiver samples to transmitters.
//!
//! ```text
//! samples ─ blanker ─ frontend ─▶ working rate ─ bank ─ separate ─▶ pulses ─ tracker ─▶ trains ─▶ measurement
//!          impulses   mix, filter   ≈ 2 kS/s      find   fit, subtract        assign     running sums
//! ```
//!
//! * [`Analyser`] drives the chain. It takes samples in pieces of any size and
//!   gives the same result for the same samples however they are cut; its
//!   memory does not grow with the length of the capture.
//! * [`bank`] finds carrier bursts: a matched-filter bank over frequency,
//!   start and length, summed over the axes in units of the measured noise.
//! * [`fit`] measures one burst: carrier, amplitude vector, edges at half amplitude.
//! * [`separate`] takes overlapping bursts apart, strongest first; [`edges`]
//!   places their edges at a finer rate.
//! * [`tracker`] orders pulses into trains, [`train`] holds the sums from
//!   which each reported value and its uncertainty follow.
//!
//! Samples are complex baseband; a carrier of RMS amplitude *A* counts has
//! magnitude *A*, and noise of density *n* (RMS counts per √Hz) has
//! E|z|² = n² · sample rate. The energy-to-noise ratio of a pulse,
//! ρ = A² T / n² summed over the axes, is the only thing its bounds depend on.

mod analyser;
pub mod bank;
mod blanker;
mod edges;
mod fit;
mod format;
mod frontend;
mod line;
mod measurement;
mod noise;
mod pulse;
mod report;
mod separate;
mod template;
mod tracker;
mod train;

pub use analyser::{Analyser, Event};
pub use format::{Calibration, FormatError, StreamFormat};
pub use measurement::{Measurement, PulseCount, Transmitter};
pub use pulse::Pulse;

/// The transmit frequency on which all units are meant to be, Hz (EN 300 718-1).
pub const CARRIER_HZ: f64 = 457_000.0;
