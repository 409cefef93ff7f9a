//! An emulated receiver, and a person who answers the program.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use coilrig::emulator::{self, EmulatorHandle, Options, Pace};
use coilrig_analysis::scenario::Scenario;

/// Two invented units: "hut", along y, is surveyed; "barn" is stronger, far off.
pub const SCENE: &str = r#"
seed = 11
[receiver]
serial = "EMU-0011"
position_m = [0, 3, 0]
noise_a_per_m_rthz = 1.5e-9
axis_factors = [1.03, 0.97, 1.05]
calibration_u_rel = 0.03
[[unit]]
name = "hut"
position_m = [0, 0, 0]
moment_a_m2 = [0, 4e-3, 0]
carrier_offset_hz = 20
period_s = 0.8
on_time_s = 0.09
first_pulse_s = 0.1
[[unit]]
name = "barn"
position_m = [40, 12, 0]
moment_a_m2 = [0, 2, 0]
carrier_offset_hz = -45
period_s = 1.1
on_time_s = 0.1
first_pulse_s = 0.5
"#;

/// The scene on an emulator, "barn" switched off, and a folder.
pub struct Field {
    pub scenario: Scenario,
    pub emulator: EmulatorHandle,
    folder: tempfile::TempDir,
}

impl Field {
    pub fn new(scene: &str) -> Self {
        let scenario: Scenario = toml::from_str(scene).unwrap();
        let emulator =
            emulator::spawn(&scenario, Options { pace: Pace::Full, ..Options::default() }).unwrap();
        emulator.switch("barn", false).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let field = Self { scenario, emulator, folder };
        emulator::calibration(&field.scenario, "2026-01-15").save(&field.path("c.toml")).unwrap();
        field
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A guided survey of a kind into the folder "out", points of so many seconds.
    pub fn survey(&self, kind: &str, seconds: &str, arguments: &[&str]) -> Session {
        Session::start(self.command(kind, seconds).args(arguments))
    }

    /// Its command.
    pub fn command(&self, kind: &str, seconds: &str) -> Command {
        let mut command = survey(kind);
        command.arg("--out").arg(self.path("out")).arg("--port").arg(self.emulator.device());
        command.arg("--calibration").arg(self.path("c.toml")).args(["--seconds", seconds]);
        command
    }
}

/// `coilrig survey` of a kind.
pub fn survey(kind: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.args(["survey", kind]);
    command
}

pub fn run(command: &mut Command, code: i32) -> Output {
    let output = command.stdin(Stdio::null()).output().unwrap();
    assert_eq!(output.status.code(), Some(code), "{output:?}");
    output
}

pub fn refused(command: &mut Command, code: i32) -> String {
    let output = run(command, code);
    assert!(output.stdout.is_empty());
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("to do: "), "{said}");
    said
}

/// A survey under way, driven by a pipe.
pub struct Session {
    pub child: Child,
    answers: Option<ChildStdin>,
    said: Receiver<String>,
}

impl Session {
    pub fn start(command: &mut Command) -> Self {
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let (told, said) = channel();
        std::thread::spawn(move || lines.map_while(Result::ok).try_for_each(|l| told.send(l)));
        Self { answers: child.stdin.take(), child, said }
    }

    /// Everything said up to and with the line that holds `text`.
    pub fn until(&self, text: &str) -> String {
        let mut all = String::new();
        loop {
            match self.said.recv_timeout(Duration::from_secs(60)) {
                Ok(line) => {
                    let is_it = line.contains(text);
                    all += &(line + "\n");
                    if is_it {
                        return all;
                    }
                }
                Err(e) => panic!("waited for {text:?}, {e}: {all}"),
            }
        }
    }

    pub fn say(&mut self, answer: &str) {
        writeln!(self.answers.as_mut().unwrap(), "{answer}").unwrap();
    }

    /// Answer when asked whether to record; what is said before and after.
    pub fn record(&mut self) -> String {
        let asked = self.until("Enter records");
        self.say("");
        asked + &self.until("Enter keeps it")
    }

    /// No more answers; what the program says on standard output in the end.
    pub fn end(mut self) -> String {
        drop(self.answers.take());
        let output = self.child.wait_with_output().unwrap();
        let rest: Vec<String> = self.said.iter().collect();
        assert!(output.status.success(), "{rest:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    pub fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let status = Command::new("kill").arg(format!("-{name}")).arg(id).status();
        assert!(status.unwrap().success());
    }
}

pub fn captures_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .filter_map(|entry| entry.unwrap().file_name().into_string().ok())
        .filter_map(|name| name.strip_suffix(".sigmf-meta").map(str::to_owned))
        .collect();
    names.sort();
    names
}
