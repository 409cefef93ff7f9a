//! Cost of history and report over 100 000 measurements, beside plainly reading their
//! numbers: `cargo bench -p coilrig --bench history`.

#[path = "../tests/history/invented.rs"]
mod invented;

use std::sync::LazyLock;

use coilrig::following::{self, DAY_S, Question, YEAR_S};
use coilrig::output::{history, report::Report};
use coilrig::records::{Records, Wanted};
use coilrig_analysis::limits::published;
use tempfile::TempDir;

/// Six units, two measurements at each of their visits, five of these a day.
const PARK: invented::Park = invented::Park { visits: 8334, every_days: 0.2 };

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a temporary folder");
    invented::make(&folder.path().join("records.sqlite"), &PARK);
    folder
});

fn main() {
    LazyLock::force(&FOLDER);
    divan::main();
}

fn records() -> Records {
    Records::open_to_read(&FOLDER.path().join("records.sqlite")).expect("records")
}

fn question<'a>() -> Question<'a> {
    Question {
        unit: None,
        station: None,
        as_of: "2028-08-01T00:00:00Z".parse().expect("a time"),
        limits: published::named(published::CURRENT).expect("a set"),
        horizon_s: 10.0 * YEAR_S,
        verify_every_s: 365.0 * DAY_S,
        battery_every_s: 180.0 * DAY_S,
    }
}

#[divan::bench(sample_count = 5)]
fn reference_reading_all_numbers() -> f64 {
    let mut sum = 0.0;
    let wanted = Wanted::default();
    records().each_value(&wanted, |point| sum += point.reading.value).expect("numbers");
    sum
}

#[divan::bench(sample_count = 5)]
fn history_of_100_000_measurements() -> usize {
    let (records, question) = (records(), question());
    let histories = following::load(&records, &question).expect("histories");
    history::text::text(&histories, &question, "records.sqlite").len()
}

#[divan::bench(sample_count = 5)]
fn report_of_100_000_measurements() -> usize {
    let (records, question) = (records(), question());
    let histories = following::load(&records, &question).expect("histories");
    let report = Report {
        of: "All units".into(),
        time: None,
        from: None,
        since: Some("2026-01-01T00:00:00Z".parse().expect("a time")),
        question: &question,
        histories: &histories,
        layout: None,
        records: "records.sqlite",
    };
    report.html().expect("a page").len()
}
