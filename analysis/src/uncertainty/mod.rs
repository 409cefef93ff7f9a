//! Uncertainty after the GUM (JCGM 100:2008): from what goes into a formula to
//! what comes out of it.
//!
//! An [`Input`] is a quantity with its standard uncertainty, degrees of freedom,
//! and how it was evaluated; [`Inputs`] are those of one formula, with the
//! correlations between them. [`propagate()`] puts them through the formula itself
//! and gives a [`Budget`]: value, combined standard uncertainty, effective degrees
//! of freedom, and what each input contributes. [`coverage`] turns that into an
//! expanded uncertainty.
//!
//! ```
//! use coilrig_analysis::uncertainty::{Input, Inputs, propagate};
//!
//! // Field of a loop of one turn on its axis, well beyond its radius: I a² / (2 r³).
//! let mut inputs = Inputs::new();
//! let current = inputs.add(Input::repeated("current", "A", &[0.1003, 0.0998, 0.1001])?);
//! let radius = inputs.add(Input::rectangular("radius", "m", 0.2, 0.001)?);
//! let distance = inputs.add(Input::normal("distance", "m", 3.0, 0.01)?);
//! let budget = propagate(&inputs, |x| {
//!     x[current] * x[radius].powi(2) / (2.0 * x[distance].powi(3))
//! })?;
//! // 0.15 % of current, twice 0.29 % of radius, three times 0.33 % of distance.
//! assert!((budget.u / budget.value - 0.0117).abs() < 0.0002);
//! assert_eq!(budget.largest().map(|c| c.name.as_str()), Some("distance"));
//! # Ok::<(), coilrig_analysis::uncertainty::UncertaintyError>(())
//! ```

mod budget;
pub mod coverage;
mod error;
mod input;
mod inputs;
pub mod of_fit;
mod propagate;

pub use budget::{Budget, Contribution, Expanded};
pub use error::UncertaintyError;
pub use input::{Distribution, Evaluation, Input};
pub use inputs::Inputs;
pub use propagate::{Propagated, propagate, propagate_all};
