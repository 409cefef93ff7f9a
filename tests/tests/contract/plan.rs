//! `plan`: what a station will do to those who train on it.

use coilrig_tests::json::{keys, number, reading};
use coilrig_tests::program::coilrig;
use coilrig_tests::repository_file;
use serde_json::{Value, json};
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
    let expected = ["exchange", "pairs", "share_of_time", "spare", "threshold_a_per_m", "units"];
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

/// Upright, level snow, free space: heard on the lane through it where √(1 + 3cos²θ)
/// m/4πr³ is 80 nA/m, led straight to it, strongest right above.
#[test]
fn an_upright_unit_leads_straight_to_itself() {
    let lie = "lie = { bearing_deg = 0, dip_deg = 90 }\n";
    let field = "field = { x_m = [-10, 10], y_m = [-40, 40] }\n[[unit]]\n";
    let text = station(&[("a", 0.0, 1.0, 0.1)]).replace("[[unit]]\n", field) + lie;
    let document = planned(&text);
    let heard = &document["walk"]["units"][0]["first_heard"];
    let straight_m = number(&heard["straight_m"]);
    let cos2 = 4.0 / (4.0 + straight_m * straight_m);
    // m/4π of 1 µA/m at 10 m on the axis, the terms of the wave left out (2 %).
    let law = 0.5e-3 * (1.0 + 3.0 * cos2).sqrt() / number(&heard["distance_m"]).powi(3);
    assert!((law / 80e-9 - 1.0).abs() < 0.03, "{heard}");
    assert!((number(&heard["along_field_m"]) - straight_m).abs() < 0.01, "{heard}");
    assert!((number(&heard["after_m"]) + straight_m - 40.0).abs() < 1e-6, "{heard}");
    assert_eq!(heard["end"], "slow-search");
    let three = &document["maxima"]["units"][0]["receptions"][0];
    assert_eq!(three["reception"], "three-axes");
    assert!(number(&three["maxima"][0]["offset_m"]) < 0.01, "{three}");
    let shares = &document["field"]["units"][0];
    assert_eq!(shares["heard_share"], shares["strongest_share"]);
    assert_eq!(document["field"]["space"]["kind"], "free");
}

#[test]
fn pictures_and_tables_go_to_a_folder() {
    let example = repository_file("captures/station.toml");
    let folder = tempdir().unwrap();
    let args = ["plan", example.to_str().unwrap(), "--out", "plan", "--way", "across"];
    coilrig(folder.path(), &args).with_code(0);
    let read = |name: &str| std::fs::read(folder.path().join("plan").join(name)).unwrap();
    for name in ["masking", "field_map", "strongest_unit", "first_heard", "maxima"] {
        assert_eq!(&read(&format!("{name}.png"))[..4], b"\x89PNG", "{name}");
        let table = String::from_utf8(read(&format!("{name}.csv"))).unwrap();
        assert!(table.lines().count() > 6, "{name}: {table}");
        let svg = String::from_utf8(read(&format!("{name}.svg"))).unwrap();
        for unit in ["post", "stump", "ditch", "fence", "spring", "hut"] {
            assert!(svg.contains(unit), "{unit} is not on {name}");
        }
    }
    let document: Value = serde_json::from_slice(&read("plan.json")).unwrap();
    assert_eq!(document["format"], "coilrig-plan/1");
    assert_eq!(document["walk"]["way"], "across");
    assert_eq!(document["field"]["space"]["kind"], "snow-over-soil");
    let map = String::from_utf8(read("field_map.csv")).unwrap();
    assert_eq!(map.lines().count(), 1 + 200 * 134);
}

/// A document of `measure` as the contract has it, with two transmitters.
const MEASURED: &str = r#"{"format": "coilrig-measurement/1", "transmitters": [
    {"label": "T1", "period_s": {"value": 1.0003, "u": 1e-5},
     "on_time_s": {"value": 0.0912, "u": 1e-4}},
    {"label": "T2", "period_s": {"value": 0.9, "u": 1e-5},
     "on_time_s": {"value": 0.08, "u": 1e-4}}]}"#;

#[test]
fn measured_values_take_the_place_of_planned_ones_and_are_named() {
    let folder = tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("s.toml", &station(&[("a", 0.0, 1.0, 0.1), ("b", 8.0, 1.01, 0.08)]));
    write("m.json", MEASURED);
    // A unit 1.3 m deep, moment along (1, 1, 0): 45° from north.
    let located = json!({
        "format": "coilrig-locate/1", "ambiguous": false,
        "position_m": [{"value": 8.4, "u": 0.02}, {"value": 0.3, "u": 0.02}, {"value": -1.3, "u": 0.02}],
        "moment_a_m2": [{"value": 4e-3, "u": 1e-4}, {"value": 4e-3, "u": 1e-4}, {"value": 0.0, "u": 1e-4}],
        "covariance": (0..6).map(|i| (0..6).map(|j| if i == j { 1e-8 } else { 0.0 }).collect::<Vec<_>>())
            .collect::<Vec<_>>(),
        "field_at_10_m_a_per_m": {"value": 9e-7, "u": 3e-8},
        "depth_vertical_m": {"value": 1.3, "u": 0.02},
    });
    write("l.json", &located.to_string());
    let plan = |more: &[&str]| {
        let args = [&["plan", "s.toml", "--json"], more].concat();
        coilrig(folder.path(), &args)
    };
    let document = plan(&["--measured", "a=m.json#T1", "--measured", "b=l.json"]).json();
    let rows = document["measured"].as_array().unwrap();
    let value = |unit: &str, quantity: &str| {
        let row = rows.iter().find(|r| r["unit"] == unit && r["quantity"] == quantity);
        reading(&row.unwrap()["measured"])
    };
    assert_eq!(value("a", "period_s"), (1.0003, 1e-5));
    assert_eq!(value("b", "x_m"), (8.4, 0.02));
    assert_eq!(value("b", "depth_m"), (1.3, 0.02));
    let (bearing, u) = value("b", "bearing_deg");
    // 1e-4 across a moment of 5.66e-3.
    assert!((bearing - 45.0).abs() < 1e-9 && (u - 1.0127).abs() < 0.01, "{bearing} {u}");
    // 1.01 s against 1.0003 s: 9.7 ms a pulse in 171.2 ms.
    let longest_s = number(&document["masking"]["pairs"][0]["longest_s"]);
    assert!((longest_s - 17.1).abs() < 1.1, "{longest_s}");
    let text = coilrig(folder.path(), &["plan", "s.toml", "--measured", "a=m.json#T1"]);
    assert!(text.stdout.contains("1000.300 ± 0.010 ms"), "{}", text.stdout);
    for (given, parts) in [
        ("a=m.json", &["m.json", "several transmitters: T1, T2"][..]),
        ("a=m.json#T7", &["m.json", "no transmitter T7, only T1, T2"]),
        ("z=m.json#T1", &["m.json", "no unit \"z\", only a, b"]),
        ("a=s.toml", &["s.toml", "is no JSON"]),
        ("a=nowhere.json", &["nowhere.json"]),
    ] {
        plan(&["--measured", given]).refused(3, parts);
    }
    plan(&["--measured", "m.json"]).with_code(2);
    plan(&["--lanes", "0"]).with_code(2);
}

#[test]
fn what_is_doubtful_is_told_with_its_line() {
    let folder = tempdir().unwrap();
    let text = station(&[("a", 0.0, 1.5, 0.1)]);
    std::fs::write(folder.path().join("s.toml"), text).unwrap();
    let run = coilrig(folder.path(), &["plan", "s.toml"]);
    run.with_code(0);
    assert!(run.stderr.contains("s.toml, line 8: a period of 1500 ms"), "{}", run.stderr);
    assert!(run.stderr.contains("line 4: \"a\" has no lie"), "{}", run.stderr);
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
