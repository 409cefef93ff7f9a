//! Exported tables as DuckDB and pandas read them.

use coilrig_tests::capture::Scene;
use coilrig_tests::json::number;
use coilrig_tests::program::coilrig;
use coilrig_tests::python::outside;
use tempfile::tempdir;

#[test]
fn duckdb_and_pandas_read_what_was_measured() {
    let folder = tempdir().unwrap();
    let run = |arguments: &[&str]| coilrig(folder.path(), arguments);
    run(&["records", "new"]).with_code(0);
    Scene::plain(20.0).write(folder.path(), "monday");
    let measured = run(&["measure", "--json", "--unit", "creek", "--by", "anna", "monday"]).json();
    // The same once more under a wrong name, which is withdrawn again.
    run(&["measure", "--unit", "meadow", "--by", "anna", "monday"]).with_code(0);
    run(&[
        "records",
        "event",
        "creek",
        "battery",
        "--detail",
        "two, \"new\"\nones",
        "--by",
        "anna",
    ])
    .with_code(0);
    let listed = run(&["records", "list", "--json"]).json();
    let entries = listed["entries"].as_array().or(listed.as_array()).unwrap();
    let wrong = entries
        .iter()
        .find(|e| e["kind"] == "measurement" && e["unit"] == "meadow")
        .unwrap_or_else(|| panic!("{listed}"));
    let wrong = wrong["id"].to_string();
    run(&["records", "withdraw", &wrong, "--note", "another unit", "--by", "anna"]).with_code(0);
    run(&["report", "--export", "tables", "--park", "Larch meadow"]).with_code(0);

    let read = outside("export_read.py", &[folder.path().join("tables")]);
    let (duckdb, pandas) = (&read["duckdb"], &read["pandas"]);
    assert_eq!(duckdb["tables"].as_object().unwrap().len(), 11);
    for (table, rows) in [("unit", 2), ("capture", 1), ("measurement", 2), ("withdrawal", 1)] {
        assert_eq!(duckdb["tables"][table]["rows"], rows, "{table}: {read}");
        assert_eq!(pandas["tables"][table]["rows"], rows, "{table}: {read}");
    }
    assert!(pandas["same_as_csv"].as_object().unwrap().values().all(|same| same == true), "{read}");
    let types = &duckdb["tables"]["value"]["types"];
    assert_eq!(types["measured_at"], "TIMESTAMP WITH TIME ZONE");
    assert_eq!((&types["value"], &types["in_force"]), (&"DOUBLE".into(), &"BOOLEAN".into()));
    assert_eq!(duckdb["joined"], duckdb["tables"]["value"]["rows"]);

    // What is in force are the numbers that `measure` gave.
    let transmitter = &measured["transmitters"][0];
    let numbers = duckdb["numbers"].as_array().unwrap();
    for quantity in ["carrier_hz", "period_s", "on_time_s", "off_time_s", "field_a_per_m"] {
        let of = |row: &&serde_json::Value| row[0] == "creek" && row[1] == quantity;
        let row = numbers.iter().find(of).unwrap_or_else(|| panic!("{quantity}: {read}"));
        assert_eq!(row[2], 1);
        assert_eq!(number(&row[3]), number(&transmitter[quantity]["value"]), "{quantity}");
        assert_eq!(number(&row[4]), number(&transmitter[quantity]["u"]), "{quantity}");
        let mean = &pandas["means"][format!("creek {quantity}")];
        assert_eq!(number(mean), number(&row[3]), "{quantity}");
    }
    assert!(numbers.iter().all(|row| row[0] == "creek"), "{read}");
}
