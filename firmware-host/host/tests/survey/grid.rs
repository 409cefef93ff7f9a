//! Over places.

use std::path::Path;

use coilrig_analysis::scenario::truth;
use serde_json::Value;

use crate::field::{Field, SCENE, refused, run, survey};

const HEADER: &str = "x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m,u_calibration_rel";

/// Coils that are not at right angles, "hut" 1 m down and tilted.
fn scene() -> String {
    let askew = "position_m = [0, 3, 0]\n\
                 coil_directions = [[1, 0, 0], [0.1, 0.994987, 0], [0, 0.05, 0.998749]]";
    SCENE
        .replace("position_m = [0, 3, 0]", askew)
        .replace("position_m = [0, 0, 0]", "position_m = [1.3, 0.6, -1]")
        .replace("moment_a_m2 = [0, 4e-3, 0]", "moment_a_m2 = [9e-4, 3e-4, 6e-4]")
}

/// Rows of a table.
fn rows(path: &Path) -> Vec<[f64; 8]> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some(HEADER));
    let numbers =
        |line: &str| -> Vec<f64> { line.split(',').map(|n| n.parse().unwrap()).collect() };
    lines.map(|line| numbers(line).try_into().unwrap()).collect()
}

/// The receiver carried over a rectangle, broken off and gone on with: the vectors
/// are those of the scenario, in station axes, up to the sign of each.
#[test]
fn a_walk_over_a_grid_gives_the_vectors() {
    let field = Field::new(&scene());
    let plan = ["--size", "2x2", "--spacing", "1x2", "--origin", "0.5,0,0.4"];
    let places = [0.5, 1.5, 2.5, 2.5, 1.5, 0.5].map(|x| [x, 0.0, 0.4]);
    let mut places = places.to_vec();
    places[3..].iter_mut().for_each(|p| p[1] = 2.0);

    let mut session = field.survey("grid", "5", &plan);
    for (number, place) in places[..4].iter().enumerate() {
        field.emulator.place(*place).unwrap();
        let said = session.record();
        let [x, y, z] = place;
        assert!(said.contains(&format!("x {x} m, y {y} m, z {z} m")), "{said}");
        assert!(said.contains("its z axis up") && said.contains("along x, y, z: "), "{said}");
        assert_eq!(said.contains("the strongest so far is"), number > 1, "{said}");
        session.say("");
    }
    session.until("Enter records");
    session.kill();

    let mut session = field.survey("grid", "5", &["--json"]);
    for place in &places[4..] {
        field.emulator.place(*place).unwrap();
        session.record();
        session.say("");
    }
    session.until("Enter ends");
    let summary: Value = serde_json::from_str(&session.end()).unwrap();
    assert_eq!((&summary["kind"], &summary["strongest_point"]), (&"grid".into(), &2.into()));

    let table = rows(&field.path("out/readings.csv"));
    assert_eq!(table.len(), places.len());
    for (row, place) in table.iter().zip(&places) {
        assert_eq!(row[..3], place[..]);
        let mut scenario = field.scenario.clone();
        scenario.receiver.position_m = *place;
        let truth = truth(&scenario)[0].field_vector_a_per_m;
        let along: f64 = row[3..6].iter().zip(truth).map(|(a, b)| a * b).sum();
        let field: f64 = truth.iter().map(|h| h * h).sum::<f64>().sqrt();
        for (h, truth) in row[3..6].iter().zip(truth) {
            let off = (h * along.signum() - truth).abs() / field;
            assert!(off < 0.01, "{off} at {place:?}");
        }
        // 3 % for placing, and little noise.
        assert!((0.029..0.035).contains(&(row[6] / field)), "{row:?}");
        assert!((0.01..0.031).contains(&row[7]), "{row:?}");
    }

    let out = field.path("out");
    let text = String::from_utf8(run(survey("grid").arg("--out").arg(&out), 0).stdout).unwrap();
    assert!(text.contains("strongest: ") && text.contains("at point 2, x 1.5 m"), "{text}");

    // The captures that count, by a list of places: the same table.
    let mut list = String::from("capture,x_m,y_m,z_m\n");
    for reading in summary["readings"].as_array().unwrap() {
        let point = &summary["points"][reading["point"].as_u64().unwrap() as usize - 1];
        let capture = reading["capture"].as_str().unwrap();
        list += &format!("out/{capture},{},{},{}\n", point["x_m"], point["y_m"], point["z_m"]);
    }
    std::fs::write(field.path("list.csv"), list).unwrap();
    let again = field.path("again.csv");
    run(survey("grid").arg("--out").arg(&again).arg("--captures").arg(field.path("list.csv")), 0);
    // To the last digit but one, which the journal does not keep.
    for (again, row) in rows(&again).iter().flatten().zip(table.iter().flatten()) {
        assert!((again - row).abs() <= 1e-12 * row.abs(), "{again} {row}");
    }

    let other = ["--size", "3x3", "--spacing", "1"];
    let said = refused(survey("grid").arg("--out").arg(&out).args(other), 2);
    assert!(said.contains("is not that of the survey") && said.contains("6 places"), "{said}");
}

#[test]
fn lines_are_walked_as_given() {
    let field = Field::new(&scene());
    let lines = ["--spacing", "2", "--line", "0,0,0:4,0,1", "--line", "-1,4:-1,6"];
    let mut session = field.survey("grid", "5", &lines);
    let said = session.until("Enter records");
    assert!(said.contains("point 1 of 6: x 0 m, y 0 m, z 0 m"), "{said}");
    session.say("s");
    let said = session.until("Enter records");
    assert!(said.contains("x 1.333 m, y 0 m, z 0.333 m"), "{said}");
    session.end();
}

#[test]
fn what_cannot_be_surveyed_is_refused() {
    let field = Field::new(&SCENE.replace("[receiver]", "[receiver]\naxes = 1"));
    let with = |arguments: &[&str]| {
        let mut command = field.command("grid", "5");
        command.args(arguments);
        command
    };
    let said = refused(&mut with(&["--size", "2x2", "--spacing", "1"]), 4);
    assert!(said.contains("one axis") && said.contains("three axes"), "{said}");
    assert!(!field.path("out").exists(), "a folder without a survey");

    let field = Field::new(SCENE);
    let with = |arguments: &[&str]| {
        let mut command = field.command("grid", "5");
        command.args(arguments);
        command
    };
    for (arguments, matter) in [
        (&[][..], "no places are given"),
        (&["--size", "100x100", "--spacing", "1"], "take wider steps"),
        (&["--size", "2x2", "--spacing", "0"], "steps over zero"),
        (&["--line", "0,0:20000,0", "--spacing", "100"], "within 10 km"),
    ] {
        let said = refused(&mut with(arguments), 2);
        assert!(said.contains(matter), "{said}");
    }
    for arguments in [
        &["--size", "2", "--spacing", "1"][..],
        &["--size", "2x2"],
        &["--size", "2x2", "--spacing", "1", "--line", "0,0:1,0"],
        &["--spacing", "1", "--line", "0,0"],
        &["--spacing", "1", "--size", "1x1", "--origin", "a,b"],
    ] {
        run(&mut with(arguments), 2);
    }
    let nothing = refused(survey("grid").arg("--out").arg(field.path("out")), 2);
    assert!(nothing.contains("nothing to survey with"), "{nothing}");
}
