//! Files of other versions.

use super::super::opening::beside;
use super::super::schema;
use super::*;

/// A step that a later version might bring.
const LATER: &str = "ALTER TABLE unit ADD COLUMN colour TEXT;";
const BROKEN: &str = "ALTER TABLE unit ADD COLUMN colour TEXT; SELECT nothing FROM nowhere;";

fn steps(last: &'static str) -> Vec<&'static str> {
    schema::STEPS.iter().copied().chain([last]).collect()
}

fn version_of(path: &std::path::Path) -> i64 {
    schema::version(&rusqlite::Connection::open(path).unwrap()).unwrap()
}

#[test]
fn an_older_file_is_brought_up_to_date_and_kept_beside() {
    let (park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    drop(records);
    let now = schema::STEPS.len() as i64;
    let records = Records::open_with(&park.path(), &steps(LATER)).unwrap();
    assert_eq!(records.units().unwrap()[0].unit, creek);
    drop(records);
    assert_eq!(version_of(&park.path()), now + 1);
    let kept = beside(&park.path(), &format!(".version-{now}"));
    assert_eq!(version_of(&kept), now);
    assert_eq!(Records::open_to_read(&kept).unwrap().units().unwrap()[0].unit, creek);
}

#[test]
fn a_step_that_fails_leaves_the_older_file() {
    let (park, mut records) = Park::new();
    add(&mut records, &spring(), &named("creek")).unwrap();
    drop(records);
    Records::open_with(&park.path(), &steps(BROKEN)).unwrap_err();
    assert_eq!(version_of(&park.path()), schema::STEPS.len() as i64);
    assert_eq!(Records::open(&park.path()).unwrap().units().unwrap().len(), 1);
}

#[test]
fn looking_things_up_in_an_older_file_changes_nothing() {
    let (park, mut records) = Park::new();
    add(&mut records, &spring(), &named("creek")).unwrap();
    drop(records);
    let before = std::fs::read(park.path()).unwrap();
    let records = Records::open_to_read_with(&park.path(), &steps(LATER)).unwrap();
    assert_eq!(records.units().unwrap().len(), 1);
    records.connection.prepare("SELECT colour FROM unit").unwrap();
    drop(records);
    assert!(std::fs::read(park.path()).unwrap() == before, "the file was changed");
}

#[test]
fn a_newer_file_and_files_of_something_else_are_refused_untouched() {
    let (park, records) = Park::new();
    drop(records);
    drop(Records::open_with(&park.path(), &steps(LATER)).unwrap());
    let other = park.folder.path().join("other.sqlite");
    rusqlite::Connection::open(&other).unwrap().execute_batch("CREATE TABLE bird (name)").unwrap();
    let text = park.folder.path().join("text");
    std::fs::write(&text, "distance_m,field_a_per_m\n").unwrap();
    let version = format!("version {}", schema::STEPS.len() + 1);
    for (path, what) in [
        (park.path(), version.as_str()),
        (other, "something else"),
        (text, "no file of records"),
        (park.folder.path().join("nothing"), "no records here"),
    ] {
        let before = std::fs::read(&path).ok();
        for opened in [Records::open(&path), Records::open_to_read(&path)] {
            let refused = opened.unwrap_err().to_string();
            assert!(refused.contains(what) && refused.contains("to do: "), "{refused}");
        }
        assert!(std::fs::read(&path).ok() == before, "{what}: the file was changed");
    }
}
