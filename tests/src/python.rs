//! Runs the scripts in `tests/outside` and `tests/browser`.

use std::ffi::OsStr;
use std::process::Command;

use serde_json::Value;

use crate::repository_file;

/// The JSON document that `tests/outside/SCRIPT` prints, given `arguments`. The
/// interpreter is `COILRIG_PYTHON`, one that has tests/requirements.txt.
///
/// # Panics
///
/// Without an interpreter, and when the script fails, with what it said.
pub fn outside<S: AsRef<OsStr>>(script: &str, arguments: &[S]) -> Value {
    run(&format!("tests/outside/{script}"), arguments)
}

/// The same of `tests/browser/SCRIPT`, which needs Chromium as well.
///
/// # Panics
///
/// As [`outside`].
pub fn browser<S: AsRef<OsStr>>(script: &str, arguments: &[S]) -> Value {
    run(&format!("tests/browser/{script}"), arguments)
}

fn run<S: AsRef<OsStr>>(script: &str, arguments: &[S]) -> Value {
    let python = std::env::var_os("COILRIG_PYTHON")
        .expect("COILRIG_PYTHON is not set, which this test needs: use ./tests/run");
    let output = Command::new(&python)
        .arg("-B")
        .arg(repository_file(script))
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{python:?} does not start ({e}): use ./tests/run"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script} failed: {said}");
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{script}: {e}; {said}"))
}
