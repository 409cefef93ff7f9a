//! Field standards against magpylib and handbooks, detection against scipy.

use coilrig_analysis::calibration::detection;
use coilrig_analysis::calibration::source::{Arrangement, Source};
use coilrig_analysis::field::constants::MAGNETIC_CONSTANT_N_PER_A2;
use coilrig_analysis::reading::Reading;

fn rows(table: &'static str) -> impl Iterator<Item = Vec<f64>> {
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.map(|line| line.split(',').map(|n| n.parse().expect("number")).collect())
}

fn exact(value: f64) -> Reading {
    Reading::new(value, 0.0)
}

fn source(arrangement: Arrangement, ampere_turns: f64, radius_m: f64, spacing_m: f64) -> Source {
    Source {
        arrangement,
        turns: 1.0,
        radius_m: exact(radius_m),
        current_a: exact(ampere_turns),
        spacing_m: exact(spacing_m),
        distance_m: exact(0.0),
        offset_m: exact(0.0),
        u_angle_deg: 0.0,
        coil_size_m: 0.0,
    }
}

#[test]
fn pairs_agree_with_magpylib() {
    let mut count = 0;
    for row in rows(include_str!("../../outside/magpylib_pair.csv")) {
        let [ampere_turns, radius_m, spacing_m, offset_m, distance_m, h] = row[..] else {
            panic!("six columns")
        };
        let pair = Source {
            distance_m: exact(distance_m),
            offset_m: exact(offset_m),
            ..source(Arrangement::Pair, ampere_turns, radius_m, spacing_m)
        };
        // The table holds 12 digits.
        assert!((pair.field_a_per_m() / h - 1.0).abs() < 2e-11, "{row:?}");
        count += 1;
    }
    assert_eq!(count, 40);
}

/// Any handbook: B = (4/5)^(3/2) µ0 N I / R in the middle of a Helmholtz pair; for
/// R = 0.15 m, 130 turns and 1 A that is 0.7793 mT (teaching apparatus, from memory).
#[test]
fn handbook_values() {
    let tesla = |h: f64| MAGNETIC_CONSTANT_N_PER_A2 * h;
    let pair = tesla(source(Arrangement::Pair, 130.0, 0.15, 0.15).field_a_per_m());
    assert!((pair / 0.7793e-3 - 1.0).abs() < 1e-4, "{pair}");
    // In the middle of one loop, µ0 N I / 2R: 1 A, 0.1 m, 6.283 µT.
    let one = tesla(source(Arrangement::Loop, 1.0, 0.1, 0.0).field_a_per_m());
    assert!((one / 6.283e-6 - 1.0).abs() < 1e-4, "{one}");
}

#[test]
fn detection_agrees_with_scipy() {
    let mut count = 0;
    for row in rows(include_str!("../../outside/scipy_detection.csv")) {
        let [axes, energy, threshold, due] = row[..] else { panic!("four columns") };
        let found = detection::probability(axes as usize, energy, threshold);
        assert!((found / due - 1.0).abs() < 1e-8, "{row:?}: {found}");
        count += 1;
    }
    assert_eq!(count, 56);
}
