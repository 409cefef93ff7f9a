//! How pulse trains cover each other.
//!
//! Two trains of different period slide along each other: the start of one moves
//! through the grid of the other by the same step with every pulse. What a searcher
//! meets follows from that step alone ([`Pair`]): how often pulses meet, how long
//! they go on meeting once they do, how long until they do again. [`Group`] is the
//! same for all units of a station, [`exchange`] looks for units that had better
//! change places.
//!
//! When a unit was switched on nobody knows, so shares are means over all phases, which
//! are also those over a long time unless one period is a simple multiple of the other;
//! stretches are the longest that any phase brings.

pub mod exchange;
mod group;
mod pair;
#[cfg(test)]
mod simulation;

pub use group::Group;
pub use pair::Pair;

/// When a unit sends. Both are more than zero and finite, and the unit is off between
/// its pulses: [`Timing::check`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// From rising edge to rising edge, s.
    pub period_s: f64,
    /// From rising to falling edge, s.
    pub on_time_s: f64,
}

impl Timing {
    /// Why this is no timing of a unit, if it is none.
    ///
    /// # Errors
    ///
    /// A sentence about the number that is wrong.
    pub fn check(&self) -> Result<(), String> {
        let Self { period_s, on_time_s } = *self;
        for (name, value) in [("period", period_s), ("on time", on_time_s)] {
            if !(value > 0.0 && value.is_finite()) {
                return Err(format!("a {name} of {value} s is not a time over zero"));
            }
        }
        if on_time_s >= period_s {
            return Err(format!(
                "an on time of {on_time_s} s leaves no pause in a period of {period_s} s"
            ));
        }
        Ok(())
    }

    /// Share of the time that it sends.
    pub fn duty(&self) -> f64 {
        self.on_time_s / self.period_s
    }
}
