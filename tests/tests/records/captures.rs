//! Captures that are not what or where they were.

use coilrig_tests::capture::Scene;
use serde_json::json;

use crate::park::Park;

#[test]
fn captures_that_were_moved_or_changed_are_told() {
    let park = Park::new();
    let folder = park.folder();
    for (number, name) in (1..).zip(["same", "moved", "other", "noted", "gone"]) {
        Scene { seed: number, ..Scene::plain(20.0) }.write(folder, name);
        park.run(&["measure", name, "--unit", "creek", "--by", "warden"]).with_code(0);
    }
    let check = |options: &[&str]| park.run(&[&["records", "check"], options].concat());
    check(&[]).with_code(0);
    let archive = folder.join("archive/2026");
    std::fs::create_dir_all(&archive).unwrap();
    for ending in ["sigmf-meta", "sigmf-data"] {
        std::fs::rename(
            folder.join(format!("moved.{ending}")),
            archive.join(format!("old name.{ending}")),
        )
        .unwrap();
        std::fs::remove_file(folder.join(format!("gone.{ending}"))).unwrap();
    }
    let samples = folder.join("other.sigmf-data");
    let mut bytes = std::fs::read(&samples).unwrap();
    bytes[1000] ^= 1;
    std::fs::write(&samples, bytes).unwrap();
    park.run(&["measure", "noted", "--annotate"]).with_code(0);

    let run = check(&[]);
    run.with_code(3);
    for (name, state) in [
        ("moved", "is not there"),
        ("gone", "is not there"),
        ("other", "OTHER SAMPLES"),
        ("noted", "its .sigmf-meta file was changed"),
    ] {
        let told = run.stdout.lines().find(|line| line.contains(&format!("{name}.sigmf-meta")));
        assert!(told.is_some_and(|told| told.contains(state)), "{name}: {run:?}");
    }
    assert!(!run.stdout.contains("same.sigmf-meta"), "{run:?}");
    assert!(run.stdout.contains("5 captures, 4 of them not as entered"), "{run:?}");
    check(&["--no-captures"]).with_code(0);

    let found = check(&["--search", ".", "--json"]).document();
    let moved =
        found["captures"].as_array().unwrap().iter().find(|c| c["state"]["moved"] != json!(null));
    let moved = moved.unwrap_or_else(|| panic!("{found}"));
    let path = moved["state"]["moved"].as_str().unwrap();
    assert!(path.ends_with("archive/2026/old name.sigmf-meta"), "{path}");
    let correct = |path: &str| {
        let change = format!("path={path}");
        park.run(&["records", "correct", &moved["id"].to_string(), &change, "--by", "warden"])
    };
    correct("same").refused(3, &["same.sigmf-data", "other samples"]);
    correct(path).with_code(0);
    assert!(check(&[]).stdout.contains("5 captures, 3 of them not as entered"));
}

/// Paths in the folder of the records go with it.
#[test]
fn a_folder_with_records_and_captures_can_be_moved() {
    let park = Park::new();
    Scene::plain(20.0).write(park.folder(), "monday");
    park.run(&["measure", "monday", "--unit", "creek", "--by", "warden"]).with_code(0);
    let elsewhere = tempfile::tempdir().unwrap();
    for name in ["records.sqlite", "monday.sigmf-meta", "monday.sigmf-data"] {
        std::fs::rename(park.folder().join(name), elsewhere.path().join(name)).unwrap();
    }
    let run = coilrig_tests::program::coilrig(elsewhere.path(), &["records", "check"]);
    run.with_code(0);
    assert!(run.stdout.contains("1 capture as entered"), "{run:?}");
}
