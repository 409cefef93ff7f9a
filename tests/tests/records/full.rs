//! Disks without space, by a limit on the length of files: the system refuses what goes
//! beyond.

use std::process::Command;

use coilrig_tests::program;

use crate::park::Park;

#[test]
fn a_disk_without_space_costs_what_is_being_entered_and_nothing_else() {
    let park = Park::new();
    let first = park.write_station("first");
    assert!(park.station_command(&first).status().unwrap().success());
    let (mut refused, mut entered) = (0, 0);
    for (number, blocks) in (0..400).step_by(20).enumerate() {
        let name = format!("field {number}");
        let file = park.write_station(&name);
        let before = park.says("station").len();
        let output = Command::new("sh")
            .args(["-c", &format!("trap '' XFSZ; ulimit -f {blocks} && exec \"$0\" \"$@\"")])
            .arg(program::path())
            .args(["records", "station", &file, "--by", "warden"])
            .current_dir(park.folder())
            .output()
            .unwrap();
        park.check_whole();
        let told = String::from_utf8_lossy(&output.stderr);
        let after = park.says("station").len();
        match output.status.code() {
            // Told as entered: it is there, even where it could not be moved from the
            // file beside into the main one.
            Some(0) => {
                assert_eq!(after, before + 1, "{told}");
                entered += 1;
            }
            Some(3) => {
                assert_eq!(after, before, "{told}");
                assert!(told.contains("nothing was entered"), "{told}");
                assert!(told.contains("records.sqlite: ") && told.contains("to do: "), "{told}");
                refused += 1;
            }
            other => panic!("{other:?}: {told}"),
        }
    }
    assert!(refused > 2 && entered > 2, "{refused} refused, {entered} entered: this shows nothing");
    let last = park.write_station("last");
    assert!(park.station_command(&last).status().unwrap().success());
    assert!(park.says("station").contains(&"first".to_owned()));
}

#[test]
fn records_that_find_no_space_are_not_begun() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new("sh")
        .args(["-c", "trap '' XFSZ; ulimit -f 20 && exec \"$0\" \"$@\""])
        .arg(program::path())
        .args(["records", "new"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("records.sqlite: ") && told.contains("to do: "), "{told}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "something was left");
}
