//! What `report --export` writes: the same in CSV and, by `tests/outside`, in Parquet.

use super::{coilrig, done, park};

#[test]
fn every_table_is_there_twice_and_documented() {
    let park = park();
    let arguments = ["report", "--export", "tables", "--park", "Larch meadow"];
    assert_eq!(done(&coilrig(park.path(), &arguments)), "");
    let folder = park.path().join("tables");
    let schema = std::fs::read_to_string(folder.join("SCHEMA.md")).unwrap();
    for (table, rows) in [
        ("unit", 6),
        ("station", 1),
        ("event", 18),
        ("calibration", 1),
        ("capture", 180),
        ("measurement", 360),
        ("value", 1440),
        ("verification", 6),
        ("verification_capture", 0),
        ("decision", 6),
        ("withdrawal", 0),
    ] {
        let mut csv = csv::Reader::from_path(folder.join(format!("{table}.csv"))).unwrap();
        let header = csv.headers().unwrap().clone();
        assert_eq!(csv.records().count(), rows, "{table}");
        let documented = schema.split(&format!("\n## {table}\n")).nth(1).unwrap();
        let documented = documented.split("\n## ").next().unwrap();
        let names: Vec<&str> = documented
            .lines()
            .filter_map(|l| l.strip_prefix("| ")?.split(" |").next())
            .skip(1)
            .collect();
        assert_eq!(header.iter().collect::<Vec<_>>(), names, "{table}");
        let parquet = std::fs::read(folder.join(format!("{table}.parquet"))).unwrap();
        assert!(parquet.starts_with(b"PAR1") && parquet.ends_with(b"PAR1"), "{table}");
    }
}
