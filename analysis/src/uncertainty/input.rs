//! One quantity that a formula is fed with.

use serde::Serialize;

use super::error::UncertaintyError;
use crate::reading::Reading;

/// How a standard uncertainty was evaluated (JCGM 100, 4.2 and 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Evaluation {
    /// From the scatter of observations.
    A,
    /// By any other means: a certificate, a specification, judgement.
    B,
}

/// The distribution that stands behind a standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Distribution {
    /// Normal, or Student's t where the degrees of freedom are finite.
    Normal,
    /// Any value between two bounds alike (JCGM 100, 4.3.7).
    Rectangular,
    /// Between two bounds, the middle more likely (JCGM 100, 4.3.9).
    Triangular,
    /// That of a swing seen at a random instant (JCGM 100, H.1.3.4).
    Arcsine,
    /// To one side of a bound only, as the cosine of a misalignment (JCGM 100, F.2.4.4).
    #[serde(rename = "one-sided")]
    OneSided,
}

impl Distribution {
    /// The word for it in tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Rectangular => "rectangular",
            Self::Triangular => "triangular",
            Self::Arcsine => "arcsine",
            Self::OneSided => "one-sided",
        }
    }
}

/// A quantity with its standard uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Input {
    /// Name, as in the budget.
    pub name: String,
    /// Unit of value and uncertainty, empty for a pure number.
    pub unit: &'static str,
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Degrees of freedom of `u`; infinite for one that is not doubted.
    pub degrees_of_freedom: f64,
    /// How `u` was evaluated.
    pub evaluation: Evaluation,
    /// What stands behind it.
    pub distribution: Distribution,
}

impl Input {
    /// Type B, normal: from a certificate or a calibration with known `u`.
    pub fn normal(
        name: impl Into<String>,
        unit: &'static str,
        value: f64,
        u: f64,
    ) -> Result<Self, UncertaintyError> {
        Self::type_b(name.into(), unit, value, u, Distribution::Normal)
    }

    /// Type B, anywhere within ± `half_width` (JCGM 100, eq. 7: u = a/√3).
    pub fn rectangular(
        name: impl Into<String>,
        unit: &'static str,
        value: f64,
        half_width: f64,
    ) -> Result<Self, UncertaintyError> {
        let u = half_width / 3f64.sqrt();
        Self::type_b(name.into(), unit, value, u, Distribution::Rectangular)
    }

    /// Type B, within ± `half_width`, the middle more likely (JCGM 100, eq. 9b: u = a/√6).
    pub fn triangular(
        name: impl Into<String>,
        unit: &'static str,
        value: f64,
        half_width: f64,
    ) -> Result<Self, UncertaintyError> {
        let u = half_width / 6f64.sqrt();
        Self::type_b(name.into(), unit, value, u, Distribution::Triangular)
    }

    /// Type B, a swing of ± `half_width` (JCGM 100, H.1.3.4: u = a/√2).
    pub fn arcsine(
        name: impl Into<String>,
        unit: &'static str,
        value: f64,
        half_width: f64,
    ) -> Result<Self, UncertaintyError> {
        let u = half_width / 2f64.sqrt();
        Self::type_b(name.into(), unit, value, u, Distribution::Arcsine)
    }

    /// Type B, to one side of a bound; mean and standard deviation are given.
    pub fn one_sided(
        name: impl Into<String>,
        unit: &'static str,
        mean: f64,
        u: f64,
    ) -> Result<Self, UncertaintyError> {
        Self::type_b(name.into(), unit, mean, u, Distribution::OneSided)
    }

    /// Type A: mean of observations of equal weight, u = s/√n, n − 1 degrees of
    /// freedom (JCGM 100, eq. 3 to 5).
    pub fn repeated(
        name: impl Into<String>,
        unit: &'static str,
        observations: &[f64],
    ) -> Result<Self, UncertaintyError> {
        let (name, n) = (name.into(), observations.len() as f64);
        if observations.len() < 2 {
            return Err(UncertaintyError::TooFew { name, found: observations.len() });
        }
        let mean = observations.iter().sum::<f64>() / n;
        let squares: f64 = observations.iter().map(|x| (x - mean).powi(2)).sum();
        let u = (squares / (n * (n - 1.0))).sqrt();
        Self::observed(name, unit, Reading::new(mean, u), n - 1.0)
    }

    /// Type A: a reading whose uncertainty is from scatter, with its degrees of freedom.
    pub fn observed(
        name: impl Into<String>,
        unit: &'static str,
        reading: Reading,
        degrees_of_freedom: f64,
    ) -> Result<Self, UncertaintyError> {
        let Reading { value, u } = reading;
        let (evaluation, distribution) = (Evaluation::A, Distribution::Normal);
        Self { name: name.into(), unit, value, u, degrees_of_freedom, evaluation, distribution }
            .checked()
    }

    /// The same with other degrees of freedom.
    pub fn with_degrees_of_freedom(
        mut self,
        degrees_of_freedom: f64,
    ) -> Result<Self, UncertaintyError> {
        self.degrees_of_freedom = degrees_of_freedom;
        self.checked()
    }

    /// The same with its uncertainty believed to a share of itself only
    /// (JCGM 100, eq. G.3: ν = ½ (Δu/u)⁻²).
    pub fn doubted(self, share_of_u: f64) -> Result<Self, UncertaintyError> {
        self.with_degrees_of_freedom(0.5 * share_of_u.powi(-2))
    }

    fn type_b(
        name: String,
        unit: &'static str,
        value: f64,
        u: f64,
        distribution: Distribution,
    ) -> Result<Self, UncertaintyError> {
        let (degrees_of_freedom, evaluation) = (f64::INFINITY, Evaluation::B);
        Self { name, unit, value, u, degrees_of_freedom, evaluation, distribution }.checked()
    }

    fn checked(self) -> Result<Self, UncertaintyError> {
        let name = || self.name.clone();
        for (what, value) in [("the value", self.value), ("the uncertainty", self.u)] {
            if !value.is_finite() {
                return Err(UncertaintyError::NotFinite { name: name(), what, value });
            }
        }
        if self.u < 0.0 {
            return Err(UncertaintyError::Negative { name: name(), value: self.u });
        }
        if self.degrees_of_freedom >= 1.0 {
            return Ok(self);
        }
        let value = self.degrees_of_freedom;
        Err(UncertaintyError::DegreesOfFreedom { name: name(), value })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100, 4.3.7, 4.3.9 and H.1.3.4: a/√3, a/√6, a/√2.
    #[test]
    fn half_widths_become_standard_uncertainties() {
        let u = |input: Result<Input, _>| input.map(|i| i.u).unwrap();
        assert!((u(Input::rectangular("a", "m", 0.0, 3.0)) - 3f64.sqrt()).abs() < 1e-15);
        assert!((u(Input::triangular("a", "m", 0.0, 6.0)) - 6f64.sqrt()).abs() < 1e-15);
        assert!((u(Input::arcsine("a", "m", 0.0, 2.0)) - 2f64.sqrt()).abs() < 1e-15);
    }

    /// JCGM 100, H.2, table H.2 (from memory): five observations of a voltage.
    #[test]
    fn observations_become_their_mean() {
        let v = Input::repeated("V", "V", &[5.007, 4.994, 5.005, 4.990, 4.999]).unwrap();
        assert!((v.value - 4.9990).abs() < 1e-12);
        assert!((v.u - 0.0032).abs() < 0.00005, "{}", v.u);
        assert_eq!((v.degrees_of_freedom, v.evaluation), (4.0, Evaluation::A));
    }

    /// JCGM 100, G.4.2, example: u believed to 25 % has 8 degrees of freedom.
    #[test]
    fn doubt_becomes_degrees_of_freedom() {
        let doubted = Input::normal("a", "", 1.0, 0.1).unwrap().doubted(0.25).unwrap();
        assert_eq!(doubted.degrees_of_freedom, 8.0);
    }

    #[test]
    fn what_is_no_uncertainty_is_refused() {
        assert!(Input::normal("a", "", f64::NAN, 1.0).is_err());
        assert!(Input::normal("a", "", 1.0, f64::INFINITY).is_err());
        assert!(Input::rectangular("a", "", 1.0, -1.0).is_err());
        assert!(Input::repeated("a", "", &[1.0]).is_err());
        assert!(Input::observed("a", "", Reading::new(1.0, 1.0), 0.5).is_err());
        assert!(Input::observed("a", "", Reading::new(1.0, 1.0), f64::NAN).is_err());
    }
}
