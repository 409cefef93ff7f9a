//! What `survey angle` takes from a table and prints.

use coilrig_tests::json::reading;
use coilrig_tests::program::{Run, coilrig};
use coilrig_tests::repository_file;
use tempfile::tempdir;

const HEADER: &str = "angle_deg,field_a_per_m,u_field_a_per_m\n";

/// `coilrig survey angle` on a table of this text.
fn angle(text: impl AsRef<[u8]>, options: &[&str]) -> Run {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("a.csv"), text).unwrap();
    coilrig(folder.path(), &[&["survey", "angle", "--readings", "a.csv"], options].concat())
}

/// The cosine law turned by 25°, one row an angle of `step_deg`.
fn cosine(step_deg: f64) -> Vec<String> {
    let count = (360.0 / step_deg) as usize;
    let row = |i: usize| {
        let angle_deg = step_deg * i as f64;
        let field = 1e-6 * (angle_deg - 25.0).to_radians().cos().abs();
        format!("{angle_deg},{field:e},1e-9")
    };
    (0..count).map(row).collect()
}

fn table(rows: &[String]) -> String {
    format!("{HEADER}{}\n", rows.join("\n"))
}

#[test]
fn the_demo_table_tells_law_leakage_and_moment() {
    let demo = repository_file("captures/angle-demo.csv");
    let folder = tempdir().unwrap();
    let with = ["--json", "--distance", "2", "--out", "o"];
    let arguments = [&["survey", "angle", "--readings", demo.to_str().unwrap()], &with[..]];
    let document = coilrig(folder.path(), &arguments.concat()).json();
    assert_eq!(document["format"], "coilrig-angle/1");
    assert_eq!((&document["law"], &document["turned"]), (&"dipole".into(), &"unit".into()));
    for name in ["misalignment_deg", "peak_a_per_m", "leak_in_phase", "leakage_ratio", "depth_db"] {
        reading(&document[name]);
    }
    // 5 mA·m², 6° to the right of the mark and 8° up, as its header says and as made.
    let (moment, u) = reading(&document["moment_a_m2"]);
    assert!((moment - 5e-3).abs() < 3.0 * u, "{moment} ± {u}");
    for (name, made) in [("azimuth_deg", -6.0), ("elevation_deg", 8.0)] {
        let (value, u) = reading(&document["moment"][name]);
        assert!((value - made).abs() < 3.0 * u, "{name}: {value} ± {u}");
    }
    assert_eq!(document["harmonics"].as_array().unwrap().len(), 4);
    assert_eq!(document["residuals_u"].as_array().unwrap().len(), 24, "one for each row");
    for name in [
        "angle.json",
        "coupling_over_angle.csv",
        "coupling_over_angle.png",
        "coupling_over_angle.svg",
        "law_over_angle.csv",
    ] {
        assert!(folder.path().join("o").join(name).is_file(), "{name}");
    }
}

#[test]
fn one_axis_gives_the_cosine_and_says_what_it_cannot_know() {
    for options in [&["--json"][..], &["--json", "--law", "cosine"]] {
        let document = angle(table(&cosine(15.0)), options).json();
        assert_eq!(document["law"], "cosine");
        let (theta, _) = reading(&document["misalignment_deg"]);
        assert!((theta - 25.0).abs() < 1e-6, "{theta}");
        assert!(document.get("moment").is_none());
        let notes = document["notes"].to_string();
        assert!(notes.contains("nothing of its part along it"), "{notes}");
    }
    let run = angle(table(&cosine(15.0)), &[]);
    let text = &run.with_code(0).stdout;
    assert!(text.contains("misalignment: 25.0") && text.contains("cross-axis leakage"), "{text}");
}

#[test]
fn tables_that_give_no_result_are_refused_with_line_and_remedy() {
    let rows = cosine(15.0);
    let changed = |row: usize, text: &str| {
        let mut rows = rows.clone();
        rows[row] = text.into();
        table(&rows)
    };
    let scaled = |factor: f64| changed(3, &format!("45,{:e},1e-9", factor * 0.94e-6));
    let radians: Vec<String> = (0..24)
        .map(|i| format!("{},{:e},1e-9", f64::from(i) * 0.2618, 1e-6 + 1e-8 * f64::from(i)))
        .collect();
    let same: Vec<String> = rows.iter().map(|_| "30,1e-6,1e-9".into()).collect();
    let constant: Vec<String> = (0..24).map(|i| format!("{},1e-6,1e-8", 15 * i)).collect();
    for (text, matter) in [
        (table(&rows[..4]), "4 different angles, 6 are needed"),
        (table(&rows[..8]), "the angles span 105° of a turn"),
        (table(&radians), "look like radians"),
        (table(&same), "all readings are at 30°"),
        (table(&constant), "the field is the same at all angles"),
        (changed(3, "45,NaN,1e-9"), "line 5, field_a_per_m: NaN"),
        (changed(3, "45,-9e-7,1e-9"), "line 5, field_a_per_m: -9e-7"),
        (changed(3, "45,9e-7,0"), "line 5, u_field_a_per_m: 0"),
        (changed(3, "45,9e-7"), "line 5: has 2 values for 3 columns"),
        (scaled(1e3), "line 5: "),
        (scaled(1e-3), "line 5: "),
        (HEADER.into(), "0 different angles"),
        (String::new(), "is empty"),
        ("angle_rad,field_a_per_m,u_field_a_per_m\n0,1,1\n".into(), "no column angle_deg"),
    ] {
        angle(&text, &["--json"]).refused(3, &["a.csv", matter]);
    }
    angle([0xff, 0xfe], &[]).refused(3, &["not UTF-8"]);
}

#[test]
fn wrong_usage_is_told_from_wrong_input() {
    let rows = table(&cosine(15.0));
    for options in [
        &["--law", "sine"][..],
        &["--turned", "me"],
        &["--step", "15"],
        &["--u-angle", "-1"],
        &["--distance", "0"],
        &["--u-distance", "0.1"],
    ] {
        angle(&rows, options).with_code(2);
    }
    let folder = tempdir().unwrap();
    coilrig(folder.path(), &["survey", "angle"]).with_code(2);
    coilrig(folder.path(), &["survey", "angle", "--readings", "none.csv"])
        .refused(3, &["none.csv"]);
}
