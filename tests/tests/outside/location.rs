//! Buried units found by `locate` from fields of magpylib, against their true place
//! and against scipy.optimize on the same readings.

use std::path::Path;

use coilrig_tests::json::{number, numbers, reading};
use coilrig_tests::program::coilrig;
use coilrig_tests::{python, repository_file};
use serde_json::Value;
use tempfile::tempdir;

/// Both minimise over the same readings; what is left are magnitudes, which scipy
/// compares by ratio alone, and the ends of both iterations.
const SHARE_OF_U: [(&str, f64); 2] = [("vector", 0.002), ("magnitude", 0.25)];

struct Unit {
    kind: String,
    /// Place and moment.
    truth: Vec<f64>,
    table: String,
}

/// The units of tests/outside/magpylib_buried.csv, each with a readings table.
fn units() -> Vec<Unit> {
    let text =
        std::fs::read_to_string(repository_file("tests/outside/magpylib_buried.csv")).unwrap();
    let mut units: Vec<(String, Unit)> = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let kind = cells[1];
        let components = if kind == "vector" { &cells[11..14] } else { &cells[11..12] };
        if units.last().is_none_or(|(number, _)| number != cells[0]) {
            let names =
                if kind == "vector" { "hx_a_per_m,hy_a_per_m,hz_a_per_m" } else { "h_a_per_m" };
            let truth = cells[2..8].iter().map(|cell| cell.parse().unwrap()).collect();
            let table = format!("x_m,y_m,z_m,{names},u_a_per_m\n");
            units.push((cells[0].to_owned(), Unit { kind: kind.to_owned(), truth, table }));
        }
        let (_, unit) = units.last_mut().unwrap();
        let row = [&cells[8..11], components, &cells[14..15]].concat().join(",");
        unit.table += &(row + "\n");
    }
    units.into_iter().map(|(_, unit)| unit).collect()
}

fn located(folder: &Path, unit: &Unit) -> Value {
    std::fs::write(folder.join("readings.csv"), &unit.table).unwrap();
    coilrig(folder, &["locate", "readings.csv", "--json"]).json()
}

/// Place and moment with their u, the moment's sign as in `like`.
fn parameters(found: &Value, like: &[f64]) -> Vec<(f64, f64)> {
    let of = |name: &str| -> Vec<(f64, f64)> {
        found[name].as_array().unwrap().iter().map(reading).collect()
    };
    let moment = of("moment_a_m2");
    let along: f64 = moment.iter().zip(&like[3..]).map(|((m, _), l)| m * l).sum();
    let signed = moment.into_iter().map(|(m, u)| (along.signum() * m, u));
    of("position_m").into_iter().chain(signed).collect()
}

fn joined(values: &[f64]) -> String {
    values.iter().map(f64::to_string).collect::<Vec<_>>().join(",")
}

#[test]
fn units_in_the_fields_of_magpylib_are_found_where_they_are() {
    let folder = tempdir().unwrap();
    let units = units();
    assert_eq!(units.len(), 12);
    let mut squares = 0.0;
    for unit in &units {
        let found = located(folder.path(), unit);
        assert_eq!(found["ambiguous"], false, "{:?}", unit.truth);
        let ours = parameters(&found, &unit.truth);
        let off_m = (0..3).map(|i| (ours[i].0 - unit.truth[i]).powi(2)).sum::<f64>().sqrt();
        let most_m = if unit.kind == "vector" { 0.05 } else { 0.12 };
        assert!(off_m < most_m, "{off_m} m off {:?}", unit.truth);
        squares +=
            ours.iter().zip(&unit.truth).map(|((v, u), t)| ((v - t) / u).powi(2)).sum::<f64>();
    }
    // 72 values: the RMS of error over u strays by a twelfth or so.
    let over_u = (squares / (6 * units.len()) as f64).sqrt();
    assert!((0.75..1.3).contains(&over_u), "{over_u}");
}

#[test]
fn scipy_ends_at_the_same_minimum() {
    let folder = tempdir().unwrap();
    for unit in units() {
        let found = located(folder.path(), &unit);
        let table = folder.path().join("readings.csv");
        let (place, moment) = unit.truth.split_at(3);
        let arguments = [table.to_str().unwrap().to_owned(), joined(place), joined(moment)];
        let theirs = python::outside("buried_fit.py", &arguments);
        let (values, us) = (numbers(&theirs["parameters"]), numbers(&theirs["u"]));
        let (_, share) = SHARE_OF_U.into_iter().find(|(kind, _)| *kind == unit.kind).unwrap();
        for ((ours, u), (value, their_u)) in
            parameters(&found, &values).into_iter().zip(values.iter().zip(&us))
        {
            let off = (ours - value).abs();
            assert!(off <= share * their_u, "{ours} ± {u}, scipy has {value} ± {their_u}");
            assert!((u / their_u - 1.0).abs() < 0.06, "{u}, scipy has {their_u}");
        }
        if unit.kind == "vector" {
            let ratio = number(&found["chi_squared"]) / number(&theirs["chi_squared"]);
            assert!((ratio - 1.0).abs() < 1e-6, "{ratio}");
        }
    }
}
