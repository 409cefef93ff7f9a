//! Over distance.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use coilrig::emulator;
use coilrig::link::Link;
use coilrig::readings::{self, Table};
use coilrig::runtime;
use coilrig::surveying::{Recording, SurveyRun};
use coilrig_analysis::range::Alignment;
use coilrig_analysis::scenario::truth;
use coilrig_analysis::survey::{Distance, Order, Plan, Point, Setup};
use serde_json::Value;

use crate::field::{self, Field, SCENE, Session, captures_in, refused, run};

impl Field {
    fn over_distance() -> Self {
        Self::new(SCENE)
    }

    fn place(&self, point: Point) {
        self.emulator.place(position(point)).unwrap();
    }

    /// The field of "hut" at a point.
    fn truth(&self, point: Point) -> f64 {
        let mut scenario = self.scenario.clone();
        scenario.receiver.position_m = position(point);
        truth(&scenario)[0].field_a_per_m
    }

    fn distance_survey(&self, arguments: &[&str]) -> Session {
        self.survey("distance", "5", arguments)
    }

    fn table(&self) -> Table {
        readings::read(&self.path("out/readings.csv")).unwrap()
    }

    fn distances(&self) -> Vec<f64> {
        self.table().readings.iter().map(|r| r.distance_m).collect()
    }
}

fn position(point: Point) -> [f64; 3] {
    match point.alignment {
        Alignment::Coaxial => [0.0, point.distance_m, 0.0],
        Alignment::Coplanar => [0.0, 0.0, point.distance_m],
    }
}

fn coaxial(distance_m: f64) -> Point {
    Point { distance_m, alignment: Alignment::Coaxial }
}

fn survey() -> Command {
    field::survey("distance")
}

/// Bytes of samples in all captures of a folder.
fn samples_in(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).unwrap().map(Result::unwrap);
    let data = entries.filter(|e| e.path().extension().is_some_and(|e| e == "sigmf-data"));
    data.map(|e| e.metadata().unwrap().len()).sum()
}

/// The whole walk: wrong places dropped and repeated, coplanar among coaxial; the
/// readings are the scenario's own, and the captures alone give them again.
#[test]
fn a_walk_over_the_field_and_the_captures_of_it() {
    let field = Field::over_distance();
    let mut session = field.distance_survey(&["--json", "--distances", "8,3,12m,5,5:coplanar,4"]);

    field.place(coaxial(3.0));
    let said = session.record();
    assert!(said.contains("coaxial: straight ahead of its antenna"), "{said}");
    assert!(said.contains("no fit yet to compare with; it needs 3 readings"), "{said}");
    session.say("");
    field.place(coaxial(4.0));
    session.record();
    session.say("");
    field.place(coaxial(5.0));
    session.record();
    session.say("");
    // Beside the unit is half of what is ahead of it: a mistaken alignment.
    field.place(coaxial(5.0));
    let said = session.record();
    assert!(said.contains("coplanar: beside it") && said.contains("more than chance"), "{said}");
    assert!(said.contains(": 6.0") && said.contains(" dB from it"), "{said}");
    session.say("r");
    let beside = Point { distance_m: 5.0, alignment: Alignment::Coplanar };
    field.place(beside);
    let said = session.record();
    assert!(said.contains("the fit so far expects") && !said.contains("chance"), "{said}");
    session.say("what?");
    session.until("one letter");
    session.until("Enter keeps it");
    session.say("");
    field.place(coaxial(8.0));
    session.record();
    session.say("d");
    field.place(coaxial(12.0));
    session.record();
    session.say("");
    // Second thoughts about the point that was dropped.
    session.until("Enter ends");
    session.say("r 5");
    field.place(coaxial(8.0));
    session.record();
    session.say("");
    session.until("Enter ends");
    let summary: Value = serde_json::from_str(&session.end()).unwrap();

    let places = [coaxial(3.0), coaxial(4.0), coaxial(5.0), beside, coaxial(8.0), coaxial(12.0)];
    let table = field.table();
    assert_eq!(table.readings.len(), places.len());
    for (reading, place) in table.readings.iter().zip(places) {
        assert_eq!((reading.distance_m, reading.alignment), (place.distance_m, place.alignment));
        let truth = field.truth(place);
        let off = reading.field_a_per_m / truth - 1.0;
        // That noise is half a per cent of the field at 12 m.
        let noise = 1.5e-9 / truth;
        assert!(off.abs() < 0.01_f64.max(4.0 * noise), "{off} at {place}");
        // 1 cm of distance is 3 · 0.01/d of field. Noise of 1.5 nA/m/√Hz in some
        // 0.5 s of pulses is 1.5 nA/m; the calibration must not be there.
        let by_distance = 0.03 / place.distance_m;
        let most = by_distance.hypot(3e-9 / truth);
        assert!((by_distance..most).contains(&reading.u_rel()), "{reading:?}");
    }
    for share in &table.u_calibration_rel {
        assert!((0.01..0.031).contains(share), "{share}");
    }
    assert_eq!(summary["format"], "coilrig-survey/1");
    assert_eq!(summary["finished"], true);
    let moment = summary["range"]["moment_a_m2"]["value"].as_f64().unwrap();
    assert!((moment / 4e-3 - 1.0).abs() < 0.01, "{moment}");
    let u_rel = summary["range"]["moment_a_m2"]["u"].as_f64().unwrap() / moment;
    assert!((0.025..0.035).contains(&u_rel), "{u_rel}");
    let mut standings = BTreeMap::new();
    for reading in summary["readings"].as_array().unwrap() {
        *standings.entry(reading["standing"].as_str().unwrap()).or_insert(0) += 1;
    }
    assert_eq!(standings, BTreeMap::from([("kept", 6), ("dropped", 2)]));
    assert_eq!(captures_in(&field.path("out")).len(), 8);

    // The captures that count, out of order: the same table.
    let mut list = String::from("capture,distance_m,alignment\n");
    for reading in summary["readings"].as_array().unwrap().iter().rev() {
        if reading["standing"] == "kept" {
            let point = &summary["points"][reading["point"].as_u64().unwrap() as usize - 1];
            list += &format!(
                "out/{},{},{}\n",
                reading["capture"].as_str().unwrap(),
                point["distance_m"],
                point["alignment"].as_str().unwrap()
            );
        }
    }
    std::fs::write(field.path("list.csv"), list).unwrap();
    let again = field.path("again.csv");
    let captures = ["--captures", field.path("list.csv").to_str().unwrap()].map(String::from);
    run(survey().arg("--out").arg(&again).args(&captures), 0);
    assert_eq!(readings::read(&again).unwrap().readings, table.readings);
    let said = refused(survey().arg("--out").arg(field.path("out")).args(&captures), 2);
    assert!(said.contains("never overwritten"), "{said}");
}

/// Killed while recording, and with a reading in hand; ended in order in between.
#[test]
fn a_survey_goes_on_after_every_kind_of_end() {
    let field = Field::over_distance();
    let distances = ["--distances", "3,4,5,6"];
    let mut session = field.distance_survey(&distances);
    field.place(coaxial(3.0));
    session.record();
    session.say("");
    session.until("Enter records");
    assert_eq!(field.distances(), [3.0]);
    session.kill();

    // Broken off in the middle of a recording: the point is lost, the capture is
    // left alone.
    field.place(coaxial(4.0));
    let captures = || captures_in(&field.path("out")).len();
    for (end, before) in [("KILL", 1), ("INT", 2)] {
        let mut session = field.survey("distance", "3600", &[]);
        let said = session.until("Enter records");
        assert!(said.contains("a survey of 4 points, 1 of them with a reading"), "{said}");
        assert!(said.contains("point 2 of 4"), "{said}");
        session.say("");
        // Samples reach the disk once a second.
        let recorded = samples_in(&field.path("out"));
        while samples_in(&field.path("out")) == recorded {
            std::thread::sleep(Duration::from_millis(10));
        }
        session.signal(end);
        assert_eq!(session.child.wait().unwrap().success(), end == "INT");
        assert_eq!((field.distances(), captures()), (vec![3.0], before + 1));
    }

    let mut session = field.distance_survey(&[]);
    session.record();
    assert_eq!(captures(), 4);
    session.kill();

    // A reading that was taken waits for its verdict.
    let mut session = field.distance_survey(&distances);
    session.until("not yet decided on");
    session.until("Enter keeps it");
    session.say("");
    session.until("Enter records");
    session.say("s");
    // The end of the answers keeps the reading in hand.
    field.place(coaxial(6.0));
    session.until("point 4");
    session.record();
    session.end();
    assert_eq!(field.distances(), [3.0, 4.0, 6.0]);

    // Ctrl-C at a question.
    let session = field.distance_survey(&[]);
    session.until("Enter ends");
    session.signal("INT");
    assert!(session.child.wait_with_output().unwrap().status.success());

    // What is there, without a receiver; and another plan.
    let out = field.path("out");
    let output = run(survey().arg("--out").arg(&out), 0);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("left") && text.contains("moment: 4.0"), "{text}");
    assert!(text.trim_end().ends_with("readings.csv"), "{text}");
    for (arguments, option) in [
        (["--distances", "3,4"], "--distances is not that of the survey"),
        (["--u-distance", "0.1"], "--u-distance is not"),
        (["--carrier", "457000"], "--carrier is not"),
    ] {
        let said = refused(survey().arg("--out").arg(&out).args(arguments), 2);
        assert!(said.contains(option), "{said}");
    }
    let journal = out.join("survey.jsonl");
    let text = std::fs::read_to_string(&journal).unwrap();
    std::fs::write(&journal, text.replace("\"kept\"", "\"kept?\"")).unwrap();
    assert!(refused(survey().arg("--out").arg(&out), 3).contains("survey.jsonl, line 3"));
}

/// Silence, and a stronger stranger: neither makes a reading.
#[test]
fn only_the_unit_that_is_surveyed_makes_readings() {
    let field = Field::over_distance();
    let mut session = field.distance_survey(&["--distances", "6,12"]);
    field.place(coaxial(6.0));
    field.emulator.switch("hut", false).unwrap();
    session.until("Enter records");
    session.say("");
    session.until("no reading: no transmitter found");
    field.emulator.switch("hut", true).unwrap();
    session.record();
    session.say("");

    field.emulator.switch("barn", true).unwrap();
    field.emulator.switch("hut", false).unwrap();
    field.place(coaxial(12.0));
    session.until("Enter records");
    session.say("");
    let said = session.until("no reading");
    assert!(said.contains("the surveyed unit, 457020.0 Hz every 0.800 s, is not among"), "{said}");
    assert!(said.contains("456955.0 Hz every 1.100 s"), "{said}");
    field.emulator.switch("hut", true).unwrap();
    let said = session.record();
    assert!(said.contains("also heard: 456955.0 Hz every 1.100 s"), "{said}");
    session.say("q");
    session.end();
    let far = field.table().readings[1];
    assert!((far.field_a_per_m / field.truth(coaxial(12.0)) - 1.0).abs() < 0.02, "{far:?}");

    // Captures: the strongest, but for a carrier that is named.
    let capture = |more: &[&str]| {
        let named = format!("{}@12m", field.path("out/point-02-coaxial-12m-2").display());
        let out = field.path("captures");
        run(survey().arg("--out").arg(&out).args(["--capture", &named]).args(more), 0);
        readings::read(&out.join("readings.csv")).unwrap().readings[0].field_a_per_m
    };
    let by_name = capture(&["--carrier", "457015"]);
    assert!((by_name / far.field_a_per_m - 1.0).abs() < 1e-9);
    assert!(capture(&[]) > 2.0 * far.field_a_per_m);
}

#[test]
fn a_survey_can_do_without_a_person() {
    let field = Field::over_distance();
    let plan = Plan::new([3.0, 5.0, 8.0].map(coaxial).to_vec(), Order::NearestFirst).unwrap();
    let kind = Distance { u_distance_m: 0.0 };
    let setup = Setup { plan, kind, carrier_hz: None };
    let calibration = emulator::calibration(&field.scenario, "2026-01-15");
    let how = Recording {
        duration_s: 5.0,
        gain_step: 0,
        calibration: (field.path("c.toml"), calibration),
        unit: None,
    };
    let mut run = SurveyRun::begin(&field.path("out"), setup).unwrap();
    let attempts = runtime::run(async {
        let mut link = Link::open(field.emulator.device()).await?;
        let place = |_, point| {
            field.place(point);
            Ok(())
        };
        run.record_all(&mut link, &how, place, |_| ()).await
    })
    .unwrap();
    assert!(attempts.iter().all(|(_, attempt)| attempt.reading.is_ok()), "{attempts:?}");
    assert_eq!(field.distances(), [3.0, 5.0, 8.0]);
    let moment = run.survey().analyse().unwrap().moment_a_m2;
    assert!((moment.value / 4e-3 - 1.0).abs() < 0.01, "{moment:?}");
}

#[test]
fn what_cannot_be_surveyed_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let with = |arguments: &[&str]| {
        let mut command = survey();
        command.arg("--out").arg(&out).args(arguments);
        command
    };
    assert!(refused(&mut with(&[]), 2).contains("nothing to survey with"));
    let field = Field::over_distance();
    let file = field.path("c.toml");
    let file = file.to_str().unwrap();
    let port = ["--port", "/no/such/port", "--calibration", file];
    assert!(
        refused(&mut with(&[&port[..], &["--distances", "3"]].concat()), 4).contains("/no/such")
    );
    assert!(!out.exists(), "a folder without a survey");
    let device = field.emulator.device().to_str().unwrap();
    let port = ["--port", device, "--calibration", file];
    for (more, matter) in [
        (&[][..], "no distances are given"),
        (&["--distances", "3,x"], "\"x\" is no point"),
        (&["--distances", "3,-4"], "over zero"),
    ] {
        let said = refused(&mut with(&[&port[..], more].concat()), 2);
        assert!(said.contains(matter), "{said}");
    }
    run(&mut with(&["--port", device, "--distances", "3"]), 2);
    run(&mut with(&["--capture", "a@3m", "--distances", "3"]), 2);
    assert!(refused(&mut with(&["--capture", "none@3m"]), 3).contains("none.sigmf-meta"));

    // A capture without a calibration holds no field.
    let bare = field.path("bare");
    let mut record = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    record.arg("record").args(["--port", device, "--duration", "5", "--out"]).arg(&bare);
    run(&mut record, 0);
    let named = format!("{}@3m", bare.display());
    let said = refused(&mut with(&["--capture", &named]), 3);
    assert!(said.contains("not calibrated") && said.contains("field_per_count"), "{said}");
}
