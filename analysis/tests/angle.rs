//! Laws of coupling over angle, and what is stated of them, over random turns.

use coilrig_analysis::angle::moment::case_moment;
use coilrig_analysis::angle::{
    AngleAnalysis, AngleError, AngleReading, Coupling, Law, Options, Turned, analyse, fit,
};
use coilrig_analysis::field::dipole;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::survey::Components;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const HZ: f64 = 457e3;

struct Draws(ChaCha8Rng);

impl Draws {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    fn within(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.0.random::<f64>()
    }

    fn direction(&mut self) -> [f64; 3] {
        unit([self.normal(), self.normal(), self.normal()])
    }
}

fn norm(v: [f64; 3]) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}

fn unit(v: [f64; 3]) -> [f64; 3] {
    v.map(|c| c / norm(v))
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}

#[track_caller]
fn stated_well(what: &str, errors_over_u: &[f64]) {
    let rms = root_mean_square(errors_over_u);
    println!("{what}: error over stated uncertainty {rms:.2} over {}", errors_over_u.len());
    assert!((0.8..1.25).contains(&rms), "{what}: {rms}");
}

/// Difference of two directions that are the same half a turn on, degrees.
fn apart_deg(a: f64, b: f64) -> f64 {
    (a - b) - ((a - b) / 180.0).round() * 180.0
}

/// Readings of S √((cos(θ − θ0) + β)² + q²) with noise and with angles that are
/// not quite those stated.
struct Turn {
    law: [f64; 4],
    noise: f64,
    u_angle_deg: f64,
    step_deg: f64,
}

impl Turn {
    fn readings(&self, draws: &mut Draws) -> Vec<AngleReading> {
        let [scale, theta_deg, leak, fill] = self.law;
        let count = (360.0 / self.step_deg).round() as usize;
        (0..count)
            .map(|i| {
                let angle_deg = i as f64 * self.step_deg;
                let true_deg = angle_deg + self.u_angle_deg * draws.normal();
                let along = (true_deg - theta_deg).to_radians().cos() + leak;
                let field = scale * along.hypot(fill) + self.noise * draws.normal();
                AngleReading {
                    angle_deg,
                    u_angle_deg: self.u_angle_deg,
                    field_a_per_m: field.abs(),
                    u_field_a_per_m: self.noise,
                    components: None,
                }
            })
            .collect()
    }
}

/// Over random turns: errors over u of θ0, β, and q where it was set free.
fn errors(law: Law, turn: impl Fn(&mut Draws) -> Turn) -> [Vec<f64>; 3] {
    let mut errors: [Vec<f64>; 3] = Default::default();
    for seed in 0..300 {
        let mut draws = Draws::new(seed);
        let turn = turn(&mut draws);
        let fit = fit(&turn.readings(&mut draws), law).unwrap();
        let [_, theta_deg, leak, fill] = turn.law;
        let theta = fit.misalignment_deg;
        errors[0].push(apart_deg(theta.value, theta_deg) / theta.u);
        // β turns round with half a turn of θ0.
        let halves = ((theta.value - theta_deg) / 180.0).round();
        let sign = if halves.rem_euclid(2.0) == 0.0 { 1.0 } else { -1.0 };
        errors[1].push((fit.leak.value - sign * leak) / fit.leak.u);
        if let Some(q) = fit.fill {
            errors[2].push((q.value - fill) / q.u);
        }
    }
    errors
}

#[test]
fn the_cosine_law_is_found_with_the_uncertainty_it_states() {
    let [theta, leak, fill] = errors(Law::Cosine, |draws| Turn {
        law: [1e-6, draws.within(-90.0, 90.0), draws.within(-0.2, 0.2), draws.within(0.08, 0.3)],
        noise: 10e-9,
        u_angle_deg: 1.0,
        step_deg: 15.0,
    });
    stated_well("cosine law, misalignment", &theta);
    stated_well("cosine law, leak in phase", &leak);
    assert!(fill.len() > 280, "{}", fill.len());
    stated_well("cosine law, leak in quadrature", &fill);
}

#[test]
fn nulls_without_a_leak_do_not_pretend_to_one() {
    let [theta, leak, fill] = errors(Law::Cosine, |draws| Turn {
        law: [1e-6, draws.within(-90.0, 90.0), 0.0, 0.0],
        noise: 10e-9,
        u_angle_deg: 1.0,
        step_deg: 15.0,
    });
    stated_well("no leak, misalignment", &theta);
    stated_well("no leak, leak in phase", &leak);
    // The 99 % point by design, of a law that is folded in its nulls.
    assert!(fill.len() < 15, "{} of 300", fill.len());
}

#[test]
fn the_dipole_law_is_found_with_the_uncertainty_it_states() {
    let law = Law::Dipole.fill();
    let [theta, leak, free] = errors(Law::Dipole, |draws| Turn {
        law: [1e-6, draws.within(-90.0, 90.0), draws.within(-0.2, 0.2), law],
        noise: 20e-9,
        u_angle_deg: 1.0,
        step_deg: 15.0,
    });
    stated_well("dipole law, misalignment", &theta);
    stated_well("dipole law, leak", &leak);
    assert!(free.len() < 10, "{} of 300", free.len());
}

/// A unit turned about z of the station before a receiver held somehow, its x axis
/// within 60° of away from the unit; the moment anywhere in its case: vectors of
/// unknown sign.
struct Stand {
    case_moment: [f64; 3],
    distance_m: f64,
    /// Rows: the receiver's axes in the station.
    axes: [[f64; 3]; 3],
    u_rel: f64,
    u_angle_deg: f64,
    angles_deg: Vec<f64>,
}

impl Stand {
    fn random(draws: &mut Draws, step_deg: f64) -> Self {
        let x = std::iter::repeat_with(|| draws.direction()).find(|x| x[0] > 0.5).unwrap();
        let other = draws.direction();
        let z = unit(cross(x, other));
        let direction = draws.direction();
        Self {
            case_moment: direction.map(|c| 5e-3 * c),
            distance_m: 2.0,
            axes: [x, cross(z, x), z],
            u_rel: 0.01,
            u_angle_deg: 1.0,
            angles_deg: (0..(360.0 / step_deg) as usize).map(|i| i as f64 * step_deg).collect(),
        }
    }

    fn readings(&self, draws: &mut Draws) -> Vec<AngleReading> {
        let peak = dipole::coaxial(norm(self.case_moment), self.distance_m, HZ);
        let noise = self.u_rel * peak;
        self.angles_deg
            .iter()
            .map(|&angle_deg| {
                let true_deg = angle_deg + self.u_angle_deg * draws.normal();
                let (sin, cos) = true_deg.to_radians().sin_cos();
                let [x, y, z] = self.case_moment;
                let moment = [x * cos - y * sin, x * sin + y * cos, z];
                let field = dipole::field(moment, [self.distance_m, 0.0, 0.0], HZ).map(|h| h.re);
                let sign = if draws.within(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
                let h_a_per_m = self.axes.map(|axis| {
                    sign * (axis.iter().zip(field).map(|(a, h)| a * h).sum::<f64>()
                        + noise * draws.normal())
                });
                AngleReading {
                    angle_deg,
                    u_angle_deg: self.u_angle_deg,
                    field_a_per_m: norm(h_a_per_m),
                    u_field_a_per_m: noise,
                    components: Some(Components { h_a_per_m, u_a_per_m: noise }),
                }
            })
            .collect()
    }
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn moment_of(readings: &[AngleReading]) -> AngleAnalysis {
    let distance_m = Some(Reading::new(2.0, 0.0));
    analyse(readings, &Options { distance_m, ..Options::default() }).unwrap()
}

/// Signs from step to step drawn at random, 5 mA·m² in 2 m: direction in the case
/// and magnitude, and each over its stated uncertainty.
#[test]
fn the_moment_in_its_case_is_found_with_the_uncertainty_it_states() {
    for step_deg in [15.0, 40.0] {
        let (mut azimuth, mut elevation, mut magnitude) = (Vec::new(), Vec::new(), Vec::new());
        let mut worst_deg: f64 = 0.0;
        for seed in 0..200 {
            let mut draws = Draws::new(1000 + seed);
            let stand = Stand::random(&mut draws, step_deg);
            let [x, y, z] = unit(stand.case_moment);
            // Moments along the axis of turning have no coupling over angle.
            if z.abs() > 0.95 {
                continue;
            }
            let analysis = moment_of(&stand.readings(&mut draws));
            let found = analysis.moment.unwrap();
            let sign = if x < 0.0 { -1.0 } else { 1.0 };
            let true_azimuth = (sign * y).atan2(sign * x).to_degrees();
            let true_elevation = (sign * z).asin().to_degrees();
            let turned = ((found.azimuth_deg.value - true_azimuth) / 180.0).round();
            let side = if turned.rem_euclid(2.0) == 0.0 { 1.0 } else { -1.0 };
            azimuth.push(apart_deg(found.azimuth_deg.value, true_azimuth) / found.azimuth_deg.u);
            elevation
                .push((found.elevation_deg.value - side * true_elevation) / found.elevation_deg.u);
            let moment = analysis.moment_a_m2.unwrap();
            magnitude.push((moment.value - 5e-3) / moment.u);
            let along: f64 = found
                .direction
                .iter()
                .zip([x, y, z])
                .map(|(found, truth)| found.value * truth)
                .sum::<f64>()
                .abs();
            worst_deg = worst_deg.max(along.min(1.0).acos().to_degrees());
        }
        println!("steps of {step_deg}°: worst direction {worst_deg:.2}°");
        assert!(worst_deg < if step_deg < 20.0 { 2.5 } else { 4.0 }, "{worst_deg}");
        stated_well("azimuth in the case", &azimuth);
        stated_well("elevation in the case", &elevation);
        stated_well("moment", &magnitude);
    }
}

/// Gains of the receiver's axes that are off by 3 %, each by itself, and readings of
/// 0.1 %: the stated calibration answers for what they do to the direction.
#[test]
fn gains_that_differ_are_in_the_stated_direction() {
    let (mut azimuth, mut elevation) = (Vec::new(), Vec::new());
    for seed in 0..200 {
        let mut draws = Draws::new(5000 + seed);
        let stand = Stand { u_rel: 1e-3, u_angle_deg: 0.0, ..Stand::random(&mut draws, 15.0) };
        let stand = Stand { case_moment: [3e-3, 1e-3, -2e-3], ..stand };
        let gains: [f64; 3] = std::array::from_fn(|_| 1.0 + 0.03 * draws.normal());
        let mut readings = stand.readings(&mut draws);
        for reading in &mut readings {
            let c = reading.components.as_mut().unwrap();
            c.h_a_per_m = std::array::from_fn(|axis| gains[axis] * c.h_a_per_m[axis]);
            reading.field_a_per_m = norm(c.h_a_per_m);
        }
        let options = Options { u_calibration_rel: 0.03, ..Options::default() };
        let found = analyse(&readings, &options).unwrap().moment.unwrap();
        let [x, y, z] = unit(stand.case_moment);
        azimuth.push((found.azimuth_deg.value - y.atan2(x).to_degrees()) / found.azimuth_deg.u);
        elevation.push((found.elevation_deg.value - z.asin().to_degrees()) / found.elevation_deg.u);
    }
    stated_well("azimuth, gains off", &azimuth);
    stated_well("elevation, gains off", &elevation);
}

/// Laws: the angle of the greatest field is minus the azimuth; the sign that all
/// vectors share, the receiver's attitude and the order of readings change nothing;
/// a mark a quarter turn on is a quarter turn less of azimuth.
#[test]
fn what_cannot_matter_does_not() {
    let mut draws = Draws::new(5);
    let stand = Stand { u_rel: 1e-6, u_angle_deg: 0.0, ..Stand::random(&mut draws, 15.0) };
    let stand = Stand { case_moment: [3e-3, 1e-3, -2e-3], ..stand };
    let readings = stand.readings(&mut draws);
    let analysis = moment_of(&readings);
    let found = analysis.moment.clone().unwrap();
    let expected = unit([3.0, 1.0, -2.0]);
    // The induction term is left out: (kr)² is 3.7e-4.
    for (found, expected) in found.direction.iter().zip(expected) {
        assert!((found.value - expected).abs() < 4e-4, "{found:?} {expected}");
    }
    assert!((analysis.misalignment_deg.value + found.azimuth_deg.value).abs() < 1e-3);
    // Near 2 m the induction term adds (kr)²/2 = 0.02 %.
    assert!((analysis.moment_a_m2.unwrap().value / 14e-6f64.sqrt() - 1.0).abs() < 1e-3);

    let mut other = readings.clone();
    other.reverse();
    for reading in &mut other {
        let c = reading.components.as_mut().unwrap();
        let [x, y, z] = c.h_a_per_m;
        c.h_a_per_m = [-x, -z, y];
        reading.angle_deg -= 90.0;
    }
    let turned = moment_of(&other).moment.unwrap();
    let [x, y, z] = turned.direction.map(|d| d.value);
    // The case turned back by 90° about z: (x, y) of it were (−y, x) before.
    let back = [y, -x, z];
    let along: f64 = back.iter().zip(expected).map(|(a, b)| a * b).sum();
    assert!(along.abs() > 1.0 - 1e-6, "{back:?}");
}

/// |H| of a dipole turned in place is √(1 + 3 cos²): greatest over least is 2.
#[test]
fn the_magnitude_of_a_turned_unit_is_that_of_a_dipole() {
    let mut draws = Draws::new(6);
    let stand = Stand { u_rel: 1e-5, u_angle_deg: 0.0, ..Stand::random(&mut draws, 15.0) };
    let stand = Stand { case_moment: [5e-3, 0.0, 0.0], ..stand };
    let analysis = moment_of(&stand.readings(&mut draws));
    assert_eq!((analysis.law, analysis.coupling), (Law::Dipole, Coupling::Field));
    assert!((analysis.depth_db.unwrap().value + 6.0206).abs() < 0.01, "{:?}", analysis.depth_db);
    assert!(analysis.misalignment_deg.value.abs() < 0.01);
}

/// A receiver turned in place: the magnitude stays, a component follows the cosine.
/// A coil 3° out of the plane of turning in a field 20° out of it leaks.
#[test]
fn a_coil_that_is_not_square_to_its_axis_leaks() {
    let (tilt, rise) = (3.0f64.to_radians(), 20.0f64.to_radians());
    let (field, u) = (1e-6, 1e-9);
    let readings: Vec<AngleReading> = (0..24)
        .map(|i| {
            let angle_deg = f64::from(i) * 15.0;
            let (sin, cos) = (angle_deg - 10.0).to_radians().sin_cos();
            // Along x and y of the box, and z up.
            let h = [field * rise.cos() * cos, -field * rise.cos() * sin, field * rise.sin()];
            let x = h[0] * tilt.cos() + h[2] * tilt.sin();
            let z = h[2] * tilt.cos() - h[0] * tilt.sin();
            let components = Some(Components { h_a_per_m: [x, h[1], z], u_a_per_m: u });
            AngleReading {
                angle_deg,
                u_angle_deg: 0.0,
                field_a_per_m: field,
                u_field_a_per_m: u,
                components,
            }
        })
        .collect();
    let analysis =
        analyse(&readings, &Options { turned: Turned::Coil, ..Options::default() }).unwrap();
    assert_eq!((analysis.coupling, analysis.law), (Coupling::X, Law::Cosine));
    assert!(analysis.moment.is_none());
    assert!((analysis.misalignment_deg.value - 10.0).abs() < 0.05);
    let leak = tilt.tan() * rise.tan();
    assert!((analysis.leakage_ratio.value - leak).abs() < 1e-3, "{:?}", analysis.leakage_ratio);
}

/// Coils that turn about an axis beside them: nearer on one side, farther on the
/// other. The law does not fit, and the harmonics say why.
#[test]
fn turning_about_another_middle_shows() {
    let readings: Vec<AngleReading> = (0..24)
        .map(|i| {
            let angle_deg = f64::from(i) * 15.0;
            let angle = angle_deg.to_radians();
            // 5 cm off in 1 m, and H ∝ 1/r³.
            let r = 1.0 - 0.05 * (angle - 0.9).cos();
            let field_a_per_m = 1e-6 * angle.cos().abs().max(1e-3) / r.powi(3);
            AngleReading {
                angle_deg,
                u_angle_deg: 0.0,
                field_a_per_m,
                u_field_a_per_m: 5e-9,
                components: None,
            }
        })
        .collect();
    let analysis = analyse(&readings, &Options::default()).unwrap();
    assert!(analysis.chance < 1e-6);
    let third = analysis.harmonics.iter().find(|h| h.order == 3).unwrap();
    assert!(third.stands_out(), "{third:?}");
    assert!(analysis.notes.iter().any(|n| n.contains("about its own middle")));
}

/// A reading 30 % too strong is named, and the law stays near the others.
#[test]
fn a_reading_far_off_is_named() {
    let mut readings = whole_turn();
    readings[3].field_a_per_m *= 1.3;
    let analysis = analyse(&readings, &Options::default()).unwrap();
    let named: Vec<_> = analysis.notes.iter().filter(|n| n.contains("look at it again")).collect();
    assert_eq!(named.len(), 1, "{named:?}");
    assert!(named[0].contains("at 45° lies"), "{named:?}");
    let theta = analysis.misalignment_deg;
    assert!((theta.value - 7.0).abs() < 3.0 * theta.u, "{theta:?}");
    assert!(analyse(&whole_turn(), &Options::default()).unwrap().chance > 0.01);
}

fn plain(angles_deg: impl IntoIterator<Item = f64>) -> Vec<AngleReading> {
    angles_deg
        .into_iter()
        .map(|angle_deg| {
            let cos = (angle_deg - 7.0).to_radians().cos();
            AngleReading {
                angle_deg,
                u_angle_deg: 1.0,
                field_a_per_m: 1e-6 * cos.abs().max(1e-3),
                u_field_a_per_m: 1e-8,
                components: None,
            }
        })
        .collect()
}

fn whole_turn() -> Vec<AngleReading> {
    plain((0..24).map(|i| f64::from(i) * 15.0))
}

#[test]
fn what_gives_no_result_is_named() {
    let refused = |readings: &[AngleReading]| analyse(readings, &Options::default()).unwrap_err();
    assert_eq!(refused(&[]), AngleError::TooFew { have: 0 });
    assert!(case_moment(&[], 0.0).is_none() && case_moment(&whole_turn(), 0.0).is_none());
    assert_eq!(refused(&plain([0.0, 90.0, 180.0, 270.0])), AngleError::TooFew { have: 4 });
    // 0 and 360 are one angle.
    let turn = [0.0, 60.0, 120.0, 180.0, 240.0, 360.0];
    assert_eq!(refused(&plain(turn)), AngleError::TooFew { have: 5 });
    assert_eq!(refused(&plain([30.0; 8])), AngleError::OneAngle(30.0));
    let narrow = refused(&plain((0..10).map(|i| f64::from(i) * 10.0)));
    assert!(matches!(narrow, AngleError::TooNarrow { span_deg } if (span_deg - 90.0).abs() < 1e-9));
    let radians = whole_turn().iter().map(|r| r.angle_deg.to_radians()).collect::<Vec<_>>();
    assert!(matches!(refused(&plain(radians)), AngleError::Radians { .. }));

    let mut readings = whole_turn();
    readings[4].field_a_per_m = f64::NAN;
    assert!(matches!(refused(&readings), AngleError::NotFinite { row: 5, .. }));
    readings[4].field_a_per_m = -1e-6;
    assert!(matches!(refused(&readings), AngleError::NotPositive { row: 5, .. }));
    for (factor, row) in [(1e3, 3), (1e-3, 3), (1e-3, 13)] {
        let mut readings = whole_turn();
        readings[row - 1].field_a_per_m *= factor;
        let error = refused(&readings);
        assert!(matches!(error, AngleError::OtherUnit { row: at, .. } if at == row), "{error}");
    }
    let constant: Vec<_> =
        whole_turn().into_iter().map(|r| AngleReading { field_a_per_m: 1e-6, ..r }).collect();
    assert_eq!(refused(&constant), AngleError::NoCoupling);
    let shared = Options { u_calibration_rel: -0.1, ..Options::default() };
    assert_eq!(analyse(&whole_turn(), &shared).unwrap_err(), AngleError::Calibration(-0.1));

    let mut mixed = whole_turn();
    let components = Components { h_a_per_m: [mixed[0].field_a_per_m, 0.0, 0.0], u_a_per_m: 1e-8 };
    mixed[0].components = Some(components);
    assert_eq!(refused(&mixed), AngleError::Mixed { row: 2 });
    for reading in &mut mixed {
        let h_a_per_m = [3.0 * reading.field_a_per_m + 1e-6, 0.0, 0.0];
        reading.components = Some(Components { h_a_per_m, u_a_per_m: 1e-9 });
    }
    assert!(matches!(refused(&mixed), AngleError::OtherMagnitude { row: 1, .. }));
}

/// The calibration is in the peak, once, and nowhere else.
#[test]
fn the_calibration_counts_in_the_peak_alone() {
    let with = |u_calibration_rel| {
        analyse(&whole_turn(), &Options { u_calibration_rel, ..Options::default() }).unwrap()
    };
    let (without, with) = (with(0.0), with(0.05));
    let more = with.peak_a_per_m.u_rel().powi(2) - without.peak_a_per_m.u_rel().powi(2);
    assert!((more - 0.05f64.powi(2)).abs() < 1e-9);
    assert_eq!(without.misalignment_deg, with.misalignment_deg);
    assert_eq!(without.leakage_ratio, with.leakage_ratio);
}
