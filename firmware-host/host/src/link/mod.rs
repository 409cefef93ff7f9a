//! The serial link to a receiver.
//!
//! ```text
//! port ─▶ line ────▶ identify ─▶ stream, which counts ─▶ events
//! opens   packets    hello       and keeps it going      samples, gaps, lost, back, …
//! ```
//!
//! Everything waits on the port or on a timer, nothing polls. A single-threaded
//! tokio runtime with I/O and time is enough.

mod count;
mod event;
mod identify;
mod line;
pub mod port;
mod stream;

pub use event::{Cause, Event, Gap, Health, Samples, Status};
pub use identify::{NoReceiver, Receiver, identify};
pub use stream::Link;
