//! An emulated receiver that runs for the length of a test.

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use crate::program;

/// A running `coilrig emulate`, ended when dropped.
pub struct Emulator {
    child: Child,
    device: PathBuf,
    calibration: PathBuf,
    stdin: ChildStdin,
    /// Kept open: the emulator may go on to write to it.
    _stdout: BufReader<ChildStdout>,
}

impl Emulator {
    /// Emulate the scenario `text`, which is put into `folder`, as fast as it is read, and
    /// wait until the device is there.
    ///
    /// # Panics
    ///
    /// When the emulator ends instead, with what it said.
    pub fn start(folder: &Path, text: &str) -> Self {
        Self::run(folder, text, &["--fast"])
    }

    /// The same in real time.
    ///
    /// # Panics
    ///
    /// As [`Self::start`].
    pub fn in_real_time(folder: &Path, text: &str) -> Self {
        Self::run(folder, text, &[])
    }

    fn run(folder: &Path, text: &str, pace: &[&str]) -> Self {
        let scenario = folder.join("scenario.toml");
        let calibration = folder.join("calibration.toml");
        let said = folder.join("emulator.txt");
        std::fs::write(&scenario, text).expect("the scenario can be written");
        let stderr = File::create(&said).expect("a file for what the emulator says");
        let mut child = Command::new(program::path())
            .arg("emulate")
            .arg(&scenario)
            .args(pace)
            .args(["--link".as_ref(), folder.join("receiver").as_os_str()])
            .args(["--write-calibration".as_ref(), calibration.as_os_str()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(stderr)
            .spawn()
            .expect("the emulator starts");
        let stdin = child.stdin.take().expect("standard input is a pipe");
        let mut stdout = BufReader::new(child.stdout.take().expect("standard output is a pipe"));
        let mut line = String::new();
        stdout.read_line(&mut line).expect("the emulator's first line can be read");
        let device = PathBuf::from(line.trim_end());
        let emulator = Self { child, device, calibration, stdin, _stdout: stdout };
        assert!(
            !line.is_empty(),
            "no device: {}",
            std::fs::read_to_string(&said).unwrap_or_default()
        );
        emulator
    }

    /// Type a line to it, as `place 2 0 1`.
    ///
    /// # Panics
    ///
    /// When it has ended.
    pub fn type_line(&mut self, line: &str) {
        writeln!(self.stdin, "{line}").expect("the emulator takes lines");
    }

    /// The serial port of the receiver.
    pub fn device(&self) -> &str {
        self.device.to_str().expect("a path in UTF-8")
    }

    /// What a faultless laboratory would know of the receiver.
    pub fn calibration(&self) -> &str {
        self.calibration.to_str().expect("a path in UTF-8")
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
