//! Random buried units found again from readings on the surface: how far off, and
//! whether the stated uncertainty is right. `UNITS=n` makes it longer;
//! `-- --nocapture` prints the figures.

use coilrig_analysis::field::dipole;
use coilrig_analysis::field::medium::FreeSpace;
use coilrig_analysis::locate::fit::fit;
use coilrig_analysis::locate::surface::Surface;
use coilrig_analysis::locate::{Measured, Options, PlacedReading, analyse};
use nalgebra::Vector3;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal, UnitSphere};

/// Relative error of every component, or of the magnitude.
const ERROR: f64 = 0.03;
const SIDE_M: f64 = 8.0;

fn units(usual: u64) -> u64 {
    std::env::var("UNITS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

struct Unit {
    position_m: Vector3<f64>,
    moment_a_m2: [f64; 3],
}

/// 0.4 to 2.5 m deep, a metre or more inside the edge of the grid, lying anyhow,
/// 3 to 14 mA·m².
fn unit(rng: &mut ChaCha8Rng) -> Unit {
    let reach_m = 0.5 * SIDE_M - 1.0;
    let mut along = || rng.random_range(-reach_m..reach_m);
    let (x, y) = (along(), along());
    let depth_m = rng.random_range(0.4..2.5);
    let strength = rng.random_range(3e-3..14e-3);
    let direction: [f64; 3] = UnitSphere.sample(rng);
    Unit { position_m: Vector3::new(x, y, -depth_m), moment_a_m2: direction.map(|d| strength * d) }
}

fn field(unit: &Unit, place_m: [f64; 3]) -> [f64; 3] {
    let h =
        dipole::field(unit.moment_a_m2, (Vector3::from(place_m) - unit.position_m).into(), 457e3);
    // The turn of the phase over the near field is less than the errors by far; the
    // part in phase with the strongest component stands for the field.
    let greatest = h.iter().copied().max_by(|a, b| a.norm().total_cmp(&b.norm())).unwrap();
    h.map(|c| (c * greatest.conj() / greatest.norm()).re)
}

/// Readings of a unit on a square grid, each vector with a random sign.
fn survey(unit: &Unit, a_side: usize, vectors: bool, rng: &mut ChaCha8Rng) -> Vec<PlacedReading> {
    let along = |k: usize| SIDE_M * (k as f64 / (a_side - 1) as f64 - 0.5);
    (0..a_side * a_side)
        .map(|i| {
            let place_m = [along(i % a_side), along(i / a_side), 0.0];
            let h = field(unit, place_m);
            let magnitude = Vector3::from(h).norm();
            let mut error = || -> f64 { ERROR * magnitude * normal(rng) };
            let field = match vectors {
                true => {
                    let noisy = h.map(|c| c + error());
                    let sign = if rng.random() { 1.0 } else { -1.0 };
                    Measured::Vector(noisy.map(|c| sign * c))
                }
                false => Measured::Magnitude(magnitude + error()),
            };
            PlacedReading { place_m, field, u_a_per_m: ERROR * field.magnitude() }
        })
        .collect()
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Worst distance (m), RMS of error over u over all six unknowns, and how often
/// the data allowed a second answer.
fn figures(count: u64, a_side: impl Fn(u64) -> usize, vectors: bool) -> (f64, f64, usize) {
    let (mut worst, mut squares, mut ambiguous) = (0.0_f64, 0.0, 0);
    for seed in 0..count {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let truth = unit(&mut rng);
        let readings = survey(&truth, a_side(seed), vectors, &mut rng);
        let found = analyse(&readings, &Options::default()).unwrap();
        ambiguous += usize::from(found.ambiguous);
        let place: Vector3<f64> = found.position_m.map(|c| c.value).into();
        worst = worst.max((place - truth.position_m).norm());
        let moment = found.moment_a_m2;
        let along: f64 = (0..3).map(|i| moment[i].value * truth.moment_a_m2[i]).sum();
        let position = found.position_m.iter().zip(truth.position_m.iter().copied());
        let signed = truth.moment_a_m2.map(|m| along.signum() * m);
        let all = position.chain(moment.iter().zip(signed));
        squares += all.map(|(found, due)| ((found.value - due) / found.u).powi(2)).sum::<f64>();
    }
    (worst, (squares / (6 * count) as f64).sqrt(), ambiguous)
}

#[test]
fn vectors_of_unknown_sign() {
    let count = units(100);
    let (worst_m, over_u, ambiguous) = figures(count, |seed| 5 + (seed % 2) as usize, true);
    println!(
        "{count} units, 25 or 36 vectors: worst {worst_m:.4} m, error over u {over_u:.3}, {ambiguous} ambiguous"
    );
    // One in three hundred is a millimetre beyond: more units, more of the tail.
    let most_m = if count <= 100 { 0.05 } else { 0.06 };
    assert!(worst_m < most_m, "{worst_m} m");
    assert!((0.8..1.25).contains(&over_u), "{over_u}");
    assert!(ambiguous == 0, "{ambiguous}");
}

#[test]
fn magnitudes_alone() {
    let count = units(100);
    let (worst_m, over_u, ambiguous) = figures(count, |_| 9, false);
    println!(
        "{count} units, 81 magnitudes: worst {worst_m:.4} m, error over u {over_u:.3}, {ambiguous} ambiguous"
    );
    assert!(worst_m < 0.12, "{worst_m} m");
    assert!((0.8..1.25).contains(&over_u), "{over_u}");
}

/// Along a line or two without signs several places fit alike. The search must find
/// the best of them (no fit begun at the truth is better), and tell them all.
#[test]
fn lines_without_signs() {
    let count = units(60);
    for (lines, each) in [(1, 15), (2, 11)] {
        let mut untold = 0;
        for seed in 0..count {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let truth = unit(&mut rng);
            let readings = along_lines(&truth, lines, each, &mut rng);
            let found = analyse(&readings, &Options::default()).unwrap();
            let space = FreeSpace { frequency_hz: 457e3 };
            let moment = truth.moment_a_m2.into();
            let plane = Surface::through(&readings);
            if let Some(from_truth) = fit(&readings, &plane, &space, truth.position_m, moment) {
                let (ours, theirs) = (found.chi_squared, from_truth.chi_squared);
                assert!(ours < theirs + 0.5, "{lines} lines, seed {seed}: {ours} {theirs}");
            }
            let others = found.rival.iter().chain(&found.further_rivals).map(|r| r.position_m);
            let near = |place: [coilrig_analysis::reading::Reading; 3]| {
                let place = Vector3::from(place.map(|c| c.value));
                (place - truth.position_m).norm() < 0.3 + 4.0 * found.u_position_m()
            };
            untold += usize::from(!others.chain([found.position_m]).any(near));
        }
        println!("{lines} lines without signs: {untold} of {count} units at no answer told");
        assert!(untold as u64 <= count / 15, "{untold}");
    }
}

/// Lines 1.5 m apart over the grid's length: one line of vectors without heading, or
/// several of magnitudes.
fn along_lines(unit: &Unit, lines: usize, each: usize, rng: &mut ChaCha8Rng) -> Vec<PlacedReading> {
    let places = (0..lines * each).map(|i| {
        let along = SIDE_M * ((i % each) as f64 / (each - 1) as f64 - 0.5);
        [along, 1.5 * ((i / each) as f64 - 0.5 * (lines - 1) as f64), 0.0]
    });
    places
        .map(|place_m| {
            let h = field(unit, place_m);
            let magnitude = Vector3::from(h).norm();
            let mut error = || -> f64 { ERROR * magnitude * normal(rng) };
            let field = match lines {
                1 => Measured::Vector(h.map(|c| c + error())).without_heading(),
                _ => Measured::Magnitude(magnitude + error()),
            };
            PlacedReading { place_m, field, u_a_per_m: ERROR * field.magnitude() }
        })
        .collect()
}
