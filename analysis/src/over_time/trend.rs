//! Drift and jumps of a series.
//!
//! The model is a straight line with steps. Steps are added one by one where they
//! lower the weighted sum of squares most, as long as the step is beyond chance: a
//! forward selection of change points (binary segmentation, Scott and Knott,
//! Biometrics 30 (1974) 507, quoted from memory; here with the line and all
//! earlier steps fitted anew each time, over the points nearby).

use nalgebra::{DMatrix, DVector};

use crate::reading::Reading;

/// A value of the series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Time, s.
    pub at_s: f64,
    /// Value with its standard uncertainty.
    pub value: Reading,
}

/// A sudden change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// Between which points, s: the middle of the two.
    pub at_s: f64,
    /// By how much.
    pub size: Reading,
}

/// What a series does as a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Change per second between the jumps.
    pub rate_per_s: Reading,
    /// Jumps in order of time.
    pub jumps: Vec<Jump>,
}

const MOST_JUMPS: usize = 8;
/// Points on each side of a jump, at least.
const SIDE: usize = 3;
/// Points on each side that a jump is judged by.
const AROUND: usize = 12;
/// A jump over its uncertainty; with some hundred places to look at, noise
/// passes less than once in ten thousand series.
const SURE: f64 = 6.0;

/// Points on each side of a jump seen from close by, where a smooth curve's rise is
/// hardly a step any more: what is left of the step must agree with the whole.
const BESIDE: usize = 5;
/// Uncertainties that the two may be apart, and that the one from close by must have.
const AGREE: f64 = 2.0;
const SEEN: f64 = 3.0;

/// Median of the values; `None` without any.
pub fn median(points: &[Point]) -> Option<f64> {
    let mut values: Vec<f64> = points.iter().map(|p| p.value.value).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Drift and jumps of `points`, which must be in order of time; `None` for fewer
/// than five.
pub fn trend(points: &[Point]) -> Option<Trend> {
    if points.len() < 5 {
        return None;
    }
    let scale = unexplained(points);
    let mut steps: Vec<usize> = Vec::new();
    while steps.len() < MOST_JUMPS {
        let free = |at: &usize| steps.iter().all(|s| s.abs_diff(*at) >= SIDE);
        let places = (SIDE..=points.len() - SIDE).filter(free);
        let fits = places.filter_map(|at| {
            let size = size_of(points, &steps, at, AROUND, scale)?;
            let beside = size_of(points, &steps, at, BESIDE, scale)?;
            let agree = (beside.value - size.value).abs() < AGREE * beside.u;
            let seen = beside.value.abs() > SEEN * beside.u;
            (agree && seen).then_some((at, (size.value / size.u).abs()))
        });
        match fits.max_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((at, sure)) if sure > SURE => steps.push(at),
            _ => break,
        }
    }
    let fit = fit(points, 1, &steps, scale)?;
    let jump = |at: &usize| {
        let at_s = 0.5 * (points[at - 1].at_s + points[*at].at_s);
        Some(Jump { at_s, size: size_of(points, &steps, *at, BESIDE, scale)? })
    };
    let mut jumps: Vec<Jump> = steps.iter().filter_map(jump).collect();
    jumps.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    // Over hours a rate is a mean of what it was: where no line goes through the
    // points, it is known no better than they lie about the line.
    let bent = misfit(points, &steps, &fit, scale);
    Some(Trend { rate_per_s: Reading::new(fit[1].0, fit[1].1 * bent), jumps })
}

/// Size of the step before point `at`, from so many points on each side of it and with a
/// bend: over the hours a smooth curve is no line.
fn size_of(
    points: &[Point],
    steps: &[usize],
    at: usize,
    around: usize,
    scale: f64,
) -> Option<Reading> {
    let first = at.saturating_sub(around);
    let near = &points[first..(at + around).min(points.len())];
    let inside = |s: &&usize| **s != at && (first + 1..first + near.len()).contains(*s);
    let mut with: Vec<usize> = steps.iter().filter(inside).map(|s| s - first).collect();
    with.push(at - first);
    let fit = fit(near, 2, &with, scale)?;
    let (size, u) = fit[with.len() + 2];
    Some(Reading::new(size, u))
}

/// Scatter from point to point over what the uncertainties say, at least 1. The
/// median of second differences knows neither drift nor single jumps.
fn unexplained(points: &[Point]) -> f64 {
    let mut bends: Vec<f64> = points
        .windows(3)
        .map(|p| {
            let share = (p[1].at_s - p[0].at_s) / (p[2].at_s - p[0].at_s);
            let between = p[0].value.value + share * (p[2].value.value - p[0].value.value);
            let sides = ((1.0 - share) * p[0].value.u).hypot(share * p[2].value.u);
            ((p[1].value.value - between) / p[1].value.u.hypot(sides)).abs()
        })
        .collect();
    let middle = bends.len() / 2;
    // Median of the magnitude of a normal variable: 0.6745 σ.
    let median = *bends.select_nth_unstable_by(middle, f64::total_cmp).1;
    (median / 0.6745).max(1.0)
}

/// Offset, rate (and, for degree 2, bend) and steps with their uncertainties.
fn fit(points: &[Point], degree: i32, steps: &[usize], scale: f64) -> Option<Vec<(f64, f64)>> {
    let size = 1 + degree as usize + steps.len();
    let middle = points[points.len() / 2].at_s;
    let (mut normal, mut right) = (DMatrix::zeros(size, size), DVector::zeros(size));
    let span = (points[points.len() - 1].at_s - points[0].at_s).max(1e-9);
    let level = points[0].value.value;
    for (i, point) in points.iter().enumerate() {
        let after = steps.iter().map(|at| f64::from(u8::from(i >= *at)));
        let time = (point.at_s - middle) / span;
        let row = (0..=degree).map(|power| time.powi(power)).chain(after);
        let row = DVector::from_iterator(size, row);
        let weight = (scale * point.value.u).powi(-2);
        normal += weight * &row * row.transpose();
        right += weight * (point.value.value - level) * row;
    }
    let inverse = normal.cholesky()?.inverse();
    let solved = &inverse * right;
    let unit = |k: usize| if k == 1 { span } else { 1.0 };
    Some((0..size).map(|k| (solved[k] / unit(k), inverse[(k, k)].sqrt() / unit(k))).collect())
}

/// By how much more than noise alone the residuals about a line with steps leave its rate
/// uncertain: their root mean square over what was taken for it, times √((1 + r)/(1 − r))
/// for neighbours correlated by r, as waves are; at least 1.
fn misfit(points: &[Point], steps: &[usize], fit: &[(f64, f64)], scale: f64) -> f64 {
    let middle_s = points[points.len() / 2].at_s;
    let residual = |(i, point): (usize, &Point)| {
        let jumped: f64 =
            steps.iter().zip(&fit[2..]).filter(|(at, _)| i >= **at).map(|(_, jump)| jump.0).sum();
        let line = points[0].value.value + fit[0].0 + fit[1].0 * (point.at_s - middle_s);
        (point.value.value - line - jumped) / (scale * point.value.u)
    };
    let residuals: Vec<f64> = points.iter().enumerate().map(residual).collect();
    let sum: f64 = residuals.iter().map(|r| r * r).sum();
    let beside: f64 = residuals.windows(2).map(|r| r[0] * r[1]).sum();
    let freedom = points.len().saturating_sub(2 + steps.len()).max(1);
    // A correlation that chance makes is no more than this in one series of a hundred.
    let chance = 2.3 / (points.len() as f64).sqrt();
    let r = if beside / sum > chance { (beside / sum).min(0.99) } else { 0.0 };
    (sum / freedom as f64 * (1.0 + r) / (1.0 - r)).sqrt().max(1.0)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    fn series(seed: u64, scatter: f64, value: impl Fn(f64) -> f64) -> Vec<Point> {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        (0..200)
            .map(|i| {
                let at_s = f64::from(i) * 60.0;
                let noise: f64 = StandardNormal.sample(&mut rng);
                Point { at_s, value: Reading::new(value(at_s) + scatter * noise, 0.02) }
            })
            .collect()
    }

    #[test]
    fn drift_and_jumps_are_found_with_honest_uncertainties() {
        let mut in_u = Vec::new();
        for seed in 0..40 {
            let truth = |t: f64| 457_010.0 - 1e-5 * t + if t > 5000.0 { 0.15 } else { 0.0 };
            let found = trend(&series(seed, 0.02, truth)).unwrap();
            assert_eq!(found.jumps.len(), 1, "{found:?}");
            assert!((found.jumps[0].at_s - 5000.0).abs() < 200.0, "{found:?}");
            in_u.push((found.rate_per_s.value + 1e-5) / found.rate_per_s.u);
            in_u.push((found.jumps[0].size.value - 0.15) / found.jumps[0].size.u);
        }
        let rms = (in_u.iter().map(|z| z * z).sum::<f64>() / in_u.len() as f64).sqrt();
        assert!((0.75..1.35).contains(&rms), "{rms}");
    }

    #[test]
    fn a_smooth_curve_has_no_jumps() {
        let daily = |t: f64| 0.5 * (std::f64::consts::TAU * t / 14_000.0).sin();
        for seed in 0..40 {
            for scatter in [0.02, 0.004] {
                let mut points = series(seed, scatter, daily);
                points.iter_mut().for_each(|p| p.value.u = scatter);
                let found = trend(&points).unwrap();
                assert!(found.jumps.is_empty(), "{seed}: {found:?}");
            }
        }
    }

    #[test]
    fn noise_has_no_jumps_even_where_it_is_more_than_stated() {
        for seed in 0..60 {
            let found = trend(&series(100 + seed, 0.05, |_| 1.0)).unwrap();
            assert!(found.jumps.is_empty(), "{seed}: {found:?}");
        }
        assert_eq!(trend(&series(0, 0.01, |_| 1.0)[..4]), None);
    }

    /// The carrier of a unit beside a heater that goes on and off: no jumps, and a
    /// drift that is not taken for better known than it is.
    #[test]
    fn waves_of_temperature_are_no_jumps() {
        for period_s in [1500.0, 1800.0, 3000.0, 6000.0] {
            let wave = |at_s: f64| 3.0 * (at_s * std::f64::consts::TAU / period_s).sin();
            let points: Vec<Point> = series(7, 0.02, |at_s| 1e-4 * at_s + wave(at_s));
            let found = trend(&points).unwrap();
            assert!(found.jumps.is_empty(), "{period_s}: {found:?}");
            assert!((found.rate_per_s.value - 1e-4).abs() < 3.0 * found.rate_per_s.u);
        }
    }
}
