//! An emulated receiver on a pseudo-terminal.
//!
//! ```text
//! scenario ─▶ coil voltages ─▶ receiver core ─▶ packets ─▶ faults ─▶ pseudo-terminal
//!             (analysis)       (coilrig-receiver)          (engine)   (cable)
//! ```
//!
//! The far end of the pseudo-terminal is a serial port like that of a real
//! receiver: it runs the receiver's own firmware core, answers the same
//! commands and can go wrong in the same ways. Its path is a symbolic link that
//! stays the same when the port vanishes and comes back.
//!
//! Time of the scenario: at real-time pace it runs from the start of the
//! emulator on, whether or not anybody listens. At full pace it advances while
//! the receiver streams and stands still otherwise, so that what a host records
//! follows from the scenario and the host's commands alone.

mod cable;
mod engine;
mod event;
mod handle;
mod instruction;
mod knowledge;
mod rig;
mod scenario_file;

pub use engine::Pace;
pub use event::{Event, Happening, Watcher};
pub use handle::{EmulatorHandle, Options, spawn};
pub use instruction::{INSTRUCTIONS, instruction};
pub use knowledge::calibration;
pub use scenario_file::load;
