//! The file as a whole: what is entered is read, and what must not be is refused.

mod damage;
mod places;
mod versions;

use std::path::PathBuf;

use coilrig_analysis::reading::Reading;
use jiff::Timestamp;
use tempfile::TempDir;

use super::entries::What;
use super::*;
use crate::error::Error;

struct Park {
    folder: TempDir,
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn named(name: &str) -> Unit {
    Unit { name: name.into(), serial: None, model: None }
}

fn signal(unit: EntryId) -> Measurement {
    Measurement {
        unit,
        station: None,
        capture: None,
        calibration: None,
        kind: MeasurementKind::Signal,
        value_count: 0,
        document_json: "{}".into(),
    }
}

fn quiet(warning: &str) {
    panic!("{warning}");
}

impl Park {
    fn new() -> (Self, Records) {
        let park = Self { folder: tempfile::tempdir().unwrap() };
        let records = Records::create(&park.path()).unwrap();
        (park, records)
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("records.sqlite")
    }
}

fn add<T: What>(records: &mut Records, stamp: &Stamp, what: &T) -> Result<EntryId, Error> {
    let mut entering = records.enter("warden", quiet)?;
    let id = entering.add(stamp, what)?;
    entering.commit()?;
    Ok(id)
}

const SPRING: &str = "2026-04-01T08:00:00Z";

fn spring() -> Stamp {
    Stamp::at(at(SPRING))
}

fn correcting(id: EntryId) -> Stamp {
    Stamp { corrects: Some(id), ..spring() }
}

#[test]
fn what_is_entered_is_read() {
    let (park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    let event =
        Event { unit: creek, kind: EventKind::Battery, detail: Some("two new ones".into()) };
    let stamp = Stamp { note: Some("cold day".into()), ..spring() };
    let entered = add(&mut records, &stamp, &event).unwrap();
    drop(records);
    let records = Records::open_to_read(&park.path()).unwrap();
    let [read] = &records.events(Some(creek)).unwrap()[..] else { panic!("one event") };
    assert_eq!((read.id, &read.what, read.at), (entered, &event, at(SPRING)));
    assert_eq!((read.entered_by.as_str(), read.note.as_deref()), ("warden", Some("cold day")));
    assert_eq!(records.events(Some(entered)).unwrap(), []);
    assert_eq!(records.kind_of(entered).unwrap(), Some(Kind::Event));
    assert_eq!(records.kind_of(EntryId(99)).unwrap(), None);
}

#[test]
fn a_correction_takes_the_place_and_the_old_entry_stays() {
    let (_park, mut records) = Park::new();
    let first = add(&mut records, &spring(), &named("crek")).unwrap();
    let second = add(&mut records, &correcting(first), &named("creek")).unwrap();
    let third = add(&mut records, &correcting(second), &named("creek bed")).unwrap();
    let [unit] = &records.units().unwrap()[..] else { panic!("one unit") };
    assert_eq!(
        (unit.unit, unit.entry.id, unit.entry.what.name.as_str()),
        (first, third, "creek bed")
    );
    let old = records.entry::<Unit>(first).unwrap().unwrap();
    assert_eq!(old.what, named("crek"));
    let twice = add(&mut records, &correcting(first), &named("brook")).unwrap_err();
    assert!(twice.to_string().contains("corrects"), "{twice}");
    // Neither it nor what it took the place of would be left.
    let mut entering = records.enter("warden", quiet).unwrap();
    let refused = entering.withdraw(third, "was never there").unwrap_err();
    assert!(refused.to_string().contains("correct it back"), "{refused}");
    assert!(entering.withdraw(EntryId(50), "what is not there").is_err());
}

#[test]
fn what_is_withdrawn_is_gone_and_a_unit_only_with_nothing_of_it() {
    let (_park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    let event = Event { unit: creek, kind: EventKind::Battery, detail: None };
    let event = add(&mut records, &spring(), &event).unwrap();
    let mut entering = records.enter("warden", quiet).unwrap();
    let refused = entering.withdraw(creek, "was never there").unwrap_err();
    assert!(refused.to_string().contains("entries in force are of: 1"), "{refused}");
    entering.withdraw(event, "another unit").unwrap();
    entering.withdraw(creek, "was never there").unwrap();
    assert!(entering.withdraw(creek, "again").is_err());
    entering.commit().unwrap();
    assert_eq!(records.units().unwrap(), []);
}

/// A capture's temperature that was wrong: measurements name the first entry, and get
/// what stands in force.
#[test]
fn a_corrected_temperature_counts_for_what_names_the_old_entry() {
    let (_park, mut records) = Park::new();
    let capture = |temperature_c| Capture {
        path: "a.sigmf-meta".into(),
        sha256: "0".repeat(64),
        sha256_meta: "0".repeat(64),
        recorded_at: None,
        duration_s: 60.0,
        receiver_serial: None,
        temperature_c,
    };
    let first = add(&mut records, &spring(), &capture(Some(200.0))).unwrap();
    let second = add(&mut records, &correcting(first), &capture(Some(20.0))).unwrap();
    add(&mut records, &correcting(second), &capture(Some(0.0))).unwrap();
    assert_eq!(records.temperatures_c().unwrap().get(&first), Some(&0.0));
}

#[test]
fn nothing_is_changed_or_deleted_even_by_other_programs() {
    let (_park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    let mut entering = records.enter("warden", quiet).unwrap();
    let value = [("period_s".to_owned(), Reading::new(1.0, 1e-5))];
    let measured = entering.add_measurement(&spring(), &signal(creek), &value).unwrap();
    entering.commit().unwrap();
    let now = "'2026-04-01T08:00:00.000Z'";
    for (sql, said) in [
        ("UPDATE unit SET name = 'brook'".to_owned(), "never changed"),
        ("DELETE FROM unit".into(), "never deleted"),
        ("UPDATE value SET u = 0".into(), "never changed"),
        ("DELETE FROM value".into(), "never deleted"),
        (
            format!(
                "INSERT OR REPLACE INTO unit VALUES (1, {now}, {now}, 'x', NULL, NULL, 'brook', NULL, NULL)"
            ),
            "numbered",
        ),
        (
            format!(
                "INSERT INTO unit VALUES (9, {now}, {now}, 'x', NULL, NULL, 'creek', NULL, NULL)"
            ),
            "of this name",
        ),
        (format!("INSERT INTO value VALUES ({measured}, 'on_time_s', 0.1, 0)"), "all its values"),
        (
            format!(
                "INSERT INTO event VALUES (9, {now}, {now}, 'x', NULL, NULL, 77, 'battery', NULL)"
            ),
            "FOREIGN KEY",
        ),
        (
            format!(
                "INSERT INTO event VALUES (9, 'today', {now}, 'x', NULL, NULL, 1, 'battery', NULL)"
            ),
            "CHECK",
        ),
    ] {
        let refused = records.connection.execute(&sql, []).unwrap_err().to_string();
        assert!(refused.contains(said), "{sql}: {refused}");
    }
}

#[test]
fn entries_are_made_all_together_or_not_at_all() {
    let (_park, mut records) = Park::new();
    let creek = add(&mut records, &spring(), &named("creek")).unwrap();
    let mut entering = records.enter("warden", quiet).unwrap();
    entering.add(&spring(), &named("hut")).unwrap();
    drop(entering);
    let mut entering = records.enter("warden", quiet).unwrap();
    let bad = [("period_s".to_owned(), Reading::new(f64::NAN, 1e-5))];
    assert!(entering.add_measurement(&spring(), &signal(creek), &bad).is_err());
    drop(entering);
    assert_eq!(records.units().unwrap().len(), 1);
    assert_eq!(records.in_force::<Measurement>().unwrap(), []);
}

#[test]
fn series_come_in_order_of_time_without_what_is_not_in_force() {
    let (_park, mut records) = Park::new();
    let mut entering = records.enter("warden", quiet).unwrap();
    let units = ["creek", "hut"].map(|name| entering.add(&spring(), &named(name)).unwrap());
    let days = ["2026-05-03T00:00:00Z", "2026-05-01T00:00:00Z", "2026-05-02T00:00:00Z"];
    let mut all = Vec::new();
    for (i, (day, unit)) in days.iter().flat_map(|day| units.map(|unit| (day, unit))).enumerate() {
        let values = [("carrier_hz", 457e3 + i as f64), ("period_s", 1.0)]
            .map(|(name, value)| (name.to_owned(), Reading::new(value, 0.1)));
        all.push(entering.add_measurement(&Stamp::at(at(day)), &signal(unit), &values).unwrap());
    }
    // The second of creek was of another day, the third of the hut a mistake.
    let moved = Stamp { corrects: Some(all[2]), ..Stamp::at(at("2026-05-04T00:00:00Z")) };
    let values = [("carrier_hz".to_owned(), Reading::new(457_002.0, 0.1))];
    entering.add_measurement(&moved, &signal(units[0]), &values).unwrap();
    entering.withdraw(all[5], "the hut was off").unwrap();
    entering.commit().unwrap();

    let series = |wanted: &Wanted<'_>| {
        let mut seen = Vec::new();
        records
            .each_value(wanted, |p| {
                seen.push((p.unit, p.at.to_string(), p.quantity.to_owned(), p.reading.value));
            })
            .unwrap();
        seen
    };
    let carriers = Wanted { quantities: &["carrier_hz"], ..Wanted::default() };
    let day = |n| format!("2026-05-0{n}T00:00:00Z");
    let expected = [
        (units[0], day(2), 457_004.0),
        (units[0], day(3), 457_000.0),
        (units[0], day(4), 457_002.0),
        (units[1], day(1), 457_003.0),
        (units[1], day(3), 457_001.0),
    ]
    .map(|(unit, day, value)| (unit, day, "carrier_hz".to_owned(), value));
    assert_eq!(series(&carriers), expected);
    let one = Wanted {
        unit: Some(units[0]),
        from: Some(at(&day(3))),
        to: Some(at(&day(3))),
        ..Wanted::default()
    };
    assert_eq!(series(&one).len(), 2, "carrier and period of one day");
}

#[test]
fn a_clock_that_jumped_back_is_told_and_changes_no_order() {
    let (_park, mut records) = Park::new();
    let enter = |records: &mut Records, now: &str, name: &str| {
        let mut said = Vec::new();
        let mut entering =
            records.enter_at("warden", Some(at(now)), |w| said.push(w.to_owned())).unwrap();
        entering.add(&Stamp::at(at(now)), &named(name)).unwrap();
        entering.commit().unwrap();
        said
    };
    assert!(enter(&mut records, "2026-06-01T12:00:00Z", "creek").is_empty());
    assert!(enter(&mut records, "2026-06-01T11:59:10Z", "post").is_empty(), "another computer");
    assert_eq!(enter(&mut records, "2025-06-01T12:00:00Z", "hut").len(), 1);
    let said = enter(&mut records, "2025-06-01T12:00:00Z", "fence");
    for part in ["2025-06-01T12:00:00.000Z", "entry 1", "2026-06-01T12:00:00.000Z"] {
        assert!(said[0].contains(part), "{said:?}");
    }
    let names: Vec<String> =
        records.in_force::<Unit>().unwrap().into_iter().map(|e| e.what.name).collect();
    assert_eq!(names, ["creek", "post", "hut", "fence"], "in order of entering");
    let told = records.check().unwrap();
    let back: Vec<i64> = told.clock_back.iter().map(|(id, _)| id.0).collect();
    assert_eq!((back, told.damage.len()), (vec![3, 4], 0));
    assert_eq!(told.clock_back[0].1, 365.0 * 86_400.0);
}

#[test]
fn a_correction_is_the_entry_with_what_was_wrong_changed() {
    let (_park, mut records) = Park::new();
    let mut entering = records.enter("warden", quiet).unwrap();
    let units = ["creek", "hut"].map(|name| entering.add(&spring(), &named(name)).unwrap());
    let values = [("period_s".to_owned(), Reading::new(1.0, 1e-5))];
    let wrong = entering.add_measurement(&spring(), &signal(units[0]), &values).unwrap();
    entering.commit().unwrap();
    let correct = |records: &mut Records, id, column: &str, value: &str| {
        let mut entering = records.enter("warden", quiet)?;
        let id = entering.correct(id, &[(column.into(), value.into())], Some("mixed up"))?;
        entering.commit().map(|()| id)
    };
    let right = correct(&mut records, wrong, "unit", "hut").unwrap();
    let [read] = &records.in_force::<Measurement>().unwrap()[..] else { panic!("one in force") };
    assert_eq!((read.id, read.corrects, read.what.unit), (right, Some(wrong), units[1]));
    assert_eq!((read.at, read.note.as_deref()), (at(SPRING), Some("mixed up")));
    assert_eq!(records.values_of(right).unwrap(), values);
    assert_eq!(records.entry::<Measurement>(wrong).unwrap().unwrap().what.unit, units[0]);
    for (id, column, value, said) in [
        (wrong, "unit", "creek", "corrected already, by entry 4"),
        (right, "unit", "brook", "no unit \"brook\""),
        (right, "value_count", "7", "cannot be corrected"),
        (right, "at", "soon", "at=soon"),
        (units[0], "name", "hut", "of this name already"),
        (units[0], "name", "", "NOT NULL"),
        (EntryId(70), "name", "x", "is not there"),
    ] {
        let refused = correct(&mut records, id, column, value).unwrap_err().to_string();
        assert!(refused.contains(said), "{column}={value}: {refused}");
    }
    assert_eq!(
        records.listing(&listing::Listed { all: true, ..Default::default() }).unwrap().len(),
        4
    );
}

#[test]
fn a_unit_is_known_by_name_and_serial_number() {
    let (_park, mut records) = Park::new();
    let mut entering = records.enter("warden", quiet).unwrap();
    let mut said = Vec::new();
    let creek = entering.unit("creek", None, |w| said.push(w.to_owned())).unwrap();
    assert_eq!(entering.unit("creek", None, quiet).unwrap(), creek);
    assert_eq!(entering.unit("creek", Some("17"), |w| said.push(w.to_owned())).unwrap(), creek);
    assert_eq!(entering.unit("creek", Some("17"), quiet).unwrap(), creek);
    assert_eq!(said.len(), 2, "{said:?}");
    for (name, serial, what) in [
        ("creek", Some("18"), "has the serial number 17"),
        ("stump", Some("17"), "is that of unit \"creek\""),
        ("Creek", None, "but one \"creek\""),
    ] {
        let refused = entering.unit(name, serial, quiet).unwrap_err().to_string();
        assert!(refused.contains(what), "{refused}");
    }
    entering.commit().unwrap();
    let [unit] = &records.units().unwrap()[..] else { panic!("one unit") };
    assert_eq!((unit.unit, unit.entry.what.serial.as_deref()), (creek, Some("17")));
}

#[test]
fn another_program_that_keeps_the_records_is_waited_for_and_then_told() {
    let (park, mut records) = Park::new();
    let mut other = Records::open(&park.path()).unwrap();
    let held = other.enter("other", quiet).unwrap();
    records.connection.busy_timeout(std::time::Duration::from_millis(20)).unwrap();
    let refused = records.enter("warden", quiet).unwrap_err().to_string();
    assert!(refused.contains("another program"), "{refused}");
    drop(held);
    records.enter("warden", quiet).unwrap();
}
