//! Weighted least squares, columns added one by one.
//!
//! Columns are made orthogonal as they come (modified Gram–Schmidt, twice), so that what
//! a further one would explain costs one pass: for all steps of a series together.

/// A fit to values of given weights.
#[derive(Clone, Debug)]
pub(super) struct Regression {
    /// Square roots of the weights.
    roots: Vec<f64>,
    /// Orthonormal columns, weighted.
    basis: Vec<Vec<f64>>,
    /// What they leave of the values, weighted.
    residual: Vec<f64>,
}

/// Share of a column's length that must be left for it to count as new.
const NEW: f64 = 1e-7;

impl Regression {
    /// No columns yet. Weights are over zero and finite.
    pub(super) fn new(values: &[f64], weights: &[f64]) -> Self {
        let roots: Vec<f64> = weights.iter().map(|w| w.sqrt()).collect();
        let residual = values.iter().zip(&roots).map(|(v, r)| v * r).collect();
        Self { roots, basis: Vec::new(), residual }
    }

    /// Add a column; `false` for one that the others have already.
    pub(super) fn add(&mut self, column: impl Iterator<Item = f64>) -> bool {
        let mut new: Vec<f64> = column.zip(&self.roots).map(|(v, r)| v * r).collect();
        let before = dot(&new, &new).sqrt();
        for _ in 0..2 {
            self.basis.iter().for_each(|column| take_out(&mut new, column));
        }
        let length = dot(&new, &new).sqrt();
        if length.is_nan() || length <= NEW * before {
            return false;
        }
        new.iter_mut().for_each(|v| *v /= length);
        take_out(&mut self.residual, &new);
        self.basis.push(new);
        true
    }

    /// Take `noise`, in units of its own deviation, in place of the values.
    pub(super) fn renew(&mut self, noise: impl Iterator<Item = f64>) {
        self.residual.clear();
        self.residual.extend(noise);
        let Self { basis, residual, .. } = self;
        basis.iter().for_each(|column| take_out(residual, column));
    }

    /// Weighted sum of squared residuals.
    pub(super) fn misfit(&self) -> f64 {
        dot(&self.residual, &self.residual)
    }

    /// Values less columns.
    pub(super) fn degrees_of_freedom(&self) -> usize {
        self.residual.len().saturating_sub(self.basis.len())
    }

    /// For each place k that is `allowed`: by how much a step before value k would lower
    /// the misfit, given to `see`.
    pub(super) fn steps(&self, allowed: &[bool], mut see: impl FnMut(usize, f64)) {
        let mut inside = vec![0.0; self.basis.len()];
        let (mut length, mut along) = (0.0, 0.0);
        for k in (1..self.residual.len()).rev() {
            let root = self.roots[k];
            length += root * root;
            along += root * self.residual[k];
            let mut taken = 0.0;
            for (sum, column) in inside.iter_mut().zip(&self.basis) {
                *sum += root * column[k];
                taken += *sum * *sum;
            }
            let left = length - taken;
            if allowed[k] && left > NEW * length {
                see(k, along * along / left);
            }
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn take_out(from: &mut [f64], column: &[f64]) {
    let along = dot(from, column);
    from.iter_mut().zip(column).for_each(|(v, c)| *v -= along * c);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(from: usize) -> impl Iterator<Item = f64> {
        (0..30).map(move |i| f64::from(u8::from(i >= from)))
    }

    fn fitted() -> Regression {
        let values: Vec<f64> =
            (0..30).map(|i| f64::from(i * i % 11) + 0.2 * f64::from(i)).collect();
        let weights: Vec<f64> = (0..30).map(|i| 1.0 + f64::from(i % 4)).collect();
        let mut fit = Regression::new(&values, &weights);
        assert!(fit.add((0..30).map(|_| 1.0)) && fit.add((0..30).map(f64::from)));
        fit
    }

    #[test]
    fn what_a_step_would_explain_is_what_it_does_explain() {
        let fit = fitted();
        let mut seen = 0;
        fit.steps(&[true; 30], |k, gain| {
            let mut with = fit.clone();
            assert!(with.add(step(k)));
            assert!((fit.misfit() - gain - with.misfit()).abs() < 1e-9, "{k}");
            seen += 1;
        });
        assert_eq!((seen, fit.degrees_of_freedom()), (29, 28));
    }

    #[test]
    fn a_column_that_is_there_already_is_refused() {
        let mut fit = fitted();
        assert!(!fit.add((0..30).map(|i| 3.0 - 0.5 * f64::from(i))));
        assert!(fit.add(step(7)) && !fit.add(step(7)));
    }
}
