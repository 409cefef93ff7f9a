//! Pulses of two or three units taken for one train.
//!
//! Units of one make may have the same period to a part in a million. Where two of them
//! stand half a period apart, or three or two a third, and their carriers are within a
//! few hertz, their pulses look like one train of a half or a third of the period. Its
//! pulses then differ in turn: in carrier, or in the direction of their field. A unit
//! that drifts and a coil that is carried change from pulse to pulse too, but not in
//! turn; so a line through all pulses is fitted together with the turns, and what the
//! turns differ by is held against the scatter about both (Student's t).
//!
//! Length and strength are not asked: a pulse that another hides now and then differs in
//! these as well, and in turn where the periods are multiples.

use nalgebra::{DMatrix, DVector};

use super::pulse::Pulse;
use crate::uncertainty::coverage::student_cdf;

/// Chance that a single unit looks like several, for each of some twenty tests in its
/// first pulses.
const CHANCE: f64 = 1e-8;
/// Units differ by more than that.
const LEAST_HZ: f64 = 0.2;
const LEAST_DIRECTION: f64 = 0.1;
/// A carrier is measured no better.
const CARRIER_SCATTER_HZ: f64 = 0.05;
/// As much for an entry of a direction.
const DIRECTION_SCATTER: f64 = 0.003;
/// Pulses that each unit must have.
const LEAST_PULSES: usize = 3;

/// Into how many units these pulses fall, each with its number in the train: 2 or 3, or
/// `None` where they may well be of one.
pub(super) fn units(pulses: &[(usize, Pulse)]) -> Option<usize> {
    let clear: Vec<&(usize, Pulse)> = pulses.iter().filter(|(_, p)| !p.overlapped).collect();
    [2, 3].into_iter().find(|turns| differ(&clear, *turns))
}

fn differ(pulses: &[&(usize, Pulse)], turns: usize) -> bool {
    let count = |turn: usize| pulses.iter().filter(|(k, _)| k % turns == turn).count();
    let present: Vec<usize> = (0..turns).filter(|turn| count(*turn) > 0).collect();
    let enough = present.iter().all(|turn| count(*turn) >= LEAST_PULSES);
    if present.len() < 2 || !enough || pulses.len() <= present.len() + 2 {
        return false;
    }
    let carriers: Vec<f64> = pulses.iter().map(|(_, p)| p.offset_hz).collect();
    let usual = |p: &Pulse| p.u_offset_hz.hypot(CARRIER_SCATTER_HZ);
    let least_u = mean_square(pulses.iter().map(|(_, p)| usual(p)));
    if stands_out(pulses, turns, &present, &carriers, least_u, LEAST_HZ) {
        return true;
    }
    (0..3).any(|axis| {
        let share = |p: &Pulse| p.amplitude[axis].norm() / p.power().sqrt();
        let shares: Vec<f64> = pulses.iter().map(|(_, p)| share(p)).collect();
        let noise =
            |p: &Pulse| (p.amplitude_noise[axis] / p.power()).sqrt().hypot(DIRECTION_SCATTER);
        let least_u = mean_square(pulses.iter().map(|(_, p)| noise(p)));
        stands_out(pulses, turns, &present, &shares, least_u, LEAST_DIRECTION)
    })
}

fn mean_square(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    (values.map(|v| v * v).sum::<f64>() / count).sqrt()
}

/// Whether two of the turns differ in `values` by at least `least`, beyond chance. The
/// scatter is that about the fit, but no less than `least_u`.
fn stands_out(
    pulses: &[&(usize, Pulse)],
    turns: usize,
    present: &[usize],
    values: &[f64],
    least_u: f64,
    least: f64,
) -> bool {
    let (count, own) = (pulses.len(), present.len());
    let middle = pulses.iter().map(|(k, _)| *k as f64).sum::<f64>() / count as f64;
    let design = DMatrix::from_fn(count, own + 1, |i, j| {
        let k = pulses[i].0;
        match present.get(j) {
            Some(turn) => f64::from(u8::from(k % turns == *turn)),
            None => k as f64 - middle,
        }
    });
    let Some(normal) = design.tr_mul(&design).cholesky() else { return false };
    let values = DVector::from_column_slice(values);
    let means = normal.solve(&design.tr_mul(&values));
    let freedom = (count - own - 1) as f64;
    let scatter = ((&values - &design * &means).norm_squared() / freedom).sqrt().max(least_u);
    let covariance = normal.inverse();
    let pairs = (0..own).flat_map(|a| (a + 1..own).map(move |b| (a, b)));
    pairs.into_iter().any(|(a, b)| {
        let apart = (means[a] - means[b]).abs();
        let variance = covariance[(a, a)] + covariance[(b, b)] - 2.0 * covariance[(a, b)];
        let t = apart / (scatter * variance.sqrt());
        apart > least && 2.0 * student_cdf(-t, freedom) < CHANCE
    })
}

#[cfg(test)]
mod tests {
    use num_complex::Complex64;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    /// Pulses whose carrier scatters by `u_hz`; `of` gives the offset and the direction
    /// of each.
    fn pulses(
        numbers: impl Iterator<Item = usize>,
        u_hz: f64,
        of: impl Fn(usize) -> (f64, [f64; 3]),
        seed: u64,
    ) -> Vec<(usize, Pulse)> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        numbers
            .map(|k| {
                let (offset_hz, direction) = of(k);
                let pulse = Pulse {
                    id: k as u64,
                    on_s: 0.5 * k as f64,
                    off_s: 0.5 * k as f64 + 0.09,
                    u_edge_s: 1e-4,
                    edge_s: [1e-3; 2],
                    offset_hz: offset_hz + u_hz * normal(),
                    u_offset_hz: u_hz,
                    amplitude: direction.map(|d| Complex64::new(d + 0.01 * normal(), 0.0)),
                    amplitude_noise: [1e-4; 3],
                    energy_to_noise: 1e3,
                    overlapped: false,
                    shape: None,
                };
                (k, pulse)
            })
            .collect()
    }

    const ALONG: [f64; 3] = [0.8, 0.5, 0.33];
    const ASIDE: [f64; 3] = [0.2, 0.9, 0.33];

    #[test]
    fn carriers_in_turn_are_units() {
        let two = |k: usize| (20.0 + 2.0 * (k % 2) as f64, ALONG);
        assert_eq!(units(&pulses(0..12, 0.05, two, 1)), Some(2));
        let three = |k: usize| (20.0 + (k % 3) as f64, ALONG);
        assert_eq!(units(&pulses(0..16, 0.05, three, 2)), Some(3));
        // Two of three places are taken.
        let gaps = (0..24).filter(|k| k % 3 != 2);
        assert_eq!(units(&pulses(gaps, 0.05, three, 3)), Some(3));
    }

    #[test]
    fn directions_in_turn_are_units() {
        let two = |k: usize| (20.0, if k.is_multiple_of(2) { ALONG } else { ASIDE });
        assert_eq!(units(&pulses(0..12, 0.1, two, 4)), Some(2));
    }

    /// Weak ones show once there are enough pulses.
    #[test]
    fn weak_units_show_in_time() {
        let two = |k: usize| (20.0 + 2.0 * (k % 2) as f64, ALONG);
        assert_eq!(units(&pulses(0..8, 0.5, two, 5)), None);
        assert_eq!(units(&pulses(0..32, 0.5, two, 5)), Some(2));
    }

    #[test]
    fn one_unit_that_drifts_and_turns_is_one() {
        for seed in 0..2000 {
            let drifting = |k: usize| {
                let angle = 0.05 * k as f64;
                (20.0 + 0.2 * k as f64, [angle.cos(), angle.sin(), 0.3])
            };
            for count in [8, 12, 16, 24, 32] {
                let one = pulses(0..count, 0.3, drifting, seed);
                assert_eq!(units(&one), None, "seed {seed}, {count} pulses");
            }
        }
    }

    #[test]
    fn overlapped_pulses_tell_nothing() {
        let two = |k: usize| (20.0 + 2.0 * (k % 2) as f64, ALONG);
        let mut all = pulses(0..12, 0.05, two, 6);
        all.iter_mut().filter(|(k, _)| k % 2 == 1).for_each(|(_, p)| p.overlapped = true);
        assert_eq!(units(&all), None);
    }
}
