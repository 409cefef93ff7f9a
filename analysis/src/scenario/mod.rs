//! An invented receiver, the units it hears, and what its coils then see.
//!
//! A [`Scenario`] states everything: where the receiver stands, what noise and
//! clock it has, which units send how, what disturbs them, what goes wrong on
//! the cable. From it come, each reproducible from the seed alone:
//!
//! * [`truth`]: what a faultless measurement would find;
//! * [`AdcFrames`]: the ADC samples of the receiver's coils, to be fed through
//!   the receiver's own signal chain;
//! * [`Baseband`]: the complex baseband at any rate without that chain.
//!
//! Places and fields are in station coordinates: metres, z up. Fields are RMS.
//! Time is true time in seconds from the first sample, not the receiver's.

mod adc;
mod baseband;
mod clock;
mod edge;
mod error;
mod faults;
mod impulses;
mod interference;
mod keying;
mod model;
mod orientation;
mod oscillator;
mod packet_faults;
mod per_axis;
mod receiver;
mod scene;
mod truth;
mod unit;

pub use adc::{AdcChain, AdcFrames};
pub use baseband::Baseband;
pub use edge::{Edge, Shape};
pub use error::ScenarioError;
pub use faults::{Faults, Spell};
pub use interference::{CarrierInterference, ImpulseInterference, Interference};
pub use model::Scenario;
pub use orientation::{Angles, Orientation};
pub use packet_faults::PacketFaults;
pub use per_axis::PerAxis;
pub use receiver::ReceiverModel;
pub use scene::Change;
pub use truth::{UnitTruth, truth};
pub use unit::{Phase, Unit};
