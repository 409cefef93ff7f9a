//! Coils against each other, from a receiver turned freely in a steady field.
//!
//! Coil i gives cᵢ = gᵢ · eᵢ·H counts for the field H: eᵢ is the direction in
//! which it lies and gᵢ its gain. Nobody knows how the receiver was held, but
//! |H| was the same at each turn, so the points (c_x, c_y, c_z) lie on the
//! ellipsoid cᵀ A c = 1 with A⁻¹ = |H|² · M Mᵀ, M having the rows gᵢ eᵢ. It
//! tells the gains up to a common factor and the angles between the coils, and
//! nothing about how the three lie in the receiver's box: M and M times any
//! rotation make the same ellipsoid.
//!
//! # Which frame
//!
//! The rotation is chosen so that the matrix E of the coils' directions is
//! symmetric: E = Γ^½ with Γᵢⱼ = eᵢ·eⱼ. Of all orthogonal frames this is the one
//! that lies nearest to the three coils, in the sum of squares, and no coil is
//! preferred (P.-O. Löwdin, J. Chem. Phys. 18 (1950) 365–375, from memory). The
//! `axes` matrix of a capture, which turns channel fields into orthogonal
//! components, is then E⁻¹ = Γ^−½, symmetric as well. The gains do not go into
//! it: they belong to `field_per_count`.
//!
//! # The fit
//!
//! The linear fit of [`super::ellipsoid`] is the start. The residual of a turn
//! is then its distance from the ellipsoid along the field over the standard
//! deviation that noise gives that distance, the part of it removed that noise
//! across the field adds on average. To first order in the noise that is the
//! maximum of the likelihood with each turn's direction fitted as well.
//!
//! Accuracy, N turns of evenly spread directions, each channel's noise σ of the
//! field's counts (Fisher information of the six numbers over the sphere): the
//! angle between two coils and the gain of one over that of another to
//! σ √(15/N), each gain over the mean of the three to σ √(5/N), the direction of
//! each coil in the frame to σ √(7.5/N). The test below measures just that.

mod geometry;
mod spread;

use nalgebra::{Matrix3, SMatrix, Vector3};
use serde::{Deserialize, Serialize};

use super::ellipsoid;
use crate::range::least_squares;
use crate::reading::Reading;
use geometry::{Geometry, NUMBERS};
use spread::{Distance, Spread};

/// Six numbers are fitted; with fewer turns nothing tells how well they fit.
pub const LEAST_TURNS: usize = 9;
/// Share of the information of evenly spread turns below which something is missing.
const LEAST_SPREAD: f64 = 0.05;
/// Relative change of the field from turn to turn, noise aside, that is not steady.
const MOST_CHANGE: f64 = 0.02;

/// What the coils gave at one turn of the receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// Amplitude on each channel in counts, the sign of all three free.
    pub counts: [f64; 3],
    /// Standard uncertainty of each.
    pub u_counts: [f64; 3],
}

/// The coils against each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rotation {
    /// Row-major matrix from channel fields to orthogonal components, Γ^−½.
    pub axes: [[f64; 3]; 3],
    /// Standard uncertainty of each of its elements.
    pub u_axes: [[f64; 3]; 3],
    /// Counts that each channel gives for a field along its coil, over the
    /// geometric mean of the three.
    pub gains: [Reading; 3],
    /// Gain of x over that of y, of x over that of z, of y over that of z.
    pub ratios: [Reading; 3],
    /// Angles between the coils x and y, x and z, y and z, degrees.
    pub angles_deg: [Reading; 3],
    /// Turns.
    pub turns: usize,
    /// Turns less fitted numbers: the degrees of freedom of the uncertainties.
    pub degrees_of_freedom: usize,
    /// Standard deviation of the field from turn to turn, relative.
    pub scatter_rel: f64,
    /// What of it the stated noise explains.
    pub noise_rel: f64,
}

/// Why turns give no calibration.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoRotation {
    /// Too few of them.
    #[error("{have} turns are too few: at least {LEAST_TURNS} are needed, 20 to 40 are good")]
    TooFew {
        /// Turns there are.
        have: usize,
    },
    /// A turn without a signal.
    #[error("turn {turn} has no amplitude")]
    Empty {
        /// Its number, from 1.
        turn: usize,
    },
    /// Directions that leave something open.
    #[error(
        "the turns lie nearly in one plane or on one cone ({percent:.0} % of an even spread): \
         missing are turns in which {missing}"
    )]
    OneSided {
        /// Share of an even spread, percent.
        percent: f64,
        /// Where the field must point, in words.
        missing: String,
    },
    /// The magnitudes belong to no common field.
    #[error("no steady field explains the turns: their amplitudes lie on no ellipsoid")]
    NoEllipsoid,
    /// The field changed.
    #[error(
        "the field was not steady: it changed by {percent:.1} % from turn to turn beyond the \
         noise, most at turn {turn} ({turn_percent:+.1} %)"
    )]
    NotSteady {
        /// Standard deviation, percent.
        percent: f64,
        /// The turn that is off most, from 1.
        turn: usize,
        /// By how much, percent.
        turn_percent: f64,
    },
}

/// Fit gains and angles of the coils to `turns`.
///
/// # Errors
///
/// Turns that are too few, one-sided, or of a field that was not steady.
pub fn fit(turns: &[Turn]) -> Result<Rotation, NoRotation> {
    if turns.len() < LEAST_TURNS {
        return Err(NoRotation::TooFew { have: turns.len() });
    }
    let points: Vec<Vector3<f64>> = turns.iter().map(|t| Vector3::from(t.counts)).collect();
    let is_empty = |c: &Vector3<f64>| !(c.norm() > 0.0 && c.norm().is_finite());
    if let Some(turn) = points.iter().position(is_empty) {
        return Err(NoRotation::Empty { turn: turn + 1 });
    }
    let weakest = ellipsoid::weakest(&points);
    if weakest.share < LEAST_SPREAD {
        let missing = missing(weakest.pair);
        // Rounding may leave a little less than nothing.
        let percent = 100.0 * weakest.share.max(0.0);
        return Err(NoRotation::OneSided { percent, missing });
    }
    let start = ellipsoid::through(&points).ok_or(NoRotation::NoEllipsoid)?;
    let start = start.cholesky().ok_or(NoRotation::NoEllipsoid)?.l().transpose();
    let minimum = least_squares::minimise(&[0.0; 6], |p| {
        let whiten = change(p.as_slice()) * start;
        nalgebra::DVector::from_fn(turns.len(), |k, _| Distance::of(&whiten, &turns[k]).residual())
    })
    .ok_or(NoRotation::NoEllipsoid)?;
    let whiten = change(minimum.parameters.as_slice()) * start;
    let spread = Spread::of(turns.iter().map(|turn| Distance::of(&whiten, turn)));
    if spread.change() > MOST_CHANGE {
        return Err(spread.not_steady());
    }
    let covariance = minimum.covariance.clone() * minimum.excess_scatter();
    let covariance = SMatrix::<f64, 6, 6>::from_fn(|i, j| covariance[(i, j)]);
    let at = |p: &[f64]| Geometry::of(&(change(p) * start));
    Ok(rotation(at, minimum.parameters.as_slice(), &covariance, turns.len(), &spread))
}

/// Where the field must point for the pair of axes that is known least.
fn missing(pair: (usize, usize)) -> String {
    let name = |axis: usize| ["x", "y", "z"][axis];
    match pair {
        (i, j) if i == j => format!("the field lies along coil {}", name(i)),
        (i, j) => format!(
            "the field lies midway between coils {} and {}, on either side of them",
            name(i),
            name(j)
        ),
    }
}

/// The matrix by which the start is changed; at zero it changes nothing.
fn change(p: &[f64]) -> Matrix3<f64> {
    Matrix3::new(p[0].exp(), p[3], p[4], 0.0, p[1].exp(), p[5], 0.0, 0.0, p[2].exp())
}

/// The result at the parameters `p` with their covariance.
fn rotation(
    geometry: impl Fn(&[f64]) -> Geometry,
    p: &[f64],
    covariance: &SMatrix<f64, 6, 6>,
    turns: usize,
    spread: &Spread,
) -> Rotation {
    const STEP: f64 = 1e-5;
    let mut slopes = SMatrix::<f64, NUMBERS, 6>::zeros();
    for n in 0..6 {
        let (mut up, mut down) = (p.to_vec(), p.to_vec());
        up[n] += STEP;
        down[n] -= STEP;
        let slope = (geometry(&up).0 - geometry(&down).0) / (2.0 * STEP);
        slopes.set_column(n, &slope);
    }
    let variance = (slopes * covariance * slopes.transpose()).diagonal();
    let value = geometry(p).0;
    let reading = |n: usize| Reading::new(value[n], variance[n].sqrt());
    Rotation {
        axes: std::array::from_fn(|i| std::array::from_fn(|j| value[3 * i + j])),
        u_axes: std::array::from_fn(|i| std::array::from_fn(|j| reading(3 * i + j).u)),
        gains: std::array::from_fn(|i| reading(9 + i)),
        ratios: std::array::from_fn(|i| reading(12 + i)),
        angles_deg: std::array::from_fn(|i| reading(15 + i)),
        turns,
        degrees_of_freedom: turns - 6,
        scatter_rel: spread.scatter,
        noise_rel: spread.noise,
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::SymmetricEigen;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    fn normal(rng: &mut ChaCha8Rng) -> f64 {
        StandardNormal.sample(rng)
    }

    fn direction(rng: &mut ChaCha8Rng) -> Vector3<f64> {
        Vector3::from_fn(|_, _| normal(rng)).normalize()
    }

    /// Coils with gains off by 10 % and directions by 5°, at random.
    struct Coils {
        gains: [f64; 3],
        directions: Matrix3<f64>,
    }

    impl Coils {
        fn random(rng: &mut ChaCha8Rng) -> Self {
            let gains = std::array::from_fn(|_| 1000.0 * (1.0 + 0.1 * normal(rng).signum()));
            let tilt = 5f64.to_radians().tan();
            let rows = std::array::from_fn::<_, 3, _>(|i| {
                let own = Vector3::ith(i, 1.0);
                let aside = own.cross(&direction(rng)).normalize();
                (own + aside * tilt).normalize().transpose()
            });
            Self { gains, directions: Matrix3::from_rows(&rows) }
        }

        fn turn(&self, field: Vector3<f64>, sigma: f64, rng: &mut ChaCha8Rng) -> Turn {
            let seen = self.directions * field;
            Turn {
                counts: std::array::from_fn(|i| self.gains[i] * seen[i] + sigma * normal(rng)),
                u_counts: [sigma; 3],
            }
        }

        /// E in the frame nearest to the coils.
        fn symmetric(&self) -> Matrix3<f64> {
            let eigen = SymmetricEigen::new(self.directions * self.directions.transpose());
            let root = Matrix3::from_diagonal(&eigen.eigenvalues.map(f64::sqrt));
            eigen.eigenvectors * root * eigen.eigenvectors.transpose()
        }
    }

    fn turns(coils: &Coils, count: usize, sigma: f64, rng: &mut ChaCha8Rng) -> Vec<Turn> {
        (0..count).map(|_| coils.turn(direction(rng), sigma, rng)).collect()
    }

    /// Direction of each coil that `axes` states, degrees off the true one.
    fn off_deg(axes: &[[f64; 3]; 3], coils: &Coils) -> [f64; 3] {
        let inverse = Matrix3::from_fn(|i, j| axes[i][j]).try_inverse().unwrap();
        let truth = coils.symmetric();
        std::array::from_fn(|i| {
            let (found, due) = (inverse.row(i), truth.row(i));
            found.transpose().cross(&due.transpose()).norm().atan2(found.dot(&due)).to_degrees()
        })
    }

    /// Carrier 40 dB over the noise of a turn: energy over noise density, the
    /// measure of the project, is 10⁴, so σ is 1/√(2 · 10⁴) of the magnitude.
    /// Bound for the matrix: 0.3 % in gain and 0.2° in direction.
    #[test]
    fn forty_turns_at_40_db_give_gains_to_0_3_percent_and_directions_to_0_2_degrees() {
        let seeds = 400;
        let (mut gain2, mut angle2, mut gain_u2, mut angle_u2) = (0.0, 0.0, 0.0, 0.0);
        for seed in 0..seeds {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let coils = Coils::random(&mut rng);
            let sigma = 1000.0 / 2e4f64.sqrt();
            let found = fit(&turns(&coils, 40, sigma, &mut rng)).unwrap();
            let mean = coils.gains.iter().product::<f64>().cbrt();
            for i in 0..3 {
                let off = found.gains[i].value / (coils.gains[i] / mean) - 1.0;
                gain2 += off * off;
                gain_u2 += (off / found.gains[i].u_rel()).powi(2);
            }
            angle2 += off_deg(&found.axes, &coils).map(|d| d * d).iter().sum::<f64>();
            for (n, (i, j)) in [(0, 1), (0, 2), (1, 2)].into_iter().enumerate() {
                let due = coils.directions.row(i).dot(&coils.directions.row(j)).acos().to_degrees();
                let found = found.angles_deg[n];
                angle_u2 += ((found.value - due) / found.u).powi(2);
            }
        }
        let rms = |sum: f64| (sum / (3 * seeds) as f64).sqrt();
        println!(
            "gain {:.3} %, direction {:.3}°, error over u: gain {:.2}, angle {:.2}",
            100.0 * rms(gain2),
            rms(angle2),
            rms(gain_u2),
            rms(angle_u2)
        );
        assert!(rms(gain2) < 0.003 && rms(angle2) < 0.2);
        // The bounds of the module's first screen, and honest uncertainties.
        let sigma = 1.0 / 2e4f64.sqrt();
        assert!(rms(gain2) < 1.1 * sigma * (5.0f64 / 40.0).sqrt());
        assert!(rms(angle2) < 1.1 * (sigma * (7.5f64 / 40.0).sqrt()).to_degrees());
        assert!((0.9..1.15).contains(&rms(gain_u2)) && (0.9..1.15).contains(&rms(angle_u2)));
    }

    #[test]
    fn the_sign_of_each_turn_does_not_matter() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let coils = Coils::random(&mut rng);
        let turns = turns(&coils, 20, 1.0, &mut rng);
        let flip = |(k, t): (usize, &Turn)| {
            let sign = if k.is_multiple_of(2) { -1.0 } else { 1.0 };
            Turn { counts: t.counts.map(|c| sign * c), ..*t }
        };
        let flipped: Vec<Turn> = turns.iter().enumerate().map(flip).collect();
        let (a, b) = (fit(&turns).unwrap(), fit(&flipped).unwrap());
        for i in 0..3 {
            assert!((a.gains[i].value - b.gains[i].value).abs() < 1e-9);
        }
    }

    /// Noise of a twentieth of the field: what it does on average stays below a
    /// tenth of what it does to a single fit.
    #[test]
    fn strong_noise_does_not_bias_the_gains() {
        let (mut mean, mut u, seeds) = (0.0, 0.0, 400);
        for seed in 0..seeds {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let coils = Coils { gains: [800.0, 1000.0, 1250.0], directions: Matrix3::identity() };
            let gain = fit(&turns(&coils, 40, 50.0, &mut rng)).unwrap().gains[0];
            mean += (gain.value / 0.8 - 1.0) / seeds as f64;
            u += gain.u_rel() / seeds as f64;
        }
        // The mean itself is known to a twentieth.
        assert!(mean.abs() < 0.2 * u, "{mean} of {u}");
    }

    #[test]
    fn too_few_turns_and_turns_in_one_plane_are_refused_by_name() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let coils = Coils::random(&mut rng);
        let few = turns(&coils, 8, 1.0, &mut rng);
        assert_eq!(fit(&few), Err(NoRotation::TooFew { have: 8 }));
        let flat: Vec<Turn> = (0..40)
            .map(|k| {
                let turn = k as f64;
                let tip = 0.1 * normal(&mut rng);
                let field = Vector3::new(turn.cos(), turn.sin(), tip).normalize();
                coils.turn(field, 1.0, &mut rng)
            })
            .collect();
        let refused = fit(&flat).unwrap_err();
        assert!(matches!(refused, NoRotation::OneSided { .. }), "{refused}");
        assert!(refused.to_string().contains("coil z"), "{refused}");
        let turn = |k: usize| (1.0 + k as f64).sin_cos();
        let in_one_plane =
            |k: usize| Turn { counts: [1e3 * turn(k).0, 1e3 * turn(k).1, 0.0], u_counts: [1.0; 3] };
        let plane: Vec<Turn> = (0..12).map(in_one_plane).collect();
        let refused = fit(&plane).unwrap_err().to_string();
        assert!(refused.contains("(0 % of an even spread)"), "{refused}");
    }

    #[test]
    fn a_field_that_changed_is_refused_with_the_turn() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let coils = Coils::random(&mut rng);
        let mut turns = turns(&coils, 40, 1.0, &mut rng);
        turns[16].counts = turns[16].counts.map(|c| 1.3 * c);
        let refused = fit(&turns).unwrap_err();
        assert!(matches!(refused, NoRotation::NotSteady { turn: 17, .. }), "{refused}");
        turns[16].counts = [0.0; 3];
        assert_eq!(fit(&turns), Err(NoRotation::Empty { turn: 17 }));
    }

    /// Half a percent of change is not refused, but it costs.
    #[test]
    fn a_field_that_changed_a_little_widens_the_uncertainty() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let coils = Coils::random(&mut rng);
        let steady = turns(&coils, 40, 0.5, &mut rng);
        let sways = |t: &Turn| {
            let factor =
                1.0 + 0.005 * normal(&mut ChaCha8Rng::seed_from_u64(t.counts[0].to_bits()));
            Turn { counts: t.counts.map(|c| factor * c), ..*t }
        };
        let swaying: Vec<Turn> = steady.iter().map(sways).collect();
        let (a, b) = (fit(&steady).unwrap(), fit(&swaying).unwrap());
        assert!(b.gains[0].u > 5.0 * a.gains[0].u, "{:?} {:?}", a.gains, b.gains);
    }
}
