//! `coilrig calibrate` as a whole program with an emulated receiver that is placed
//! and turned, step by step.

use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use coilrig::calibration::Calibration;
use coilrig::emulator::{self, EmulatorHandle, Options, Pace};
use coilrig_analysis::scenario::{Orientation, Scenario};
use serde_json::Value;

/// A carrier that a loop makes, and a receiver with hidden factors and coils that
/// are askew. The field is along the station's z.
const SCENE: &str = r#"
seed = 21
[receiver]
serial = "EMU-0021"
noise_a_per_m_rthz = 1.5e-9
axis_factors = [1.08, 0.93, 1.02]
clock_offset_ppm = -4.7
coil_directions = [[1, 0, 0], [0.0871557, 0.9961947, 0], [0, -0.0871557, 0.9961947]]
[[interference]]
kind = "carrier"
frequency_offset_hz = 15
field_a_per_m = [0, 0, 2e-6]
"#;

/// A loop that makes 2 µA/m: N I a² / (2 (a² + x²)^(3/2)).
const LOOP: [&str; 14] = [
    "--turns",
    "10",
    "--radius",
    "0.15",
    "--u-radius",
    "0.0005",
    "--current",
    "1.8381306e-5",
    "--u-current",
    "1e-7",
    "--distance",
    "1",
    "--u-distance",
    "0.002",
];

const BY_HAND: &str = r#"
format = "coilrig-calibration/1"
receiver = "EMU-0021"
date = "2026-01-15"
method = "by hand"
[[gain_step]]
step = 0
field_per_count = [1e-9, 1e-9, 1e-9]
u_rel = [0.1, 0.1, 0.1]
"#;

struct Bench {
    emulator: EmulatorHandle,
    folder: tempfile::TempDir,
}

/// How long the program may be silent.
const PATIENCE: Duration = Duration::from_secs(60);

impl Bench {
    fn new(scene: &str) -> Self {
        let scenario: Scenario = toml::from_str(scene).unwrap();
        let options = Options { pace: Pace::Full, ..Options::default() };
        let emulator = emulator::spawn(&scenario, options).unwrap();
        Self { emulator, folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, part: &str, more: &[&str]) -> Conversation {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
        command.args(["calibrate", part, "--json", "--out"]).arg(self.path("c.toml"));
        command.arg("--port").arg(self.emulator.device()).args(more);
        Conversation::start(command)
    }

    fn calibration(&self) -> Calibration {
        Calibration::load(&self.path("c.toml")).unwrap()
    }
}

/// The program, spoken with line by line.
struct Conversation {
    child: Child,
    answers: ChildStdin,
    questions: Receiver<String>,
}

impl Conversation {
    fn start(mut command: Command) -> Self {
        let pipes = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = pipes.spawn().unwrap();
        let answers = child.stdin.take().unwrap();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        let (lines, questions) = channel();
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                let _ = lines.send(line);
            }
        });
        Self { child, answers, questions }
    }

    /// The lines up to one that has `part`.
    #[track_caller]
    fn hear(&self, part: &str) -> String {
        let mut heard = String::new();
        while !heard.contains(part) {
            match self.questions.recv_timeout(PATIENCE) {
                Ok(line) => heard += &(line + "\n"),
                Err(_) => panic!("never said \"{part}\": {heard}"),
            }
        }
        heard
    }

    fn say(&mut self, answer: &str) {
        writeln!(self.answers, "{answer}").unwrap();
    }

    /// Its JSON document; `None` when there is none.
    fn end(self) -> Option<Value> {
        drop(self.answers);
        let Output { status, stdout, .. } = self.child.wait_with_output().unwrap();
        assert!(status.success(), "{status}");
        (!stdout.is_empty()).then(|| serde_json::from_slice(&stdout).unwrap())
    }
}

/// The receiver held so that the station's z lies along `field` in its own axes.
fn held(field: [f64; 3]) -> Orientation {
    let z = unit(field);
    let helper = if z[0].abs() < 0.9 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let x = unit(cross(helper, z));
    let y = cross(z, x);
    // Rows are the receiver's axes in station coordinates.
    Orientation::Axes(std::array::from_fn(|i| [x[i], y[i], z[i]]))
}

fn unit(v: [f64; 3]) -> [f64; 3] {
    let length = v.iter().map(|c| c * c).sum::<f64>().sqrt();
    v.map(|c| c / length)
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|i| {
        let (j, k) = ((i + 1) % 3, (i + 2) % 3);
        a[j] * b[k] - a[k] * b[j]
    })
}

#[test]
fn the_whole_calibration_step_by_step_finds_what_was_hidden() {
    let bench = Bench::new(SCENE);
    // Coil x along the field, five times, each kept; then the result.
    bench.emulator.turn(held([1.0, 0.0, 0.0])).unwrap();
    let mut loop_x = bench.run("loop", &[&LOOP[..], &["--axis", "x", "--seconds", "4"]].concat());
    loop_x.hear("rescue");
    for number in 1..=5 {
        loop_x.hear(&format!("{number} of 5"));
        loop_x.say("");
        loop_x.hear("keeps it");
        loop_x.say("");
    }
    loop_x.hear("all captures are there: 5");
    loop_x.say("");
    let document = loop_x.end().unwrap();
    let value = document["result"]["field_per_count"].as_f64().unwrap();
    let u = value * document["result"]["u_rel"].as_f64().unwrap();
    assert!((value - 1.08e-9).abs() < 2.0 * u, "{value} ± {u}");

    let turns = ["--count", "18", "--seconds", "2"];
    let mut rotation = bench.run("rotation", &turns);
    for k in 0..18 {
        rotation.hear(&format!("{} of 18", k + 1));
        let z = 1.0 - (2 * k + 1) as f64 / 18.0;
        let rho = (1.0 - z * z).sqrt();
        let (sin, cos) = (2.399_963 * k as f64).sin_cos();
        bench.emulator.turn(held([rho * cos, rho * sin, z])).unwrap();
        rotation.say("");
        rotation.hear("keeps it");
        rotation.say("");
    }
    rotation.hear("all captures are there: 18");
    rotation.say("");
    rotation.end().unwrap();

    let known = ["--frequency", "457015", "--u-frequency", "0.005", "--seconds", "5"];
    let mut clock = bench.run("clock", &[&known[..], &["--count", "1"]].concat());
    clock.hear("1 of 1");
    clock.say("");
    clock.hear("by the receiver's clock");
    clock.say("");
    clock.hear("all captures are there: 1");
    clock.say("");
    clock.end().unwrap();

    let found = bench.calibration();
    assert_eq!(found.receiver, "EMU-0021");
    let step = found.gain_step(0).unwrap();
    for (axis, due) in [1.08e-9, 0.93e-9, 1.02e-9].into_iter().enumerate() {
        let (value, u) = (step.field_per_count[axis], step.u_rel[axis]);
        assert!((value / due - 1.0).abs() < 2.0 * u && u < 0.02, "{axis}: {value} ± {u}");
    }
    let (offset, u) = (found.clock_offset_ppm.unwrap(), found.clock_offset_u_ppm.unwrap());
    assert!((offset + 4.7).abs() < 3.0 * u && u < 0.02, "{offset} ± {u}");
    // cos of the angles between the coils: 5° of y towards x, and of z from y.
    let angles = &found.rotations[0].result.angles_deg;
    for (angle, due) in angles.iter().zip([85.0, 90.0, 94.981]) {
        assert!((angle.value - due).abs() < 3.5 * angle.u && angle.u < 0.1, "{angle:?} {due}");
    }
}

#[test]
fn a_series_is_broken_off_and_goes_on_and_bad_captures_do_not_count() {
    let bench = Bench::new(SCENE);
    bench.emulator.turn(held([0.0, 0.0, 1.0])).unwrap();
    let options = [&LOOP[..], &["--axis", "z", "--seconds", "4", "--count", "3"]].concat();
    let mut first = bench.run("loop", &options);
    first.hear("1 of 3");
    first.say("");
    first.hear("keeps it");
    first.say("");
    first.hear("2 of 3");
    first.say("");
    first.hear("keeps it");
    first.say("r");
    first.hear("2 of 3");
    first.say("q");
    assert_eq!(first.end(), None);
    assert!(!bench.path("c.toml").exists());

    let mut second = bench.run("loop", &options);
    for number in [2, 3] {
        second.hear(&format!("{number} of 3"));
        second.say("");
        second.hear("keeps it");
        second.say("");
    }
    second.hear("all captures are there: 3");
    second.say("d 1");
    second.hear("3 of 3");
    second.say("");
    second.hear("keeps it");
    second.say("");
    second.hear("all captures are there: 3");
    second.say("");
    let document = second.end().unwrap();
    let readings = document["result"]["reading"].as_array().unwrap();
    assert_eq!(readings.len(), 3);
    let names: Vec<&str> = readings.iter().map(|r| r["capture"].as_str().unwrap()).collect();
    assert!(names[0].ends_with("loop-z-03.sigmf-meta"), "{names:?}");

    // With the source off nothing is kept, and another series begins beside.
    let quiet = Bench::new("[receiver]\nserial = \"EMU-0021\"\n");
    let mut third = quiet.run("loop", &options);
    third.hear("1 of 3");
    third.say("");
    let heard = third.hear("1 of 3");
    assert!(heard.contains("not usable") && heard.contains("to do:"), "{heard}");
    third.say("q");
    third.end();
    let mut fourth = bench.run("loop", &options);
    assert!(fourth.hear("1 of 3").contains("c-loop-z-2"));
    fourth.say("q");
    fourth.end();
}

#[test]
fn another_receiver_is_not_added_to_a_file_or_a_series() {
    let bench = Bench::new(SCENE);
    bench.emulator.turn(held([0.0, 0.0, 1.0])).unwrap();
    let options = [&LOOP[..], &["--axis", "z", "--seconds", "4", "--count", "3"]].concat();
    let folder = bench.path("series");
    let folder = ["--folder", folder.to_str().unwrap()];
    let mut begun = bench.run("loop", &[&options[..], &folder].concat());
    begun.hear("1 of 3");
    begun.say("q");
    begun.end();
    let other = Bench::new(&SCENE.replace("EMU-0021", "EMU-0022"));
    let refused = other.run("loop", &[&options[..], &folder].concat());
    refused.hear("receiver EMU-0021");
    let status = { refused }.child.wait().unwrap();
    assert_eq!(status.code(), Some(2));

    // A file of another receiver is refused before anybody records for nothing.
    std::fs::write(other.path("c.toml"), BY_HAND).unwrap();
    let refused = other.run("loop", &options);
    let heard = refused.hear("to do:");
    assert!(heard.contains("is of receiver EMU-0021") && !heard.contains("1 of 3"), "{heard}");
    let status = { refused }.child.wait().unwrap();
    assert_eq!(status.code(), Some(3));
    let refused = bench.run("loop", &[&options[..], &["--gain", "7"]].concat());
    assert!(!refused.hear("gain step 7").contains("journal"));
    let status = { refused }.child.wait().unwrap();
    assert_eq!(status.code(), Some(2));
}

/// The emulated receiver is at −5 °C.
#[test]
fn a_receiver_colder_than_at_its_calibration_is_told_of() {
    let bench = Bench::new(SCENE);
    let recorded = |name: &str, calibrated_c: f64| {
        let file = BY_HAND.replace("method", &format!("temperature_c = {calibrated_c:.1}\nmethod"));
        std::fs::write(bench.path("c.toml"), file).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_coilrig"))
            .args(["record", "--duration", "3", "--port"])
            .arg(bench.emulator.device())
            .arg("--calibration")
            .arg(bench.path("c.toml"))
            .arg("--out")
            .arg(bench.path(name))
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    let far = recorded("far", 21.0);
    assert_eq!(far.matches("is at -5 °C and was calibrated at 21 °C").count(), 1, "{far}");
    assert!(!recorded("near", 5.0).contains("was calibrated at"));
}
