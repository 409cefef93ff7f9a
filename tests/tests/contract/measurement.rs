//! What `measure` prints: keys, types, documents.

use coilrig_tests::capture::Scene;
use coilrig_tests::json::{keys, number, numbers, reading};
use coilrig_tests::program::coilrig;
use serde_json::{Value, json};
use tempfile::tempdir;

fn check_document(document: &Value, axes: usize, calibrated: bool) {
    let mut expected = vec!["capture", "format", "noise_a_per_m_rthz", "transmitters"];
    expected.retain(|key| calibrated || !key.contains("_a_per_m"));
    assert_eq!(keys(document), expected);
    assert_eq!(document["format"], "coilrig-measurement/1");
    let capture = &document["capture"];
    let expected = ["axes", "duration_s", "gaps", "path", "sample_rate_hz"];
    assert_eq!(keys(capture), expected);
    assert!(capture["path"].is_string());
    assert_eq!(capture["axes"], json!(axes));
    assert!(capture["gaps"].is_u64());
    assert!(number(&capture["duration_s"]) > 0.0 && number(&capture["sample_rate_hz"]) > 0.0);
    if calibrated {
        assert_eq!(numbers(&document["noise_a_per_m_rthz"]).len(), axes);
    }
    for transmitter in document["transmitters"].as_array().unwrap() {
        check_transmitter(transmitter, axes, calibrated);
    }
}

fn check_transmitter(transmitter: &Value, axes: usize, calibrated: bool) {
    let mut expected = vec![
        "carrier_drift_hz_per_s",
        "carrier_hz",
        "field_a_per_m",
        "field_vector_a_per_m",
        "first_pulse_s",
        "label",
        "notes",
        "off_time_s",
        "on_time_s",
        "period_jitter_s",
        "period_s",
        "pulses",
        "residual_carrier_ratio",
    ];
    expected.retain(|key| calibrated || !key.starts_with("field_"));
    assert_eq!(keys(transmitter), expected);
    for key in [
        "carrier_hz",
        "carrier_drift_hz_per_s",
        "period_s",
        "on_time_s",
        "off_time_s",
        "residual_carrier_ratio",
    ] {
        reading(&transmitter[key]);
    }
    if calibrated {
        let (field, _) = reading(&transmitter["field_a_per_m"]);
        let vector = numbers(&transmitter["field_vector_a_per_m"]);
        assert_eq!(vector.len(), axes);
        let length = vector.iter().map(|h| h * h).sum::<f64>().sqrt();
        assert!((length / field - 1.0).abs() < 1e-9, "{length} is not {field}");
    }
    number(&transmitter["period_jitter_s"]);
    number(&transmitter["first_pulse_s"]);
    assert!(transmitter["label"].is_string());
    assert!(transmitter["notes"].as_array().unwrap().iter().all(Value::is_string));
    let pulses = &transmitter["pulses"];
    assert_eq!(keys(pulses), ["expected", "found", "overlapped"]);
    assert!(["expected", "found", "overlapped"].iter().all(|key| pulses[key].is_u64()));
}

#[test]
fn one_capture_is_one_document() {
    let folder = tempdir().unwrap();
    Scene::plain(8.0).write(folder.path(), "a");
    Scene::plain(8.0).on_one_channel().write(folder.path(), "b");
    for (name, axes) in [("a", 3), ("a.sigmf-meta", 3), ("a.sigmf-data", 3), ("b", 1)] {
        let document = coilrig(folder.path(), &["measure", "--json", name]).json();
        check_document(&document, axes, true);
        assert_eq!(document["transmitters"].as_array().unwrap().len(), 1);
        assert_eq!(document["transmitters"][0]["label"], "T1");
        assert_eq!(document["capture"]["duration_s"], 8.0);
        assert_eq!(document["capture"]["sample_rate_hz"], 8000.0);
        assert_eq!(document["capture"]["gaps"], 0);
    }
}

#[test]
fn several_captures_are_an_array_in_the_order_given() {
    let folder = tempdir().unwrap();
    Scene::plain(8.0).write(folder.path(), "a");
    Scene::plain(4.0).write(folder.path(), "b");
    let document = coilrig(folder.path(), &["measure", "--json", "b", "a"]).json();
    let lengths: Vec<f64> = document.as_array().unwrap().iter().map(duration_s).collect();
    assert_eq!(lengths, [4.0, 8.0]);
    document.as_array().unwrap().iter().for_each(|document| check_document(document, 3, true));
}

fn duration_s(document: &Value) -> f64 {
    number(&document["capture"]["duration_s"])
}

#[test]
fn without_a_scale_there_are_no_field_values_and_a_note_says_so() {
    let folder = tempdir().unwrap();
    Scene::plain(8.0)
        .without("coilrig:field_per_count")
        .without("coilrig:field_per_count_u_rel")
        .write(folder.path(), "a");
    let run = coilrig(folder.path(), &["measure", "--json", "a"]);
    let document = run.json();
    check_document(&document, 3, false);
    assert!(!run.stdout.contains("_a_per_m"), "{}", run.stdout);
    let notes = document["transmitters"][0]["notes"].to_string();
    assert!(notes.contains("field") && notes.contains("field_per_count"), "{notes}");
    let (carrier_hz, _) = reading(&document["transmitters"][0]["carrier_hz"]);
    assert!((carrier_hz - 457_012.3).abs() < 0.05, "{carrier_hz}");
    let table = coilrig(folder.path(), &["measure", "a"]);
    table.with_code(0);
    assert!(table.stdout.contains("not calibrated") && !table.stdout.contains("A/m"), "{table:?}");
}

#[test]
fn only_results_go_to_standard_output() {
    let folder = tempdir().unwrap();
    Scene::plain(4.0).write(folder.path(), "a");
    // Nobody transmits: that is a result, and worth a word to people.
    Scene { transmitters: vec![], ..Scene::plain(4.0) }.write(folder.path(), "quiet");
    let run = coilrig(folder.path(), &["measure", "--json", "--annotate", "a", "quiet"]);
    let document = run.json();
    assert_eq!(document[1]["transmitters"], json!([]));
    check_document(&document[1], 3, true);
    assert!(run.stderr.contains("quiet") && run.stderr.contains("no transmitter"), "{run:?}");
}

#[test]
fn csv_has_one_row_a_transmitter() {
    let folder = tempdir().unwrap();
    Scene::plain(8.0).write(folder.path(), "a");
    Scene::plain(8.0).without("coilrig:field_per_count").write(folder.path(), "b");
    let run = coilrig(folder.path(), &["measure", "--csv", "a", "b"]);
    run.with_code(0);
    let rows: Vec<Vec<&str>> = run.stdout.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 3, "{run:?}");
    let column = |name: &str| rows[0].iter().position(|column| *column == name).unwrap();
    let carrier_hz: f64 = rows[1][column("carrier_hz")].parse().unwrap();
    assert!((carrier_hz - 457_012.3).abs() < 0.05);
    assert!(rows[1][column("field_a_per_m")].parse::<f64>().is_ok());
    assert_eq!(rows[2][column("field_a_per_m")], "", "a field without a scale");
}

/// The samples around a gap keep their places in time; the pulses that fell
/// into it are not counted as missed.
#[test]
fn a_gap_is_counted_and_costs_no_more_than_it_holds() {
    let folder = tempdir().unwrap();
    // Pulses 4, 5 and 6 lie in the gap.
    Scene { gaps: vec![(4.2, 7.1)], ..Scene::plain(20.0) }.write(folder.path(), "a");
    let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
    check_document(&document, 3, true);
    assert_eq!(document["capture"]["gaps"], 1);
    assert_eq!(document["capture"]["duration_s"], 20.0);
    let transmitter = &document["transmitters"][0];
    let expected = json!({"expected": 17, "found": 17, "overlapped": 0});
    assert_eq!(transmitter["pulses"], expected);
    let (period_s, _) = reading(&transmitter["period_s"]);
    assert!((period_s - 1.0007).abs() < 50e-6, "{period_s}");
}

#[test]
fn annotations_stand_where_the_pulses_are_and_replace_the_old_ones() {
    let folder = tempdir().unwrap();
    Scene::plain(8.0).write(folder.path(), "a");
    let meta = || -> Value {
        let text = std::fs::read(folder.path().join("a.sigmf-meta")).unwrap();
        serde_json::from_slice(&text).unwrap()
    };
    let before = meta();
    coilrig(folder.path(), &["measure", "--annotate", "a"]).with_code(0);
    let once = meta();
    let annotations = once["annotations"].as_array().unwrap();
    assert_eq!(annotations.len(), 8);
    for (k, annotation) in (0..).zip(annotations) {
        let start = number(&annotation["core:sample_start"]);
        let expected = (0.4123 + 1.0007 * f64::from(k)) * 8000.0;
        assert!((start - expected).abs() < 4.0, "pulse {k} at {start}, not {expected}");
        let count = number(&annotation["core:sample_count"]);
        assert!((count - 0.0903 * 8000.0).abs() < 8.0, "{count} samples");
        let edges = ["core:freq_lower_edge", "core:freq_upper_edge"];
        let [lower, upper] = edges.map(|edge| number(&annotation[edge]));
        assert!(lower < 457_012.3 && 457_012.3 < upper, "{lower} to {upper}");
        assert_eq!(annotation["core:label"], "T1");
    }
    // Nothing else was touched.
    assert_eq!(once["global"], before["global"]);
    assert_eq!(once["captures"], before["captures"]);
    coilrig(folder.path(), &["measure", "--annotate", "a"]).with_code(0);
    assert_eq!(meta(), once);
}
