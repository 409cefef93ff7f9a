//! What goes wrong between receiver and host.

use serde::Deserialize;

use super::ScenarioError;
use super::error::in_range;

/// Faults of the cable and its ends. None by default. Packets of samples and
/// status can be lost and damaged, hello and answers cannot.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Faults {
    /// Probability that a packet is lost.
    pub lost_packets: f64,
    /// Probability that a packet is cut short.
    pub cut_packets: f64,
    /// Probability that one bit of a packet is flipped.
    pub corrupt_packets: f64,
    /// When the port vanishes, and for how long.
    pub vanish: Vec<Spell>,
    /// When the receiver stops sending, and for how long; it drops the samples.
    pub stall: Vec<Spell>,
}

/// A time and a length of time.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spell {
    /// Start, after the first sample.
    pub at_s: f64,
    /// Length.
    pub for_s: f64,
}

impl Spell {
    /// Whether it lasts at `time_s`.
    pub fn covers(&self, time_s: f64) -> bool {
        (self.at_s..self.at_s + self.for_s).contains(&time_s)
    }
}

impl Faults {
    pub(super) fn validate(&self) -> Result<(), ScenarioError> {
        in_range("lost_packets", self.lost_packets, 0.0..=1.0)?;
        in_range("cut_packets", self.cut_packets, 0.0..=1.0)?;
        in_range("corrupt_packets", self.corrupt_packets, 0.0..=1.0)?;
        for (name, spells) in [("vanish", &self.vanish), ("stall", &self.stall)] {
            for (i, spell) in spells.iter().enumerate() {
                in_range(&format!("{name}[{i}].at_s"), spell.at_s, 0.0..=1e6)?;
                in_range(&format!("{name}[{i}].for_s"), spell.for_s, 0.0..=3600.0)?;
            }
        }
        Ok(())
    }
}
