//! Over angle.

use coilrig::angle_readings;
use coilrig::link::Link;
use coilrig::runtime;
use coilrig::surveying::{Recording, SurveyRun};
use coilrig_analysis::angle::Turned;
use coilrig_analysis::scenario::{Angles, Orientation};
use coilrig_analysis::survey::{Angle, Plan, PointState, Setup};
use serde_json::Value;

use crate::field::{Field, SCENE, captures_in, refused, run, survey};

/// The moment of "hut" in its case, x the mark: 20° from it, 15° below the plane.
const MOMENT_A_M2: f64 = 4e-3;
const AZIMUTH_DEG: f64 = 20.0;
const ELEVATION_DEG: f64 = -15.0;

fn yaw(yaw_deg: f64) -> Orientation {
    Orientation::Angles(Angles { yaw_deg, ..Angles::default() })
}

impl Field {
    /// The receiver 3 m along y, its x axis 10° off the line away from the unit.
    fn over_angle(scene: &str) -> Self {
        let field = Self::new(scene);
        field.emulator.turn(yaw(100.0)).unwrap();
        field
    }

    /// Turn the unit in its place: at 0° its mark faces the receiver, along y.
    fn turn_unit(&self, angle_deg: f64) {
        let (sin, cos) = (90.0 + AZIMUTH_DEG + angle_deg).to_radians().sin_cos();
        let (up, flat) = ELEVATION_DEG.to_radians().sin_cos();
        let moment = [flat * cos, flat * sin, up].map(|c| MOMENT_A_M2 * c);
        self.emulator.lay("hut", moment).unwrap();
    }
}

fn value(of: &Value) -> f64 {
    of["value"].as_f64().unwrap()
}

fn near(of: &Value, truth: f64) {
    let off = (value(of) - truth).abs() / of["u"].as_f64().unwrap();
    assert!(off < 4.0, "{of} is {off} u from {truth}");
}

/// A whole turn: a wrong angle noticed and taken again, broken off in between; the
/// moment in the case is that of the scenario, and the table gives it once more.
#[test]
fn a_unit_turned_before_the_receiver_tells_its_moment() {
    let field = Field::over_angle(SCENE);
    let mut session =
        field.survey("angle", "5", &["--step", "30", "--distance", "3", "--u-angle", "0.5"]);
    for angle in [0.0, 30.0, 60.0, 90.0, 120.0, 150.0] {
        field.turn_unit(angle);
        let said = session.record();
        assert!(said.contains(&format!(": {angle}°")), "{said}");
        if angle == 0.0 {
            assert!(said.contains("the mark on its case faces the receiver"), "{said}");
            assert!(said.contains("no law yet to compare with"), "{said}");
        }
        session.say("");
    }
    field.turn_unit(210.0);
    let said = session.record();
    assert!(said.contains("more than chance explains: check the angle"), "{said}");
    session.say("r");
    session.until("Enter records");
    session.kill();

    let mut session = field.survey("angle", "5", &["--json"]);
    for angle in (6..12).map(|i| f64::from(i) * 30.0) {
        field.turn_unit(angle);
        let said = session.record();
        assert!(said.contains("the others lead to expect") && !said.contains("chance"), "{said}");
        session.say("");
    }
    session.until("Enter ends");
    let summary: Value = serde_json::from_str(&session.end()).unwrap();
    assert_eq!((&summary["kind"], &summary["finished"]), (&"angle".into(), &true.into()));
    assert_eq!(captures_in(&field.path("out")).len(), 13);
    let angle = &summary["angle"];
    assert_eq!(angle["law"], "dipole");
    near(&angle["misalignment_deg"], -AZIMUTH_DEG);
    near(&angle["moment"]["azimuth_deg"], AZIMUTH_DEG);
    near(&angle["moment"]["elevation_deg"], ELEVATION_DEG);
    near(&angle["moment_a_m2"], MOMENT_A_M2);
    // The receiver's x axis is 10° off, and so is the line of sight in its axes.
    let line = angle["moment"]["line_of_sight"][1].as_f64().unwrap();
    assert!((line + 10.0f64.to_radians().sin()).abs() < 0.02, "{line}");
    for name in ["coupling_over_angle.svg", "coupling_over_angle.png", "law_over_angle.csv"] {
        assert!(field.path("out").join(name).metadata().unwrap().len() > 1000, "{name}");
    }

    let table = field.path("out/readings.csv");
    let mut command = survey("angle");
    command.arg("--readings").arg(&table).args(["--json", "--distance", "3"]);
    let again: Value = serde_json::from_slice(&run(&mut command, 0).stdout).unwrap();
    assert_eq!(again["format"], "coilrig-angle/1");
    assert_eq!(again["moment"], angle["moment"]);

    // The captures that count, by a list of angles: the same moment.
    let mut list = String::from("angle_deg,capture\n");
    for reading in summary["readings"].as_array().unwrap() {
        if reading["standing"] == "kept" {
            let point = &summary["points"][reading["point"].as_u64().unwrap() as usize - 1];
            list +=
                &format!("{},out/{}\n", point["angle_deg"], reading["capture"].as_str().unwrap());
        }
    }
    std::fs::write(field.path("list.csv"), list).unwrap();
    let mut command = survey("angle");
    command.arg("--out").arg(field.path("again")).arg("--captures").arg(field.path("list.csv"));
    command.args(["--json", "--u-angle", "0.5"]);
    let again: Value = serde_json::from_slice(&run(&mut command, 0).stdout).unwrap();
    for name in ["azimuth_deg", "elevation_deg"] {
        let [again, first] = [&again["angle"], angle].map(|of| value(&of["moment"][name]));
        assert!((again / first - 1.0).abs() < 1e-9, "{name}: {again} {first}");
    }
    assert!(field.path("again/coupling_over_angle.png").is_file());

    let out = field.path("out");
    let of = |arguments: &[&str]| {
        let mut command = survey("angle");
        command.arg("--out").arg(&out).args(arguments);
        command
    };
    let text = String::from_utf8(run(&mut of(&[]), 0).stdout).unwrap();
    assert!(text.contains("moment in the case: ") && text.contains("misalignment: −"), "{text}");
    for (arguments, option) in [
        (["--step", "15"], "--step is not that of the survey"),
        (["--turned", "coil"], "--turned is not"),
        (["--distance", "2"], "--distance is not"),
    ] {
        let said = refused(&mut of(&arguments), 2);
        assert!(said.contains(option), "{said}");
    }
    // A survey of another kind does not go on with it.
    let said = refused(survey("grid").arg("--out").arg(&out), 3);
    assert!(said.contains("survey.jsonl, line 1") && said.contains("coilrig-angle"), "{said}");
}

/// A receiver of one axis turned in the field: the cosine law, with the null where
/// nothing is heard left out.
#[test]
fn a_coil_turned_in_the_field_follows_the_cosine() {
    const OFF_DEG: f64 = 8.0;
    let field = Field::over_angle(
        &SCENE.replace("position_m = [0, 3, 0]", "axes = 1\nposition_m = [0, 3, 0]"),
    );
    field.emulator.lay("hut", [0.0, MOMENT_A_M2, 0.0]).unwrap();
    let plan = Plan::steps(0.0, 360.0, 20.0).unwrap();
    let kind = Angle { turned: Turned::Coil, u_angle_deg: 0.2, distance_m: None };
    let how = Recording {
        duration_s: 5.0,
        gain_step: 0,
        calibration: (
            field.path("c.toml"),
            coilrig::emulator::calibration(&field.scenario, "2026-01-15"),
        ),
        unit: None,
    };
    let setup = Setup { plan, kind, carrier_hz: None };
    let mut run = SurveyRun::begin(&field.path("out"), setup).unwrap();
    let attempts = runtime::run(async {
        let mut link = Link::open(field.emulator.device()).await?;
        // At the 6th angle the unit is switched off, as in a null too deep to hear.
        let place = |number: usize, point: coilrig_analysis::survey::Bearing| {
            field.emulator.switch("hut", number != 6)?;
            field.emulator.turn(yaw(-90.0 + point.angle_deg - OFF_DEG))
        };
        run.record_all(&mut link, &how, place, |_| ()).await
    })
    .unwrap();
    assert_eq!(attempts.iter().filter(|(_, attempt)| attempt.reading.is_err()).count(), 1);
    assert_eq!(run.survey().point(6).unwrap().1, PointState::Left);
    let analysis = run.survey().analyse().unwrap();
    let theta = analysis.misalignment_deg;
    assert!((theta.value - OFF_DEG).abs() < 4.0 * theta.u, "{theta:?}");
    assert!(theta.u < 0.2 && analysis.leakage_ratio.value < 0.01, "{analysis:?}");
    assert!(analysis.moment.is_none());

    let table = angle_readings::read(&field.path("out/readings.csv")).unwrap();
    assert_eq!(table.readings.len(), 17);
    assert!(table.readings.iter().all(|r| r.components.is_none()));
}
