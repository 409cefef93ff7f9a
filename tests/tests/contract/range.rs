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

/// Contributions of independent readings: their squares add up to that of the result.
#[test]
fn a_budget_adds_up_and_the_text_shows_it() {
    let document = range(exact(), &["--json", "--budget"]).json();
    let budgets = document["budgets"].as_array().unwrap();
    let names = ["moment", "field at 10 m", "range at 80 nA/m, coaxial"];
    for (budget, name) in budgets.iter().zip(names) {
        assert_eq!(budget["quantity"], name);
        let parts = budget["contributions"].as_array().unwrap();
        let squares: f64 = parts.iter().map(|c| number(&c["u_contribution"]).powi(2)).sum();
        assert!((squares.sqrt() / number(&budget["u"]) - 1.0).abs() < 1e-9, "{budget:#}");
    }
    assert_eq!(number(&budgets[0]["u"]), reading(&document["moment_a_m2"]).1);
    let text = range(exact(), &["--budget"]).stdout;
    for part in ["budget of the moment (A·m²)", "row 3, 2 m coaxial", "calibration, shared"] {
        assert!(text.contains(part), "{part}: {text}");
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

/// The readings over snow that the README shows, with their ground.
fn over_snow(options: &[&str]) -> Run {
    let [table, ground] = ["captures/range-snow.csv", "captures/ground.toml"].map(repository_file);
    let arguments = ["range", table.to_str().unwrap(), "--ground", ground.to_str().unwrap()];
    coilrig(tempdir().unwrap().path(), &[&arguments, options].concat())
}

/// What the table says of itself: 5.2 mA·m², soil of 60 Ω·m, a cable at row 12.
#[test]
fn ground_is_counted_in_beside_free_space() {
    let document = over_snow(&["--unit-depth", "1", "--json"]).json();
    let ground = &document["over_ground"];
    assert_eq!(ground["outliers"][0]["row"], 12);
    assert_eq!(ground["outliers"].as_array().unwrap().len(), 1);
    let clean = &ground["without_outliers"];
    let within = |name: &str, truth: f64| {
        let (value, u) = reading(&clean[name]);
        assert!((value - truth).abs() < 3.0 * u && u < 0.2 * truth, "{name}: {value} ± {u}");
    };
    within("moment_a_m2", 5.2e-3);
    within("soil_resistivity_ohm_m", 60.0);
    assert!(number(&clean["chi_squared"]) < 30.0 && number(&document["chi_squared"]) > 200.0);
    reading(&document["moment_a_m2"]);
    let no_soil = over_snow(&["--unit-depth", "1", "--fit-soil", "no", "--json"]).json();
    assert!(no_soil["over_ground"].get("soil_resistivity_ohm_m").is_none());
}

#[test]
fn ground_and_places_that_cannot_be_are_refused() {
    assert!(over_snow(&[]).with_code(2).stderr.contains("--unit-depth"));
    over_snow(&["--unit-depth", "2.5"])
        .refused(3, &["line 4", "less than the 3.5 m", "--unit-depth"]);
    over_snow(&["--unit-depth", "1", "--coil-height", "0"]).refused(2, &["height of the coil"]);
    over_snow(&["--unit-depth", "nan"]).refused(2, &["depth of the unit"]);
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("r.csv"), exact()).unwrap();
    let with = |text: &str| {
        std::fs::write(folder.path().join("g.toml"), text).unwrap();
        let ground = ["--ground", "g.toml", "--unit-depth", "0.2", "--coil-height", "0.2"];
        coilrig(folder.path(), &[&["range", "r.csv"][..], &ground].concat())
    };
    let layer = "format = \"coilrig-ground/1\"\n[[layer]]\nrelative_permittivity = 9\n";
    with(&format!("{layer}resistivity_ohm_m = 0\n")).refused(3, &["g.toml, line 2", "over 0"]);
    with(&format!("{layer}conductivity_s_per_m = 0\n")).refused(3, &["g.toml", "--fit-soil no"]);
    with("nonsense").refused(3, &["g.toml, line 1"]);
    with("").refused(3, &["g.toml"]);
}

/// H = 2 nA/m in 1 Hz: 20 nA/m in 100 Hz, 200 nA/m at 20 dB over it.
#[test]
fn the_noise_of_a_site_makes_a_threshold() {
    let options = ["--noise", "2nA/m", "--bandwidth", "100", "--over-noise", "20", "--json"];
    let document = range(exact(), &options).json();
    assert!((number(&document["noise_threshold"]["threshold_a_per_m"]) - 200e-9).abs() < 1e-15);
    let thresholds: Vec<f64> = document["ranges"]
        .as_array()
        .unwrap()
        .iter()
        .map(|range| reading(&range["threshold_a_per_m"]).0)
        .collect();
    assert_eq!(thresholds.len(), 4);
    assert!(thresholds[..2] == [80e-9; 2] && (thresholds[2] - 200e-9).abs() < 1e-15);
    range(exact(), &["--noise", "2A/m"]).refused(2, &["--noise 2 A/m"]);
    range(exact(), &["--noise", "2nA/m", "--bandwidth", "0"]).refused(2, &["--bandwidth 0"]);
    assert!(range(exact(), &["--bandwidth", "5"]).with_code(2).stderr.contains("--noise"));
}

/// Near by, three axes: r = r_coplanar (1 + 3q²)^(1/6) at the quantile q.
#[test]
fn ranges_and_strips_for_a_unit_that_lies_anyhow() {
    let document = range(exact(), &["--json", "--threshold", "10uA/m"]).json();
    let hearing = document["hearing"].as_array().unwrap();
    assert_eq!(hearing.len(), 3);
    let (coplanar, _) = reading(&document["ranges"][1]["range_m"]);
    let three = &hearing[2];
    for (name, q) in
        [("range_5_percent_m", 0.05f64), ("median_range_m", 0.5), ("range_95_percent_m", 0.95)]
    {
        let law = coplanar * (1.0 + 3.0 * q * q).powf(1.0 / 6.0);
        assert!((reading(&three[name]).0 / law - 1.0).abs() < 1e-3, "{name}");
    }
    assert!(reading(&three["strip_width_m"]).0 > 2.0 * coplanar);
    assert_eq!(number(&three["strip_probability"]), 0.95);
    for nonsense in ["0", "1", "-0.5", "nan"] {
        let option = format!("--strip-probability={nonsense}");
        range(exact(), &[option.as_str()]).refused(2, &["probability"]);
    }
}

/// [`exact`] with the field of its third row (2 m, coaxial) multiplied.
fn with_third_row_times(factor: f64) -> String {
    let row = |(i, line): (usize, &str)| {
        let cells: Vec<&str> = line.split(',').collect();
        let times = if i == 3 { factor } else { 1.0 };
        let field =
            |cell: &str| cell.parse().map_or(cell.to_owned(), |h: f64| (times * h).to_string());
        format!("{},{},{},{}\n", cells[0], field(cells[1]), field(cells[2]), cells[3])
    };
    exact().lines().enumerate().map(row).collect()
}

#[test]
fn a_reading_out_of_line_is_named_and_both_results_given() {
    let wrong = with_third_row_times(2.0);
    let document = range(&wrong, &["--json", "--fit-offset", "no"]).json();
    assert_eq!(document["outliers"][0]["row"], 3);
    assert!(document["outliers"][0]["why"].as_str().unwrap().len() > 20);
    let (with, _) = reading(&document["moment_a_m2"]);
    let (without, _) = reading(&document["without_outliers"]["moment_a_m2"]);
    assert!((without / 5e-3 - 1.0).abs() < 1e-3 && (with / 5e-3 - 1.0).abs() > 0.05);
    let text = range(&wrong, &["--fit-offset", "no"]).with_code(0).stdout.clone();
    assert!(text.contains("OUTLIER by free space: row 3") && text.contains("without outliers"));
    let clean = range(exact(), &["--json"]).json();
    assert_eq!(clean["outliers"], json!([]));
}

#[test]
fn readings_on_top_of_each_other_say_what_cannot_be_known() {
    let same = "2,1e-4,1e-6,coaxial\n".repeat(4);
    range(format!("{HEADER}{same}"), &[])
        .refused(3, &["two different distances", "another distance"]);
    let few = "2,1e-4,1e-6,coaxial\n4,1.25e-5,1e-7,coaxial\n";
    range(format!("{HEADER}{few}"), &[]).refused(3, &["2 readings", "at least 3"]);
    let document =
        range(exact() + "4,1.2433e-5,2.4e-7,coaxial\n4,1.2433e-5,2.4e-7,coaxial\n", &["--json"])
            .json();
    let notes = document["notes"].to_string();
    assert!(notes.contains("row 10 repeats row 9"), "{notes}");
}

#[test]
fn a_factor_of_a_thousand_betrays_itself() {
    let document = range(with_third_row_times(1000.0), &["--json"]).json();
    assert!(document["notes"][0].as_str().unwrap().starts_with("row 3 is about a factor of 1000"));
    assert!(document["outliers"][0]["why"].as_str().unwrap().contains("another unit"));
}

#[test]
fn pictures_come_with_their_data() {
    let folder = tempdir().unwrap();
    let [table, ground] = ["captures/range-snow.csv", "captures/ground.toml"].map(repository_file);
    let (table, ground) = (table.to_str().unwrap(), ground.to_str().unwrap());
    coilrig(
        folder.path(),
        &["range", table, "--ground", ground, "--unit-depth", "1", "--out", "results"],
    )
    .with_code(0);
    let lines = |name: &str| {
        let text = std::fs::read_to_string(folder.path().join("results").join(name)).unwrap();
        text.lines().map(String::from).collect::<Vec<_>>()
    };
    for name in ["field_over_distance", "coupling_over_distance", "range_rose", "residuals"] {
        for kind in ["svg", "png"] {
            assert!(folder.path().join(format!("results/{name}.{kind}")).exists(), "{name}.{kind}");
        }
    }
    assert_eq!(lines("range_rose.csv").len(), 362);
    assert_eq!(lines("residuals.csv").len(), 17);
    assert!(lines("residuals.csv")[12].ends_with(",true"));
    assert!(lines("theory.csv").iter().any(|line| line.starts_with("over ground,coaxial,")));
}
