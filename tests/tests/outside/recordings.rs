//! Recordings that coilrig writes, read by the Python package sigmf
//! (<https://github.com/sigmf/sigmf-python>), whose schema is that of the standard.

use std::path::Path;

use coilrig_tests::emulator::Emulator;
use coilrig_tests::json::numbers;
use coilrig_tests::program::coilrig;
use coilrig_tests::python;
use serde_json::{Value, json};
use tempfile::tempdir;

const UNIT: &str = r#"
seed = 8
[[unit]]
name = "hut"
position_m = [3.0, 4.0, -1.0]
moment_a_m2 = [3e-3, 4e-3, 0.0]
"#;

/// Read `name` through the package: it must be valid and its samples those of
/// the file. Returns what the package found.
fn read(folder: &Path, name: &str) -> Value {
    let samples = folder.join("samples");
    let meta = folder.join(format!("{name}.sigmf-meta"));
    let found = python::outside("sigmf_read.py", &[&meta, &samples]);
    let file = std::fs::read(folder.join(format!("{name}.sigmf-data"))).unwrap();
    assert_eq!(std::fs::read(&samples).unwrap(), file, "other samples than in the file");
    assert_eq!(numbers(&found["segment_lengths"]).iter().sum::<f64>(), file.len() as f64 / 12.0);
    assert_eq!(found["channels"], 3);
    found
}

fn record(folder: &Path, scenario: &str, calibrated: bool) {
    let emulator = Emulator::start(folder, scenario);
    let mut arguments = vec!["record", "--port", emulator.device(), "--out", "a"];
    arguments.extend(["--duration", "8", "--unit", "hut", "--note", "ü", "--temperature", "-5"]);
    if calibrated {
        arguments.extend(["--calibration", emulator.calibration()]);
    }
    coilrig(folder, &arguments).with_code(0);
}

#[test]
fn a_recording_is_valid_with_and_without_calibration_and_once_annotated() {
    for calibrated in [false, true] {
        let folder = tempdir().unwrap();
        record(folder.path(), UNIT, calibrated);
        let found = read(folder.path(), "a");
        assert_eq!(found["samples"], 64_000);
        assert_eq!(found["annotations"], json!([]));
        coilrig(folder.path(), &["measure", "--annotate", "a"]).with_code(0);
        let found = read(folder.path(), "a");
        // The first pulse starts at 0.25 s, one a second.
        assert_eq!(found["annotations"].as_array().unwrap().len(), 8, "{found}");
    }
}

#[test]
fn a_recording_with_gaps_is_valid_and_says_where_they_are() {
    let folder = tempdir().unwrap();
    let faults = "[faults]\nlost_packets = 0.01\nstall = [{ at_s = 3, for_s = 0.5 }]\n";
    record(folder.path(), &format!("{UNIT}{faults}"), true);
    let found = read(folder.path(), "a");
    let lengths = numbers(&found["segment_lengths"]);
    assert!(lengths.len() > 1, "{found}");
    let kept: f64 = lengths.iter().sum();
    assert!(kept <= 64_000.0 - 4000.0, "{kept} samples kept of those of a stall");
    coilrig(folder.path(), &["measure", "--annotate", "a"]).with_code(0);
    let found = read(folder.path(), "a");
    for annotation in found["annotations"].as_array().unwrap() {
        let [start, count] = numbers(annotation)[..] else { panic!("{annotation}") };
        assert!(start + count <= kept, "an annotation beyond the last sample");
    }
    // What was cut out of the stream is not cut out of time.
    let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
    assert_eq!(document["capture"]["gaps"], json!(lengths.len() - 1));
    let duration_s = document["capture"]["duration_s"].as_f64().unwrap();
    assert!((7.9..=8.0).contains(&duration_s), "{duration_s}");
}
