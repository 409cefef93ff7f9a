//! What a link tells.

use jiff::Timestamp;
use num_complex::Complex;
use serde::Serialize;

/// Something that happened on the link, in the order of the samples.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Samples that follow the ones before, or the gap before.
    Samples(Samples),
    /// Samples are missing.
    Gap(Gap),
    /// The receiver tells how it fares.
    Status(Status),
    /// No samples for a while; the receiver was told to start once more.
    Stalled,
    /// The port is gone, for the reason given; the link waits for it.
    Lost(String),
    /// The port is back, the same receiver answers, and it streams again.
    Back,
}

/// A stretch of samples from one packet.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    /// Samples per axis since the first of the stream, missing ones counted.
    pub first_index: u64,
    /// Gain step in force for the whole stretch.
    pub gain_step: u8,
    /// Whether anything clipped in the stretch.
    pub overload: bool,
    /// Counts, interleaved by axis: x, y, z, x, …
    pub samples: Vec<Complex<i16>>,
    /// When the stretch arrived.
    pub received_at: Timestamp,
}

/// Samples that were not received.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// Index of the first missing sample, counted as [`Samples::first_index`].
    pub from_index: u64,
    /// How many are missing; exact unless the receiver restarted.
    pub missing: u64,
    /// Where they were lost.
    pub cause: Cause,
}

/// Where samples were lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// Between the receiver and here: the packets were sent.
    Cable,
    /// In the receiver, which could not keep up.
    Receiver,
    /// The receiver restarted and counts from zero again. The gap is what the
    /// time between the last samples before and the first ones after amounts
    /// to at the nominal rate: right to some hundredths of a second.
    Restart,
}

/// How the receiver fares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Status {
    /// Temperature of the receiver, °C; not a number when it has no thermometer.
    pub temperature_c: f32,
    /// Supply voltage, V; not a number when it is not measured.
    pub supply_v: f32,
    /// Samples that the receiver itself lost since start.
    pub dropped_samples: u64,
}

impl Health {
    /// What it went through since `before`.
    pub fn since(&self, before: &Self) -> Self {
        Self {
            packets: self.packets - before.packets,
            corrupt_frames: self.corrupt_frames - before.corrupt_frames,
            gaps: self.gaps - before.gaps,
            samples_lost: self.samples_lost - before.samples_lost,
            overloads: self.overloads - before.overloads,
            stalls: self.stalls - before.stalls,
            reconnects: self.reconnects - before.reconnects,
        }
    }
}

/// What a link went through since it was opened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Health {
    /// Sound packets.
    pub packets: u64,
    /// Stretches between delimiters that were no packet.
    pub corrupt_frames: u64,
    /// Gaps between samples.
    pub gaps: u64,
    /// Samples per axis missing in those gaps.
    pub samples_lost: u64,
    /// Samples packets with the overload flag.
    pub overloads: u64,
    /// Times without samples for a while.
    pub stalls: u64,
    /// Times the port was lost and came back.
    pub reconnects: u64,
}
