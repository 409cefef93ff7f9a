//! From receiver samples to transmitters.
//!
//! ```text
//! samples ─ conditioner ─▶ fine ─ frontend ─▶ working ─ stretch ─ separate ─▶ pulses ─ tracker ─▶ trains
//!           mix, blank,    ≥ 8 kS/s filter    ≈ 1 kS/s  watch     expect, find,        assign     running
//!           filter                                                fit, subtract                   sums
//! ```
//!
//! * [`Analyser`] is the chain. It takes samples in pieces of any size and
//!   gives the same result for the same samples however they are cut; its
//!   memory does not grow with the length of the capture. It comes apart into
//!   [`Conditioner`] and [`Analysis`], which may run on a core each.
//! * `conditioner` has the `blanker` against impulses, it and `frontend` a `decimator`.
//! * `stretch` moves along the samples with short-time `spectra`, `steady`
//!   carriers taken out, and opens a region where something is or is expected.
//! * `separate` takes a region apart: what trains expect first, then what
//!   [`bank`] finds, a matched-filter bank over frequency, start and length, summed
//!   over the axes in units of the measured `noise`; `fit` begins with one
//!   burst, `joint` fits all that overlap, `edges` places their edges at a finer rate.
//! * `faint` folds half a minute over all periods for trains whose single pulses
//!   noise hides, `stack` makes sure of them, `together` measures weak pulses as one,
//!   `faint_trains` keeps both kinds of weak trains.
//! * `tracker` orders pulses into trains, `train` holds the sums from which each
//!   reported value and its uncertainty follow (`pooled` means), `phases` tests whether
//!   the carrier's phase runs on from pulse to pulse and measures it by that, `identity`
//!   joins the trains of one unit.
//! * [`Unclaimed`] keeps pulses for those who follow the events until a train has them.
//! * `envelope` shows the mean shape of a unit's pulses, in a second pass over the samples.
//!
//! Samples are complex baseband; a carrier of RMS amplitude *A* counts has
//! magnitude *A*, and noise of density *n* (RMS counts per √Hz) has
//! E|z|² = n² · sample rate. The energy-to-noise ratio of a pulse,
//! ρ = A² T / n² summed over the axes, is the only thing its bounds depend on.

mod analyser;
mod analysis;
pub mod bank;
mod blanker;
mod burst;
mod conditioner;
mod decimator;
mod edges;
mod envelope;
mod faint;
mod faint_trains;
mod fit;
mod format;
mod frontend;
mod identity;
mod joint;
mod measurement;
mod noise;
mod phases;
mod pooled;
mod pulse;
mod report;
mod residual;
mod separate;
mod shape;
mod spectra;
mod stack;
mod steady;
mod stretch;
mod template;
#[cfg(test)]
mod testing;
mod together;
mod tracker;
mod train;
mod unclaimed;
mod woven;

pub use analyser::Analyser;
pub use analysis::{Analysis, Event};
pub use conditioner::Conditioner;
pub use envelope::{Envelope, EnvelopeCollector};
pub use format::{Calibration, FormatError, StreamFormat};
pub use measurement::{Measurement, PulseCount, TOO_WEAK, Transmitter};
pub use pulse::Pulse;
pub use steady::SteadyCarrier;
pub use stretch::FALSE_PULSE;
pub use unclaimed::Unclaimed;

pub use crate::field::constants::NOMINAL_CARRIER_HZ as CARRIER_HZ;
