//! Field over distance: a dipole fit to readings, and what follows from it.
//!
//! Readings of field at known distances, coaxial or coplanar, give the moment
//! of the transmitter ([`fit`]), the power law they follow without any theory
//! ([`slope`]), and how far the transmitter is heard ([`reach`]).
//!
//! ```
//! use coilrig_analysis::field::dipole;
//! use coilrig_analysis::range::{Alignment, FieldReading, Options, OffsetChoice, analyse};
//!
//! let readings: Vec<_> = [3.0, 5.0, 8.0, 12.0]
//!     .map(|distance_m| {
//!         let field_a_per_m = dipole::coaxial(6.3e-3, distance_m, 457e3);
//!         let u_field_a_per_m = 0.03 * field_a_per_m;
//!         let alignment = Alignment::Coaxial;
//!         FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
//!     })
//!     .into();
//! let analysis = analyse(&readings, &Options { offset: OffsetChoice::No, ..Options::default() })?;
//! assert!((analysis.moment_a_m2.value - 6.3e-3).abs() < 1e-9);
//! assert!((analysis.ranges[0].range_m.value - 23.4).abs() < 0.1);
//! # Ok::<(), coilrig_analysis::range::RangeError>(())
//! ```

pub mod analysis;
mod budgets;
pub mod fit;
pub mod fitted;
pub mod ground_analysis;
pub mod hearing;
pub mod least_squares;
pub mod noise;
pub mod outliers;
pub mod over_ground;
pub mod reach;
pub mod readings;
pub mod rose;
pub mod slope;
mod strip;
pub mod theory;

pub use analysis::{Options, RangeAnalysis, analyse, common_u_rel};
pub use budgets::budgets;
pub use fit::{DipoleFit, OffsetChoice, fit_theory};
pub use fitted::Fitted;
pub use ground_analysis::{GroundAnalysis, analyse_over_ground};
pub use hearing::{Hearing, hearing};
pub use outliers::Outlier;
pub use over_ground::{Coplanar, Heights, OverGround, Soil};
pub use reach::Reach;
pub use readings::{Alignment, FieldReading, RangeError};
pub use theory::Theory;
