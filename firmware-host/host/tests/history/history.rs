//! What `history` says.

use serde_json::Value;

use super::{TODAY, coilrig, done, park, refused};

fn document(folder: &std::path::Path, more: &[&str]) -> Value {
    let arguments = [&["history", "--json", "--as-of", TODAY], more].concat();
    serde_json::from_str(&done(&coilrig(folder, &arguments))).unwrap()
}

fn unit<'a>(document: &'a Value, name: &str) -> &'a Value {
    document["units"].as_array().unwrap().iter().find(|u| u["name"] == name).unwrap()
}

fn quantity<'a>(unit: &'a Value, name: &str) -> &'a Value {
    unit["quantities"].as_array().unwrap().iter().find(|q| q["quantity"] == name).unwrap()
}

fn close(reading: &Value, truth: f64) -> bool {
    let (value, u) = (reading["value"].as_f64().unwrap(), reading["u"].as_f64().unwrap());
    u > 0.0 && (value - truth).abs() < 3.5 * u
}

#[test]
fn what_worsened_comes_first_and_is_what_was_invented() {
    let park = park();
    let all = document(park.path(), &[]);
    assert_eq!(all["format"], "coilrig-history/1");
    let names: Vec<&str> =
        all["units"].as_array().unwrap().iter().map(|u| u["name"].as_str().unwrap()).collect();
    assert_eq!(names[..3], ["ditch", "fence", "spring"]);

    let field = quantity(unit(&all, "ditch"), "field_at_10_m_a_per_m");
    assert_eq!(field["standing"], "outside");
    assert!(close(&field["trend"]["rate_per_year"], -0.085 * 0.6e-6), "{field}");
    assert_eq!(field["limits"][0]["leaves"], "left");

    let carrier = quantity(unit(&all, "fence"), "carrier_hz");
    assert_eq!(carrier["standing"], "drifts-out");
    assert!(close(&carrier["trend"]["rate_per_year"], 22.0), "{carrier}");
    assert!(close(&carrier["trend"]["per_degree_c"], 0.6), "{carrier}");
    // 457 009 Hz less 0.6 Hz for each of some 4.5 °C of frost, 457 080 Hz at 22 Hz a year.
    let upper = &carrier["limits"][1];
    let days = ["earliest", "expected", "latest"].map(|day| upper[day].as_str().unwrap());
    assert!(days[0] < "2027-02-28" && days[2] > "2027-02-28", "{upper}");
    assert!(days[0] > "2027-01-15" && days[2] < "2027-04-15", "{upper}");

    let carrier = quantity(unit(&all, "spring"), "carrier_hz");
    let steps = carrier["trend"]["steps"].as_array().unwrap();
    assert_eq!((carrier["standing"].as_str(), steps.len()), (Some("stepped"), 1), "{carrier}");
    assert!(close(&steps[0]["size"], -31.0) && steps[0]["event"].is_null(), "{carrier}");

    let post = unit(&all, "post");
    assert_eq!(post["standing"], "steady");
    assert_eq!(post["due"]["battery"]["now"], true);
    assert_eq!(post["due"]["verification"]["now"], false);
    assert_eq!(all["calibrations"][0]["receiver_serial"], "CR-0001");
    assert_eq!(all["calibrations"][0]["ends"]["now"], true);
    // The field where the receiver stood says nothing over years.
    assert!(
        post["quantities"].as_array().unwrap().iter().all(|q| q["quantity"] != "field_a_per_m")
    );
}

#[test]
fn people_read_what_to_do() {
    let park = park();
    let said = done(&coilrig(park.path(), &["history", "--as-of", TODAY]));
    for part in [
        "records.sqlite: 6 units as of 2026-04-20",
        "field at 10 m is below its limit of 0.5 µA/m",
        "may be above its limit of 457080 Hz from 2027-",
        "nothing on record explains it",
        "due since",
        "by chance",
    ] {
        assert!(said.contains(part), "no \"{part}\" in {said}");
    }
}

#[test]
fn a_day_back_in_time_knows_nothing_of_what_came_later() {
    let park = park();
    let arguments = ["history", "--json", "--as-of", "2025-01-15"];
    let early: Value = serde_json::from_str(&done(&coilrig(park.path(), &arguments))).unwrap();
    let spring = quantity(unit(&early, "spring"), "carrier_hz");
    assert_eq!(spring["trend"]["steps"].as_array().unwrap().len(), 0, "{spring}");
    assert!(spring["trend"]["visits"].as_u64().unwrap() < 16);
    assert_eq!(unit(&early, "spring")["due"]["verification"]["now"], true);
}

#[test]
fn units_are_chosen_by_name_and_by_station() {
    let park = park();
    let one = document(park.path(), &["--unit", "hut"]);
    assert_eq!(one["units"].as_array().unwrap().len(), 1);
    let station = document(park.path(), &["--station", "Larch meadow"]);
    assert_eq!(station["units"].as_array().unwrap().len(), 6);
    let no = |more: &[&str]| coilrig(park.path(), &[&["history"], more].concat());
    refused(&no(&["--unit", "hat"]), 3, &["hat", "\"hut\"", "to do"]);
    refused(&no(&["--station", "Meadow"]), 3, &["no station \"Meadow\"", "Larch meadow"]);
    refused(&no(&["--records", "none.sqlite"]), 3, &["none.sqlite"]);
    refused(&no(&["--limits", "en-1"]), 2, &["en-300-718-1"]);
    refused(&no(&["--horizon", "0"]), 2, &["--horizon 0"]);
    refused(&no(&["--as-of", "yesterday"]), 2, &["2026-04-01"]);
}

#[test]
fn charts_come_with_their_visits() {
    let park = park();
    let arguments = ["history", "--csv", "--unit", "spring", "--as-of", TODAY, "--out", "charts"];
    let table = done(&coilrig(park.path(), &arguments));
    assert_eq!(table.lines().count(), 8, "{table}");
    let row = table.lines().find(|line| line.contains("carrier_hz")).unwrap();
    let header: Vec<&str> = table.lines().next().unwrap().split(',').collect();
    let cell =
        |name: &str| row.split(',').nth(header.iter().position(|h| *h == name).unwrap()).unwrap();
    assert_eq!((cell("standing"), cell("steps_not_explained")), ("stepped", "1"));
    let visits = std::fs::read_to_string(park.path().join("charts/spring-carrier.csv")).unwrap();
    assert_eq!(visits.lines().count(), 31);
    let svg = std::fs::read_to_string(park.path().join("charts/spring-carrier.svg")).unwrap();
    assert!(svg.contains("step not explained") && svg.contains("2025-01"));
    assert!(park.path().join("charts/spring-field-at-10-m.png").exists());
}
