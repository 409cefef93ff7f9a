//! `history` and `report`, as their users meet them, over an invented park whose truth is
//! known.

mod export;
mod history;
mod invented;
mod report;

use std::path::Path;
use std::process::{Command, Output};

use invented::Park;
use tempfile::TempDir;

/// A park with thirty monthly visits.
const PARK: Park = Park { visits: 30, every_days: 30.0 };
/// A day some weeks after the last of them.
const TODAY: &str = "2026-04-20";

fn park() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    invented::make(&folder.path().join("records.sqlite"), &PARK);
    folder
}

fn coilrig(folder: &Path, arguments: &[&str]) -> Output {
    command(folder, arguments).output().unwrap()
}

fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.args(arguments).current_dir(folder).env("TZ", "UTC").env_remove("COILRIG_RECORDS");
    command
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[track_caller]
fn done(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    text(&output.stdout)
}

/// Check that it was refused with this code, without a result, saying all of `parts`.
#[track_caller]
fn refused(output: &Output, code: i32, parts: &[&str]) {
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{said}");
    assert!(output.stdout.is_empty());
    for part in parts {
        assert!(said.contains(part), "no \"{part}\" in {said}");
    }
}
