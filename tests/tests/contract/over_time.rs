//! `measure --over-time`: tables and pictures of a long recording.

use std::collections::HashMap;
use std::path::Path;

use coilrig_tests::capture::Scene;
use coilrig_tests::program::coilrig;
use tempfile::tempdir;

const SECONDS: f64 = 300.0;
/// A carrier that rises while it gets colder.
const DRIFT_HZ_PER_S: f64 = 0.01;
const COOLING_C_PER_S: f64 = -0.05;

fn drifting() -> Scene {
    let mut scene = Scene::plain(SECONDS).on_one_channel();
    scene.rate_hz = 2000.0;
    scene.transmitters[0].drift_hz_per_s = DRIFT_HZ_PER_S;
    scene
}

/// Rows of a table by the names of their columns.
fn table(path: &Path) -> Vec<HashMap<String, String>> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let row = |line: &str| {
        let values = line.split(',').map(String::from);
        names.iter().map(|name| (*name).to_owned()).zip(values).collect()
    };
    lines.map(row).collect()
}

fn number(row: &HashMap<String, String>, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} in {row:?}"))
}

#[test]
fn carrier_is_followed_over_time_and_temperature() {
    let folder = tempdir().unwrap();
    drifting().write(folder.path(), "night");
    // The scene begins at 08:30.
    let log = "datetime,temperature_c\n2026-01-15T08:29:00Z,13\n2026-01-15T08:36:00Z,-8\n";
    std::fs::write(folder.path().join("shed.csv"), log).unwrap();
    let run = coilrig(
        folder.path(),
        &["measure", "--over-time", "soak", "--every", "20", "--temperatures", "shed.csv", "night"],
    );
    run.with_code(0);
    let soak = folder.path().join("soak");
    let rows = table(&soak.join("rows.csv"));
    assert_eq!(rows.len(), 15);
    for row in &rows {
        let at_s = number(row, "time_s");
        let truth = 457_012.3 + DRIFT_HZ_PER_S * at_s;
        assert!((number(row, "carrier_hz") - truth).abs() < 0.03, "{row:?}");
        let celsius = 10.0 + COOLING_C_PER_S * at_s;
        assert!((number(row, "temperature_c") - celsius).abs() < 0.01, "{row:?}");
        assert!((number(row, "period_s") - 1.0007).abs() < 1e-4);
        assert!((number(row, "on_time_s") - 0.0903).abs() < 5e-4);
        assert!((number(row, "field_a_per_m") / 1e-6 - 1.0).abs() < 0.02);
    }
    let trends = table(&soak.join("trends.csv"));
    let trend = |kind: &str| {
        let wanted =
            |row: &&HashMap<String, String>| row["quantity"] == "carrier" && row["kind"] == kind;
        trends.iter().find(wanted).unwrap_or_else(|| panic!("{kind} in {trends:?}"))
    };
    for (kind, unit, truth) in [
        ("drift", "Hz/h", 3600.0 * DRIFT_HZ_PER_S),
        ("per °C", "Hz/°C", DRIFT_HZ_PER_S / COOLING_C_PER_S),
    ] {
        let row = trend(kind);
        assert_eq!(row["unit"], unit);
        let error = number(row, "value") - truth;
        assert!(
            error.abs() < 4.0 * number(row, "u") && error.abs() < 0.01 * truth.abs(),
            "{row:?}"
        );
    }
    assert!(trends.iter().all(|row| row["kind"] != "jump"), "{trends:?}");
    assert!(run.stdout.contains("Hz per °C"), "{}", run.stdout);
    for picture in ["carrier", "period", "on-time", "field"] {
        for over in ["time", "temperature"] {
            for ending in ["svg", "png"] {
                let file = soak.join(format!("{picture}-over-{over}.{ending}"));
                assert!(file.metadata().is_ok_and(|m| m.len() > 2000), "{}", file.display());
            }
        }
    }
}

#[test]
fn captures_that_state_a_temperature_need_no_log() {
    let folder = tempdir().unwrap();
    drifting().with("coilrig:temperature_c", (-3.5).into()).write(folder.path(), "night");
    coilrig(folder.path(), &["measure", "--over-time", "soak", "night"]).with_code(0);
    let rows = table(&folder.path().join("soak/rows.csv"));
    assert!(!rows.is_empty() && rows.iter().all(|row| number(row, "temperature_c") == -3.5));
    assert!(!folder.path().join("soak/carrier-over-temperature.png").exists());
}

#[test]
fn temperatures_that_cannot_be_read_are_named() {
    let folder = tempdir().unwrap();
    drifting().write(folder.path(), "night");
    std::fs::write(folder.path().join("shed.csv"), "time_s,temperature_c\n0,1\n60,cold\n").unwrap();
    let run = coilrig(
        folder.path(),
        &["measure", "--over-time", "soak", "--temperatures", "shed.csv", "night"],
    );
    run.with_code(3);
    assert!(run.stderr.contains("shed.csv, line 3, temperature_c"), "{}", run.stderr);
    coilrig(folder.path(), &["measure", "--temperatures", "shed.csv", "night"]).with_code(2);
}
