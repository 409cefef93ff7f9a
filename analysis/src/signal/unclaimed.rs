//! Pulses kept until a train claims them, for those who follow an analysis by its events.

use std::collections::VecDeque;

use super::analysis::Event;
use super::pulse::Pulse;

/// How many are kept.
const MOST: usize = 512;

/// Pulses that no train has claimed yet, the newest of them.
#[derive(Clone, Debug, Default)]
pub struct Unclaimed(VecDeque<Pulse>);

impl Unclaimed {
    /// Take in an event; the pulse that it gives to a train, and the train's number.
    pub fn take(&mut self, event: &Event) -> Option<(usize, Pulse)> {
        match event {
            Event::Pulse(pulse) => {
                if self.0.len() == MOST {
                    self.0.pop_front();
                }
                self.0.push_back(pulse.clone());
                None
            }
            Event::Assigned { pulse, train } => {
                let place = self.0.iter().position(|p| p.id == *pulse)?;
                self.0.remove(place).map(|pulse| (*train, pulse))
            }
        }
    }
}
