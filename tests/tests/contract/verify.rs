//! What `verify` takes, decides and prints.

use std::path::Path;

use coilrig_tests::capture::{Scene, Transmitter};
use coilrig_tests::json::{number, numbers};
use coilrig_tests::program::{Run, coilrig};
use serde_json::{Value, json};
use tempfile::tempdir;

const DISTANCE_M: f64 = 3.0;

/// A unit 3 m away on the axis of its antenna with this field at 10 m, 1 nA/m a
/// count: H ∝ 1/r³ but for the induction term, (kr)²/2 of 0.46 % at 10 m.
fn unit(field_at_10_m: f64) -> Scene {
    let field = field_at_10_m / 1.0046 * (10.0 / DISTANCE_M).powi(3) * 1.0004;
    let mut scene = Scene { noise_counts_rthz: 5.0, ..Scene::plain(30.0) }
        .with("coilrig:field_per_count", json!([5e-9, 5e-9, 5e-9]));
    scene.transmitters[0].counts = [2.0, -1.0, 2.0].map(|c| c / 3.0 * field / 5e-9).to_vec();
    scene
}

/// The same with a change to its transmitter.
fn changed(mut scene: Scene, change: impl Fn(&mut Transmitter)) -> Scene {
    scene.transmitters.iter_mut().for_each(change);
    scene
}

const AT_3_M: [&str; 4] = ["--distance", "3", "--alignment", "coaxial"];

fn verify(folder: &Path, arguments: &[&str]) -> Run {
    coilrig(folder, &[&["verify"], arguments].concat())
}

/// `verify --json` of a scene at 3 m with further options.
fn judged(scene: &Scene, options: &[&str]) -> (i32, Value) {
    let folder = tempdir().unwrap();
    scene.write(folder.path(), "a");
    let run = verify(folder.path(), &[&["a", "--json"], &AT_3_M[..], options].concat());
    (run.code, run.document())
}

#[track_caller]
fn quantity<'a>(document: &'a Value, name: &str) -> &'a Value {
    let all = document["quantities"].as_array().unwrap();
    all.iter().find(|q| q["quantity"] == name).unwrap_or_else(|| panic!("{name}: {document:#}"))
}

#[test]
fn a_good_unit_conforms_and_says_why() {
    let (code, document) = judged(&unit(1e-6), &[]);
    assert_eq!(code, 0);
    assert_eq!(document["format"], "coilrig-verification/1");
    assert_eq!(document["decision"], "conforms");
    assert_eq!(document["limits"]["name"], "en-300-718-1");
    assert_eq!(document["rule"]["risk"], 0.025);
    assert!(document.get("newer").is_none());
    // EN 300 718-1 (from memory).
    for (name, lower, upper) in [
        ("carrier", json!(456_920.0), json!(457_080.0)),
        ("on-time", json!(0.070), Value::Null),
        ("off-time", json!(0.400), Value::Null),
        ("period", json!(0.7), json!(1.3)),
        ("field", json!(0.5e-6), json!(2.238_721_138_568_34e-6)),
    ] {
        let found = quantity(&document, name);
        assert_eq!(found["decision"], "conforms", "{found}");
        assert!(number(&found["probability_of_conformity"]) > 0.975);
        for (side, limit) in [("lower", lower), ("upper", upper)] {
            match limit.as_f64() {
                Some(limit) => {
                    assert!((number(&found["limit"][side]) / limit - 1.0).abs() < 1e-9, "{found}");
                }
                None => assert!(found["limit"].get(side).is_none(), "{found}"),
            }
        }
        assert!(found["limit"]["source"].as_str().unwrap().contains("EN 300 718-1"));
        assert_eq!(found["limit"]["from_memory"], true);
        let (u, k) = (number(&found["u"]), number(&found["k"]));
        assert!((number(&found["expanded_u"]) - k * u).abs() < 1e-9 * u, "{found}");
        assert!((1.95..2.1).contains(&k), "{found}");
    }
    let field = quantity(&document, "field");
    assert_eq!(field["distance_m"], 10.0);
    // Off by the tilt that is allowed for, ¾ (5°)² of it.
    assert!((number(&field["value"]) / 1e-6 - 1.0).abs() < 0.012, "{field}");
    let cautions = document["cautions"].as_array().unwrap();
    assert!(cautions.iter().any(|c| c.as_str().unwrap().contains("no certification")));
}

#[test]
fn a_unit_that_breaks_a_limit_does_not_conform_and_the_exit_code_says_so() {
    let off = |change: &dyn Fn(&mut Transmitter)| changed(unit(1e-6), change);
    for (scene, name) in [
        (off(&|t| t.carrier_hz = 457_095.0), "carrier"),
        (off(&|t| t.on_s = 0.066), "on-time"),
        (off(&|t| t.period_s = 0.44), "off-time"),
        (off(&|t| t.period_s = 1.34), "period"),
        (unit(0.4e-6), "field"),
        (unit(2.7e-6), "field"),
    ] {
        let (code, document) = judged(&scene, &[]);
        assert_eq!(code, 1, "{name}: {document:#}");
        assert_eq!(document["decision"], "does not conform");
        let found = quantity(&document, name);
        assert_eq!(found["decision"], "does not conform", "{found}");
        assert!(number(&found["probability_of_conformity"]) < 0.025);
    }
}

#[test]
fn close_to_a_limit_it_is_undecided_and_says_what_to_do() {
    let folder = tempdir().unwrap();
    unit(0.515e-6).write(folder.path(), "a");
    let run = verify(folder.path(), &[&["a"], &AT_3_M[..]].concat());
    run.with_code(0);
    for part in ["undecided", "to do: ", "as one that does not conform", "no certification"] {
        assert!(run.stdout.contains(part), "{part}: {run:?}");
    }
    let run = verify(folder.path(), &[&["a", "--json", "--budget"], &AT_3_M[..]].concat());
    let document = run.json();
    let field = quantity(&document, "field");
    assert_eq!(field["decision"], "undecided");
    let p = number(&field["probability_of_conformity"]);
    assert!((0.025..0.975).contains(&p));
    let advice = field["advice"].as_str().unwrap();
    assert!(advice.contains("open") || advice.contains("distance"), "{advice}");
    let budget = field["budget"].as_array().unwrap();
    let shares: f64 = budget.iter().map(|c| number(&c["share"])).sum();
    assert!((shares - 1.0).abs() < 1e-9, "{field:#}");
    for contribution in ["distance", "surroundings", "orientation", "noise and repeatability"] {
        assert!(budget.iter().any(|c| c["name"] == contribution), "{field:#}");
    }
    // A greater risk decides more.
    let bold = [&["a", "--json", "--risk", "25"], &AT_3_M[..]].concat();
    assert_eq!(
        quantity(&verify(folder.path(), &bold).json(), "field")["decision"],
        json!("conforms")
    );
}

#[test]
fn what_is_not_calibrated_or_placed_is_not_judged() {
    let folder = tempdir().unwrap();
    unit(1e-6)
        .without("coilrig:field_per_count")
        .without("coilrig:field_per_count_u_rel")
        .write(folder.path(), "no-scale");
    unit(1e-6).without("coilrig:clock_offset_u_ppm").write(folder.path(), "no-clock");
    unit(1e-6).write(folder.path(), "good");
    let document = |arguments: &[&str]| verify(folder.path(), arguments).json();
    let at = |name| [&[name, "--json"], &AT_3_M[..]].concat();
    for (document, name, why) in [
        (document(&at("no-scale")), "field", "field_per_count"),
        (document(&at("no-clock")), "carrier", "clock"),
        (document(&["good", "--json"]), "field", "distance"),
    ] {
        assert_eq!(document["decision"], "undecided", "{document:#}");
        let found = quantity(&document, name);
        assert!(found["not_judged"].as_str().unwrap().contains(why), "{found}");
        assert!(found.get("value").is_none() && found.get("decision").is_none(), "{found}");
    }
    // One of several captures that cannot be judged is not passed over.
    let both = document(&[&["good", "no-clock", "--json"], &AT_3_M[..]].concat());
    assert!(quantity(&both, "carrier")["not_judged"].as_str().unwrap().contains("clock"));
    let loud = changed(unit(1e-6), |t| t.counts = vec![33_000.0, 20_000.0, 20_000.0]);
    loud.write(folder.path(), "loud");
    let why = document(&at("loud"));
    let why = quantity(&why, "field")["not_judged"].as_str().unwrap().to_owned();
    assert!(why.contains("full scale"), "{why}");
    let weak = changed(Scene { duration_s: 60.0, ..unit(1e-6) }, |t| {
        t.counts.iter_mut().for_each(|c| *c *= 0.0075);
    });
    weak.write(folder.path(), "weak");
    let why = document(&at("weak"));
    assert_eq!(why["decision"], "undecided");
    let why = quantity(&why, "period")["not_judged"].as_str().unwrap().to_owned();
    assert!(why.contains("too weak"), "{why}");
    // What the others break they break all the same.
    changed(unit(1e-6), |t| t.on_s = 0.05).write(folder.path(), "short");
    verify(folder.path(), &["short"]).with_code(1);
}

#[test]
fn an_old_unit_is_judged_by_its_time_with_the_newer_limits_beside() {
    // 90 Hz off, 300 ms between pulses: EN 282 (second-hand listing) allows both.
    let old = changed(unit(1e-6), |t| {
        t.carrier_hz = 457_090.0;
        t.period_s = 0.58;
        t.on_s = 0.2;
    });
    let (code, document) = judged(&old, &["--built", "1994"]);
    assert_eq!(code, 0, "{document:#}");
    assert_eq!(document["limits"]["name"], "en-282");
    assert_eq!(document["decision"], "conforms");
    assert_eq!(quantity(&document, "field")["distance_m"], 1.0);
    assert_eq!(document["newer"]["limits"]["name"], "en-300-718-1");
    assert_eq!(document["newer"]["decision"], "does not conform");
    assert_eq!(quantity(&document["newer"], "carrier")["decision"], "does not conform");
    assert_eq!(quantity(&document["newer"], "off-time")["decision"], "does not conform");
    let (code, by_band) = judged(&old, &["--limits", "erc-70-03"]);
    assert_eq!(code, 0, "456.9 to 457.1 kHz: {by_band:#}");
    let (_, by_ets) = judged(&old, &["--built", "1999"]);
    assert_eq!(by_ets["limits"]["name"], "ets-300-718");
    // Of that one only the carrier is held: it cannot let a unit pass.
    assert_eq!(quantity(&by_ets, "carrier")["decision"], "conforms");
    assert_eq!(by_ets["decision"], "undecided");
}

#[test]
fn limits_of_ones_own_and_what_is_wrong_with_them() {
    let folder = tempdir().unwrap();
    unit(1e-6).write(folder.path(), "a");
    let file = "format = \"coilrig-limits/1\"\nname = \"club\"\ntitle = \"Club\"\n\n[[bound]]\n\
                quantity = \"on-time\"\nunit = \"ms\"\nlower = 95\nsource = \"ours\"\n";
    let with = |text: &str| {
        std::fs::write(folder.path().join("club.toml"), text).unwrap();
        verify(folder.path(), &["a", "--json", "--limits", "club.toml"])
    };
    let run = with(file);
    run.with_code(1);
    assert_eq!(run.document()["limits"]["name"], "club");
    for (from, to, parts) in [
        ("lower = 95", "lower = 95\nupper = 90", ["line 9", "crossed"]),
        ("lower = 95\n", "", ["line 6", "neither"]),
        ("\"ms\"", "\"Hz\"", ["line 7", "s, ms"]),
        ("\"ms\"", "\"s\"", ["line 8", "check number and unit"]),
        ("on-time", "ontime", ["line 6", "on-time"]),
        ("source", "sauce", ["line 9", "sauce"]),
    ] {
        with(&file.replace(from, to)).refused(3, &["club.toml", parts[0], parts[1]]);
    }
    with("format = \"coilrig-limits/1\"\nname = \"x\"\ntitle = \"x\"\n").refused(3, &["[[bound]]"]);
    verify(folder.path(), &["a", "--limits", "en-999"]).refused(2, &["en-999", "en-300-718-1"]);
    verify(folder.path(), &["a", "--limits", "none.toml"]).refused(3, &["none.toml"]);
    verify(folder.path(), &["a", "--built", "1980"]).refused(2, &["1980", "en-282"]);
}

#[test]
fn several_transmitters_are_told_apart_or_asked_about() {
    let folder = tempdir().unwrap();
    let both = |share: f64| {
        let mut scene = unit(1e-6);
        let mut other = scene.transmitters[0].clone();
        other.carrier_hz = 456_950.0;
        other.period_s = 0.913;
        other.first_s = 0.1;
        other.counts.rotate_left(1);
        other.counts.iter_mut().for_each(|c| *c *= share);
        scene.transmitters.push(other);
        scene
    };
    both(0.5).write(folder.path(), "near");
    both(0.03).write(folder.path(), "far");
    let at = |more: &[&'static str]| [&more[..1], &["--json"], &AT_3_M[..], &more[1..]].concat();
    verify(folder.path(), &at(&["near"])).refused(3, &["near", "T1, T2", "--transmitter"]);
    let second = verify(folder.path(), &at(&["near", "--transmitter", "T2"])).document();
    assert!((number(&quantity(&second, "carrier")["value"]) - 456_950.0).abs() < 0.2);
    verify(folder.path(), &at(&["near", "--transmitter", "T3"])).refused(3, &["T3", "T1, T2"]);
    let first = verify(folder.path(), &at(&["far"])).json();
    assert!((number(&quantity(&first, "carrier")["value"]) - 457_012.3).abs() < 0.2);
    let notes = first["notes"].to_string();
    assert!(notes.contains("other transmitters"), "{notes}");
}

/// Three directions square to each other: the antenna may lie anywhere.
#[test]
fn the_field_in_three_directions_needs_no_known_antenna() {
    let folder = tempdir().unwrap();
    let moment = [1.0, 2.0, -2.0].map(|c| c / 3.0);
    let at_10_m = 1e-6;
    for (place, towards) in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].iter().enumerate() {
        // Near field: 3 n (n·m) − m, half of it on the axis of a unit moment.
        let along: f64 = moment.iter().zip(towards).map(|(m, n)| m * n).sum();
        let coaxial = at_10_m / 1.0046 * (10.0 / DISTANCE_M).powi(3);
        let counts = (0..3).map(|i| coaxial * (3.0 * towards[i] * along - moment[i]) / 2.0 / 5e-9);
        let counts: Vec<f64> = counts.collect();
        changed(unit(at_10_m), |t| t.counts.clone_from(&counts))
            .write(folder.path(), &format!("d{place}"));
    }
    let options = ["--json", "--distance", "3", "--alignment", "unknown"];
    let document = verify(folder.path(), &[&["d0", "d1", "d2"], &options[..]].concat()).json();
    let field = quantity(&document, "field");
    assert!((number(&field["value"]) / at_10_m - 1.0).abs() < 0.005, "{field}");
    assert_eq!(document["captures"].as_array().unwrap().len(), 3);
    verify(folder.path(), &[&["d0", "d1"], &options[..]].concat()).refused(2, &["three captures"]);
}

/// A resonator that falls by 2 Hz a degree: 457 012 Hz at 20 °C, out of the band
/// at −26 °C.
#[test]
fn a_carrier_that_leaves_the_band_in_the_cold_is_warned_of() {
    let folder = tempdir().unwrap();
    let mut arguments: Vec<String> = Vec::new();
    for temperature_c in [20.0, 5.0, -10.0] {
        let name = format!("at{temperature_c}");
        changed(unit(1e-6), |t| t.carrier_hz = 457_012.0 + 2.0 * (temperature_c - 20.0))
            .with("coilrig:temperature_c", json!(temperature_c))
            .write(folder.path(), &name);
        arguments.push(name);
    }
    let mut arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    arguments.extend(["--json"].iter().chain(&AT_3_M));
    let document = verify(folder.path(), &arguments).json();
    let over = &document["over_temperature"];
    assert!((number(&over["drift_hz_per_c"]["value"]) - 2.0).abs() < 0.01, "{over}");
    assert!((number(&over["leaves_band_below_c"]["value"]) + 26.0).abs() < 0.3, "{over}");
    assert_eq!(over["from_c"], -10.0);
    // A unit must work from −20 °C to 45 °C (EN 300 718-1, from memory); 457 080 Hz are
    // reached at 54 °C.
    let table = verify(folder.path(), &[&["at20", "at5", "at-10"], &AT_3_M[..]].concat()).stdout;
    assert!(table.contains("°C, and above ") && !table.contains("must still work"), "{table}");
    // The worst capture decides: the coldest is closest to the limit.
    assert!(quantity(&document, "carrier")["capture"].as_str().unwrap().contains("at-10"));
}

#[test]
fn a_batch_is_one_document_worst_first_and_keeps_what_could_be_judged() {
    let folder = tempdir().unwrap();
    let named = |scene: Scene, name: &str| scene.with("coilrig:unit", json!(name));
    named(unit(1e-6), "good").write(folder.path(), "a");
    named(unit(0.4e-6), "weak").write(folder.path(), "b");
    named(unit(0.515e-6), "close").write(folder.path(), "c");
    named(changed(unit(1e-6), |t| t.carrier_hz = 457_020.0), "good").write(folder.path(), "d");
    let all = ["a", "b", "c", "d"];
    let options = [&["--batch", "--json"], &AT_3_M[..]].concat();
    let run = verify(folder.path(), &[&all[..], &options].concat());
    run.with_code(1);
    let document = run.document();
    let units = document.as_array().unwrap();
    let of = |key: &str| units.iter().map(|u| u[key].as_str().unwrap()).collect::<Vec<_>>();
    assert_eq!(of("unit"), ["weak", "close", "good"]);
    assert_eq!(of("decision"), ["does not conform", "undecided", "conforms"]);
    assert_eq!(units[2]["captures"].as_array().unwrap().len(), 2);
    std::fs::write(folder.path().join("e.sigmf-meta"), "{").unwrap();
    let run = verify(folder.path(), &[&["a", "e"], &options[..]].concat());
    run.with_code(3);
    assert_eq!(run.document().as_array().unwrap().len(), 1);
    assert!(run.stderr.contains("e.sigmf-meta"), "{run:?}");
    let table = verify(folder.path(), &[&all[..], &["--batch"], &AT_3_M[..]].concat());
    table.with_code(1);
    let place = |name: &str| table.stdout.find(&format!("\n{name} ")).unwrap();
    assert!(place("weak") < place("close") && place("close") < place("good"), "{table:?}");
}

/// A unit that is silent is the worst of a rack, and one that is silent in one of its
/// captures does not conform by the others.
#[test]
fn what_cannot_be_judged_stands_first_in_a_batch() {
    let folder = tempdir().unwrap();
    let write = |name: &str, unit_name: &str, transmitters: Vec<Transmitter>| {
        Scene { transmitters, ..unit(1e-6) }
            .with("coilrig:unit", json!(unit_name))
            .write(folder.path(), name);
    };
    let sends = unit(1e-6).transmitters;
    write("a", "warm", sends.clone());
    write("b", "half dead", sends);
    write("c", "half dead", Vec::new());
    write("d", "dead", Vec::new());
    let options = [&["--batch", "--sheet", "rack.html"], &AT_3_M[..]].concat();
    let run = verify(folder.path(), &[&["a", "b", "c", "d"], &options[..]].concat());
    run.with_code(3);
    let rows: Vec<&str> = run.stdout.lines().skip(3).take(4).collect();
    for (row, parts) in rows.iter().zip([
        ["half dead", "not judged", "no transmitter"],
        ["dead", "not judged", "no transmitter"],
        ["half dead", "undecided", "a capture not judged"],
        ["warm", "conforms", "457012"],
    ]) {
        assert!(parts.iter().all(|part| row.contains(part)), "{row}: {run:?}");
    }
    let page = std::fs::read_to_string(folder.path().join("rack.html")).unwrap();
    assert_eq!(page.matches(">not judged<").count(), 2);
    assert!(run.stderr.contains("c.sigmf-meta") && run.stderr.contains("d.sigmf-meta"), "{run:?}");
}

/// What a calibration says of itself stands beside the decision, and counts in it.
#[test]
fn an_expired_or_doubtful_calibration_shows_in_the_decision() {
    let folder = tempdir().unwrap();
    let made = json!({
        "date": "2001-01-15",
        "expires": "2002-01-15",
        "field_degrees_of_freedom": [2.0, 2.0, null],
        "clock_degrees_of_freedom": 3.0,
    });
    unit(1e-6)
        .with("coilrig:calibration", made)
        .with("coilrig:clock_offset_u_ppm", json!(1.0))
        .with("coilrig:field_per_count_u_rel", json!([0.05, 0.05, 0.05]))
        .write(folder.path(), "a");
    let exact = ["--u-distance", "0", "--u-orientation", "0", "--u-surroundings", "0"];
    let run = verify(folder.path(), &[&["a", "--json"], &AT_3_M[..], &exact].concat());
    let document = run.document();
    assert!(document["notes"].to_string().contains("expired on 2002-01-15"), "{document:#}");
    // Student's t for 95 %: 4.30 with 2, 3.18 with 3 degrees of freedom (JCGM 100, table G.2).
    for (name, k) in [("field", 4.30), ("carrier", 3.18)] {
        let found = quantity(&document, name);
        assert!((number(&found["k"]) - k).abs() < 0.01, "{found}");
    }
    let sheet = ["--sheet", "a.html"];
    let run = verify(folder.path(), &[&["a"], &AT_3_M[..], &sheet].concat());
    assert!(run.stdout.contains("expired on 2002-01-15"), "{run:?}");
    let page = std::fs::read_to_string(folder.path().join("a.html")).unwrap();
    assert!(page.contains("expired on 2002-01-15"));
    assert!(page.contains("calibration of 2001-01-15 until 2002-01-15"));
}

/// A capture recorded without a calibration is judged with one given later, and not by
/// that of another receiver.
#[test]
fn a_calibration_given_later_counts() {
    let folder = tempdir().unwrap();
    let mut bare = unit(1e-6).with("coilrig:receiver", json!("CR-7"));
    bare.global.retain(|name, _| !name.contains("field_per_count") && !name.contains("clock"));
    bare.with("coilrig:gain_step", json!(0)).write(folder.path(), "a");
    let file = "format = \"coilrig-calibration/1\"\nreceiver = \"CR-7\"\ndate = \"2026-01-10\"\n\
                method = \"by hand\"\nclock_offset_ppm = 0.0\nclock_offset_u_ppm = 0.1\n\
                [[gain_step]]\nstep = 0\nfield_per_count = [5e-9, 5e-9, 5e-9]\n\
                u_rel = [0.01, 0.01, 0.01]\n";
    std::fs::write(folder.path().join("c.toml"), file).unwrap();
    std::fs::write(folder.path().join("d.toml"), file.replace("CR-7", "CR-8")).unwrap();
    let without = verify(folder.path(), &[&["a"], &AT_3_M[..]].concat());
    assert!(without.stdout.contains("give --calibration"), "{without:?}");
    let given = |file| [&["a", "--json"], &AT_3_M[..], &["--calibration", file]].concat();
    let document = verify(folder.path(), &given("c.toml")).json();
    assert_eq!(document["decision"], "conforms", "{document:#}");
    verify(folder.path(), &given("d.toml")).refused(3, &["d.toml", "CR-8"]);
}

#[test]
fn csv_has_a_row_for_each_quantity() {
    let folder = tempdir().unwrap();
    unit(1e-6).write(folder.path(), "a");
    let run = verify(folder.path(), &[&["a", "--csv"], &AT_3_M[..]].concat());
    run.with_code(0);
    let lines: Vec<&str> = run.stdout.lines().collect();
    assert!(lines[0].starts_with("unit,unit_decision,limits,quantity,si_unit,value,u,"));
    assert_eq!(lines.len(), 7, "{run:?}");
    let columns = lines[0].split(',').count();
    assert!(lines[1].contains("carrier") && lines[1].contains("conforms"));
    assert!(lines[1].split(',').count() >= columns);
}

/// The page stands alone: no script, nothing from elsewhere.
#[test]
fn the_sheet_is_one_page_with_everything_in_it() {
    let folder = tempdir().unwrap();
    unit(1e-6).with("coilrig:unit", json!("rental <7>")).write(folder.path(), "a");
    let identity = ["--serial", "40213", "--owner", "Club & Co", "--operator", "warden"];
    let sheet = ["--sheet", "a.html"];
    verify(folder.path(), &[&["a"], &AT_3_M[..], &identity, &sheet].concat()).with_code(0);
    let page = std::fs::read_to_string(folder.path().join("a.html")).unwrap();
    for part in [
        "rental &lt;7&gt;",
        "40213",
        "Club &amp; Co",
        "warden",
        "conforms",
        "EN 300 718-1",
        "457 kHz ± 80 Hz",
        "from memory",
        "Mean pulse",
        "Carrier over time",
        "no certification",
        "signature",
        "probability",
        "coverage factor",
        "fail tomorrow",
        "size: A4",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert_eq!(page.matches("<svg").count(), 2);
    for foreign in ["<script", "http-equiv", "src=", "@import", "<link"] {
        assert!(!page.contains(foreign), "{foreign}");
    }
    let gone = [&["a"], &AT_3_M[..], &["--sheet", "none/a.html"]].concat();
    verify(folder.path(), &gone).refused(3, &["none/a.html"]);
}

#[test]
fn flaws_that_no_limit_forbids_are_told() {
    let folder = tempdir().unwrap();
    changed(unit(1e-6), |_| ()).write(folder.path(), "a");
    Scene { duration_s: 8.0, ..unit(1e-6) }.write(folder.path(), "short");
    let notes = |name| {
        verify(folder.path(), &[&[name, "--json"], &AT_3_M[..]].concat()).json()["notes"]
            .to_string()
    };
    assert!(!notes("a").contains("short"), "{}", notes("a"));
    assert!(notes("short").contains("the capture is short"), "{}", notes("short"));
}

#[test]
fn nonsense_is_refused() {
    let folder = tempdir().unwrap();
    unit(1e-6).write(folder.path(), "a");
    for arguments in [
        &["a", "--distance", "3"][..],
        &["a", "--alignment", "coaxial"],
        &["a", "--distance", "0.1", "--alignment", "coaxial"],
        &["a", "--distance", "nan", "--alignment", "coaxial"],
        &["a", "--distance", "3", "--alignment", "coaxial", "--u-distance", "2"],
        &["a", "--risk", "50"],
        &["a", "--risk", "nan"],
        &["a", "--built", "1994", "--limits", "en-282"],
        &["a", "--json", "--csv"],
        &["a", "--batch", "--serial", "7"],
        &[],
    ] {
        let run = verify(folder.path(), arguments);
        run.with_code(2);
        assert!(run.stdout.is_empty() && !run.stderr.is_empty(), "{run:?}");
    }
    verify(folder.path(), &["none"]).refused(3, &["none.sigmf-meta"]);
    let silent = Scene { transmitters: Vec::new(), ..unit(1e-6) };
    silent.write(folder.path(), "silent");
    verify(folder.path(), &["silent"]).refused(3, &["silent", "no transmitter"]);
    let document = verify(folder.path(), &["a", "--json"]).json();
    assert!(numbers(&json!([document["rule"]["risk"]]))[0] > 0.0);
}

#[test]
fn a_measurement_takes_its_uncertainties_apart() {
    let folder = tempdir().unwrap();
    unit(1e-6).write(folder.path(), "a");
    let run = coilrig(folder.path(), &["measure", "a", "--budget"]);
    run.with_code(0);
    for part in ["budget of the carrier of T1 (Hz)", "receiver's clock", "calibration, axis z"] {
        assert!(run.stdout.contains(part), "{part}: {run:?}");
    }
    assert_eq!(run.stdout.matches("together ").count(), 6, "{run:?}");
    coilrig(folder.path(), &["measure", "a", "--budget", "--json"]).with_code(2);
}

/// A carrier that wanders by 12 Hz over the capture has no single value: what is
/// judged is the unit.
#[test]
fn a_drifting_carrier_close_to_the_limit_is_undecided() {
    let folder = tempdir().unwrap();
    // From 457 070 Hz up by 0.4 Hz a second, to 457 082 Hz at the end; on average
    // 4 Hz within the limit.
    let drifting = |t: &mut Transmitter| (t.carrier_hz, t.drift_hz_per_s) = (457_070.0, 0.4);
    changed(unit(1e-6), drifting).write(folder.path(), "a");
    let run = verify(folder.path(), &[&["a", "--json", "--budget"], &AT_3_M[..]].concat());
    let carrier = quantity(&run.json(), "carrier").clone();
    assert!((number(&carrier["value"]) - 457_076.0).abs() < 0.5, "{carrier}");
    assert_eq!(carrier["decision"], "undecided", "{carrier}");
    assert!(carrier["advice"].as_str().unwrap().contains("temperature"), "{carrier}");
    assert!(run.stdout.contains("the carrier drifts"), "{run:?}");
    assert!(run.stdout.contains("drifts out of its band within the capture"), "{run:?}");
    // At 457 003.3 Hz in the end, and 77 Hz more at 0.11 Hz a second: 11.6 minutes.
    let slowly = |t: &mut Transmitter| (t.carrier_hz, t.drift_hz_per_s) = (457_000.0, 0.11);
    let (_, document) = judged(&changed(unit(1e-6), slowly), &[]);
    let notes = document["notes"].to_string();
    assert!(notes.contains("leaves its band 12 min after"), "{notes}");
    // 149 Hz more at 0.04 Hz a second take longer than an hour.
    let hardly = |t: &mut Transmitter| (t.carrier_hz, t.drift_hz_per_s) = (456_930.0, 0.04);
    let (_, document) = judged(&changed(unit(1e-6), hardly), &[]);
    assert!(!document["notes"].to_string().contains("leaves its band"), "{document:#}");
}
