//! `coilrig range` as a user meets it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

fn coilrig(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_coilrig")).arg("range").args(arguments).output().unwrap()
}

fn demo() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../captures/range-demo.csv");
    path.to_str().unwrap().to_owned()
}

fn json(arguments: &[&str]) -> Value {
    let output = coilrig(arguments);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A table of these rows under the usual header, in a folder that lasts as long
/// as the handle.
fn table(rows: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("readings.csv");
    let header = "distance_m,field_a_per_m,u_field_a_per_m,alignment\n";
    std::fs::write(&path, format!("{header}{rows}")).unwrap();
    (folder, path)
}

fn refusal(rows: &str) -> String {
    let (_folder, path) = table(rows);
    let output = coilrig(&[path.to_str().unwrap(), "--json"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(output.stdout.is_empty());
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("readings.csv") && said.contains("to do: "), "{said}");
    said
}

/// The readings were invented from a moment of 5.6 mA·m².
#[test]
fn demo_readings_give_back_their_moment() {
    let result = json(&[&demo(), "--json"]);
    assert_eq!(result["format"], "coilrig-range/1");
    let reading = |value: &Value| (value["value"].as_f64().unwrap(), value["u"].as_f64().unwrap());
    let (moment, u) = reading(&result["moment_a_m2"]);
    assert!((moment - 5.6e-3).abs() < 2.5 * u && u < 0.03 * moment, "{moment} ± {u}");
    let (slope, u) = reading(&result["slope"]);
    assert!((slope + 3.0).abs() < 0.05 + 2.5 * u, "{slope} ± {u}");
    assert_eq!(result["residuals_db"].as_array().unwrap().len(), 13);
    let ranges = result["ranges"].as_array().unwrap();
    assert_eq!(ranges.len(), 2);
    // 5.6 mA·m²/(2π r³) = 80 nA/m at 22.3 m, a little more with induction.
    let (range, u) = reading(&ranges[0]["range_m"]);
    assert_eq!(ranges[0]["alignment"], "coaxial");
    assert!((range - 22.5).abs() < 0.2 + 2.5 * u, "{range} ± {u}");
}

#[test]
fn the_calibration_of_a_table_widens_the_results() {
    let rows = "2,1e-4,1e-6,coaxial,X\n4,1.25e-5,1.25e-7,coaxial,X\n8,1.5625e-6,2e-8,coaxial,X\n";
    let (_folder, path) = table(rows);
    let text = std::fs::read_to_string(&path).unwrap();
    let with = |share: &str| {
        let header = text.replace("alignment\n", "alignment,u_calibration_rel\n");
        std::fs::write(&path, header.replace('X', share)).unwrap();
        json(&[path.to_str().unwrap(), "--json"])
    };
    let (none, some) = (with("0"), with("0.05"));
    let u_rel = |result: &Value, name: &str| {
        result[name]["u"].as_f64().unwrap() / result[name]["value"].as_f64().unwrap()
    };
    for name in ["moment_a_m2", "field_at_10_m_a_per_m"] {
        let expected = u_rel(&none, name).hypot(0.05);
        assert!((u_rel(&some, name) / expected - 1.0).abs() < 1e-9, "{name}");
    }
    assert_eq!(none["slope"], some["slope"]);
    let output = coilrig(&[path.to_str().unwrap()]);
    assert!(String::from_utf8(output.stdout).unwrap().contains("calibration       5 % of field"));
}

#[test]
fn thresholds_are_taken_in_units_and_in_order() {
    let arguments = ["--threshold", "1uA/m", "--threshold", "-20dBuA/m", "--threshold", "8e-8"];
    let demo = demo();
    let result = json(&[&[demo.as_str(), "--json"][..], &arguments[..]].concat());
    let thresholds: Vec<f64> = result["ranges"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["threshold_a_per_m"]["value"].as_f64().unwrap())
        .collect();
    for (read, meant) in thresholds.iter().zip([1e-6, 1e-6, 1e-7, 1e-7, 8e-8, 8e-8]) {
        assert!((read / meant - 1.0).abs() < 1e-9, "{thresholds:?}");
    }
    let wrong = coilrig(&[&demo, "--threshold", "80nT"]);
    assert_eq!(wrong.status.code(), Some(2));
}

#[test]
fn offset_is_fitted_when_asked_for() {
    let demo = demo();
    assert!(json(&[&demo, "--json", "--fit-offset", "no"]).get("distance_offset_m").is_none());
    let offset = &json(&[&demo, "--json", "--fit-offset", "yes"])["distance_offset_m"];
    let (value, u) = (offset["value"].as_f64().unwrap(), offset["u"].as_f64().unwrap());
    assert!(value.abs() < 3.0 * u, "{value} ± {u}");
}

#[test]
fn a_folder_takes_the_charts_and_the_tables() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("new/results");
    let output = coilrig(&[&demo(), "--out", out.to_str().unwrap(), "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let read = |name: &str| std::fs::read(out.join(name)).unwrap();
    assert_eq!(read("range.json"), output.stdout);
    for chart in ["field_over_distance", "coupling_over_distance"] {
        assert!(read(&format!("{chart}.svg")).starts_with(b"<svg"));
        assert!(read(&format!("{chart}.png")).starts_with(b"\x89PNG"));
    }
    let coupling = String::from_utf8(read("coupling.csv")).unwrap();
    assert_eq!(coupling.lines().count(), 14);
    for name in ["range_rose", "residuals"] {
        assert!(out.join(format!("{name}.png")).exists(), "{name}");
        assert!(out.join(format!("{name}.csv")).exists(), "{name}");
    }
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), 13);
}

#[test]
fn table_for_people_carries_the_cautions() {
    let output = coilrig(&[&demo()]);
    let table = String::from_utf8(output.stdout).unwrap();
    for part in ["mA·m²", "80 nA/m at ", " m coaxial", "quoted from memory", "over theory"] {
        assert!(table.contains(part), "{part} in {table}");
    }
    assert!(String::from_utf8(output.stderr).unwrap().contains("no certification"));
}

#[test]
fn unusable_tables_are_refused_with_their_line() {
    let good = "2,1e-4,1e-6,coaxial\n4,1.2e-5,1e-7,coaxial\n";
    assert!(refusal("2,5,1e-4,1e-6,coaxial\n").contains("point, not a comma"));
    assert!(refusal(&format!("{good}\n8,-1e-6,1e-8,coaxial\n")).contains("line 5, field_a_per_m"));
    assert!(refusal(good).contains("2 readings, but the fit needs at least 3"));
    assert!(refusal(&format!("{good}{}", "8,1e-6,1e-8,beside\n")).contains("line 4, alignment"));
    assert!(refusal("").contains("0 readings"));
    assert!(refusal(&"2,1e-4,1e-6,coaxial\n".repeat(4)).contains("two different distances"));
    let missing = coilrig(&["no/such/table.csv"]);
    assert_eq!(missing.status.code(), Some(3));
}
