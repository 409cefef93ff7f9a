//! Records where nothing can be written: an archive, a stick with its lock closed. The
//! user of the tests may be the one whom permissions do not bind, so the program runs
//! as a user who may only read.

use std::fs::{self, Permissions};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use coilrig_tests::program;

use crate::park::Park;

/// "nobody" on all systems that tests run on.
const NOBODY: u32 = 65_534;

/// A folder that its user may read and not write, and the program to run there.
struct Archive {
    park: Park,
    program: PathBuf,
}

fn allow(path: &Path, mode: u32) {
    fs::set_permissions(path, Permissions::from_mode(mode)).unwrap();
}

impl Archive {
    fn of(park: Park) -> Self {
        // Another user may not come to where the program was built.
        let program = park.folder().join("coilrig");
        fs::copy(program::path(), &program).unwrap();
        for entry in fs::read_dir(park.folder()).unwrap() {
            allow(&entry.unwrap().path(), 0o444);
        }
        allow(&program, 0o555);
        allow(park.folder(), 0o555);
        Self { park, program }
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        let mut command = Command::new(&self.program);
        command.args(arguments).current_dir(self.park.folder()).env("TZ", "UTC");
        if fs::metadata("/proc/self").unwrap().uid() == 0 {
            command.uid(NOBODY).gid(NOBODY);
        }
        let output = command.output().unwrap_or_else(|e| {
            panic!(
                "{} cannot be run as a user who may only read ({e}): let all users come to the \
                 folder for temporary files (TMPDIR)",
                self.program.display()
            )
        });
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (output.status.code(), text(output.stdout), text(output.stderr))
    }

    /// Names and content of all that lies there.
    fn content(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let entries = fs::read_dir(self.park.folder()).unwrap();
        let mut all: Vec<(PathBuf, Vec<u8>)> = entries
            .map(|entry| entry.unwrap().path())
            .filter(|path| *path != self.program)
            .map(|path| (path.clone(), fs::read(path).unwrap()))
            .collect();
        all.sort();
        all
    }
}

impl Drop for Archive {
    fn drop(&mut self) {
        // Or the folder cannot be taken away.
        allow(self.park.folder(), 0o755);
    }
}

#[test]
fn what_cannot_be_written_can_be_read_and_is_not_touched() {
    let park = Park::new();
    let file = park.write_station("field");
    assert!(park.station_command(&file).status().unwrap().success());
    let expected = park.run(&["records", "list"]).stdout;
    let archive = Archive::of(park);
    let before = archive.content();
    let (code, listed, told) = archive.run(&["records", "list"]);
    assert_eq!(code, Some(0), "{told}");
    assert_eq!(listed, expected);
    let (code, _, told) = archive.run(&["records", "check"]);
    assert_eq!(code, Some(0), "{told}");
    let event = ["records", "event", "field 1", "battery", "--by", "warden"];
    let (code, _, told) = archive.run(&event);
    assert_eq!(code, Some(3), "the user who may only read has written: {told}");
    assert!(told.contains("write-protected") && told.contains("to do: "), "{told}");
    assert!(archive.content() == before, "something was changed");
}

/// A program that was ended leaves its last entries in the file beside.
#[test]
fn entries_that_stand_beside_the_file_are_read_as_well() {
    let park = Park::new();
    let beside = park.folder().join("records.sqlite-wal");
    // The limit lets the file beside grow, and not the main one once that is long.
    let last = (0..100).find(|number| {
        let file = park.write_station(&format!("field {number}"));
        let status = Command::new("sh")
            .args(["-c", "trap '' XFSZ; ulimit -f 240 && exec \"$0\" \"$@\""])
            .arg(program::path())
            .args(["records", "station", &file, "--by", "warden"])
            .current_dir(park.folder())
            .stdout(Stdio::null())
            .status()
            .unwrap();
        assert!(status.success(), "{status}");
        beside.metadata().is_ok_and(|file| file.len() > 0)
    });
    let last = last.expect("the main file took everything: this shows nothing");
    let archive = Archive::of(park);
    let before = archive.content();
    let (code, listed, told) = archive.run(&["records", "list"]);
    assert_eq!(code, Some(0), "{told}");
    assert!(listed.contains(&format!("field {last} 11")), "{listed}");
    assert!(archive.content() == before, "something was changed");
}
