//! What the rig hears now, for people who watch.
//!
//! ```text
//! samples ─┬─ analyser ─▶ pulses, trains ─▶ recent ─┐
//!          ├─ waterfall ─▶ rows                     ├─▶ state, once a second
//!          └─ peak meter ─▶ level ──────────────────┘
//! ```
//!
//! [`Monitor`] takes samples as they come and tells [`Row`]s and [`PulseHeard`]s at
//! once, the rest when it is asked for its [`State`]. It runs the same analysis that
//! measures captures, so what is shown is what `measure` would say of the same samples;
//! `recent` adds what the place of the coil decides: field and direction of the last
//! few pulses only. Its memory does not grow with time.

mod monitor;
mod recent;
mod state;
mod waterfall;

pub use monitor::{Monitor, PulseHeard, Update};
pub use recent::Now;
pub use state::{KeptLimit, State, UnitHeard};
pub use waterfall::{Band, Row};
