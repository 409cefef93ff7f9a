//! Results against outside references: Python packages on the same files, and
//! published numbers with their source.

mod angle;
mod calibration;
mod distributions;
mod export;
mod fields;
mod ground;
mod history;
mod location;
mod paths;
mod places;
mod range;
mod recordings;
mod signal;
mod theory;

/// Repeatability of one estimate beside another of the same samples: both follow
/// the same noise, so they differ by less than both uncertainties together. Four
/// of them leave room for what is left of either method's own error.
const COVERAGE: f64 = 4.0;

/// Check that two readings, (value, standard uncertainty) each, agree.
#[track_caller]
fn agree(what: &str, ours: (f64, f64), theirs: (f64, f64)) {
    let (off, u) = ((ours.0 - theirs.0).abs(), ours.1.hypot(theirs.1));
    assert!(off <= COVERAGE * u, "{what}: {ours:?} here, {theirs:?} there, {:.1} u apart", off / u);
}
