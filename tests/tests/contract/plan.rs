//! `plan`: what a station will do to those who train on it.

use coilrig_tests::json::{keys, number};
use coilrig_tests::program::coilrig;
use coilrig_tests::repository_file;
use serde_json::Value;
use tempfile::tempdir;

fn station(units: &[(&str, f64, f64, f64)]) -> String {
    let unit = |(name, x_m, period_s, on_time_s): &(&str, f64, f64, f64)| {
        format!(
            "[[unit]]\nname = \"{name}\"\nx_m = {x_m}\ny_m = 0\ndepth_m = 1\nperiod_s = \
             {period_s}\non_time_s = {on_time_s}\nfield_at_10_m = \"1uA/m\"\n"
        )
    };
    let units: String = units.iter().map(unit).collect();
    format!("format = \"coilrig-station/1\"\nname = \"slope\"\n{units}")
}

fn planned(text: &str) -> Value {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("s.toml"), text).unwrap();
    coilrig(folder.path(), &["plan", "--json", "s.toml"]).json()
}

/// Both share (T1 T2)/(P1 P2) of the time and slide by P2 − P1 with every pulse.
#[test]
fn two_units_slide_along_each_other() {
    let document = planned(&station(&[("a", 0.0, 1.0, 0.1), ("b", 8.0, 1.01, 0.08)]));
    assert_eq!(document["format"], "coilrig-plan/1");
    assert_eq!(document["station"], "slope");
    let masking = &document["masking"];
    let expected = ["exchange", "pairs", "share_of_time", "threshold_a_per_m", "units"];
    assert_eq!(keys(masking), expected);
    let share = 0.1 * 0.08 / 1.01;
    assert!((number(&masking["share_of_time"]) - share).abs() < 1e-12);
    let pair = &masking["pairs"][0];
    assert_eq!(pair["heard_together"], true);
    assert!((number(&pair["longest_s"]) - 18.0).abs() < 1.1, "{pair}");
    assert!((number(&pair["again_after_s"]) - 101.0).abs() < 1e-6, "{pair}");
}

#[test]
fn units_far_apart_are_not_heard_together() {
    let document = planned(&station(&[("a", 0.0, 1.0, 0.1), ("b", 80.0, 1.0, 0.1)]));
    let pair = &document["masking"]["pairs"][0];
    assert_eq!(pair["heard_together"], false);
    assert!(pair["longest_s"].is_null() && pair["again_after_s"].is_null());
}

#[test]
fn the_example_is_planned_for_people() {
    let example = repository_file("captures/station.toml");
    let run = coilrig(tempdir().unwrap().path(), &["plan", example.to_str().unwrap()]);
    run.with_code(0);
    for part in ["Larch meadow: 6 units", "post and stump", "again after", "Exchange \""] {
        assert!(run.stdout.contains(part), "{part} in {}", run.stdout);
    }
    assert!(run.stderr.contains("no certification"));
}

#[test]
fn what_is_wrong_with_a_station_is_named_with_its_line() {
    let folder = tempdir().unwrap();
    let write = |text: &str| std::fs::write(folder.path().join("s.toml"), text).unwrap();
    let refused = |parts: &[&str]| {
        coilrig(folder.path(), &["plan", "s.toml"]).refused(3, parts);
    };
    write(&station(&[("a", 0.0, 1.0, 0.1), ("a", 3.0, 0.9, 0.1)]));
    refused(&["s.toml, line 12", "a second unit \"a\""]);
    write(&station(&[("a", 0.0, 1000.0, 0.1)]));
    refused(&["s.toml, line 8", "period_s is 1000"]);
    write(&station(&[("a", 0.0, 1.0, 0.1)]).replace("depth_m = 1", "depth_m = -1"));
    refused(&["s.toml, line 7", "above the surface"]);
    write("name = 3");
    refused(&["s.toml, line 1"]);
    coilrig(folder.path(), &["plan", "nowhere.toml"]).refused(3, &["nowhere.toml"]);
    coilrig(folder.path(), &["plan", "--threshold", "0", "s.toml"]).with_code(2);
}
