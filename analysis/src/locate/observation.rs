//! What a reading says against a computed field, in units of its uncertainty.
//!
//! Both signs of a vector count alike: each reading takes the sign that fits
//! better, which is the greatest likelihood over a sign of which nothing is
//! known. For a reading many times its uncertainty that loses nothing; one below
//! three of them tells little and pulls towards a field that is not zero.
//!
//! | reading | residuals |
//! |---|---|
//! | vector | (h − s v)/u, three of them, v the long half axis of the computed field's ellipse, s its sign |
//! | no heading | horizontal and vertical part, each (measured − computed)/u |
//! | magnitude | as [`FieldReading::residual`](crate::range::FieldReading::residual): by ratio where u is a share of the field, by difference where it is noise |

use nalgebra::{Matrix3, RowVector3, Vector3};
use num_complex::Complex64;

use super::polarisation;
use super::readings::{Measured, PlacedReading};
use crate::range::readings::share_of_noise;

/// Up to three residuals of one reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Residuals {
    values: [f64; 3],
    count: usize,
}

impl Residuals {
    /// The residuals.
    pub fn values(&self) -> &[f64] {
        &self.values[..self.count]
    }

    /// Sum of their squares.
    pub fn chi_squared(&self) -> f64 {
        self.values().iter().map(|r| r * r).sum()
    }
}

/// Residuals of `reading` against the computed field `h` (A/m).
pub fn residuals(reading: &PlacedReading, h: &Vector3<Complex64>) -> Residuals {
    let u = reading.u_a_per_m;
    match reading.field {
        Measured::Vector(measured) => {
            let measured = Vector3::from(measured);
            let computed = polarisation::long_axis(h);
            let sign = sign_of(measured.dot(&computed));
            Residuals { values: ((measured - sign * computed) / u).into(), count: 3 }
        }
        Measured::NoHeading { horizontal, vertical } => {
            let computed = polarisation::long_axis(h);
            let off = [horizontal - computed.xy().norm(), vertical - computed.z.abs()];
            Residuals { values: [off[0] / u, off[1] / u, 0.0], count: 2 }
        }
        Measured::Magnitude(measured) => {
            let computed = polarisation::magnitude(h);
            let noise = share_of_noise(u / measured);
            let as_share = (measured / computed).ln() * measured / u;
            let as_noise = (measured - computed) / u;
            Residuals { values: [as_share + noise * (as_noise - as_share), 0.0, 0.0], count: 1 }
        }
    }
}

/// How the residuals of [`residuals`] follow a change of the field: row k of the
/// matrix holds a with dr_k = Re(Σ a_i dH_i).
pub fn gradient(reading: &PlacedReading, h: &Vector3<Complex64>) -> Matrix3<Complex64> {
    let u = reading.u_a_per_m;
    let real = |factor: f64| Complex64::from(factor);
    match reading.field {
        Measured::Vector(measured) => {
            let sign = sign_of(Vector3::from(measured).dot(&polarisation::long_axis(h)));
            polarisation::long_axis_gradient(h) * real(-sign / u)
        }
        Measured::NoHeading { .. } => {
            let computed = polarisation::long_axis(h);
            let rows = polarisation::long_axis_gradient(h);
            let flat = computed.xy().norm();
            let horizontal =
                rows.row(0) * real(computed.x / flat) + rows.row(1) * real(computed.y / flat);
            let vertical = rows.row(2) * real(sign_of(computed.z));
            Matrix3::from_rows(&[
                horizontal * real(-1.0 / u),
                vertical * real(-1.0 / u),
                RowVector3::zeros(),
            ])
        }
        Measured::Magnitude(measured) => {
            let computed = polarisation::magnitude(h);
            let noise = share_of_noise(u / measured);
            let slope = -(1.0 - noise) * measured / (u * computed) - noise / u;
            let row = h.map(|c| c.conj() * (slope / computed)).transpose();
            Matrix3::from_rows(&[row, RowVector3::zeros(), RowVector3::zeros()])
        }
    }
}

fn sign_of(product: f64) -> f64 {
    if product < 0.0 { -1.0 } else { 1.0 }
}

/// The reading that a receiver of the same kind would give in the field `h`, with
/// an uncertainty of `u_a_per_m`.
pub fn expected(like: Measured, h: &Vector3<Complex64>) -> Measured {
    let computed = polarisation::long_axis(h);
    match like {
        Measured::Vector(_) => Measured::Vector(computed.into()),
        Measured::NoHeading { .. } => Measured::Vector(computed.into()).without_heading(),
        Measured::Magnitude(_) => Measured::Magnitude(polarisation::magnitude(h)),
    }
}

/// What a computed field should have read, with the sign that suits a vector.
pub fn computed(reading: &PlacedReading, h: &Vector3<Complex64>) -> Measured {
    match (reading.field, expected(reading.field, h)) {
        (Measured::Vector(measured), Measured::Vector(computed)) => {
            let sign = sign_of(Vector3::from(measured).dot(&Vector3::from(computed)));
            Measured::Vector(computed.map(|c| sign * c))
        }
        (_, expected) => expected,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds() -> [PlacedReading; 3] {
        let vector = Measured::Vector([1.1e-6, -0.4e-6, 0.3e-6]);
        [vector, vector.without_heading(), Measured::Magnitude(1.2e-6)].map(|field| PlacedReading {
            place_m: [0.0; 3],
            field,
            u_a_per_m: 4e-8,
        })
    }

    fn field() -> Vector3<Complex64> {
        Vector3::new(
            Complex64::new(1.0e-6, 2e-8),
            Complex64::new(-0.5e-6, 1e-8),
            Complex64::new(0.2e-6, -3e-8),
        )
    }

    #[test]
    fn either_sign_gives_the_same_residuals() {
        for reading in kinds() {
            assert_eq!(
                residuals(&reading, &field()).chi_squared(),
                residuals(&reading, &-field()).chi_squared()
            );
        }
        let [vector, ..] = kinds();
        let Measured::Vector(h) = vector.field else { unreachable!() };
        let turned = PlacedReading { field: Measured::Vector(h.map(|c| -c)), ..vector };
        let chi = |r: &PlacedReading| residuals(r, &field()).chi_squared();
        assert_eq!(chi(&vector), chi(&turned));
    }

    #[test]
    fn what_is_expected_leaves_no_residual() {
        for reading in kinds() {
            let perfect = PlacedReading { field: expected(reading.field, &field()), ..reading };
            assert!(residuals(&perfect, &field()).chi_squared() < 1e-20);
            let turned = computed(&reading, &-field()).to_vec();
            for (ours, theirs) in turned.iter().zip(computed(&reading, &field()).to_vec()) {
                assert!((ours - theirs).abs() < 1e-20);
            }
        }
    }

    #[test]
    fn gradients_are_those_of_differences() {
        for reading in kinds() {
            let gradient = gradient(&reading, &field());
            for (i, part) in (0..3).flat_map(|i| [(i, Complex64::ONE), (i, Complex64::I)]) {
                let step = 1e-11 * part;
                let (mut up, mut down) = (field(), field());
                up[i] += step;
                down[i] -= step;
                let (up, down) = (residuals(&reading, &up), residuals(&reading, &down));
                for (k, (up, down)) in up.values().iter().zip(down.values()).enumerate() {
                    let slope = (up - down) / 2.0;
                    let expected = (gradient[(k, i)] * step).re;
                    assert!((slope - expected).abs() < 1e-8, "{slope} {expected}");
                }
            }
        }
    }
}
