//! The page in a real browser, against an emulated receiver.

use coilrig_tests::json::number;
use coilrig_tests::live::LivePage;
use coilrig_tests::program::{self, coilrig};
use coilrig_tests::python::browser;
use coilrig_tests::repository_file;
use tempfile::tempdir;

use super::demo;

#[test]
fn the_page_shows_what_the_rig_hears_and_keeps_to_its_word() {
    let folder = tempdir().unwrap();
    let readings = repository_file("captures/buried-grid.csv").display().to_string();
    let scenario = demo();
    let arguments =
        ["--scenario", &scenario, "--share", "--out", "recordings", "--readings", &readings];
    let page = LivePage::start(folder.path(), &arguments, 2);
    let pictures = folder.path().display().to_string();
    let seen = browser("live_page.py", &[page.link(0), page.link(1), &pictures]);

    // Carriers by the scenario: 457 kHz − 47.8, + 12.4, + 61.3 Hz; names in order of hearing.
    let mut carriers: Vec<f64> =
        seen["carriers_hz"].as_array().unwrap().iter().map(number).collect();
    carriers.sort_by(f64::total_cmp);
    for (found, meant) in carriers.iter().zip([456_952.2, 457_012.4, 457_061.3]) {
        assert!((found - meant).abs() < 0.3, "{carriers:?}");
    }
    assert_eq!(carriers.len(), 3);
    assert_eq!(seen["stranger_status"], 403);
    assert_eq!(seen["viewer_sees_units"], 3);
    assert_eq!(seen["viewer_may_record"], false);
    assert_eq!(seen["errors"], serde_json::json!([]), "{seen}");
    assert_eq!(seen["other_hosts"], serde_json::json!([]));
    assert_eq!(seen["accessibility"], serde_json::json!([]), "{:#}", seen["accessibility"]);
    assert_eq!(seen["too_wide"], serde_json::json!([]));
    assert!(number(&seen["bytes"]) < 300_000.0, "{}", seen["bytes"]);
    assert!(number(&seen["pulses_after_reload"]) > 3.0, "{seen}");
    assert!(seen["field_nanoamperes"].as_str().unwrap().ends_with("nA/m"), "{seen}");
    assert!(seen["field_decibels"].as_str().unwrap().ends_with("dBµA/m"), "{seen}");
    assert_ne!(seen["lesson_before"], seen["lesson_after"]);
    assert!(seen["lesson_before"].as_str().unwrap().contains("measured vectors are"), "{seen}");
    assert_eq!(seen["calm_draws"], true);
    assert!(seen["said_while_recording"].as_str().unwrap().contains("recording"), "{seen}");
    let name = seen["recording"].as_str().unwrap();
    assert_eq!(page.end(), Some(0));
    let recorded = folder.path().join("recordings").join(name).display().to_string();
    let measured = coilrig(folder.path(), &["measure", &recorded, "--json"]).json();
    assert!(number(&measured["capture"]["duration_s"]) > 1.0, "{measured}");
}

#[test]
fn a_survey_is_walked_by_clicking_through_reload_and_pulled_cable() {
    let folder = tempdir().unwrap();
    let place = folder.path().display().to_string();
    let program = program::path().display().to_string();
    let seen = browser("survey_page.py", &[&program, &place]);
    assert_eq!(seen["errors"], serde_json::json!([]), "{seen}");
    assert_eq!(seen["exit"], 0, "{seen}");
    assert_eq!(seen["bad_name_began"], false);
    assert!(seen["refusal"].as_str().unwrap().contains("\"two\" is no"), "{seen}");
    assert_eq!(seen["refusal_after_change"], "");
    assert_eq!(seen["viewer_buttons"], 0, "{seen}");
    assert_eq!(seen["axe"], serde_json::json!([]), "{seen}");
    assert_eq!(seen["too_wide"], false);
    assert!(number(&seen["picture_width"]) > 100.0, "{seen}");
    assert!(seen["first_judgement"].as_str().unwrap().contains("reading 1"), "{seen}");

    // The terminal tells of the same survey, and of the unit as the scene has it.
    let out = ["survey", "distance", "--out", "surveys/page", "--json"];
    let told = coilrig(folder.path(), &out).json();
    assert_eq!(told["finished"], true, "{told}");
    let kept = told["readings"].as_array().unwrap().iter().filter(|r| r["standing"] == "kept");
    assert_eq!(kept.count(), 4, "{told:#}");
    let moment = number(&told["range"]["moment_a_m2"]["value"]);
    assert!((moment / 6e-3 - 1.0).abs() < 0.1, "{moment}");
}
