//! What the tests of several modules need.

use num_complex::Complex32;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

use super::frontend::Frame;
use super::template::StepTemplate;

/// Noise of unit power on all three axes.
pub(super) fn noise(length: usize, seed: u64) -> Vec<Frame> {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut part = || -> f32 { StandardNormal.sample(&mut rng) };
    let half = std::f32::consts::FRAC_1_SQRT_2;
    (0..length).map(|_| std::array::from_fn(|_| Complex32::new(part(), part()) * half)).collect()
}

/// Edges as a smooth filter leaves them.
pub(super) fn template() -> StepTemplate {
    let taps: Vec<f32> = (-24..=24)
        .map(|n| (0.5 + 0.5 * (f64::from(n) / 25.0 * std::f64::consts::PI).cos()) as f32)
        .collect();
    StepTemplate::new(&taps, 8)
}
