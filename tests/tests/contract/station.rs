//! `station`: station files written, checked, from and to GeoJSON.

use coilrig_tests::program::coilrig;
use coilrig_tests::repository_file;
use serde_json::{Value, json};
use tempfile::tempdir;

fn example() -> String {
    repository_file("captures/station.toml").to_str().unwrap().to_owned()
}

#[test]
fn the_example_is_shown() {
    let run = coilrig(tempdir().unwrap().path(), &["station", "check", &example()]);
    run.with_code(0);
    for part in ["Larch meadow: 6 units", "slope 12°, down towards 160°", "stump", "1.17 m"] {
        assert!(run.stdout.contains(part), "{part} in {}", run.stdout);
    }
}

/// RFC 7946: longitude first, degrees by WGS84.
#[test]
fn units_become_points_and_points_units() {
    let folder = tempdir().unwrap();
    let points = coilrig(folder.path(), &["station", "geojson", &example()]).json();
    assert_eq!(points["type"], "FeatureCollection");
    let features = points["features"].as_array().unwrap();
    assert_eq!(features.len(), 6);
    let post = &features[0];
    assert_eq!(post["geometry"]["type"], "Point");
    assert_eq!(post["properties"]["name"], "post");
    let at = &post["geometry"]["coordinates"];
    // 8 m east and 7.5 m north of 46.57° N, 9.83° E: 111.2 km and 76.6 km a degree.
    assert!((at[0].as_f64().unwrap() - 9.83 - 8.0 / 76_600.0).abs() < 2e-7, "{at}");
    assert!((at[1].as_f64().unwrap() - 46.57 - 7.5 / 111_200.0).abs() < 2e-7, "{at}");
    std::fs::write(folder.path().join("points.geojson"), points.to_string()).unwrap();
    let new = [
        "station",
        "new",
        "again.toml",
        "--name",
        "Larch meadow",
        "--from",
        "points.geojson",
        "--origin",
        "46.57,9.83",
    ];
    coilrig(folder.path(), &new).with_code(0);
    let again = coilrig(folder.path(), &["station", "geojson", "again.toml"]).json();
    for (a, b) in features.iter().zip(again["features"].as_array().unwrap()) {
        assert_eq!(a["properties"], b["properties"]);
        for i in 0..2 {
            let number = |f: &Value| f["geometry"]["coordinates"][i].as_f64().unwrap();
            // Centimetres are written.
            assert!((number(a) - number(b)).abs() < 1.5e-7, "{a} {b}");
        }
    }
    coilrig(folder.path(), &new).refused(3, &["again.toml", "is there already"]);
}

#[test]
fn what_points_do_not_tell_is_asked_for() {
    let folder = tempdir().unwrap();
    let point = json!({
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [9.83, 46.57, 1840.0]},
        "properties": {"name": "post \"west\"", "ele": 1840},
    });
    let points = json!({"type": "FeatureCollection", "features": [point]});
    std::fs::write(folder.path().join("p.geojson"), points.to_string()).unwrap();
    let new = ["station", "new", "s.toml", "--name", "Field", "--from", "p.geojson"];
    coilrig(folder.path(), &new).with_code(0);
    let text = std::fs::read_to_string(folder.path().join("s.toml")).unwrap();
    assert!(text.contains("x_m = 0.00") && text.contains("# depth_m"), "{text}");
    coilrig(folder.path(), &["station", "check", "s.toml"]).refused(3, &["s.toml", "depth_m"]);
    let empty = ["station", "new", "t.toml", "--name", "Field"];
    coilrig(folder.path(), &empty).with_code(0);
    coilrig(folder.path(), &["station", "check", "t.toml"]).refused(3, &["t.toml", "x_m"]);
}

#[test]
fn files_that_are_no_points_are_refused() {
    let folder = tempdir().unwrap();
    let line = json!({"type": "Feature", "properties": {"name": "a"},
        "geometry": {"type": "LineString", "coordinates": [[9.8, 46.5], [9.9, 46.5]]}});
    let nameless = json!({"type": "Feature", "properties": null,
        "geometry": {"type": "Point", "coordinates": [9.8, 46.5]}});
    let metres = json!({"type": "Feature", "properties": {"name": "a"},
        "geometry": {"type": "Point", "coordinates": [2_600_000.0, 1_200_000.0]}});
    for (content, part) in [
        ("not json".to_owned(), "is no GeoJSON"),
        (json!({"type": "FeatureCollection", "features": []}).to_string(), "has no features"),
        (line.to_string(), "feature 1: is no point"),
        (nameless.to_string(), "feature 1: has no name"),
        (metres.to_string(), "longitude 2600000"),
    ] {
        std::fs::write(folder.path().join("p.geojson"), content).unwrap();
        let new = ["station", "new", "s.toml", "--name", "Field", "--from", "p.geojson"];
        coilrig(folder.path(), &new).refused(3, &["p.geojson", part]);
        assert!(!folder.path().join("s.toml").exists());
    }
    let origin = ["station", "new", "s.toml", "--name", "Field", "--origin", "95,9"];
    coilrig(folder.path(), &origin).with_code(2);
}
