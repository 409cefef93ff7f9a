//! What `range` takes and prints.

use coilrig_tests::json::{keys, number, reading};
use coilrig_tests::program::{Run, coilrig};
use coilrig_tests::repository_file;
use serde_json::{Value, json};
use tempfile::tempdir;

const HEADER: &str = "distance_m,field_a_per_m,u_field_a_per_m,alignment\n";

/// `coilrig range` on a table of this text.
fn range(text: impl AsRef<[u8]>, options: &[&str]) -> Run {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("r.csv"), text).unwrap();
    coilrig(folder.path(), &[&["range", "r.csv"], options].concat())
}

/// A unit of 5 mA·m² in the near field, exact to the last digit but for the
/// induction term: H = m/(2πr³) coaxial, half of that coplanar.
fn exact() -> String {
    let mut text = HEADER.to_owned();
    for (alignment, share) in [("coaxial", 1.0), ("coplanar", 0.5)] {
        for distance_m in [0.5f64, 1.0, 2.0, 4.0] {
            let field = share * 5e-3 / (std::f64::consts::TAU * distance_m.powi(3));
            text += &format!("{distance_m},{field:e},{:e},{alignment}\n", 0.02 * field);
        }
    }
    text
}

#[test]
fn json_has_the_keys_of_the_contract() {
    let demo = repository_file("captures/range-demo.csv");
    let folder = tempdir().unwrap();
    for (offset, has_offset) in [("yes", true), ("no", false)] {
        let arguments = ["range", demo.to_str().unwrap(), "--json", "--fit-offset", offset];
        let document = coilrig(folder.path(), &arguments).json();
        for name in ["moment_a_m2", "field_at_10_m_a_per_m", "slope"] {
            reading(&document[name]);
        }
        assert_eq!(document.get("distance_offset_m").map(reading).is_some(), has_offset);
        let residuals = document["residuals_db"].as_array().unwrap();
        assert_eq!(residuals.len(), 13, "one for each row");
        residuals.iter().for_each(|residual| {
            reading(residual);
        });
        let ranges = document["ranges"].as_array().unwrap();
        assert!(!ranges.is_empty());
        for range in ranges {
            assert_eq!(keys(range), ["alignment", "range_m", "threshold_a_per_m"]);
            assert!(["coaxial", "coplanar"].contains(&range["alignment"].as_str().unwrap()));
            reading(&range["range_m"]);
            assert_eq!(reading(&range["threshold_a_per_m"]).1, 0.0, "a threshold is given");
        }
    }
}

#[test]
fn a_dipole_near_by_gives_its_moment_and_the_power_of_three() {
    let document = range(exact(), &["--json", "--fit-offset", "no"]).json();
    let (moment, u_moment) = reading(&document["moment_a_m2"]);
    // At 4 m the induction term is (kr)²/2 = 0.07 % of the field.
    assert!((moment / 5e-3 - 1.0).abs() < 5e-4, "{moment}");
    // Eight readings of 2 % each.
    assert!((u_moment / moment / (0.02 / 8f64.sqrt()) - 1.0).abs() < 0.05, "{u_moment}");
    let (slope, _) = reading(&document["slope"]);
    assert!((slope + 3.0).abs() < 1e-3, "{slope}");
    let (at_10_m, _) = reading(&document["field_at_10_m_a_per_m"]);
    let static_a_per_m = moment / (std::f64::consts::TAU * 1000.0);
    // (kr)²/2 at 10 m is 0.46 %.
    assert!((at_10_m / static_a_per_m - 1.0046).abs() < 2e-4, "{at_10_m}");
}

#[test]
fn thresholds_are_read_in_the_units_people_use() {
    let options = ["80nA/m", "0.5uA/m", "0.5µA/m", "-6dBuA/m", "7dBµA/m", "8e-8", "2mA/m"];
    // dBµA/m = 20 log₁₀(H / 1 µA/m).
    let expected = [80e-9, 0.5e-6, 0.5e-6, 0.501_187e-6, 2.238_721e-6, 8e-8, 2e-3];
    for (text, expected) in options.iter().zip(expected) {
        let document = range(exact(), &["--json", "--threshold", text]).json();
        let (threshold, _) = reading(&document["ranges"][0]["threshold_a_per_m"]);
        assert!((threshold / expected - 1.0).abs() < 1e-6, "{text} was read as {threshold}");
    }
}

#[test]
fn the_order_of_columns_and_the_dress_of_the_file_do_not_matter() {
    let plain = range(exact(), &["--json"]).json();
    let turned: String = exact()
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            format!("{},{},{},{}\r\n", cells[3], cells[2], cells[0], cells[1])
        })
        .collect();
    assert_eq!(range(turned, &["--json"]).json(), plain);
    assert_eq!(range(format!("\u{feff}{}", exact()), &["--json"]).json(), plain);
}

#[test]
fn nonsense_is_refused_with_its_line() {
    let refused = |rows: &str, parts: &[&str]| {
        let text = format!("{HEADER}1,1e-3,1e-5,coaxial\n2,1.25e-4,1e-6,coaxial\n{rows}");
        range(text, &["--json"]).refused(3, parts).refused(3, &["r.csv"]);
    };
    refused("four,1e-6,1e-8,coaxial\n", &["line 4", "four"]);
    refused("4,1e-6,1e-8,axial\n", &["line 4", "axial"]);
    refused("4,-1e-6,1e-8,coaxial\n", &["line 4", "field_a_per_m"]);
    refused("4,1e-6,0,coaxial\n", &["line 4", "u_field_a_per_m"]);
    refused("0,1e-6,1e-8,coaxial\n", &["line 4", "distance_m"]);
    refused("4,NaN,1e-8,coaxial\n", &["line 4"]);
    refused("4,inf,1e-8,coaxial\n", &["line 4"]);
    refused("4,1e-6,1e-8\n", &["line 4"]);
    refused("4,1e-6,1e-8,coaxial,5\n", &["line 4"]);
    let whole: [&[u8]; 6] = [
        b"",
        b"\n\n",
        HEADER.as_bytes(),
        b"distance;field\n1;2\n",
        b"a,b\n1,2\n",
        &[0xff, 0xfe, 0x00],
    ];
    for text in whole {
        range(text, &["--json"]).refused(3, &["r.csv"]);
    }
    let folder = tempdir().unwrap();
    coilrig(folder.path(), &["range", "none.csv"]).refused(3, &["none.csv"]);
    coilrig(folder.path(), &["range", "."]).refused(3, &["."]);
}

#[test]
fn out_holds_the_same_document_as_standard_output() {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("r.csv"), exact()).unwrap();
    let run = coilrig(folder.path(), &["range", "r.csv", "--json", "--out", "results"]);
    let written = std::fs::read(folder.path().join("results/range.json")).unwrap();
    assert_eq!(serde_json::from_slice::<Value>(&written).unwrap(), run.json());
    let coupling = std::fs::read_to_string(folder.path().join("results/coupling.csv")).unwrap();
    assert_eq!(coupling.lines().count(), 9);
    assert!(number(&json!(coupling.len())) > 0.0);
}
