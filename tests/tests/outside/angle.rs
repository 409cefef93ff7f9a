//! Laws of coupling over angle, and the moment in its case, against scipy.

use coilrig_analysis::angle::{AngleReading, Law, fit};
use coilrig_analysis::reading::Reading;
use coilrig_tests::json::{numbers, reading};
use coilrig_tests::program::coilrig;
use coilrig_tests::{python, repository_file};
use tempfile::tempdir;

use crate::agree;

const TABLE: &str = include_str!("../../outside/scipy_angle.csv");
const ANGLES: usize = 12;

/// Both minimise the same χ²: to a hundredth of the uncertainty, and that to a
/// thousandth, as finite differences leave it.
#[track_caller]
fn same(what: &str, ours: Reading, theirs: &[f64]) {
    let off = (ours.value - theirs[0]).abs();
    assert!(off <= 0.01 * theirs[1], "{what}: {ours:?}, scipy has {theirs:?}");
    assert!((ours.u / theirs[1] - 1.0).abs() < 1e-3, "u of {what}: {ours:?}, scipy has {theirs:?}");
}

#[test]
fn laws_are_fitted_as_scipy_fits_them() {
    let mut filled = 0;
    let mut rows = 0;
    for line in TABLE.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let (law, numbers) = line.split_once(',').unwrap();
        let law = if law == "cosine" { Law::Cosine } else { Law::Dipole };
        let numbers: Vec<f64> = numbers.split(',').map(|n| n.parse().unwrap()).collect();
        let (given, theirs) = numbers.split_at(1 + ANGLES);
        let readings: Vec<AngleReading> = given[1..]
            .iter()
            .zip(0..)
            .map(|(field, i)| AngleReading {
                angle_deg: 30.0 * f64::from(i),
                u_angle_deg: 0.0,
                field_a_per_m: 1e-6 * field,
                u_field_a_per_m: 1e-6 * given[0],
                components: None,
            })
            .collect();
        let ours = fit(&readings, law).unwrap();
        same("scale", ours.scale_a_per_m.scaled(1e6), &theirs[0..2]);
        same("misalignment", ours.misalignment_deg, &theirs[2..4]);
        same("leak", ours.leak, &theirs[4..6]);
        match ours.fill {
            Some(fill) => same("fill", fill, &theirs[6..8]),
            None => assert_eq!(theirs[7], 0.0, "{line}"),
        }
        assert!((ours.chi_squared - theirs[8]).abs() < 1e-3 * theirs[8].max(1.0));
        rows += 1;
        filled += usize::from(ours.fill.is_some());
    }
    assert!(rows == 40 && (10..30).contains(&filled), "{filled} of {rows}");
}

/// Nine numbers without signs against a dipole of six, of the same readings.
#[test]
fn the_moment_in_the_case_is_that_of_a_dipole_fitted_by_scipy() {
    let table = repository_file("captures/angle-demo.csv");
    let table = table.to_str().unwrap();
    let folder = tempdir().unwrap();
    let ours = coilrig(folder.path(), &["survey", "angle", "--readings", table, "--json"]).json();
    let theirs = python::outside("case_moment.py", &[table]);
    for name in ["azimuth_deg", "elevation_deg", "coplanar_a_per_m"] {
        let [value, u] = numbers(&theirs[name])[..] else { panic!("{theirs}") };
        agree(name, reading(&ours["moment"][name]), (value, u));
    }
}
