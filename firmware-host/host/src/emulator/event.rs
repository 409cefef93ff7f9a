//! What an emulated receiver does, for whoever watches.

use std::fmt;

/// Called with everything that happens, from the emulator's thread.
pub type Watcher = Box<dyn FnMut(Event) + Send>;

/// Something that happened to the emulated receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, in the scenario's time.
    pub time_s: f64,
    /// What.
    pub happening: Happening,
}

/// What can happen to an emulated receiver.
#[derive(Clone, Debug, PartialEq)]
pub enum Happening {
    /// A host asked who the receiver is.
    Identified,
    /// A host started streaming.
    Started,
    /// A host stopped streaming.
    Stopped,
    /// A host set this gain step.
    GainSet(u8),
    /// The receiver refused a command.
    Refused,
    /// Bytes came in that were no command.
    NotUnderstood,
    /// The port vanished.
    Vanished,
    /// The port is back, the receiver as just switched on.
    Back,
    /// The receiver stalls: it sends nothing and drops its samples.
    Stalled,
    /// Nobody reads as fast as the receiver sends: it drops samples.
    Overrun,
    /// The receiver sends again after a stall or an overrun.
    Recovered,
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:10.3} s  {}", self.time_s, self.happening)
    }
}

impl fmt::Display for Happening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Identified => f.write_str("said hello"),
            Self::Started => f.write_str("streaming"),
            Self::Stopped => f.write_str("stopped"),
            Self::GainSet(step) => write!(f, "gain step {step}"),
            Self::Refused => f.write_str("refused a command"),
            Self::NotUnderstood => f.write_str("received bytes that are no command"),
            Self::Vanished => f.write_str("port vanished"),
            Self::Back => f.write_str("port is back"),
            Self::Stalled => f.write_str("stalled, dropping samples"),
            Self::Overrun => f.write_str("nobody reads fast enough, dropping samples"),
            Self::Recovered => f.write_str("sending again"),
        }
    }
}
