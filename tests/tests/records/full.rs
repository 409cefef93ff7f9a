//! Disks without space, by a limit on the length of files: the system refuses what goes
//! beyond.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::process::Command;

use coilrig_tests::program;

use crate::park::{Park, under};

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
        let limit = format!("trap '' XFSZ; ulimit -f {blocks}");
        let output = park.station_under(&limit, &file);
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
    let output = under("trap '' XFSZ; ulimit -f 20", folder.path(), &["records", "new"]);
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("records.sqlite: ") && told.contains("to do: "), "{told}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "something was left");
}

/// A whole disk that is too small, mounted in a namespace of its own.
#[test]
fn on_a_small_disk_records_are_whole_or_not_there() {
    let user = if fs::metadata("/proc/self").unwrap().uid() == 0 { "-m" } else { "-rm" };
    let folder = tempfile::tempdir().unwrap();
    let on_disk = |kilobytes: u32, script: &str| {
        let script =
            format!("mount -t tmpfs -o size={kilobytes}k tmpfs . && cd \"$PWD\" && {script}");
        Command::new("unshare")
            .args([user, "sh", "-c", &script])
            .arg(program::path())
            .current_dir(folder.path())
            .output()
    };
    match on_disk(64, "true") {
        Ok(output) if output.status.success() => {}
        refused => panic!(
            "no small disk can be mounted, which needs unshare of util-linux and a system that \
             lets it make a namespace: {refused:?}"
        ),
    }
    let (mut begun, mut refused) = (0, 0);
    for kilobytes in (40..480).step_by(40) {
        let output = on_disk(
            kilobytes,
            "if \"$0\" records new; then \"$0\" records unit creek --by warden; \
             while \"$0\" records event creek battery --by warden --detail \
             \"$(head -c 3000 /dev/zero | tr '\\0' x)\"; do :; done; \
             \"$0\" records check && \"$0\" records list --last 0 >&2; else test -z \"$(ls)\"; fi",
        )
        .unwrap();
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{kilobytes} KiB: {told}");
        assert!(told.contains("to do: ") && !told.contains("damaged"), "{kilobytes} KiB: {told}");
        let printed = String::from_utf8_lossy(&output.stdout);
        match printed.contains("the file is whole") {
            true => {
                begun += 1;
                // Each number that was told as entered stands in the list.
                for number in printed.lines().filter_map(|line| line.strip_prefix("entry ")) {
                    let is_it = |line: &str| line.split_whitespace().next() == Some(number);
                    assert!(told.lines().any(is_it), "{kilobytes} KiB: entry {number}: {told}");
                }
            }
            false => refused += 1,
        }
    }
    assert!(begun > 2 && refused > 1, "{begun} begun, {refused} refused: this shows nothing");
}
