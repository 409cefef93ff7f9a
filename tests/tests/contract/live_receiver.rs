//! `record` and `ports` with an emulated receiver, with none, and with what is none.

use coilrig_tests::emulator::Emulator;
use coilrig_tests::json::number;
use coilrig_tests::program::coilrig;
use serde_json::Value;
use tempfile::tempdir;

const QUIET: &str = "seed = 3\n[receiver]\nserial = \"EMU-0003\"\n";

#[test]
fn a_receiver_is_listed_and_recorded() {
    let folder = tempdir().unwrap();
    let emulator = Emulator::start(folder.path(), QUIET);
    let listed = coilrig(folder.path(), &["ports", "--json", "--port", emulator.device()]).json();
    let entry = listed["ports"].as_array().unwrap().last().unwrap();
    assert_eq!(entry["port"], emulator.device());
    assert!(entry.to_string().contains("EMU-0003"), "{entry}");

    let record = ["record", "--port", emulator.device(), "--out", "a", "--duration", "2", "--json"];
    let more = ["--unit", "hut 7", "--note", "first try", "--temperature", "-5.5"];
    let run = coilrig(folder.path(), &[&record[..], &more].concat());
    assert!(run.json().is_object());
    let text = std::fs::read(folder.path().join("a.sigmf-meta")).unwrap();
    let meta: Value = serde_json::from_slice(&text).unwrap();
    let global = &meta["global"];
    assert_eq!(global["core:datatype"], "ci16_le");
    assert_eq!(global["core:num_channels"], 3);
    assert_eq!(global["core:extensions"][0]["name"], "coilrig");
    assert_eq!(global["core:extensions"][0]["optional"], true);
    assert_eq!(global["coilrig:unit"], "hut 7");
    assert_eq!(global["coilrig:note"], "first try");
    assert_eq!(global["coilrig:temperature_c"], -5.5);
    assert!(global.get("coilrig:field_per_count").is_none(), "a scale without a calibration");
    assert!(run.stderr.contains("no field"), "{run:?}");
    assert_eq!(meta["captures"][0]["core:sample_start"], 0);
    assert_eq!(meta["captures"][0]["core:frequency"], 457_000.0);
    assert!(meta["captures"][0]["core:datetime"].as_str().unwrap().ends_with('Z'));
    let bytes = std::fs::metadata(folder.path().join("a.sigmf-data")).unwrap().len();
    assert_eq!(bytes as f64, 2.0 * number(&global["core:sample_rate"]) * 12.0);

    // What is there is never overwritten.
    let before = std::fs::read(folder.path().join("a.sigmf-data")).unwrap();
    coilrig(folder.path(), &record).refused(3, &["a.sigmf-"]);
    assert_eq!(std::fs::read(folder.path().join("a.sigmf-data")).unwrap(), before);
}

#[test]
fn a_calibration_of_another_receiver_is_refused() {
    let folder = tempdir().unwrap();
    let emulator = Emulator::start(folder.path(), QUIET);
    let other = std::fs::read_to_string(emulator.calibration()).unwrap();
    let path = folder.path().join("other.toml");
    std::fs::write(&path, other.replace("EMU-0003", "EMU-0004")).unwrap();
    let start = ["record", "--port", emulator.device(), "--out", "a", "--duration", "1"];
    let run = coilrig(folder.path(), &[&start[..], &["--calibration", "other.toml"]].concat());
    run.refused(3, &["other.toml", "EMU-0004", "EMU-0003"]);
    std::fs::write(&path, "format = \"coilrig-calibration/1\"\nreceiver = 3\n").unwrap();
    let run = coilrig(folder.path(), &[&start[..], &["--calibration", "other.toml"]].concat());
    run.refused(3, &["other.toml", "line 2"]);
    assert!(!folder.path().join("a.sigmf-meta").exists());
}

#[test]
fn no_receiver_is_4_with_the_port_and_leaves_no_capture() {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("plain.txt"), "no port").unwrap();
    let plain = folder.path().join("plain.txt");
    for port in ["/dev/there-is-none", plain.to_str().unwrap(), "/dev/null", "/"] {
        let arguments = ["record", "--port", port, "--out", "a", "--duration", "1"];
        coilrig(folder.path(), &arguments).refused(4, &[port]);
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "files left behind");
    assert_eq!(std::fs::read_to_string(plain).unwrap(), "no port");
}

#[test]
fn a_place_that_cannot_be_written_to_is_3() {
    let folder = tempdir().unwrap();
    let emulator = Emulator::start(folder.path(), QUIET);
    let port = emulator.device();
    let arguments = ["record", "--port", port, "--out", "none/a", "--duration", "1"];
    let run = coilrig(folder.path(), &arguments);
    run.refused(3, &["none/a"]);
}
