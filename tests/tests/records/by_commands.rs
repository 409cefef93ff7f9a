//! Commands that measure enter by themselves.

use coilrig_tests::capture::{Scene, Transmitter};
use coilrig_tests::json::number;
use coilrig_tests::repository_file;
use serde_json::{Value, json};

use crate::park::Park;

const CREEK: [&str; 4] = ["--unit", "creek", "--by", "warden"];

fn repository(path: &str) -> String {
    repository_file(path).to_str().unwrap().to_owned()
}

fn show(park: &Park, entry: &Value) -> Value {
    park.run(&["records", "show", &entry["id"].to_string(), "--json"]).json()
}

/// The only measurement there is, with all that it says.
#[track_caller]
fn only_measurement(park: &Park) -> Value {
    let entries = park.entries();
    let all: Vec<&Value> = entries.iter().filter(|e| e["kind"] == "measurement").collect();
    let [one] = all[..] else { panic!("{entries:?}") };
    show(park, one)
}

#[test]
fn measure_enters_the_unit_the_capture_and_the_numbers() {
    let park = Park::new();
    Scene::plain(20.0)
        .with("coilrig:temperature_c", json!(-4.5))
        .with("coilrig:receiver", json!("CR-1"))
        .write(park.folder(), "monday");
    let printed = park.run(&[&["measure", "monday", "--json"], &CREEK[..]].concat()).json();
    let entered = only_measurement(&park);
    let transmitter = &printed["transmitters"][0];
    for quantity in ["carrier_hz", "period_s", "on_time_s", "off_time_s", "field_a_per_m"] {
        assert_eq!(entered["values"][quantity], transmitter[quantity], "{quantity}");
    }
    assert_eq!(entered["content"]["document_json"], printed);
    assert_eq!(entered["entry"]["unit"], "creek");
    assert_eq!(entered["entry"]["entered_by"], "warden");
    let entries = park.entries();
    let capture = entries.iter().find(|entry| entry["kind"] == "capture").unwrap();
    let capture = &show(&park, capture)["content"];
    assert_eq!(capture["path"], "monday.sigmf-meta");
    assert_eq!(number(&capture["temperature_c"]), -4.5);
    assert_eq!(capture["receiver_serial"], "CR-1");
    // Nothing new comes of the same command.
    let again = park.run(&[&["measure", "monday"], &CREEK[..]].concat());
    again.with_code(0);
    assert!(again.stderr.contains("entered before"), "{again:?}");
    assert_eq!(park.entries(), entries);
}

#[test]
fn of_several_transmitters_one_must_be_meant() {
    let park = Park::new();
    let mut scene = Scene::plain(20.0);
    let own = scene.transmitters[0].clone();
    let other = Transmitter { carrier_hz: 457_060.0, period_s: 0.9, first_s: 0.1, ..own.clone() };
    scene.transmitters.push(other);
    scene.write(park.folder(), "two");
    let command = [&["measure", "two"], &CREEK[..]].concat();
    let refused = park.run(&command);
    refused.with_code(3);
    assert!(refused.stdout.contains("T2"), "results are printed all the same: {refused:?}");
    for part in ["T1, T2", "not entered", "--transmitter"] {
        assert!(refused.stderr.contains(part), "{part}: {refused:?}");
    }
    assert!(park.entries().is_empty());
    let both = park.run(&["measure", "two", "--json"]).json();
    let second = both["transmitters"][1].clone();
    park.run(&[&command[..], &["--transmitter", "T2"]].concat()).with_code(0);
    let entered = only_measurement(&park);
    assert_eq!(entered["values"]["carrier_hz"], second["carrier_hz"]);
    assert_eq!(entered["content"]["document_json"]["transmitters"], json!([second]));
    // One 20 dB stronger than the other is meant without a word.
    scene.transmitters[1].counts = own.counts.iter().map(|c| c / 20.0).collect();
    scene.write(park.folder(), "far");
    park.run(&[&["measure", "far"], &CREEK[..]].concat()).with_code(0);
    let last = park.entries().pop().unwrap();
    let carrier_hz = number(&show(&park, &last)["values"]["carrier_hz"]["value"]);
    assert!((carrier_hz - own.carrier_hz).abs() < 0.5, "{carrier_hz}");
}

#[test]
fn verify_enters_what_it_decided_and_what_that_rests_on() {
    let park = Park::new();
    // 3 m away a coaxial field of 20 µA/m is about 0.54 µA/m at 10 m.
    let mut scene = Scene { noise_counts_rthz: 5.0, ..Scene::plain(30.0) }
        .with("coilrig:field_per_count", json!([5e-9, 5e-9, 5e-9]));
    scene.transmitters[0].counts = [2.0, -1.0, 2.0].map(|c| c / 3.0 * 20e-6 / 5e-9).to_vec();
    scene.write(park.folder(), "bench");
    let command = ["verify", "bench", "--distance", "3", "--alignment", "coaxial", "--json"];
    let options = ["--unit", "creek", "--serial", "4711", "--by", "warden"];
    let run = park.run(&[&command[..], &options].concat());
    let printed = run.document();
    let entries = park.entries();
    let kinds: Vec<&str> = entries.iter().map(|e| e["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["unit", "capture", "measurement", "verification"]);
    let verification = show(&park, &entries[3]);
    assert_eq!(verification["content"]["decision"], printed["decision"], "{printed}");
    assert_eq!(verification["content"]["limits"], "en-300-718-1");
    assert_eq!(verification["content"]["document_json"], printed);
    assert_eq!(verification["captures"], json!([entries[1]["id"]]));
    assert_eq!(
        verification["content"]["probability"],
        printed["probability_of_conformity_at_least"]
    );
    let field = number(&only_measurement(&park)["values"]["field_at_10_m_a_per_m"]["value"]);
    assert!((field / 0.54e-6 - 1.0).abs() < 0.02, "{field}");
    assert!(entries[0]["says"].as_str().unwrap().contains("4711"));
    let decide = ["records", "decide", "creek", "watch", "--verification", "4", "--by", "warden"];
    park.run(&decide).with_code(0);
    park.run(&["records", "decide", "creek", "watch", "--verification", "3", "--by", "warden"])
        .refused(3, &["entry 3", "is no verification"]);
}

#[test]
fn tables_of_readings_are_entered_with_what_follows_from_them() {
    let park = Park::new();
    let at = ["--at", "2026-10-01T12:00:00Z"];
    for (command, table) in [
        (&["range"][..], "captures/range-demo.csv"),
        (&["locate", "--coil-height-m", "0.3"], "captures/buried-grid.csv"),
    ] {
        let table = repository(table);
        park.run(&[command, &[&table, "--json"], &CREEK, &at].concat()).json();
    }
    let angle = repository("captures/angle-demo.csv");
    let turned = ["survey", "angle", "--readings", &angle, "--distance", "2"];
    park.run(&[&turned[..], &CREEK].concat()).with_code(0);
    let entries = park.entries();
    let measurements: Vec<Value> = entries
        .iter()
        .filter(|entry| entry["kind"] == "measurement")
        .map(|entry| show(&park, entry))
        .collect();
    for (measurement, kind, quantities) in [
        (&measurements[0], "range", &["moment_a_m2", "field_at_10_m_a_per_m"][..]),
        (&measurements[1], "location", &["depth_m", "x_m", "y_m", "z_m", "moment_a_m2"]),
        (&measurements[2], "angle", &["moment_a_m2", "misalignment_deg"]),
    ] {
        assert_eq!(measurement["content"]["kind"], kind);
        for quantity in quantities {
            let u = number(&measurement["values"][quantity]["u"]);
            assert!(u > 0.0, "{quantity} of {kind}");
        }
    }
    let depth = &measurements[1]["content"]["document_json"]["depth_vertical_m"];
    assert_eq!(&measurements[1]["values"]["depth_m"], depth);
    assert_eq!(entries[1]["at"], "2026-10-01T12:00:00.000Z");
}

#[test]
fn a_station_is_entered_as_its_file_is_and_knows_its_units() {
    let park = Park::new();
    Scene::plain(20.0).write(park.folder(), "monday");
    let file = park.write_station("lower field");
    let measure = |unit: &str, station: &str| {
        park.run(&["measure", "monday", "--unit", unit, "--station", station, "--by", "warden"])
    };
    measure("lower field 3", &file).with_code(0);
    assert_eq!(park.says("station"), ["lower field"]);
    measure("hut", &file).refused(2, &["no unit \"hut\"", "lower field 3"]);
    measure("lower field 3", "upper field").refused(2, &["upper field", "lower field"]);
    let before = park.entries();
    measure("lower field 3", "lower field").with_code(0);
    assert_eq!(park.entries(), before, "the same again");
    let text = std::fs::read_to_string(park.folder().join(&file)).unwrap();
    std::fs::write(park.folder().join(&file), text.replace("depth_m = 1.0", "depth_m = 1.2"))
        .unwrap();
    Scene { seed: 2, ..Scene::plain(20.0) }.write(park.folder(), "monday");
    measure("lower field 3", &file).with_code(0);
    assert_eq!(park.says("station"), ["lower field", "lower field"], "as it was and as it is");
}

#[test]
fn names_that_are_likely_mistyped_are_refused_before_anything_is_measured() {
    let park = Park::new();
    let missing = |unit: &str| park.run(&["measure", "nowhere", "--unit", unit, "--by", "warden"]);
    park.run(&["records", "unit", "creek", "--serial", "17", "--by", "warden"]).with_code(0);
    missing("crek").refused(3, &["no unit is called \"crek\"", "\"creek\""]);
    missing("stump").refused(3, &["nowhere"]);
    park.run(&["records", "unit", "crek", "--by", "warden"]).with_code(0);
    missing("crek").refused(3, &["nowhere"]);
    park.run(&["records", "unit", "crek", "--by", "warden"]).refused(3, &["of this name already"]);
    park.run(&["records", "event", "hut", "battery", "--by", "warden"])
        .refused(3, &["no unit \"hut\"", "\"creek\", \"crek\""]);
}

#[test]
fn without_a_unit_or_records_nothing_is_entered() {
    let park = Park::new();
    Scene::plain(20.0).write(park.folder(), "monday");
    park.run(&["measure", "monday"]).with_code(0);
    park.run(&["measure", "monday", "--records", "records.sqlite"]).refused(2, &["of which unit"]);
    assert!(park.entries().is_empty());
    let elsewhere = tempfile::tempdir().unwrap();
    let run = coilrig_tests::program::coilrig(
        elsewhere.path(),
        &["range", &repository("captures/range-demo.csv"), "--unit", "creek", "--by", "warden"],
    );
    run.refused(2, &["no records.sqlite", "COILRIG_RECORDS"]);
}

#[test]
fn what_was_entered_wrongly_is_corrected_by_a_new_entry() {
    let park = Park::new();
    for unit in ["creek", "hut"] {
        park.run(&["records", "unit", unit, "--by", "warden"]).with_code(0);
    }
    let event = ["records", "event", "creek", "battery", "--at", "2026-04-01", "--by", "warden"];
    park.run(&event).with_code(0);
    let correct = |arguments: &[&str]| {
        park.run(&[&["records", "correct"], arguments, &["--by", "warden"]].concat())
    };
    correct(&["3", "unit=hut", "--note", "mixed up"]).with_code(0);
    correct(&["3", "unit=hut"]).refused(3, &["entry 3", "corrected already, by entry 4"]);
    correct(&["4", "id=7"]).refused(2, &["id cannot be corrected", "detail"]);
    let list = |all: &[&str]| {
        let list = ["records", "list", "--kind", "event", "--json"];
        park.run(&[&list, all].concat()).json()["entries"].clone()
    };
    assert_eq!(list(&[])[0]["unit"], "hut");
    assert_eq!(list(&[]).as_array().unwrap().len(), 1);
    let all = list(&["--all"]);
    assert_eq!((&all[0]["corrected_by"], &all[1]["corrects"]), (&json!(4), &json!(3)));
    assert_eq!(all[1]["at"], "2026-04-01T12:00:00.000Z");
    let withdraw = |arguments: &[&str]| {
        park.run(&[&["records", "withdraw"], arguments, &["--by", "warden"]].concat())
    };
    withdraw(&["4"]).refused(2, &["why entry 4 is withdrawn"]);
    withdraw(&["4", "--note", "no battery was changed"]).with_code(0);
    withdraw(&["4", "--note", "once more"]).refused(3, &["was withdrawn by entry 5"]);
    assert_eq!(list(&[]), json!([]));
}

#[test]
fn a_calibration_is_entered_as_its_file_stands() {
    let park = Park::new();
    let mut silence = Scene::plain(20.0).with("coilrig:receiver", json!("CR-1"));
    silence.transmitters.clear();
    silence.write(park.folder(), "silence");
    let calibrate = |by: &str| {
        let noise = ["calibrate", "noise", "--out", "CR-1.toml", "--capture", "silence"];
        park.run(
            &[&noise[..], &["--gain", "0", "--records", "records.sqlite", "--by", by]].concat(),
        )
    };
    calibrate("warden").with_code(0);
    calibrate("second warden").with_code(0);
    park.run(&["records", "calibration", "CR-1.toml", "--by", "warden"]).with_code(0);
    let entries = park.entries();
    assert_eq!(entries.len(), 2, "the file is another after each part: {entries:?}");
    let last = show(&park, &entries[1]);
    let file = std::fs::read_to_string(park.folder().join("CR-1.toml")).unwrap();
    assert_eq!(last["content"]["file_toml"], file);
    assert_eq!(last["content"]["receiver_serial"], "CR-1");
}

#[test]
fn a_survey_enters_its_captures() {
    let park = Park::new();
    for (seed, name) in (1..).zip(["near", "mid", "far"]) {
        let mut scene = Scene { seed, ..Scene::plain(20.0) };
        let field: f64 = [1.0, 0.125, 1.0 / 27.0][seed as usize - 1];
        scene.transmitters[0].counts.iter_mut().for_each(|counts| *counts *= field);
        scene.write(park.folder(), name);
    }
    let survey = ["survey", "distance", "--out", "field.csv", "--capture", "near@3m"];
    let others = ["--capture", "mid@6m", "--capture", "far@9m"];
    let run = park.run(&[&survey[..], &others, &CREEK].concat());
    run.with_code(0);
    assert!(run.stderr.contains("coilrig range field.csv --unit \"creek\""), "{run:?}");
    let captures = park.says("capture");
    let names = ["near", "mid", "far"].map(|name| format!("{name}.sigmf-meta, 20 s"));
    assert_eq!(captures, names);
    assert_eq!(park.says("unit"), ["creek"]);
}
