//! Couplings between two heights, tabulated over horizontal distance and one more
//! argument.

use std::f64::consts::PI;

use num_complex::Complex64;

use super::{Between, Cylindrical};

/// Relative error, of the magnitude of the whole field, that a table may have.
const TOLERANCE: f64 = 1e-6;
/// Nodes of distance and of the argument: first try and the end of trying.
const NODES: [usize; 2] = [20, 64];
const ARGUMENTS: [usize; 2] = [8, 36];

/// Chebyshev interpolation of what boundaries add, times the cube of distance, in
/// asinh(ρ/s) with s the distance over which it bends, and in an argument: the
/// height of the source, the resistivity of soil.
#[derive(Clone, Debug)]
pub(crate) struct Table {
    argument: Nodes,
    distance: Nodes,
    bend_m: f64,
    values: Vec<[Complex64; 5]>,
    error: f64,
}

impl Table {
    /// Over arguments `from` to `to` (one argument only where they are the same)
    /// and distances from 0 to `reach_m`, with as many nodes as the tolerance
    /// takes; `between` gives the way for an argument.
    pub(crate) fn new(
        (from, to): (f64, f64),
        reach_m: f64,
        between: impl Fn(f64) -> Between,
    ) -> Self {
        let mut counts = [if from == to { 1 } else { ARGUMENTS[0] }, NODES[0]];
        loop {
            let table = Self::with((from, to), reach_m, counts, &between);
            let most = [if from == to { 1 } else { ARGUMENTS[1] }, NODES[1]];
            if table.error <= TOLERANCE || counts == most {
                return table;
            }
            let [argument, distance] = counts;
            counts = [(argument + argument / 2).min(most[0]), (distance + 8).min(most[1])];
        }
    }

    fn with(
        (from, to): (f64, f64),
        reach_m: f64,
        [arguments, distances]: [usize; 2],
        between: &impl Fn(f64) -> Between,
    ) -> Self {
        let bend_m = between(0.5 * (from + to)).bend_m();
        let argument = Nodes::new(from, to, arguments);
        let distance = Nodes::new(0.0, (reach_m / bend_m).asinh(), distances);
        let values = (argument.places.iter())
            .flat_map(|a| {
                let between = between(*a);
                let at = |t: &f64| {
                    let rho_m = bend_m * t.sinh();
                    let scale = cube(rho_m, bend_m);
                    between.secondary(rho_m).array().map(|value| value * scale)
                };
                distance.places.iter().map(at).collect::<Vec<_>>()
            })
            .collect();
        let mut table = Self { argument, distance, bend_m, values, error: 0.0 };
        table.error = table.worst(between);
        table
    }

    /// The largest error found between the nodes.
    fn worst(&self, between: &impl Fn(f64) -> Between) -> f64 {
        let mut worst = 0.0_f64;
        for a in self.argument.gaps() {
            let between = between(a);
            for t in self.distance.gaps() {
                let rho_m = self.bend_m * t.sinh();
                let [exact, ours] = [between.secondary(rho_m), self.secondary(a, rho_m)]
                    .map(|s| s.turned(rho_m, 0.0));
                let whole = (between.direct(rho_m) + exact).norm();
                worst = worst.max((ours - exact).norm() / whole);
            }
        }
        worst
    }

    /// What the boundaries add, by interpolation.
    pub(crate) fn secondary(&self, argument: f64, rho_m: f64) -> Cylindrical {
        let over_arguments = self.argument.weights(argument);
        let over_distances = self.distance.weights((rho_m / self.bend_m).asinh());
        let mut sum = [Complex64::ZERO; 5];
        for (row, wa) in self.values.chunks(over_distances.len()).zip(&over_arguments) {
            if *wa == 0.0 {
                continue;
            }
            let mut of_row = [Complex64::ZERO; 5];
            for (value, wt) in row.iter().zip(&over_distances) {
                for i in 0..5 {
                    of_row[i] += value[i] * wt;
                }
            }
            for i in 0..5 {
                sum[i] += of_row[i] * wa;
            }
        }
        let scale = 1.0 / cube(rho_m, self.bend_m);
        Cylindrical::of(sum.map(|value| value * scale))
    }

    /// Whether argument and distance lie in the table.
    pub(crate) fn holds(&self, argument: f64, rho_m: f64) -> bool {
        (self.argument.from..=self.argument.to).contains(&argument)
            && (rho_m / self.bend_m).asinh() <= self.distance.to
    }

    /// The largest error found when it was made, of the magnitude of the field.
    pub(crate) fn error(&self) -> f64 {
        self.error
    }
}

fn cube(rho_m: f64, bend_m: f64) -> f64 {
    (rho_m * rho_m + bend_m * bend_m).powf(1.5)
}

/// Chebyshev points of an interval.
#[derive(Clone, Debug)]
struct Nodes {
    from: f64,
    to: f64,
    places: Vec<f64>,
}

impl Nodes {
    /// Ends included, but for a single one, in the middle.
    fn new(from: f64, to: f64, count: usize) -> Self {
        let last = count.saturating_sub(1);
        let place = |i: usize| {
            let x = if last == 0 { 0.0 } else { -(PI * i as f64 / last as f64).cos() };
            0.5 * (from + to) + 0.5 * (to - from) * x
        };
        Self { from, to, places: (0..count).map(place).collect() }
    }

    /// Places between the nodes: some, spread over all of them.
    fn gaps(&self) -> Vec<f64> {
        if self.places.len() == 1 {
            return self.places.clone();
        }
        let step = (self.places.len() / 6).max(1);
        self.places.windows(2).step_by(step).map(|pair| 0.5 * (pair[0] + pair[1])).collect()
    }

    /// Weight of each node at `x`, by the second barycentric formula (J.-P. Berrut
    /// and L. N. Trefethen, *Barycentric Lagrange interpolation*, 2004, cited from
    /// memory).
    fn weights(&self, x: f64) -> Vec<f64> {
        if let Some(hit) = self.places.iter().position(|place| *place == x) {
            let mut weights = vec![0.0; self.places.len()];
            weights[hit] = 1.0;
            return weights;
        }
        let last = self.places.len() - 1;
        let mut weights: Vec<f64> = (self.places.iter().enumerate())
            .map(|(i, place)| {
                let half = if i == 0 || i == last { 0.5 } else { 1.0 };
                let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                sign * half / (x - place)
            })
            .collect();
        let sum: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= sum);
        weights
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_are_met_exactly() {
        let nodes = Nodes::new(-1.0, 3.0, 7);
        for power in 0..7 {
            let f = |x: f64| (x - 0.3).powi(power);
            for x in [-1.0, -0.2, 0.77, 1.0, 2.9, 3.0] {
                let weights = nodes.weights(x);
                let sum: f64 = nodes.places.iter().zip(&weights).map(|(p, w)| w * f(*p)).sum();
                assert!((sum - f(x)).abs() < 1e-12 * (1.0 + f(x).abs()), "{x}^{power}: {sum}");
            }
        }
        assert_eq!(Nodes::new(2.0, 2.0, 1).weights(2.0), [1.0]);
    }
}
