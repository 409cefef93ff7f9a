//! What `locate` takes and prints.

use coilrig_tests::json::{keys, number, numbers, reading};
use coilrig_tests::program::{Run, coilrig};
use coilrig_tests::repository_file;
use serde_json::Value;
use tempfile::tempdir;

const PLACE: [f64; 3] = [0.6, -0.9, -1.1];
const MOMENT: [f64; 3] = [2e-3, 4e-3, -3e-3];

/// Static field of a dipole, by hand: (3 n (n·m) − m) / 4πr³.
fn field(at: [f64; 3]) -> [f64; 3] {
    let d: [f64; 3] = std::array::from_fn(|i| at[i] - PLACE[i]);
    let r = d.iter().map(|c| c * c).sum::<f64>().sqrt();
    let along: f64 = (0..3).map(|i| d[i] / r * MOMENT[i]).sum();
    std::array::from_fn(|i| {
        (3.0 * d[i] / r * along - MOMENT[i]) / (4.0 * std::f64::consts::PI * r.powi(3))
    })
}

#[derive(Clone, Copy)]
enum Kind {
    Vectors,
    Magnitudes,
}

/// A table over a grid of so many readings a side and 8 m, exact but for the terms
/// of induction; `change` may spoil the cells x, y, z, h…, u of each row.
fn table(kind: Kind, a_side: usize, change: impl Fn(usize, &mut Vec<f64>)) -> String {
    let names = match kind {
        Kind::Vectors => "hx_a_per_m,hy_a_per_m,hz_a_per_m",
        Kind::Magnitudes => "h_a_per_m",
    };
    let mut text = format!("x_m,y_m,z_m,{names},u_a_per_m\n");
    for i in 0..a_side * a_side {
        let along = |k: usize| 8.0 * k as f64 / (a_side - 1) as f64 - 4.0;
        let at = [along(i % a_side), along(i / a_side), 0.0];
        let h = field(at);
        let magnitude = h.iter().map(|c| c * c).sum::<f64>().sqrt();
        // Every third vector the other way round.
        let sign = if i % 3 == 0 { -1.0 } else { 1.0 };
        let mut cells = at.to_vec();
        match kind {
            Kind::Vectors => cells.extend(h.map(|c| sign * c)),
            Kind::Magnitudes => cells.push(magnitude),
        }
        cells.push(0.03 * magnitude);
        change(i, &mut cells);
        let cells: Vec<String> = cells.iter().map(|c| format!("{c:e}")).collect();
        text += &(cells.join(",") + "\n");
    }
    text
}

fn untouched(_: usize, _: &mut Vec<f64>) {}

/// `coilrig locate` on a table of this text.
fn locate(text: impl AsRef<[u8]>, options: &[&str]) -> Run {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("g.csv"), text).unwrap();
    coilrig(folder.path(), &[&["locate", "g.csv"], options].concat())
}

fn values(document: &Value, name: &str) -> Vec<f64> {
    let all = document[name].as_array().unwrap();
    assert_eq!(all.len(), 3, "{name}");
    all.iter().map(|v| reading(v).0).collect()
}

#[track_caller]
fn found(document: &Value) {
    for (value, due) in values(document, "position_m").iter().zip(PLACE) {
        assert!((value - due).abs() < 0.01, "{value}, {due}");
    }
    // The sign is not known; the largest component is shown positive.
    for (value, due) in values(document, "moment_a_m2").iter().zip(MOMENT) {
        assert!((value - due).abs() < 5e-5, "{value}, {due}");
    }
    assert_eq!(document["ambiguous"], false);
}

/// Vectors tell depth and moment: each reading once, all shares together everything.
#[test]
fn a_budget_has_every_reading_and_adds_up() {
    let text = table(Kind::Vectors, 5, untouched);
    let document = locate(&text, &["--json", "--budget"]).json();
    let budgets = document["budgets"].as_array().unwrap();
    let names: Vec<_> = budgets.iter().map(|b| b["quantity"].as_str().unwrap()).collect();
    assert_eq!(names, ["x", "y", "z", "depth square to the snow", "moment", "field at 10 m"]);
    for (budget, axis) in budgets.iter().zip(0..3) {
        let (_, u) = reading(&document["position_m"][axis]);
        assert!((number(&budget["u"]) / u - 1.0).abs() < 1e-4, "{budget:#}");
        let parts = budget["contributions"].as_array().unwrap();
        assert_eq!(parts.len(), 25, "the calibration does not move a place");
        let shares: f64 = parts.iter().map(|c| number(&c["share"])).sum();
        assert!((shares - 1.0).abs() < 1e-9);
    }
    let text = locate(&text, &["--budget"]).stdout;
    assert!(text.contains("budget of the depth square to the snow (m)"), "{text}");
}

#[test]
fn json_has_the_keys_of_the_contract() {
    for (text, numbers_read) in
        [(table(Kind::Vectors, 6, untouched), 108), (table(Kind::Magnitudes, 9, untouched), 81)]
    {
        let document = locate(text, &["--json"]).json();
        assert_eq!(document["format"], "coilrig-locate/1");
        found(&document);
        let covariance: Vec<Vec<f64>> =
            document["covariance"].as_array().unwrap().iter().map(numbers).collect();
        assert!(covariance.len() == 6 && covariance.iter().all(|row| row.len() == 6));
        let stated = ["position_m", "moment_a_m2"].map(|name| document[name].clone());
        let stated = stated.iter().flat_map(|v| v.as_array().unwrap().iter().map(reading));
        for (i, (_, u)) in stated.enumerate() {
            assert!((covariance[i][i].sqrt() / u - 1.0).abs() < 1e-9);
            for j in 0..6 {
                let size = (covariance[i][i] * covariance[j][j]).sqrt();
                assert!((covariance[i][j] - covariance[j][i]).abs() < 1e-9 * size);
            }
        }
        assert_eq!(document["degrees_of_freedom"], numbers_read - 6);
        assert!(number(&document["chi_squared"]) < 1.0, "{}", document["chi_squared"]);
        assert!(document.get("rival").is_none());
    }
}

#[test]
fn either_sign_of_each_vector_gives_the_same_answer() {
    let plain = locate(table(Kind::Vectors, 5, untouched), &["--json"]).json();
    let turned = table(Kind::Vectors, 5, |i, cells| {
        if i % 2 == 0 {
            cells[3..6].iter_mut().for_each(|c| *c = -*c);
        }
    });
    let turned = locate(turned, &["--json"]).json();
    for name in ["position_m", "moment_a_m2", "covariance", "chi_squared", "strongest_point"] {
        assert_eq!(turned[name], plain[name], "{name}");
    }
}

#[test]
fn without_a_heading_any_turn_of_the_receiver_is_the_same() {
    let turned = table(Kind::Vectors, 6, |i, cells| {
        let (s, c) = (i as f64).sin_cos();
        (cells[3], cells[4]) = (c * cells[3] - s * cells[4], s * cells[3] + c * cells[4]);
    });
    found(&locate(&turned, &["--json", "--heading", "unknown"]).json());
    let run = locate(&turned, &[]);
    assert!(run.with_code(0).stdout.contains("--heading unknown"), "{run:?}");
}

#[test]
fn a_line_without_heading_has_a_second_answer_on_its_other_side() {
    let text = table(Kind::Vectors, 9, untouched);
    let line: Vec<&str> = text
        .lines()
        .enumerate()
        .filter(|(i, row)| *i == 0 || row.split(',').nth(1) == Some("1e0"))
        .map(|(_, row)| row)
        .collect();
    let run = locate(line.join("\n"), &["--json", "--heading", "unknown"]);
    let document = run.json();
    assert_eq!(document["ambiguous"], true);
    let (best, rival) = (values(&document, "position_m"), values(&document["rival"], "position_m"));
    // The line runs at y = 1 and the unit lies at −0.9, or at 2.9.
    assert!((best[1] + rival[1] - 2.0).abs() < 1e-3, "{best:?} {rival:?}");
    assert!(((best[1] - 1.0).abs() - 1.9).abs() < 0.02, "{best:?}");
    assert!(number(&document["rival"]["chi_squared_difference"]).abs() < 0.1);
    assert!(keys(&document["next_place"]).contains(&"place_m"));
}

#[test]
fn depth_counts_from_the_snow_wherever_heights_begin() {
    let raised = |_: usize, cells: &mut Vec<f64>| cells[2] += 10.0;
    let document =
        locate(table(Kind::Vectors, 5, raised), &["--json", "--coil-height-m", "0.25"]).json();
    let (depth, _) = reading(&document["depth_vertical_m"]);
    assert!((depth - 0.85).abs() < 0.01, "{depth}");
    assert_eq!(reading(&document["depth_normal_m"]).0, depth);
    assert_eq!(document["surface"]["coil_height_m"], 0.25);
    let text = locate(table(Kind::Vectors, 5, untouched), &[]).stdout;
    assert!(text.contains("--coil-height-m"), "the default is told: {text}");
}

#[test]
fn nonsense_is_refused_with_its_line() {
    let spoilt = |row: usize, cell: usize, value: f64| {
        table(Kind::Vectors, 5, move |i, cells| {
            if i == row {
                cells[cell] = value;
            }
        })
    };
    let refused = |text: String, parts: &[&str]| {
        locate(text, &["--json"]).refused(3, parts).refused(3, &["g.csv"]);
    };
    refused(spoilt(2, 4, f64::NAN), &["line 4", "hy_a_per_m"]);
    refused(spoilt(2, 0, f64::INFINITY), &["line 4", "x_m"]);
    refused(spoilt(2, 6, 0.0), &["line 4", "u_a_per_m"]);
    let negative =
        table(Kind::Magnitudes, 9, |i, cells| cells[3] *= if i == 7 { -1.0 } else { 1.0 });
    refused(negative, &["line 9", "h_a_per_m", "below zero"]);
    refused(table(Kind::Vectors, 5, untouched).replace("z_m", "height"), &["no column z_m"]);
    refused(table(Kind::Magnitudes, 2, untouched), &["4 readings", "six unknowns"]);
    let one_place = |_: usize, cells: &mut Vec<f64>| cells[..2].fill(1.0);
    refused(table(Kind::Vectors, 5, one_place), &["at 1 different places"]);
    let line = table(Kind::Magnitudes, 9, untouched);
    let line = line.lines().take(10).collect::<Vec<_>>().join("\n");
    refused(line, &["straight line", "depth"]);
}

#[test]
fn tables_that_betray_their_faults_are_explained() {
    let refused = |text: String, parts: &[&str]| {
        locate(text, &["--json"]).refused(3, parts);
    };
    let thousand = |i: usize, cells: &mut Vec<f64>| {
        if i == 11 {
            cells[3..].iter_mut().for_each(|c| *c *= 1000.0);
        }
    };
    refused(table(Kind::Vectors, 6, thousand), &["line 13", "1000 times too large", "A/m"]);
    let small = |i: usize, cells: &mut Vec<f64>| cells[3] /= if i < 3 { 1000.0 } else { 1.0 };
    refused(table(Kind::Magnitudes, 9, small), &["rows 1, 2, 3", "1000 times too small"]);
    let mirrored = |_: usize, cells: &mut Vec<f64>| cells.swap(0, 1);
    refused(table(Kind::Vectors, 6, mirrored), &["mirrored", "hx and hy"]);
    let turned = |_: usize, cells: &mut Vec<f64>| {
        cells.swap(0, 1);
        cells[0] = -cells[0];
    };
    refused(table(Kind::Vectors, 6, turned), &["quarter"]);
    let twice = |i: usize, cells: &mut Vec<f64>| {
        if i == 14 {
            cells[0] -= 1.6;
        }
    };
    refused(table(Kind::Vectors, 6, twice), &["line 16", "of one place"]);
}

/// Air all the way down is free space; soil just below the unit is not, and moves
/// the answer by centimetres.
#[test]
fn layered_ground_is_taken_from_its_file() {
    let folder = tempdir().unwrap();
    let text = table(Kind::Vectors, 5, untouched);
    std::fs::write(folder.path().join("g.csv"), text).unwrap();
    let layer = |top: &str, soil: &str| {
        format!(
            "format = \"coilrig-ground/1\"\n[[layer]]\nthickness_m = 1.2\n{top}\n[[layer]]\n{soil}\n"
        )
    };
    let place_over = |ground: String| {
        std::fs::write(folder.path().join("ground.toml"), ground).unwrap();
        let run = coilrig(folder.path(), &["locate", "g.csv", "--json", "--ground", "ground.toml"]);
        values(&run.json(), "position_m")
    };
    let air = "relative_permittivity = 1\nconductivity_s_per_m = 0";
    let off = |place: Vec<f64>| (0..3).map(|i| (place[i] - PLACE[i]).powi(2)).sum::<f64>().sqrt();
    assert!(off(place_over(layer(air, air))) < 0.005);
    let wet = "relative_permittivity = 30\nconductivity_s_per_m = 0.3";
    assert!(off(place_over(layer(air, wet))) > 0.03);
    let run = coilrig(folder.path(), &["locate", "g.csv", "--ground", "none.toml"]);
    run.refused(3, &["none.toml"]);
}

#[test]
fn wrong_usage_is_2() {
    for wrong in [
        vec!["--heading", "north"],
        vec!["--coil-height-m", "-1"],
        vec!["--coil-height-m", "knee"],
        vec!["--true-place", "1,2"],
    ] {
        locate(table(Kind::Vectors, 5, untouched), &wrong).with_code(2);
    }
}

#[test]
fn out_takes_document_pictures_and_tables() {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("g.csv"), table(Kind::Vectors, 5, untouched)).unwrap();
    let arguments = ["locate", "g.csv", "--json", "--true-place", "0.6,-0.9,-1.1", "--out", "r"];
    let run = coilrig(folder.path(), &arguments);
    let read = |name: &str| std::fs::read(folder.path().join("r").join(name)).unwrap();
    assert_eq!(serde_json::from_slice::<Value>(&read("locate.json")).unwrap(), run.json());
    assert!(number(&run.json()["truth"]["off_m"]) < 0.01);
    for name in ["section_upright", "section_level", "field_on_surface", "residuals"] {
        assert!(read(&format!("{name}.svg")).starts_with(b"<svg"));
        assert!(read(&format!("{name}.png")).starts_with(b"\x89PNG"));
        assert!(read(&format!("{name}.csv")).split(|b| *b == b'\n').count() > 20, "{name}");
    }
    let residuals = String::from_utf8(read("residuals.csv")).unwrap();
    assert_eq!(residuals.lines().count(), 76);
}

#[test]
fn the_demo_unit_lies_where_its_table_says() {
    let demo = repository_file("captures/buried-grid.csv");
    let folder = tempdir().unwrap();
    let arguments = ["locate", demo.to_str().unwrap(), "--coil-height-m", "0.3", "--json"];
    let document = coilrig(folder.path(), &arguments).json();
    for ((value, u), due) in
        document["position_m"].as_array().unwrap().iter().map(reading).zip([0.9, -0.6, -1.44])
    {
        assert!((value - due).abs() < 3.5 * u && u < 0.02, "{value} ± {u}, {due}");
    }
    assert!((number(&document["surface"]["slope_deg"]) - 18.0).abs() < 0.2);
    let run = coilrig(folder.path(), &arguments[..4]);
    for part in ["below the snow, square to the slope", "The field is strongest", "its sign is"] {
        assert!(run.stdout.contains(part), "{part} in {run:?}");
    }
    for part in ["no certification", "rescue frequency", "real burial"] {
        assert!(run.stderr.contains(part), "{part} in {run:?}");
    }
}
