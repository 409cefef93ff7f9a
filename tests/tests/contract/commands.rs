//! The command line as a whole.

use coilrig_tests::program::coilrig;
use tempfile::tempdir;

#[test]
fn every_command_explains_itself_with_an_example() {
    let folder = tempdir().unwrap();
    for command in [
        "calibrate",
        "emulate",
        "history",
        "live",
        "locate",
        "measure",
        "ports",
        "range",
        "record",
        "report",
        "verify",
    ] {
        let run = coilrig(folder.path(), &[command, "--help"]);
        run.with_code(0);
        assert!(run.stdout.contains(&format!("\n  coilrig {command} ")), "{run:?}");
        assert!(run.stderr.is_empty(), "{run:?}");
    }
}

#[test]
fn wrong_usage_is_2_and_gives_no_result() {
    let folder = tempdir().unwrap();
    let wrong: [&[&str]; 11] = [
        &[],
        &["mesure", "a"],
        &["measure"],
        &["measure", "--jsn", "a"],
        &["measure", "--json", "--csv", "a"],
        &["range"],
        &["range", "a.csv", "--threshold", "80nT"],
        &["range", "a.csv", "--fit-offset", "perhaps"],
        &["record", "--out", "a"],
        &["record", "--port", "/dev/null", "--out", "a", "--duration", "-1"],
        &["emulate"],
    ];
    for arguments in wrong {
        let run = coilrig(folder.path(), arguments);
        run.with_code(2);
        assert!(run.stdout.is_empty() && !run.stderr.is_empty(), "{run:?}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "it left files behind");
}

#[test]
fn ports_as_json_are_one_document() {
    let folder = tempdir().unwrap();
    let document = coilrig(folder.path(), &["ports", "--json"]).json();
    assert!(document["ports"].is_array(), "{document}");
}

#[test]
fn a_scenario_that_makes_no_sense_is_3_with_its_place() {
    let folder = tempdir().unwrap();
    let refused = |text: &[u8], parts: &[&str]| {
        std::fs::write(folder.path().join("s.toml"), text).unwrap();
        coilrig(folder.path(), &["emulate", "s.toml", "--duration", "0.1"]).refused(3, parts);
    };
    refused(b"seed = 1\n[receiver\n", &["s.toml", "line 2"]);
    refused(b"seed = 1\n\n[receiver]\nnoise = 3\n", &["s.toml", "line 4", "noise"]);
    refused(b"receiver.axes = 2", &["s.toml", "receiver.axes"]);
    refused(b"receiver.noise_a_per_m_rthz = nan", &["s.toml", "receiver.noise_a_per_m_rthz"]);
    let unit = "[[unit]]\nname = \"hut\"\nposition_m = [0, 0, -1]\nmoment_a_m2 = [1e-3, 0, 0]\n";
    refused(format!("{unit}period_s = 0\n").as_bytes(), &["s.toml", "hut", "period_s"]);
    refused(&[0xff, 0xfe, 0], &["s.toml"]);
    coilrig(folder.path(), &["emulate", "none.toml"]).refused(3, &["none.toml"]);
}
