//! The demo does the whole job, and its numbers are those of its scenario.

use coilrig_tests::json::{number, reading};
use coilrig_tests::program::coilrig;
use serde_json::Value;

/// Carrier offset (Hz), period (s), on time (s) and residual carrier of the
/// units of captures/demo.toml; a carrier that drifts is given at half a minute.
const UNITS: [(f64, f64, f64, f64); 3] = [
    (12.4, 1.000, 0.090, 0.0),
    (-47.8 + 0.002 * 30.0, 0.913, 0.072, 0.0),
    (61.3, 1.107, 0.128, 0.03),
];

#[test]
fn the_whole_job_with_no_hardware() {
    let folder = tempfile::tempdir().unwrap();
    let run = coilrig(folder.path(), &["demo"]);
    run.with_code(0);
    assert!(run.stdout.contains("within twice their standard uncertainty"), "{run:?}");
    assert!(run.stderr.contains("rescue frequency"), "no cautions in {run:?}");
    let results = folder.path().join("coilrig-demo");

    let text = std::fs::read_to_string(results.join("station.json")).unwrap();
    let document: Value = serde_json::from_str(&text).unwrap();
    let found = document["transmitters"].as_array().unwrap();
    assert_eq!(found.len(), 3, "{text}");
    for (offset_hz, period_s, on_time_s, residual) in UNITS {
        let carrier =
            |t: &&Value| (number(&t["carrier_hz"]["value"]) - 457_000.0 - offset_hz).abs() < 0.5;
        let unit = found.iter().find(carrier).unwrap_or_else(|| panic!("{offset_hz} in {text}"));
        for (name, truth) in [
            ("carrier_hz", 457_000.0 + offset_hz),
            ("period_s", period_s),
            ("on_time_s", on_time_s),
            ("residual_carrier_ratio", residual),
        ] {
            let (value, u) = reading(&unit[name]);
            // One in 16 000 readings lies further out.
            assert!((value - truth).abs() < 4.0 * u, "{name} {value} ± {u}, truth {truth}");
        }
        assert_eq!(unit["pulses"]["found"], unit["pulses"]["expected"]);
    }

    let report = std::fs::read_to_string(results.join("report.html")).unwrap();
    assert_eq!(report.matches("<svg").count(), 5);
    for part in
        ["Transmitters heard", "Field over distance", "Coupling over angle", "rescue frequency"]
    {
        assert!(report.contains(part), "no \"{part}\" in the report");
    }
    // Self-contained: nothing is fetched when it is opened.
    for link in ["src=", "href=", "url(", "@import", "<script"] {
        assert!(!report.contains(link), "{link} in the report");
    }

    let range: Value =
        serde_json::from_slice(&std::fs::read(results.join("range/range.json")).unwrap()).unwrap();
    let (moment, u) = reading(&range["moment_a_m2"]);
    let truth = (4.2e-3f64.powi(2) + 1.2e-3f64.powi(2) + 0.4e-3f64.powi(2)).sqrt();
    assert!((moment - truth).abs() < 2.0 * u, "moment {moment} ± {u}, truth {truth}");
    let (slope, u) = reading(&range["slope"]);
    assert!((slope + 3.0).abs() < 4.0 * u + 0.02, "slope {slope} ± {u}");
    let angle: Value =
        serde_json::from_slice(&std::fs::read(results.join("turned/angle.json")).unwrap()).unwrap();
    for (name, truth) in [
        ("azimuth_deg", 1.2f64.atan2(4.2).to_degrees()),
        ("elevation_deg", 0.4f64.atan2(4.2f64.hypot(1.2)).to_degrees()),
    ] {
        let (value, u) = reading(&angle["moment"][name]);
        assert!((value - truth).abs() < 4.0 * u, "{name} {value} ± {u}, truth {truth}");
    }
    let (turned, u) = reading(&angle["moment_a_m2"]);
    assert!((turned - truth).abs() < 4.0 * u, "moment {turned} ± {u}, truth {truth}");
    let grid = std::fs::read_to_string(results.join("grid/readings.csv")).unwrap();
    assert_eq!(grid.lines().count(), 1 + 25, "{grid}");

    for picture in [
        "pulses",
        "range/field_over_distance",
        "range/coupling_over_distance",
        "turned/coupling_over_angle",
        "plan/first_heard",
    ] {
        let png = std::fs::read(results.join(picture).with_extension("png")).unwrap();
        assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n", "{picture}");
        let svg = std::fs::read_to_string(results.join(picture).with_extension("svg")).unwrap();
        assert!(svg.trim_end().ends_with("</svg>"), "{picture}");
    }
}

#[test]
fn results_are_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let taken = folder.path().join("taken");
    std::fs::create_dir(&taken).unwrap();
    std::fs::write(taken.join("mine.txt"), "mine").unwrap();
    coilrig(folder.path(), &["demo", "--out", "taken"]).refused(3, &["taken", "overwritten"]);
    assert_eq!(std::fs::read_dir(&taken).unwrap().count(), 1);
}
