//! Programs that are killed while they enter.

use std::os::unix::process::ExitStatusExt;
use std::process::Command;
use std::time::{Duration, Instant};

use coilrig_tests::program;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::park::Park;

const KILL: i32 = 9;
const FILE_TOO_LONG: i32 = 25;

/// By SIGKILL at random moments, from before the file is opened to after the end.
#[test]
fn nothing_is_lost_or_half_written_when_a_program_is_killed_at_any_moment() {
    const TIMES: usize = 60;
    let park = Park::new();
    let begun_at = Instant::now();
    let first = park.write_station("first");
    assert!(park.station_command(&first).status().unwrap().success());
    let takes = begun_at.elapsed();
    let mut random = ChaCha8Rng::seed_from_u64(457);
    let mut acknowledged = vec!["first".to_owned()];
    let mut killed = 0;
    for number in 0..TIMES {
        let name = format!("field {number}");
        let file = park.write_station(&name);
        let mut child = park.station_command(&file).spawn().unwrap();
        let share = f64::from(random.next_u32()) / f64::from(u32::MAX);
        std::thread::sleep(takes.mul_f64(1.2 * share));
        // It may have ended already; its status tells.
        let _ = child.kill();
        let status = child.wait().unwrap();
        if status.success() {
            acknowledged.push(name);
        } else {
            assert_eq!(status.signal(), Some(KILL), "{status}");
            killed += 1;
        }
        if number % 10 == 9 {
            park.check_whole();
        }
    }
    assert!(killed > TIMES / 5, "only {killed} of {TIMES} were killed: this shows nothing");
    park.check_whole();
    let stations = park.says("station");
    for name in &acknowledged {
        assert!(stations.contains(name), "{name} was told as entered and is lost");
    }
    // A program that is killed after the last step may have entered all the same.
    assert!(stations.len() >= acknowledged.len());
}

/// In the very write that takes a file beyond so many bytes: the system ends a program
/// there (SIGXFSZ), with the part written that still fitted.
#[test]
fn nothing_is_half_written_wherever_in_a_file_the_program_ends() {
    let park = Park::new();
    let mut ended = 0;
    for (number, kilobytes) in (0..160).step_by(5).enumerate() {
        let name = format!("field {number}");
        let file = park.write_station(&name);
        let before = park.says("station").len();
        // Half a kilobyte or a whole one a block, as the shell has it.
        let status = Command::new("sh")
            .args(["-c", &format!("ulimit -f {kilobytes} && exec \"$0\" \"$@\"")])
            .arg(program::path())
            .args(["records", "station", &file, "--by", "warden"])
            .current_dir(park.folder())
            .output()
            .unwrap()
            .status;
        park.check_whole();
        let after = park.says("station").len();
        match status.signal() {
            Some(FILE_TOO_LONG) => ended += 1,
            _ => assert!(status.success(), "{status}"),
        }
        if status.success() {
            assert_eq!(after, before + 1);
        }
    }
    assert!(ended > 3, "only {ended} programs were ended: this shows nothing");
}

/// New records are there whole or not at all.
#[test]
fn records_are_begun_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let new = |name: &str| {
        let mut command = Command::new(program::path());
        command.args(["records", "new", name]).current_dir(folder.path());
        command.stdout(std::process::Stdio::null());
        command
    };
    let begun_at = Instant::now();
    assert!(new("first.sqlite").status().unwrap().success());
    let takes = begun_at.elapsed();
    let (mut there, mut missing) = (0, 0);
    for number in 0..40_u32 {
        let name = format!("{number}.sqlite");
        let mut child = new(&name).spawn().unwrap();
        std::thread::sleep(Duration::from_secs_f64(takes.as_secs_f64() * f64::from(number) / 40.0));
        let _ = child.kill();
        let _ = child.wait().unwrap();
        if folder.path().join(&name).exists() {
            there += 1;
            let check = ["records", "check", "--records", &name];
            program::coilrig(folder.path(), &check).with_code(0);
        } else {
            missing += 1;
        }
    }
    assert!(missing > 3, "{there} there, {missing} missing: this shows nothing");
}
