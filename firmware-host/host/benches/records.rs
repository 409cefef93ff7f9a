//! Reading the history of a large park: 100 000 measurements of 12 units, 700 000
//! numbers, through the records and, for reference, straight from SQLite without
//! looking what is in force and in which order.
//!
//! `cargo bench -p coilrig --bench records`

use coilrig::records::{Measurement, MeasurementKind, Records, Stamp, Unit, Wanted};
use coilrig_analysis::reading::Reading;
use divan::{Bencher, black_box};
use jiff::{SignedDuration, Timestamp};
use std::path::PathBuf;
use std::sync::LazyLock;
use tempfile::TempDir;

const MEASUREMENTS: i64 = 100_000;
const UNITS: usize = 12;
const QUANTITIES: [&str; 7] = [
    "carrier_hz",
    "carrier_drift_hz_per_s",
    "period_s",
    "on_time_s",
    "off_time_s",
    "field_a_per_m",
    "residual_carrier_ratio",
];

static PARK: LazyLock<(TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("records.sqlite");
    let mut records = Records::create(&path).expect("new records");
    let mut entering = records.enter("bench", |_| {}).expect("can be entered into");
    let first: Timestamp = "2020-01-01T00:00:00Z".parse().expect("a time");
    let units: Vec<_> = (0..UNITS)
        .map(|unit| {
            let what = Unit { name: format!("unit {unit}"), serial: None, model: None };
            entering.add(&Stamp::at(first), &what).expect("a unit")
        })
        .collect();
    // As long as the document of a measurement is.
    let document_json = format!("[{}0]", "1.234567890123456,".repeat(80));
    for number in 0..MEASUREMENTS {
        let what = Measurement {
            unit: units[number as usize % UNITS],
            station: None,
            capture: None,
            calibration: None,
            kind: MeasurementKind::Signal,
            value_count: 0,
            document_json: document_json.clone(),
        };
        let values = QUANTITIES.map(|name| (name.to_owned(), Reading::new(number as f64, 0.1)));
        let at = first + SignedDuration::from_mins(30 * number);
        entering.add_measurement(&Stamp::at(at), &what, &values).expect("a measurement");
    }
    entering.commit().expect("all of it");
    (folder, path)
});

fn main() {
    divan::main();
}

fn series(bencher: Bencher, wanted: &Wanted<'_>) {
    let records = Records::open_to_read(&PARK.1).expect("records");
    bencher.bench_local(|| {
        let mut sum = 0.0;
        records.each_value(wanted, |point| sum += point.reading.value).expect("series");
        black_box(sum)
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn all_numbers_of_all_units(bencher: Bencher) {
    series(bencher, &Wanted::default());
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn one_quantity_of_all_units(bencher: Bencher) {
    series(bencher, &Wanted { quantities: &["carrier_hz"], ..Wanted::default() });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn all_numbers_of_one_unit(bencher: Bencher) {
    let records = Records::open_to_read(&PARK.1).expect("records");
    let unit = records.units().expect("units")[0].unit;
    series(bencher, &Wanted { unit: Some(unit), ..Wanted::default() });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn reference_all_numbers_as_they_lie(bencher: Bencher) {
    let connection = rusqlite::Connection::open(&PARK.1).expect("SQLite");
    bencher.bench_local(|| {
        let mut query =
            connection.prepare("SELECT quantity, value, u FROM value").expect("a query");
        let mut rows = query.query([]).expect("rows");
        let mut sum = 0.0;
        while let Some(row) = rows.next().expect("a row") {
            let value: f64 = row.get(1).expect("a number");
            sum += value;
        }
        black_box(sum)
    });
}
