//! The budget of the field at 10 m against a Monte Carlo run (JCGM 101): true
//! distances, tilts, calibrations, surroundings and noise are drawn, the reading
//! computed from the dipole's field itself, and the result set against the truth.

use coilrig_analysis::field::dipole;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::signal::{Calibration, PulseCount, Transmitter};
use coilrig_analysis::uncertainty::{Budget, Contribution};
use coilrig_analysis::verification::{
    CalibrationDetail, Heard, Placement, Setup, as_measured, field_at,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const CARRIER_HZ: f64 = 457_000.0;
const U_NOISE_REL: f64 = 0.005;
const U_CALIBRATION_REL: f64 = 0.02;
/// Greatest effect of the ground, as the square of the distance.
const GROUND_AT_10_M: f64 = 0.175;
/// Of coils whose angles were never measured.
const U_ANGLE_RAD: f64 = std::f64::consts::PI / 180.0;

/// A transmitter of this field vector.
fn transmitter(field: &[f64]) -> Transmitter {
    let magnitude = field.iter().map(|h| h * h).sum::<f64>().sqrt();
    let amplitude = Reading::new(magnitude, U_NOISE_REL * magnitude);
    Transmitter {
        label: "T1".into(),
        trains: vec![0],
        carrier_hz: Reading::new(CARRIER_HZ, 0.1),
        carrier_drift_hz_per_s: Reading::new(0.0, 0.001),
        key_on_chirp_hz: None,
        period_s: Reading::new(1.0, 1e-5),
        period_jitter_s: 0.0,
        on_time_s: Reading::new(0.09, 1e-5),
        off_time_s: Reading::new(0.91, 1e-5),
        field_a_per_m: Some(amplitude),
        field_vector_a_per_m: Some(field.to_vec()),
        channel_direction: std::array::from_fn(|i| field.get(i).map_or(0.0, |h| h / magnitude)),
        moved: false,
        amplitude,
        u_calibration_rel: U_CALIBRATION_REL,
        residual_carrier_ratio: Reading::new(0.0, 0.001),
        pulses: PulseCount { expected: 60, found: 60, overlapped: 0 },
        first_pulse_s: 0.4,
        notes: Vec::new(),
    }
}

fn calibration(axes: usize) -> Calibration {
    Calibration {
        field_per_count: Some(vec![1e-9; axes]),
        field_per_count_u_rel: Some(vec![U_CALIBRATION_REL; axes]),
        field_per_count_u_common_rel: Some(U_CALIBRATION_REL),
        clock_offset_ppm: Some(0.0),
        clock_offset_u_ppm: Some(0.1),
        axes: None,
    }
}

/// One capture of a minute.
fn heard<'a>(
    transmitter: &'a Transmitter,
    calibration: &'a Calibration,
    detail: &'a CalibrationDetail,
    axes: usize,
) -> Heard<'a> {
    Heard { transmitter, calibration, detail, axes, duration_s: 60.0, clipped: false }
}

struct Draw(ChaCha8Rng);

impl Draw {
    fn normal(&mut self, sigma: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        sigma * z
    }

    /// `axis`, tilted a little in every direction.
    fn tilted(&mut self, axis: [f64; 3], sigma: f64) -> [f64; 3] {
        let off = axis.map(|c| c + self.normal(sigma));
        let norm = off.iter().map(|c| c * c).sum::<f64>().sqrt();
        off.map(|c| c / norm)
    }

    /// What a receiver of `axes` coils along z, x, y reads of a field.
    fn read(&mut self, axes: usize, h: [f64; 3], sigma_tilt: f64) -> Vec<f64> {
        match axes {
            3 => h.to_vec(),
            _ => {
                let coil = self.tilted([0.0, 0.0, 1.0], sigma_tilt);
                vec![h.iter().zip(coil).map(|(h, c)| h * c).sum::<f64>().abs()]
            }
        }
    }
}

/// What three coils see of a field whose angles to each other are off by `off_rad`.
fn askew(h: [f64; 3], off_rad: [f64; 3]) -> [f64; 3] {
    let [xy, xz, yz] = off_rad.map(|off| 0.5 * off);
    [h[0] - xy * h[1] - xz * h[2], h[1] - xy * h[0] - yz * h[2], h[2] - xz * h[0] - yz * h[1]]
}

/// RMS field of a dipole with the phases of its parts.
fn field(moment: [f64; 3], offset_m: [f64; 3]) -> [f64; 3] {
    dipole::field(moment, offset_m, CARRIER_HZ).map(|c| c.norm().copysign(c.re))
}

/// Mean, spread and cover of the results over their stated uncertainty, for `draws`
/// draws of a set-up.
fn run(placement: Placement, axes: usize, distance_m: f64, draws: usize) -> (f64, f64, f64) {
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(distance_m.to_bits() ^ axes as u64));
    let setup = Setup::at(distance_m, placement);
    let (calibration, detail) = (calibration(axes), CalibrationDetail::default());
    let (moment, target_m) = (4e-3, 10.0);
    let truth = dipole::coaxial(moment, target_m, CARRIER_HZ);
    let (mut in_u, mut covered) = (Vec::new(), 0);
    for _ in 0..draws {
        let true_m = distance_m + draw.normal(setup.u_distance_m);
        let ground = GROUND_AT_10_M * (distance_m / 10.0).powi(2) * draw.0.random_range(-1.0..1.0);
        let common = (1.0 + draw.normal(U_CALIBRATION_REL))
            * (1.0 + draw.normal(setup.u_surroundings_rel))
            * (1.0 + ground);
        let angles_rad = [0.0; 3].map(|_| draw.normal(U_ANGLE_RAD));
        let mut one = |axis: [f64; 3], direction: [f64; 3]| {
            let offset_m = direction.map(|c| c * true_m);
            let h = askew(field(axis.map(|c| c * moment), offset_m), angles_rad);
            let noise = 1.0 + draw.normal(U_NOISE_REL);
            let read = draw.read(axes, h, setup.u_tilt_rad);
            transmitter(&read.iter().map(|h| h * common * noise).collect::<Vec<_>>())
        };
        let transmitters: Vec<Transmitter> = match placement {
            Placement::ThreeDirections => {
                let mut other = Draw(ChaCha8Rng::seed_from_u64(in_u.len() as u64));
                // Any direction at all, the same for all three readings.
                let axis = other.tilted([0.0; 3], 1.0);
                [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
                    .map(|towards| one(axis, other.tilted(towards, setup.u_tilt_rad)))
                    .into()
            }
            placement => {
                let mut other = Draw(ChaCha8Rng::seed_from_u64(in_u.len() as u64));
                let axis = other.tilted([0.0, 0.0, 1.0], setup.u_tilt_rad);
                let along = placement == Placement::Coaxial;
                vec![one(axis, if along { [0.0, 0.0, 1.0] } else { [1.0, 0.0, 0.0] })]
            }
        };
        let heard: Vec<Heard<'_>> = transmitters
            .iter()
            .map(|transmitter| heard(transmitter, &calibration, &detail, axes))
            .collect();
        let budget = field_at(target_m, &heard, &setup).unwrap();
        in_u.push((budget.value - truth) / budget.u);
        covered += usize::from((budget.value - truth).abs() <= budget.expanded(0.95).u);
    }
    let n = draws as f64;
    let mean = in_u.iter().sum::<f64>() / n;
    let spread = (in_u.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / n).sqrt();
    (mean, spread, covered as f64 / n)
}

#[test]
fn the_budget_holds_against_drawn_truths() {
    for (placement, axes) in [
        (Placement::Coaxial, 3),
        (Placement::Coaxial, 1),
        (Placement::Coplanar, 3),
        (Placement::Coplanar, 1),
        (Placement::ThreeDirections, 3),
    ] {
        for distance_m in [2.0, 5.0, 10.0] {
            let (mean, spread, cover) = run(placement, axes, distance_m, 4000);
            println!(
                "{placement:?}, {axes} axes, {distance_m} m: error over u {mean:+.3} ± {spread:.3}, \
                 95 % intervals hold {:.1} %",
                100.0 * cover
            );
            // A field read too low states too small an uncertainty, being relative.
            assert!(mean.abs() < 0.15, "{placement:?} {axes} {distance_m}: mean {mean}");
            assert!((0.9..=1.06).contains(&spread), "{placement:?} {axes} {distance_m}: {spread}");
            assert!((cover - 0.95).abs() <= 0.02, "{placement:?} {axes} {distance_m}: {cover}");
        }
    }
}

/// One capture, no error in anything: the dipole's own field at 10 m.
#[test]
fn without_error_the_field_is_that_of_the_dipole() {
    let (moment, calibration, detail) = (4e-3, calibration(3), CalibrationDetail::default());
    let truth = dipole::coaxial(moment, 10.0, CARRIER_HZ);
    for (placement, offset_m) in
        [(Placement::Coaxial, [0.0, 0.0, 3.0]), (Placement::Coplanar, [3.0, 0.0, 0.0])]
    {
        let setup = Setup { u_tilt_rad: 0.0, ..Setup::at(3.0, placement) };
        let transmitter = transmitter(&field([0.0, 0.0, moment], offset_m));
        let heard = heard(&transmitter, &calibration, &detail, 3);
        let found = field_at(10.0, &[heard], &setup).unwrap();
        assert!((found.value / truth - 1.0).abs() < 1e-9, "{placement:?}: {}", found.value / truth);
        // 2 cm in 3 m make 2 % of the field, three times 0.67 %.
        let distance = found.contributions.iter().find(|c| c.name == "distance").unwrap();
        assert!((distance.u_contribution / found.value - 0.02).abs() < 0.0005);
    }
}

#[test]
fn what_is_not_calibrated_is_not_judged() {
    let transmitter = transmitter(&[1e-6, 0.0, 0.0]);
    let setup = Setup::at(3.0, Placement::Coaxial);
    let whole = calibration(3);
    let without_scale = Calibration { field_per_count: None, ..whole.clone() };
    let without_u = Calibration { field_per_count_u_rel: None, ..whole.clone() };
    let detail = CalibrationDetail::default();
    let heard = |calibration| heard(&transmitter, calibration, &detail, 3);
    let refused = |calibration| field_at(10.0, &[heard(calibration)], &setup).unwrap_err().0;
    assert!(refused(&without_scale).contains("field_per_count"));
    assert!(refused(&without_u).contains("field_per_count_u_rel"));
    let no_clock = Calibration { clock_offset_u_ppm: None, ..whole.clone() };
    assert!(heard(&no_clock).carrier().unwrap_err().0.contains("clock"));
    assert!(heard(&no_clock).period().is_ok(), "no clock is so bad that a period would suffer");
    let three = Setup { placement: Placement::ThreeDirections, ..setup };
    assert!(field_at(10.0, &[heard(&whole)], &three).unwrap_err().0.contains("3 captures"));
}

/// Taken apart and put together again, the uncertainties of a measurement are the same.
#[test]
fn budgets_of_a_measurement_are_what_it_states() {
    let mut transmitter = transmitter(&[2e-6, -1e-6, 2e-6]);
    let detail = CalibrationDetail::default();
    for common in [0.0f64, 0.01] {
        let calibration = Calibration {
            field_per_count_u_rel: Some(vec![0.02, 0.04, 0.01]),
            field_per_count_u_common_rel: Some(common),
            ..calibration(3)
        };
        // Shares 4/9, 1/9, 4/9 of the square, what the axes share in full.
        let own = |u: f64| (u * u - common * common).sqrt();
        let by_axes = [4.0 * own(0.02), own(0.04), 4.0 * own(0.01)].map(|part| part / 9.0);
        let u_calibration = by_axes.iter().fold(common, |u, part| u.hypot(*part)) * 3e-6;
        let u_field = transmitter.amplitude.u.hypot(u_calibration);
        transmitter.field_a_per_m = Some(Reading::new(3e-6, u_field));
        let heard = heard(&transmitter, &calibration, &detail, 3);
        let budgets = as_measured::budgets(&heard).unwrap();
        let stated = [
            transmitter.carrier_hz,
            transmitter.period_s,
            transmitter.on_time_s,
            transmitter.off_time_s,
            Reading::new(3e-6, u_field),
            transmitter.residual_carrier_ratio,
        ];
        assert_eq!(budgets.len(), stated.len());
        for ((name, _, budget), stated) in budgets.iter().zip(stated) {
            assert!((budget.value - stated.value).abs() <= 1e-9 * stated.value.abs(), "{name}");
            let ratio = budget.u / stated.u;
            assert!((ratio - 1.0).abs() < 1e-6, "{name}: {} for {}", budget.u, stated.u);
        }
    }
}

/// What the axes share counts in a judgement as in the measurement, and a calibration
/// of few repeats widens the interval.
#[test]
fn a_judgement_knows_what_the_calibration_says_of_itself() {
    let transmitter = transmitter(&[1e-6, 1e-6, 1e-6]);
    let exact = Setup {
        u_distance_m: 0.0,
        u_tilt_rad: 0.0,
        u_surroundings_rel: 0.0,
        ..Setup::at(2.0, Placement::Coaxial)
    };
    let budget = |common: f64, detail: &CalibrationDetail| {
        let common = Some(common);
        let calibration = Calibration { field_per_count_u_common_rel: common, ..calibration(3) };
        let heard = heard(&transmitter, &calibration, detail, 3);
        field_at(10.0, &[heard], &exact).unwrap()
    };
    let known_angles = CalibrationDetail { axes_u: Some([[0.0; 3]; 3]), ..Default::default() };
    // Of the measurement alone, without the place.
    let u_rel = |budget: Budget| {
        let of_place = |c: &&Contribution| ["ground", "size of the antennas"].contains(&&*c.name);
        let place = budget.contributions.iter().filter(of_place);
        let left = budget.u.powi(2) - place.map(|c| c.u_contribution.powi(2)).sum::<f64>();
        left.sqrt() / budget.value
    };
    // A third of the square on each axis.
    let by_hand = |common: f64| {
        let own = (U_CALIBRATION_REL.powi(2) - common * common) / 3.0;
        (common * common + own + U_NOISE_REL.powi(2)).sqrt()
    };
    for common in [0.0, 0.01, U_CALIBRATION_REL] {
        let found = u_rel(budget(common, &known_angles));
        assert!((found / by_hand(common) - 1.0).abs() < 1e-3, "{common}: {found}");
    }
    // Three angles of 1°, each with a third of it: 2 h_i h_j / h² times one half.
    let unknown = u_rel(budget(0.02, &CalibrationDetail::default()));
    let due = by_hand(0.02).hypot(U_ANGLE_RAD / 3.0 * 3f64.sqrt());
    assert!((unknown / due - 1.0).abs() < 0.01, "{unknown}, by hand {due}");
    let few = CalibrationDetail { field_degrees_of_freedom: Some(vec![2.0; 3]), ..known_angles };
    let few = budget(U_CALIBRATION_REL, &few);
    assert!((2.0..3.0).contains(&few.degrees_of_freedom), "{}", few.degrees_of_freedom);
    assert!((few.expanded(0.95).k - 4.30).abs() < 0.01);
}
