//! Damaged files: every page broken in turn.

use std::collections::BTreeMap;

use super::*;

const PAGE: usize = 4096;

/// A year of a small park, several pages of each kind.
fn year(park: &Park, records: &mut Records) -> BTreeMap<i64, String> {
    let mut entering = records.enter("warden", quiet).unwrap();
    let units: Vec<EntryId> =
        ["creek", "hut", "stump"].map(|name| entering.add(&spring(), &named(name)).unwrap()).into();
    for i in 0..240 {
        let unit = units[i % 3];
        let event = Event { unit, kind: EventKind::Battery, detail: Some(format!("set {i}")) };
        entering.add(&spring(), &event).unwrap();
        let values = ["carrier_hz", "period_s", "on_time_s", "off_time_s"]
            .map(|name| (name.to_owned(), Reading::new(i as f64, 0.1)));
        let document = format!("[{}{i}]", "0,".repeat(150));
        let what = Measurement { document_json: document, ..signal(unit) };
        entering.add_measurement(&spring(), &what, &values).unwrap();
    }
    entering.commit().unwrap();
    records.connection.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
    let whole = Records::open_to_read(&park.path()).unwrap();
    told(&whole)
}

/// All entries with all that they say.
fn told(records: &Records) -> BTreeMap<i64, String> {
    let all = listing::Listed { all: true, ..Default::default() };
    records
        .listing(&all)
        .unwrap()
        .into_iter()
        .map(|line| {
            let columns = records.columns_of(line.kind, line.id).unwrap();
            let values = records.values_of(line.id).unwrap();
            (line.id.0, format!("{line:?} {columns:?} {values:?}"))
        })
        .collect()
}

#[test]
fn whatever_page_breaks_the_others_are_saved() {
    let (park, mut records) = Park::new();
    let entered = year(&park, &mut records);
    drop(records);
    let whole = std::fs::read(park.path()).unwrap();
    let pages = whole.len() / PAGE;
    assert!(pages > 60, "{pages} pages are too few for this test");
    let damaged = park.folder.path().join("damaged.sqlite");
    let mut fewest = entered.len();
    for page in 0..pages {
        // As a disk leaves a block that it never wrote, or wrote something else to.
        let filling = if page % 2 == 0 { 0x00 } else { 0xa5 };
        let mut bytes = whole.clone();
        bytes[page * PAGE..(page + 1) * PAGE].fill(filling);
        std::fs::write(&damaged, &bytes).unwrap();
        let out = park.folder.path().join(format!("saved-{page}.sqlite"));
        let saved =
            salvage::salvage(&damaged, &out).unwrap_or_else(|e| panic!("page {}: {e}", page + 1));
        assert!(std::fs::read(&damaged).unwrap() == bytes, "the damaged file stays");
        let records = Records::open_to_read(&out).unwrap();
        let found = records.check().unwrap();
        assert!(found.damage.is_empty() && found.in_part.is_empty(), "{found:?}");
        let told = told(&records);
        let remarked = |id: i64| {
            let begins = format!("entry {id}");
            saved.remarks.iter().any(|r| r.starts_with(&begins))
                || saved.lost.iter().any(|(from, to)| (from.0..=to.0).contains(&id))
                || saved.remarks.iter().any(|r| r.contains("is called is lost"))
        };
        for (id, says) in &told {
            let same = entered.get(id).is_some_and(|entered| entered == says);
            assert!(same || remarked(*id), "page {}: entry {id}: {says}", page + 1);
        }
        // Of what is lost at the very end nothing may tell any more.
        let last = *told.keys().last().unwrap();
        for id in entered.keys().filter(|&&id| id <= last) {
            assert!(told.contains_key(id) || remarked(*id), "page {}: {id}", page + 1);
        }
        let accounted = saved.count() as i64 + saved.count_lost();
        assert!((last..=entered.len() as i64).contains(&accounted), "page {}", page + 1);
        fewest = fewest.min(saved.count());
    }
    // A page that leads to others costs what is below it, and no more.
    assert!(fewest > entered.len() / 4, "only {fewest} of {} were saved", entered.len());
}

#[test]
fn a_file_cut_short_gives_what_is_left() {
    let (park, mut records) = Park::new();
    let entered = year(&park, &mut records);
    drop(records);
    let whole = std::fs::read(park.path()).unwrap();
    let damaged = park.folder.path().join("damaged.sqlite");
    std::fs::write(&damaged, &whole[..whole.len() * 3 / 4]).unwrap();
    for opened in [Records::open(&damaged), Records::open_to_read(&damaged)] {
        let refused = opened.unwrap_err().to_string();
        assert!(refused.contains("damaged") && refused.contains("salvage"), "{refused}");
    }
    let out = park.folder.path().join("saved.sqlite");
    let saved = salvage::salvage(&damaged, &out).unwrap();
    assert!(saved.count() > entered.len() / 3, "{} of {}", saved.count(), entered.len());
    assert!(saved.count_lost() > 0);
}

/// One uncertainty below zero, as a flipped bit leaves it, costs that number only.
#[test]
fn a_number_that_makes_no_sense_costs_no_other() {
    let (park, mut records) = Park::new();
    let entered = year(&park, &mut records);
    drop(records);
    let damaged = rusqlite::Connection::open(park.path()).unwrap();
    damaged
        .execute_batch(
            "PRAGMA ignore_check_constraints = ON; DROP TRIGGER value_changed; \
             UPDATE value SET u = -u \
             WHERE measurement = (SELECT min(measurement) FROM value) AND quantity = 'carrier_hz';",
        )
        .unwrap();
    drop(damaged);
    let out = park.folder.path().join("saved.sqlite");
    let saved = salvage::salvage(&park.path(), &out).unwrap();
    assert_eq!(saved.count(), entered.len(), "{:?}", saved.remarks);
    let told = saved.remarks.iter().filter(|r| r.contains("make no sense any more")).count();
    assert_eq!(told, 1, "{:?}", saved.remarks);
}

#[test]
fn what_is_no_file_of_records_saves_nothing() {
    let (park, records) = Park::new();
    drop(records);
    let damaged = park.folder.path().join("noise");
    let noise: Vec<u8> =
        (0..200_000_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    std::fs::write(&damaged, noise).unwrap();
    let out = park.folder.path().join("saved.sqlite");
    let refused = salvage::salvage(&damaged, &out).unwrap_err().to_string();
    assert!(refused.contains("nothing can be read"), "{refused}");
    assert!(!out.exists());
}
