//! Disks that are full or cannot be written.

use super::super::opening::beside;
use super::*;

#[test]
fn a_full_disk_costs_the_entry_in_hand_and_no_other() {
    let (park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    let pages: i64 =
        records.connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    // SQLite says of this what it says of a disk without space.
    records.connection.pragma_update(None, "max_page_count", pages + 2).unwrap();
    let long = Measurement { document_json: format!("[{}0]", "1,".repeat(6000)), ..signal(creek) };
    let mut kept = 0;
    let refused = loop {
        let values = [("period_s".to_owned(), Reading::new(1.0, 1e-5))];
        let mut enter = || {
            let mut entering = records.enter("warden", quiet)?;
            entering.add_measurement(&spring(), &long, &values)?;
            entering.commit()
        };
        match enter() {
            Ok(()) => kept += 1,
            Err(e) => break e.to_string(),
        }
        assert!(kept < 10, "the disk is never full");
    };
    assert!(refused.contains("the disk is full; nothing was entered"), "{refused}");
    assert_eq!(records.in_force::<Measurement>().unwrap().len(), kept);
    drop(records);
    let mut records = Records::open(&park.path()).unwrap();
    assert_eq!(records.check().unwrap().damage, Vec::<String>::new());
    assert_eq!(records.in_force::<Measurement>().unwrap().len(), kept);
    add(&mut records, &spring(), &signal(creek)).unwrap();
}

/// What lies beside the file after a program was killed counts too.
#[test]
fn what_stands_beside_the_file_is_read_on_a_copy() {
    let (park, mut records) = Park::new();
    add(&mut records, &spring(), &named("creek")).unwrap();
    let elsewhere = tempfile::tempdir().unwrap();
    let copied = elsewhere.path().join("records.sqlite");
    for ending in ["", "-wal"] {
        std::fs::copy(beside(&park.path(), ending), beside(&copied, ending)).unwrap();
    }
    let (connection, copy) = super::super::opening::where_nothing_is_written(&copied).unwrap();
    assert!(copy.is_some());
    let names: i64 =
        connection.query_row("SELECT count(*) FROM unit", [], |row| row.get(0)).unwrap();
    assert_eq!(names, 1);
    assert!(!beside(&copied, "-shm").exists(), "nothing is made beside it");
    // All of it in the file: no copy is needed.
    std::fs::remove_file(beside(&copied, "-wal")).unwrap();
    drop(records);
    std::fs::copy(park.path(), &copied).unwrap();
    let (_, copy) = super::super::opening::where_nothing_is_written(&copied).unwrap();
    assert!(copy.is_none());
}

#[test]
fn a_path_with_signs_of_its_own_is_opened() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("park 100% #1?.sqlite");
    drop(Records::create(&path).unwrap());
    let (connection, _) = super::super::opening::where_nothing_is_written(&path).unwrap();
    connection.prepare("SELECT * FROM unit").unwrap();
}
