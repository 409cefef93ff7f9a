//! The dipole fit of `range` against scipy.optimize on the same readings.

use coilrig_tests::json::{numbers, reading};
use coilrig_tests::program::coilrig;
use coilrig_tests::{python, repository_file};
use tempfile::tempdir;

/// Both fits are of the same readings, so they must agree far within their
/// uncertainty; what is left is the weighting of readings 4 % uncertain.
const SHARE_OF_U: f64 = 0.35;

#[track_caller]
fn same(what: &str, ours: (f64, f64), theirs: (f64, f64)) {
    let off = (ours.0 - theirs.0).abs();
    assert!(off <= SHARE_OF_U * theirs.1, "{what}: {ours:?}, scipy has {theirs:?}");
    assert!((ours.1 / theirs.1 - 1.0).abs() < 0.05, "u of {what}: {ours:?}, scipy has {theirs:?}");
}

#[test]
fn the_demo_readings_fit_as_scipy_fits_them() {
    let table = repository_file("captures/range-demo.csv");
    let table = table.to_str().unwrap();
    let folder = tempdir().unwrap();
    for offset in ["no", "yes"] {
        let arguments = ["range", table, "--json", "--fit-offset", offset];
        let ours = coilrig(folder.path(), &arguments).json();
        let fits = python::outside("dipole_fit.py", &[table, offset]);
        for theirs in fits.as_array().unwrap() {
            let pair = |name: &str| {
                let [value, u] = numbers(&theirs[name])[..] else { panic!("{theirs}") };
                (value, u)
            };
            same("moment", reading(&ours["moment_a_m2"]), pair("moment_a_m2"));
            same("slope", reading(&ours["slope"]), pair("slope"));
            if offset == "yes" {
                same("offset", reading(&ours["distance_offset_m"]), pair("offset_m"));
            }
            // H ∝ 1/r³: the range has a third of the relative uncertainty.
            let (moment, u_moment) = reading(&ours["moment_a_m2"]);
            for (ours, theirs_m) in
                ours["ranges"].as_array().unwrap().iter().zip(numbers(&theirs["range_m"]))
            {
                let (range_m, u_m) = reading(&ours["range_m"]);
                assert!((range_m - theirs_m).abs() <= SHARE_OF_U * u_m, "{range_m}, {theirs_m}");
                let share = u_m / range_m / (u_moment / moment);
                assert!((0.30..0.36).contains(&share) || offset == "yes", "{share}");
            }
            let u_moment_db = 20.0 / std::f64::consts::LN_10 * u_moment / moment;
            let residuals = ours["residuals_db"].as_array().unwrap();
            for (ours, theirs_db) in residuals.iter().zip(numbers(&theirs["residuals_db"])) {
                let off = (reading(ours).0 - theirs_db).abs();
                assert!(off < SHARE_OF_U * u_moment_db.max(0.1), "{ours}, {theirs_db}");
            }
        }
    }
}

#[test]
fn readings_over_snow_fit_as_scipy_fits_them_with_empymod() {
    let [table, ground] = ["captures/range-snow.csv", "captures/ground.toml"].map(repository_file);
    let (table, ground) = (table.to_str().unwrap(), ground.to_str().unwrap());
    let arguments = ["range", table, "--ground", ground, "--unit-depth", "1", "--json"];
    let ours = coilrig(tempdir().unwrap().path(), &arguments).json();
    let ours = &ours["over_ground"]["without_outliers"];
    // Row 12 is the outlier that the table tells of.
    let theirs = python::outside("ground_fit.py", &[table, "12"]);
    for name in ["moment_a_m2", "soil_resistivity_ohm_m"] {
        let [value, u] = numbers(&theirs[name])[..] else { panic!("{theirs}") };
        same(name, reading(&ours[name]), (value, u));
    }
}
