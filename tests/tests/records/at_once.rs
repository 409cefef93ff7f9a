//! Several programs that enter at once.

use std::thread;

use crate::park::Park;

#[test]
fn all_that_programs_enter_at_once_is_there_once() {
    const PROGRAMS: usize = 4;
    const EACH: usize = 12;
    let park = Park::new();
    park.run(&["records", "unit", "creek", "--by", "warden"]).with_code(0);
    thread::scope(|scope| {
        for program in 0..PROGRAMS {
            let park = &park;
            scope.spawn(move || {
                for number in 0..EACH {
                    let detail = format!("{program}-{number}");
                    let by = format!("warden {program}");
                    let event =
                        ["records", "event", "creek", "battery", "--detail", &detail, "--by", &by];
                    park.run(&event).with_code(0);
                }
            });
        }
        // Meanwhile somebody looks things up.
        for _ in 0..EACH {
            park.run(&["records", "list", "--json"]).with_code(0);
        }
    });
    let entries = park.entries();
    let numbers: Vec<i64> = entries.iter().map(|entry| entry["id"].as_i64().unwrap()).collect();
    let expected: Vec<i64> = (1..=(1 + PROGRAMS * EACH) as i64).collect();
    assert_eq!(numbers, expected, "numbers without gaps, in the order of entering");
    let mut details = park.says("event");
    details.sort();
    let mut all: Vec<String> = (0..PROGRAMS)
        .flat_map(|program| (0..EACH).map(move |number| format!("battery: {program}-{number}")))
        .collect();
    all.sort();
    assert_eq!(details, all);
    for program in 0..PROGRAMS {
        let by = format!("warden {program}");
        let own: Vec<&str> = entries
            .iter()
            .filter(|entry| entry["entered_by"] == by.as_str())
            .filter_map(|entry| entry["says"].as_str())
            .collect();
        let in_order: Vec<String> =
            (0..EACH).map(|number| format!("battery: {program}-{number}")).collect();
        assert_eq!(own, in_order, "each program's own in its order");
    }
    park.check_whole_of_units(&["creek"]);
}

#[test]
fn records_begun_by_several_programs_at_once_are_one() {
    let folder = tempfile::tempdir().unwrap();
    let table = coilrig_tests::repository_file("captures/range-demo.csv");
    let table = table.to_str().unwrap();
    let all = thread::scope(|scope| {
        let enter = |unit: &'static str| {
            let range =
                ["range", table, "--unit", unit, "--records", "park.sqlite", "--by", "warden"];
            let folder = folder.path();
            scope.spawn(move || coilrig_tests::program::coilrig(folder, &range))
        };
        ["creek", "hut", "stump"].map(enter).map(|thread| thread.join().unwrap())
    });
    for run in &all {
        run.with_code(0);
    }
    let list = ["records", "list", "--kind", "measurement", "--json", "--records", "park.sqlite"];
    let list = coilrig_tests::program::coilrig(folder.path(), &list).json();
    let mut units: Vec<&str> =
        list["entries"].as_array().unwrap().iter().filter_map(|e| e["unit"].as_str()).collect();
    units.sort_unstable();
    assert_eq!(units, ["creek", "hut", "stump"]);
}
