//! All quantities that a formula is fed with, and how they hang together.

use nalgebra::DMatrix;

use super::error::UncertaintyError;
use super::input::Input;

/// The inputs of a formula, in the order in which it takes them.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    list: Vec<Input>,
    /// Coefficients between two inputs that are not independent.
    correlations: Vec<(usize, usize, f64)>,
    /// Pairs whose uncertainties come from one estimate.
    of_one_estimate: Vec<(usize, usize)>,
}

impl Inputs {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Add an input, independent of the others; gives its place in the argument
    /// of the formula.
    pub fn add(&mut self, input: Input) -> usize {
        self.list.push(input);
        self.list.len() - 1
    }

    /// Add inputs that were observed together, the same number of times each:
    /// their correlations follow from the observations (JCGM 100, eq. 14 and 17).
    pub fn add_observed_together<const N: usize>(
        &mut self,
        observed: [(&str, &'static str, &[f64]); N],
    ) -> Result<[usize; N], UncertaintyError> {
        let others = observed.first().map_or(0, |o| o.2.len());
        let mut inputs = Vec::with_capacity(N);
        for (name, unit, observations) in observed {
            let found = observations.len();
            if found != others {
                return Err(UncertaintyError::NotTogether { name: name.into(), found, others });
            }
            inputs.push(Input::repeated(name, unit, observations)?);
        }
        let first = self.list.len();
        let pairs = (0..N).flat_map(|j| (0..j).map(move |i| (i, j)));
        let means = |i: usize| inputs[i].value;
        for (i, j) in pairs {
            let both = observed[i].2.iter().zip(observed[j].2);
            let product: f64 = both.map(|(a, b)| (a - means(i)) * (b - means(j))).sum();
            let squares = (others * (others - 1)) as f64 * inputs[i].u * inputs[j].u;
            if squares > 0.0 {
                // Rounding must not push a full correlation beyond 1.
                let r = (product / squares).clamp(-1.0, 1.0);
                self.correlations.push((first + i, first + j, r));
            }
        }
        self.list.extend(inputs);
        Ok(std::array::from_fn(|i| first + i))
    }

    /// State the correlation coefficient of two inputs, in place of an earlier one.
    pub fn correlate(
        &mut self,
        first: usize,
        second: usize,
        coefficient: f64,
    ) -> Result<(), UncertaintyError> {
        if first == second || !(-1.0..=1.0).contains(&coefficient) {
            let name = |i: usize| self.list[i].name.clone();
            let (first, second) = (name(first), name(second));
            return Err(UncertaintyError::Correlation { first, second, value: coefficient });
        }
        let same = |c: &(usize, usize, f64)| {
            (c.0, c.1) == (first, second) || (c.1, c.0) == (first, second)
        };
        self.correlations.retain(|c| !same(c));
        self.correlations.push((first, second, coefficient));
        Ok(())
    }

    /// Say that the uncertainties of two independent inputs come from one estimate,
    /// as from the scatter about one fit: what it is doubted by, it is doubted by for
    /// both, so they count as one in Welch–Satterthwaite.
    pub fn of_one_estimate(&mut self, first: usize, second: usize) {
        self.of_one_estimate.push((first, second));
    }

    /// The inputs in order.
    pub fn list(&self) -> &[Input] {
        &self.list
    }

    /// Best estimates in order: what the formula is evaluated at.
    pub fn values(&self) -> Vec<f64> {
        self.list.iter().map(|i| i.value).collect()
    }

    /// Correlation coefficients, 1 on the diagonal.
    pub(super) fn correlation_matrix(&self) -> Result<DMatrix<f64>, UncertaintyError> {
        let mut matrix = DMatrix::identity(self.list.len(), self.list.len());
        for &(i, j, r) in &self.correlations {
            matrix[(i, j)] = r;
            matrix[(j, i)] = r;
        }
        // A variance below zero for some combination of the inputs is impossible.
        let least = matrix.clone().symmetric_eigenvalues().min();
        if self.correlations.is_empty() || least > -1e-9 {
            Ok(matrix)
        } else {
            Err(UncertaintyError::Contradiction)
        }
    }

    /// For each input the first one that it hangs together with, over any number
    /// of correlations and estimates in common; itself when independent.
    pub(super) fn groups(&self) -> Vec<usize> {
        let mut group: Vec<usize> = (0..self.list.len()).collect();
        let correlated = self.correlations.iter().filter(|c| c.2 != 0.0).map(|c| (c.0, c.1));
        for (i, j) in correlated.chain(self.of_one_estimate.iter().copied()) {
            let (from, to) = (group[i].max(group[j]), group[i].min(group[j]));
            group.iter_mut().filter(|g| **g == from).for_each(|g| *g = to);
        }
        group
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn three() -> Inputs {
        let mut inputs = Inputs::new();
        for name in ["a", "b", "c"] {
            inputs.add(Input::normal(name, "", 1.0, 0.1).unwrap());
        }
        inputs
    }

    #[test]
    fn impossible_correlations_are_refused() {
        let mut inputs = three();
        assert!(inputs.correlate(0, 1, 1.01).is_err());
        assert!(inputs.correlate(1, 1, 0.5).is_err());
        assert!(inputs.correlate(0, 1, f64::NAN).is_err());
        // a with b, b with c, but a against c.
        inputs.correlate(0, 1, 0.9).unwrap();
        inputs.correlate(1, 2, 0.4).unwrap();
        assert!(inputs.correlation_matrix().is_ok());
        inputs.correlate(2, 0, -0.9).unwrap();
        assert_eq!(inputs.correlation_matrix(), Err(UncertaintyError::Contradiction));
        inputs.correlate(0, 2, 0.5).unwrap();
        assert_eq!(inputs.correlation_matrix().unwrap()[(0, 2)], 0.5);
    }

    #[test]
    fn groups_join_over_several_correlations() {
        let mut inputs = three();
        inputs.add(Input::normal("d", "", 1.0, 0.1).unwrap());
        inputs.correlate(2, 1, 0.2).unwrap();
        inputs.correlate(2, 0, 0.3).unwrap();
        assert_eq!(inputs.groups(), [0, 0, 0, 3]);
        inputs.of_one_estimate(3, 1);
        assert_eq!(inputs.groups(), [0; 4]);
    }

    #[test]
    fn observations_made_together_must_be_equally_many() {
        let mut inputs = Inputs::new();
        let error = inputs
            .add_observed_together([("a", "V", &[1.0, 2.0, 3.0][..]), ("b", "A", &[1.0, 2.0][..])]);
        assert!(matches!(error, Err(UncertaintyError::NotTogether { found: 2, others: 3, .. })));
    }
}
