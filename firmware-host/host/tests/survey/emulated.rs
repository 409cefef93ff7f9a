//! With the program's own emulated receiver, carried about by lines typed to it.

use std::process::{Command, Stdio};

use coilrig::readings;
use coilrig_analysis::scenario::truth;

use crate::field::{Field, SCENE, Session};

#[test]
fn a_typed_line_carries_the_receiver() {
    let field = Field::new(SCENE);
    let scene = field.path("scene.toml");
    std::fs::write(&scene, SCENE).unwrap();
    let link = field.path("typed");
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.arg("emulate").arg(&scene).args(["--fast", "--link"]).arg(&link);
    let mut emulator = Session::start(&mut command);
    emulator.until("Ctrl-C ends it");
    for (line, answer) in [
        ("fly 1 2 3", "\"fly 1 2 3\" is none of \"place X Y Z\" (m)"),
        ("place 0 0 0", "0 m from the receiver"),
        ("off barn", "done: off barn"),
        ("turn 45", "done: turn 45"),
        ("place 0 6 0", "done: place 0 6 0"),
    ] {
        emulator.say(line);
        emulator.until(answer);
    }
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.args(["survey", "distance", "--distances", "6", "--seconds", "5", "--out"]);
    command.arg(field.path("out")).arg("--port").arg(&link).arg("--calibration");
    command.arg(field.path("c.toml")).stdout(Stdio::null());
    let mut session = Session::start(&mut command);
    session.record();
    session.say("");
    session.end();
    emulator.kill();

    let reading = readings::read(&field.path("out/readings.csv")).unwrap().readings[0];
    let mut scenario = field.scenario.clone();
    scenario.receiver.position_m = [0.0, 6.0, 0.0];
    let off = reading.field_a_per_m / truth(&scenario)[0].field_a_per_m - 1.0;
    assert!(off.abs() < 0.01, "{off}");
}
