//! A unit under test: its place, its carrier, its keying.

use serde::Deserialize;

use super::error::{in_range, vector_within};
use super::{Edge, ScenarioError};

/// Draws from a normal distribution are cut at this many standard deviations,
/// so that jitter can never make a pulse run into the next.
pub(super) const JITTER_LIMIT: f64 = 4.0;

/// A transceiver or practice transmitter that sends.
///
/// The carrier at true time t after the first sample is
/// 457 kHz + `carrier_offset_hz` + `carrier_drift_hz_per_s` · t, plus the chirp
/// `key_on_chirp_hz` · e^(−s / `key_on_chirp_decay_s`) at s seconds after each
/// keying-on.
///
/// Pulses: each interval between pulse starts is `period_s` plus a normal draw
/// of standard deviation `jitter_s`, independent of the others, so that start
/// times walk at random; each on time is `on_time_s` plus such a draw of
/// `on_time_jitter_s`. Draws are cut at ±4 standard deviations. Starts and ends
/// are where the amplitude passes half of that while keyed on.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unit {
    /// Name.
    pub name: String,
    /// Where it lies.
    pub position_m: [f64; 3],
    /// RMS dipole moment while keyed on, along x, y, z.
    pub moment_a_m2: [f64; 3],
    /// Carrier at the first sample, from 457 kHz.
    #[serde(default)]
    pub carrier_offset_hz: f64,
    /// Rate of change of the carrier.
    #[serde(default)]
    pub carrier_drift_hz_per_s: f64,
    /// From pulse start to pulse start, the mean.
    #[serde(default = "default_period_s")]
    pub period_s: f64,
    /// Between half-amplitude points, the mean.
    #[serde(default = "default_on_time_s")]
    pub on_time_s: f64,
    /// Edges of the pulses.
    #[serde(default)]
    pub edge: Edge,
    /// Start of the first pulse; may lie before the first sample.
    #[serde(default = "default_first_pulse_s")]
    pub first_pulse_s: f64,
    /// Standard deviation of each interval between pulse starts.
    #[serde(default)]
    pub jitter_s: f64,
    /// Standard deviation of each on time.
    #[serde(default)]
    pub on_time_jitter_s: f64,
    /// Amplitude between pulses over amplitude while keyed on, below 0.5.
    #[serde(default)]
    pub residual_carrier_ratio: f64,
    /// What the carrier's phase does from pulse to pulse.
    #[serde(default)]
    pub phase: Phase,
    /// How far off the carrier is when just keyed on.
    #[serde(default)]
    pub key_on_chirp_hz: f64,
    /// Time constant of that.
    #[serde(default = "default_chirp_decay_s")]
    pub key_on_chirp_decay_s: f64,
    /// When it is switched on; always on before when absent. A pulse that would
    /// be running at that moment is left out.
    #[serde(default)]
    pub start_s: Option<f64>,
    /// When it is switched off, in mid-pulse if so be; never when absent.
    #[serde(default)]
    pub stop_s: Option<f64>,
}

/// What the carrier's phase does from pulse to pulse.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Phase {
    /// The oscillator runs on: phase is continuous over all pulses.
    #[default]
    Continuous,
    /// The oscillator starts anew: each pulse has a phase of its own.
    Random,
}

fn default_period_s() -> f64 {
    1.0
}

fn default_on_time_s() -> f64 {
    0.1
}

fn default_first_pulse_s() -> f64 {
    0.25
}

fn default_chirp_decay_s() -> f64 {
    2e-3
}

impl Unit {
    pub(super) fn validate(&self) -> Result<(), ScenarioError> {
        if self.name.is_empty() {
            return Err(ScenarioError::new("name", "is empty", "give the unit a name"));
        }
        vector_within("position_m", self.position_m, 1e4)?;
        vector_within("moment_a_m2", self.moment_a_m2, 1e3)?;
        in_range("carrier_offset_hz", self.carrier_offset_hz, -3000.0..=3000.0)?;
        in_range("carrier_drift_hz_per_s", self.carrier_drift_hz_per_s, -100.0..=100.0)?;
        in_range("period_s", self.period_s, 0.01..=60.0)?;
        in_range("on_time_s", self.on_time_s, 1e-3..=60.0)?;
        in_range("edge.rise_s", self.edge.rise_s, 0.0..=0.1)?;
        in_range("edge.fall_s", self.edge.fall_s, 0.0..=0.1)?;
        in_range("first_pulse_s", self.first_pulse_s, -self.period_s..=1e6)?;
        in_range("jitter_s", self.jitter_s, 0.0..=10.0)?;
        in_range("on_time_jitter_s", self.on_time_jitter_s, 0.0..=10.0)?;
        in_range("residual_carrier_ratio", self.residual_carrier_ratio, 0.0..=0.49)?;
        in_range("key_on_chirp_hz", self.key_on_chirp_hz, -1000.0..=1000.0)?;
        in_range("key_on_chirp_decay_s", self.key_on_chirp_decay_s, 1e-4..=1.0)?;
        in_range("start_s", self.start_s.unwrap_or(0.0), -1e6..=1e6)?;
        in_range("stop_s", self.stop_s.unwrap_or(0.0), -1e6..=1e6)?;
        if let (Some(start_s), Some(stop_s)) = (self.start_s, self.stop_s)
            && stop_s <= start_s
        {
            return Err(ScenarioError::new(
                "stop_s",
                format!("is not after start_s ({stop_s} after {start_s})"),
                "let the unit stop after it starts, or leave one of them out",
            ));
        }
        self.pulses_keep_clear()
    }

    /// Edges must settle within the pulse, and the pulse end before the next.
    fn pulses_keep_clear(&self) -> Result<(), ScenarioError> {
        let shortest_s = self.on_time_s - JITTER_LIMIT * self.on_time_jitter_s;
        let longest_s = self.on_time_s + JITTER_LIMIT * self.on_time_jitter_s;
        let (rise_s, fall_s) = (self.edge.rise_length_s(), self.edge.fall_length_s());
        if rise_s + fall_s > shortest_s {
            let longer = if rise_s > fall_s { "edge.rise_s" } else { "edge.fall_s" };
            return Err(ScenarioError::new(
                longer,
                format!(
                    "does not let the pulse settle within the shortest on time, {shortest_s} s"
                ),
                "shorten the edges (an exponential takes 14 time constants) or lengthen on_time_s",
            ));
        }
        if longest_s + rise_s + fall_s > self.period_s {
            return Err(ScenarioError::new(
                "on_time_s",
                format!("with its edges and jitter does not fit into period_s ({})", self.period_s),
                "shorten on_time_s or lengthen period_s",
            ));
        }
        if longest_s + rise_s + fall_s + JITTER_LIMIT * self.jitter_s > self.period_s {
            return Err(ScenarioError::new(
                "jitter_s",
                format!("of {} lets pulses run into each other", self.jitter_s),
                "keep four times jitter_s below the off time",
            ));
        }
        Ok(())
    }

    /// The dipole stands for a coil only beyond some multiple of its size.
    pub(super) fn clear_of(&self, receiver_m: [f64; 3]) -> Result<(), ScenarioError> {
        let squares = self.position_m.iter().zip(receiver_m).map(|(a, b)| (a - b).powi(2));
        let distance_m = squares.sum::<f64>().sqrt();
        if distance_m >= 0.1 {
            return Ok(());
        }
        Err(ScenarioError::new(
            "position_m",
            format!("is {distance_m} m from the receiver"),
            "keep the unit and the receiver at least 0.1 m apart",
        ))
    }
}
