//! Runs the program.

use std::ffi::OsStr;
use std::fs::File;
use std::io::{Read, Seek};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// A program that takes longer hangs; the slowest test needs a small part of it.
const HANGS: Duration = Duration::from_secs(180);

/// The program under test: `COILRIG_BIN`, else the one in the target folder
/// that the tests were built to.
///
/// # Panics
///
/// When there is none.
pub fn path() -> PathBuf {
    if let Some(path) = std::env::var_os("COILRIG_BIN") {
        let path = PathBuf::from(path);
        assert!(path.is_file(), "COILRIG_BIN is {}, which is not there", path.display());
        return path;
    }
    // The tests lie in target/PROFILE/deps.
    let test = std::env::current_exe().expect("the test has a path");
    let target = test.ancestors().nth(3).expect("the test lies in the target folder");
    let places = ["debug", "release"].map(|profile| target.join(profile).join("coilrig"));
    places.iter().find(|path| path.is_file()).cloned().unwrap_or_else(|| {
        panic!("no program to test in {}: run ./tests/run", target.display());
    })
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Run {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
}

impl Run {
    /// The JSON document on standard output of a run that ended well.
    #[track_caller]
    pub fn json(&self) -> Value {
        self.with_code(0).document()
    }

    /// The JSON document on standard output, whatever the exit code.
    #[track_caller]
    pub fn document(&self) -> Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|e| panic!("{e} in {self:?}"))
    }

    /// The run itself, once its exit code is checked.
    #[track_caller]
    pub fn with_code(&self, code: i32) -> &Self {
        assert_eq!(self.code, code, "{self:?}");
        self
    }

    /// Check that the program refused with `code`, gave no result, and said each
    /// of `parts`, and what to do.
    #[track_caller]
    pub fn refused(&self, code: i32, parts: &[&str]) -> &Self {
        self.with_code(code);
        assert!(self.stdout.is_empty(), "a result beside an error: {self:?}");
        for part in parts.iter().chain(&["to do: "]) {
            assert!(self.stderr.contains(part), "no \"{part}\" in {self:?}");
        }
        self
    }
}

/// Run `coilrig ARGUMENTS` in `folder`.
///
/// # Panics
///
/// When it cannot be run, hangs, or is ended by a signal.
pub fn coilrig<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Run {
    let [mut out, mut err] = [(); 2].map(|()| tempfile::tempfile().expect("a temporary file"));
    let handle = |file: &File| Stdio::from(file.try_clone().expect("a second handle"));
    let mut child = Command::new(path())
        .args(arguments)
        .current_dir(folder)
        // Days must not depend on where the tests run.
        .env("TZ", "UTC")
        .stdin(Stdio::null())
        .stdout(handle(&out))
        .stderr(handle(&err))
        .spawn()
        .expect("the program starts");
    let started_at = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().expect("the program can be waited for") {
            break status;
        }
        if started_at.elapsed() > HANGS {
            child.kill().expect("the program can be ended");
            let stderr = text_of(&mut err);
            panic!(
                "coilrig {:?} hangs: {stderr}",
                arguments.iter().map(S::as_ref).collect::<Vec<_>>()
            );
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    let (stdout, stderr) = (text_of(&mut out), text_of(&mut err));
    let code = status.code().unwrap_or_else(|| panic!("{status}: {stderr}"));
    Run { code, stdout, stderr }
}

fn text_of(file: &mut File) -> String {
    let mut bytes = Vec::new();
    file.rewind().and_then(|()| file.read_to_end(&mut bytes)).expect("what the program said");
    String::from_utf8(bytes).expect("the program speaks UTF-8")
}
