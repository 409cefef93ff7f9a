//! Coupling over angle: a unit or a coil is turned in place, in steps.
//!
//! What is turned about an axis shows itself to a fixed coil as
//! c(θ) = S · (cos(θ − θ0) + β): β is what the turning does not change, because
//! moment or coil is not square to the axis. So with one axis |c| follows |cos|,
//! its nulls filled by whatever is in quadrature: √((cos + β)² + q²). The magnitude
//! over three axes of a unit turned in place is that of a dipole,
//! √(1 + 3 cos²ψ), which is the same law with q² = 1/3. [`law`] fits both.
//!
//! No phase links one step to the next, so signs are unknown throughout: θ0 is
//! known up to half a turn, and [`moment`] finds the unit's moment in its own case
//! up to its sign from vectors whose signs are free from step to step.
//!
//! Angles are in degrees, as people set them, counter-clockwise seen from the tip
//! of the axis of turning.

pub mod analysis;
mod budgets;
pub mod departure;
pub mod law;
pub mod moment;
pub mod readings;

pub use analysis::{AngleAnalysis, Coupling, Options, Turned, analyse};
pub use budgets::budgets;
pub use departure::Harmonic;
pub use law::{Law, LawFit, fit};
pub use moment::CaseMoment;
pub use readings::{AngleError, AngleReading, check};
