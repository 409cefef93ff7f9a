//! `coilrig calibrate` from captures made apart from the program.

use std::f64::consts::PI;
use std::path::Path;

use coilrig_tests::capture::{Datatype, Scene, Transmitter};
use coilrig_tests::json::{number, numbers, reading};
use coilrig_tests::program::{Run, coilrig};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::{Value, json};
use tempfile::{TempDir, tempdir};

/// What each count of the invented receiver really is, A/m.
const TRUE_FIELD_PER_COUNT: [f64; 3] = [1.1e-9, 0.9e-9, 1.04e-9];

/// 10 turns of 0.15 m with 0.1 mA at 1 m: N I a² / (2 (a² + x²)^(3/2)).
const LOOP: &str = "--turns 10 --radius 0.15 --u-radius 0.0005 --current 1e-4 --u-current 5e-7 \
                    --distance 1 --u-distance 0.002 --u-angle 1";

fn loop_field() -> f64 {
    10.0 * 1e-4 * 0.0225 / (2.0 * (0.0225f64 + 1.0).powf(1.5))
}

/// A carrier that is always on, or keyed as a unit's, with these counts.
fn carrier(counts: [f64; 3], keyed: bool) -> Transmitter {
    let (period_s, on_s, first_s) = if keyed { (1.0, 0.2, 0.3) } else { (1e6, 1e5, -10.0) };
    let counts = counts.to_vec();
    Transmitter {
        carrier_hz: 457_010.0,
        period_s,
        on_s,
        first_s,
        edge_s: 0.002,
        counts,
        drift_hz_per_s: 0.0,
    }
}

/// A capture of the invented receiver, which states what it is and no scale.
fn capture(transmitters: Vec<Transmitter>, duration_s: f64, seed: u64) -> Scene {
    let mut scene =
        Scene { datatype: Datatype::Ci16, transmitters, seed, ..Scene::plain(duration_s) };
    scene.global.retain(|name, _| !name.starts_with("coilrig:"));
    scene.with("coilrig:receiver", json!("CR-7")).with("coilrig:gain_step", json!(0))
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Five repeats with the coil in the loop's field, each placed to 0.3 %.
fn repeats(folder: &Path, axis: usize, keyed: bool) -> Vec<String> {
    let mut rng = ChaCha8Rng::seed_from_u64(axis as u64);
    let names: Vec<String> = (0..5).map(|n| format!("{}{n}", ["x", "y", "z"][axis])).collect();
    for name in &names {
        let mut counts = [0.0; 3];
        let placed = 1.0 + 0.003 * normal(&mut rng);
        counts[axis] = loop_field() / TRUE_FIELD_PER_COUNT[axis] * placed;
        counts[(axis + 1) % 3] = 0.02 * counts[axis];
        let seconds = if keyed { 20.0 } else { 5.0 };
        capture(vec![carrier(counts, keyed)], seconds, 3).write(folder, name);
    }
    names
}

/// Directions of three coils that are askew by up to 5°.
fn coils() -> [[f64; 3]; 3] {
    let (s, c) = 5f64.to_radians().sin_cos();
    [[1.0, 0.0, 0.0], [s, c, 0.0], [0.0, -s, c]]
}

/// Turns of the receiver in a field of 200 nA/m, 46 dB over a turn's noise, spread
/// over the sphere by the golden angle; `keep` flattens the directions.
fn turns(folder: &Path, count: usize, keep: impl Fn([f64; 3]) -> [f64; 3]) -> Vec<String> {
    let names = (0..count).map(|n| format!("t{n:02}"));
    names
        .enumerate()
        .map(|(k, name)| {
            let z = 1.0 - (2 * k + 1) as f64 / count as f64;
            let turn = PI * (3.0 - 5f64.sqrt()) * k as f64;
            let rho = (1.0 - z * z).sqrt();
            let field = keep([rho * turn.cos(), rho * turn.sin(), z]).map(|h| 2e-7 * h);
            let counts = std::array::from_fn(|i| {
                let along: f64 = coils()[i].iter().zip(field).map(|(e, h)| e * h).sum();
                along / TRUE_FIELD_PER_COUNT[i]
            });
            capture(vec![carrier(counts, false)], 4.0, k as u64).write(folder, &name);
            name
        })
        .collect()
}

fn calibrate(folder: &TempDir, part: &str, options: &str, captures: &[String]) -> Run {
    let mut arguments: Vec<&str> = vec!["calibrate", part, "--out", "c.toml"];
    arguments.extend(options.split_whitespace());
    if !captures.is_empty() {
        arguments.push("--capture");
        arguments.extend(captures.iter().map(String::as_str));
    }
    coilrig(folder.path(), &arguments)
}

fn file(folder: &TempDir) -> String {
    std::fs::read_to_string(folder.path().join("c.toml")).unwrap()
}

/// Three and a half standard uncertainties: once in two thousand by chance.
#[track_caller]
fn check(found: f64, u: f64, truth: f64) {
    assert!((found - truth).abs() < 3.5 * u, "{found} ± {u}, truth {truth}");
    assert!(u < 0.02 * truth, "an uncertainty of {u} beside {truth}");
}

#[test]
fn a_loop_recovers_hidden_factors_within_the_stated_uncertainty() {
    for keyed in [false, true] {
        let folder = tempdir().unwrap();
        for axis in 0..3 {
            let captures = repeats(folder.path(), axis, keyed);
            let options = format!("{LOOP} --axis {} --json", ["x", "y", "z"][axis]);
            let document = calibrate(&folder, "loop", &options, &captures).json();
            assert_eq!(document["format"], "coilrig-calibrate/1");
            let result = &document["result"];
            let value = number(&result["field_per_count"]);
            let u = value * number(&result["u_rel"]);
            check(value, u, TRUE_FIELD_PER_COUNT[axis]);
            // By hand: 0.5 % current, 0.64 % radius, 0.59 % distance, and the rest.
            assert!((0.0095..0.0125).contains(&(u / value)), "{}", u / value);
            let shares: f64 =
                result["budget"].as_array().unwrap().iter().map(|l| number(&l["share"])).sum();
            assert!((shares - 1.0).abs() < 1e-9);
        }
        let text = file(&folder);
        for part in ["receiver = \"CR-7\"", "[[gain_step]]", "axis = \"z\"", "expires ="] {
            assert!(text.contains(part), "no {part} in {text}");
        }
    }
}

#[test]
fn a_pair_has_the_handbook_field() {
    let folder = tempdir().unwrap();
    // 1 turn of 0.3 m with 5 µA: H = (4/5)^(3/2) N I / R.
    let field = 0.8f64.powf(1.5) * 1.0 * 5e-6 / 0.3;
    let captures: Vec<String> = (0..3)
        .map(|n| {
            let counts = [0.0, 0.0, field / 1.04e-9 * (1.0 + 0.001 * n as f64)];
            capture(vec![carrier(counts, false)], 5.0, n).write(folder.path(), &format!("p{n}"));
            format!("p{n}")
        })
        .collect();
    let options = "--axis z --turns 1 --radius 0.3 --u-radius 0.001 --current 5e-6 \
                   --u-current 2.5e-8 --u-angle 1 --json";
    let result = calibrate(&folder, "pair", options, &captures).json()["result"].clone();
    assert!((number(&result["field_a_per_m"]) / field - 1.0).abs() < 1e-9);
    let value = number(&result["field_per_count"]);
    check(value, value * number(&result["u_rel"]), 1.04e-9);
}

/// One coil in the loop, the others by turning: what is then measured has the true
/// magnitude, whichever way the field points.
#[test]
fn turns_carry_one_coil_over_to_the_others_and_straighten_the_axes() {
    let folder = tempdir().unwrap();
    let captures = repeats(folder.path(), 0, false);
    calibrate(&folder, "loop", &format!("{LOOP} --axis x"), &captures).with_code(0);
    assert!(file(&folder).contains("[[reference]]") && !file(&folder).contains("[[gain_step]]"));
    let captures = turns(folder.path(), 30, |h| h);
    let document = calibrate(&folder, "rotation", "--json", &captures).json();
    let result = &document["result"]["result"];
    for (angle, due) in result["angles_deg"].as_array().unwrap().iter().zip([85.0, 90.0, 94.979]) {
        let (found, u) = reading(angle);
        assert!((found - due).abs() < 3.5 * u.max(0.02) && u < 0.2, "{found} ± {u}, {due}");
    }
    let step = &document["gain_steps"][0];
    for (found, due) in numbers(&step["field_per_count"]).iter().zip(TRUE_FIELD_PER_COUNT) {
        check(*found, 0.012 * due, due);
    }
    // A unit of 1 µA/m along (2, −1, 2)/3 and one along (1, 2, 0)/√5.
    for (name, direction) in [("a", [2.0, -1.0, 2.0]), ("b", [1.0, 2.0, 0.0])] {
        let length = direction.iter().map(|d| d * d).sum::<f64>().sqrt();
        let counts = std::array::from_fn(|i| {
            let along: f64 = coils()[i].iter().zip(direction).map(|(e, d)| e * d / length).sum();
            1e-6 * along / TRUE_FIELD_PER_COUNT[i]
        });
        capture(vec![carrier(counts, true)], 20.0, 9).write(folder.path(), name);
        let run = coilrig(folder.path(), &["measure", "--json", "--calibration", "c.toml", name]);
        let (field, u) = reading(&run.json()["transmitters"][0]["field_a_per_m"]);
        assert!((field / 1e-6 - 1.0).abs() < 3.0 * u / field, "{field} ± {u}");
        // All coils share the uncertainty of the first, which does not average out.
        assert!((0.01..0.013).contains(&(u / field)), "{field} ± {u}");
    }
}

#[test]
fn the_clock_is_compared_with_a_known_carrier() {
    let folder = tempdir().unwrap();
    for (n, name) in ["a", "b"].into_iter().enumerate() {
        let counts = [600.0, 50.0, 20.0];
        let scene = capture(vec![carrier(counts, false)], 10.0, n as u64);
        Scene { clock_ppm: 12.5, ..scene }.write(folder.path(), name);
    }
    let captures = ["a".to_owned(), "b".to_owned()];
    let options = "--frequency 457010 --u-frequency 0.01 --json";
    let document = calibrate(&folder, "clock", options, &captures).json();
    let (offset, u) = reading(&document["clock_offset_ppm"]);
    // 0.01 Hz of 457 kHz are 0.022 ppm.
    assert!((0.021..0.03).contains(&u), "{u}");
    assert!((offset - 12.5).abs() < 3.0 * u, "{offset} ± {u}");
    let refused = calibrate(&folder, "clock", "--frequency 457200 --u-frequency 1", &captures);
    refused.refused(3, &["a, b", "another carrier", "--frequency"]);
}

#[test]
fn silence_gives_the_noise_and_the_smallest_field() {
    let folder = tempdir().unwrap();
    for axis in 0..3 {
        let captures = repeats(folder.path(), axis, false);
        let options = format!("{LOOP} --axis {}", ["x", "y", "z"][axis]);
        calibrate(&folder, "loop", &options, &captures).with_code(0);
    }
    capture(Vec::new(), 30.0, 5).write(folder.path(), "silence");
    let document = calibrate(&folder, "noise", "--json", &["silence".into()]).json();
    for (found, u_rel) in numbers(&document["result"]["counts_rthz"])
        .iter()
        .zip(numbers(&document["result"]["u_rel"]))
    {
        assert!((found - 1.0).abs() < 3.5 * u_rel.max(0.005), "{found} ± {u_rel}");
    }
    let step = &document["gain_steps"][0];
    let noise = numbers(&step["noise_a_per_m_rthz"]);
    assert!((noise[0] / 1.1e-9 - 1.0).abs() < 0.04, "{noise:?}");
    // Some 23 times the density of the loudest coil over a second of √Hz.
    let smallest =
        number(&step["smallest_field_a_per_m"]) / noise.iter().copied().fold(0.0, f64::max);
    assert!((20.0..26.0).contains(&smallest), "{smallest}");
    let captures = repeats(folder.path(), 0, true);
    calibrate(&folder, "noise", "", &captures[..1]).refused(3, &["x0", "switch off"]);
}

#[test]
fn reference_signals_that_cannot_serve_are_refused_with_what_to_do() {
    let folder = tempdir().unwrap();
    let place = folder.path();
    let mut captures = repeats(place, 0, false);
    let options = format!("{LOOP} --axis x");
    let mut put = |scene: Scene| {
        scene.write(place, "x4");
        captures[4] = "x4".into();
        calibrate(&folder, "loop", &options, &captures)
    };
    let counts = [loop_field() / 1.1e-9, 0.0, 0.0];
    let steady = |factor: f64| capture(vec![carrier(counts.map(|c| factor * c), false)], 5.0, 1);
    put(steady(0.0)).refused(3, &["x4.sigmf-meta", "strong enough", "current"]);
    put(steady(1e-3)).refused(3, &["x4.sigmf-meta", "strong enough", "nearer"]);
    put(steady(4.0)).refused(3, &["x4.sigmf-meta", "full scale", "lower gain step"]);
    put(steady(2.0)).refused(3, &["differ by", "distance"]);
    put(capture(vec![carrier(counts, false)], 1.0, 1)).refused(3, &["x4", "too short", "longer"]);
    put(steady(1.0).with("coilrig:receiver", json!("CR-8"))).refused(3, &["x4", "CR-8", "CR-7"]);
    put(steady(1.0).with("coilrig:gain_step", json!(1))).refused(3, &["x4", "gain step 1"]);
    let both = vec![carrier(counts, false), carrier(counts.map(|c| 0.3 * c), true)];
    put(capture(both, 20.0, 1)).refused(3, &["x4", "switch off everything but the reference"]);
    put(steady(1.0).on_one_channel()).refused(3, &["x4", "1 channel"]);
    assert!(!place.join("c.toml").exists(), "a refused part left a file");
    // Wrong options.
    let refused = |options: &str, parts: &[&str]| {
        calibrate(&folder, "loop", options, &captures[..3]).refused(2, parts);
    };
    refused(&format!("{LOOP} --axis x").replace("--turns 10", "--turns 400"), &["wire"]);
    refused(
        &format!("{LOOP} --axis x --off-axis 0.15").replace("--distance 1", "--distance 0"),
        &["on the wire"],
    );
    let twice = [captures[0].clone(), captures[1].clone(), format!("{}.sigmf-meta", captures[0])];
    calibrate(&folder, "loop", &options, &twice).refused(2, &["x0", "twice"]);
    calibrate(&folder, "loop", &options, &captures[..2]).refused(3, &["x0, x1", "too few"]);
    calibrate(&folder, "loop", &format!("{LOOP} --axis y"), &captures[..3])
        .refused(3, &["coil y sees", "coil x"]);
}

#[test]
fn turns_that_say_too_little_are_refused_by_what_is_missing() {
    let folder = tempdir().unwrap();
    let few = turns(folder.path(), 8, |h| h);
    calibrate(&folder, "rotation", "", &few).refused(3, &["8 turns", "at least 9"]);
    let flat = turns(folder.path(), 20, |[x, y, _]| {
        let length = x.hypot(y);
        [x / length, y / length, 0.0]
    });
    calibrate(&folder, "rotation", "", &flat).refused(3, &["t00 to t19", "one plane", "coil z"]);
    let swaying = turns(folder.path(), 20, |h| h.map(|c| c * (1.0 + 0.2 * h[2])));
    calibrate(&folder, "rotation", "", &swaying).refused(3, &["not steady"]);
    assert!(!folder.path().join("c.toml").exists());
}

const BY_HAND: &str = "format = \"coilrig-calibration/1\"\nreceiver = \"CR-7\"\n\
    date = \"2026-01-10\"\nmethod = \"a laboratory\"\nclock_offset_ppm = 1.5\n\
    clock_offset_u_ppm = 0.1\n[[gain_step]]\nstep = 0\nfield_per_count = [1e-9, 1e-9, 1e-9]\n\
    u_rel = [0.02, 0.02, 0.02]\n[[gain_step]]\nstep = 1\n\
    field_per_count = [1e-10, 1e-10, 1e-10]\nu_rel = [0.03, 0.03, 0.03]\n";

#[test]
fn a_file_is_added_to_and_nothing_in_it_is_lost() {
    let folder = tempdir().unwrap();
    std::fs::write(folder.path().join("c.toml"), BY_HAND).unwrap();
    let captures = repeats(folder.path(), 0, false);
    let options = format!("{LOOP} --axis x --json --by Keller --temperature -3 --valid-for 90");
    let document = calibrate(&folder, "loop", &options, &captures).json();
    let steps = document["gain_steps"].as_array().unwrap();
    assert_eq!(steps.len(), 2, "{document}");
    let first = numbers(&steps[0]["field_per_count"]);
    assert!((first[0] / 1.1e-9 - 1.0).abs() < 0.03);
    assert_eq!(first[1..], [1e-9, 1e-9]);
    assert_eq!(numbers(&steps[1]["field_per_count"]), [1e-10; 3]);
    assert_eq!(reading(&document["clock_offset_ppm"]), (1.5, 0.1));
    // A second time: the first stays in the file, the newer one counts.
    calibrate(&folder, "loop", &options, &captures).with_code(0);
    let text = file(&folder);
    assert_eq!(text.matches("[[reference]]").count(), 2);
    for part in ["a laboratory", "by = \"Keller\"", "temperature_c = -3.0", "x3.sigmf-meta"] {
        assert!(text.contains(part), "no {part} in {text}");
    }
    // What it makes is what measure takes.
    capture(vec![carrier([500.0, 0.0, 0.0], true)], 10.0, 2).write(folder.path(), "u");
    let run = coilrig(folder.path(), &["measure", "--json", "--calibration", "c.toml", "u"]);
    assert!(number(&run.json()["transmitters"][0]["field_a_per_m"]["value"]) > 5e-7);
}

#[test]
fn a_file_that_cannot_be_added_to_is_refused_and_left_alone() {
    let folder = tempdir().unwrap();
    let captures = repeats(folder.path(), 0, false);
    let options = format!("{LOOP} --axis x");
    for (text, parts) in [
        (BY_HAND.replace("CR-7", "CR-9"), ["c.toml", "CR-9", "CR-7"]),
        (BY_HAND.replace("receiver =", "reciever ="), ["c.toml, line 2", "reciever", "mend"]),
        (
            BY_HAND
                .replace("-9, 1e-9, 1e-9]", "-9]")
                .replace("-10, 1e-10, 1e-10]", "-10]")
                .replace("2, 0.02, 0.02]", "2]")
                .replace("3, 0.03, 0.03]", "3]"),
            ["c.toml", "1 channels", "3"],
        ),
    ] {
        std::fs::write(folder.path().join("c.toml"), &text).unwrap();
        calibrate(&folder, "loop", &options, &captures).refused(3, &parts);
        assert_eq!(file(&folder), text);
    }
}

#[test]
fn captures_that_do_not_say_whose_they_are_need_to_be_told() {
    let folder = tempdir().unwrap();
    let counts = [loop_field() / 1.1e-9, 0.0, 0.0];
    let captures: Vec<String> = (0..3)
        .map(|n| {
            capture(vec![carrier(counts, false)], 5.0, n)
                .without("coilrig:receiver")
                .without("coilrig:gain_step")
                .write(folder.path(), &format!("a{n}"));
            format!("a{n}")
        })
        .collect();
    let options = format!("{LOOP} --axis x");
    calibrate(&folder, "loop", &options, &captures).refused(2, &["receiver", "--receiver"]);
    let options = format!("{options} --receiver CR-7");
    calibrate(&folder, "loop", &options, &captures).refused(2, &["gain step", "--gain"]);
    calibrate(&folder, "loop", &format!("{options} --gain 1"), &captures).with_code(0);
    assert!(file(&folder).contains("gain_step = 1"));
}

/// A measurement of the plain scene with a calibration file.
fn measured(folder: &TempDir, scene: &Scene, calibration: &str) -> Run {
    scene.write(folder.path(), "a");
    std::fs::write(folder.path().join("c.toml"), calibration).unwrap();
    coilrig(folder.path(), &["measure", "--json", "--calibration", "c.toml", "a"])
}

fn of_receiver(serial: &str, step: u8) -> Scene {
    Scene::plain(20.0)
        .with("coilrig:receiver", json!(serial))
        .with("coilrig:gain_step", json!(step))
}

#[test]
fn measure_takes_a_calibration_in_place_of_the_captures_own() {
    let folder = tempdir().unwrap();
    let run = measured(&folder, &of_receiver("CR-7", 1), BY_HAND);
    let (field, _) = reading(&run.json()["transmitters"][0]["field_a_per_m"]);
    // 1000 counts of 0.1 nA/m in place of 1 nA/m.
    assert!((field / 1e-7 - 1.0).abs() < 0.01, "{field}");
    assert!(!run.stderr.contains("calibration"), "{run:?}");
    let run = measured(&folder, &of_receiver("CR-8", 0), BY_HAND);
    run.refused(3, &["c.toml", "CR-7", "CR-8"]);
    let run = measured(&folder, &of_receiver("CR-7", 2), BY_HAND);
    run.refused(3, &["c.toml", "gain step 2"]);
    let run = measured(&folder, &of_receiver("CR-7", 0).on_one_channel(), BY_HAND);
    run.refused(3, &["c.toml", "channels"]);
    let one_step = BY_HAND.split("[[gain_step]]\nstep = 1").next().unwrap();
    let run = measured(&folder, &Scene::plain(20.0), one_step);
    run.with_code(0);
    assert!(run.stderr.contains("does not state its receiver and gain step"), "{run:?}");
    let run = measured(&folder, &Scene::plain(20.0), BY_HAND);
    run.refused(3, &["c.toml", "several gain steps"]);
}

/// The captures are of 2026-01-15.
#[test]
fn the_age_of_a_calibration_is_held_against_the_day_of_the_recording() {
    let folder = tempdir().unwrap();
    let with = |from: &str, to: &str| {
        measured(&folder, &of_receiver("CR-7", 0), &BY_HAND.replace(from, to)).stderr
    };
    assert!(!with("2026-01-10", "2026-01-15").contains("the calibration"));
    assert!(with("2026-01-10", "2025-01-10").contains("expired on 2026-01-10"));
    assert!(with("2026-01-10", "2026-01-16").contains("is dated 2026-01-16"));
    let expires = "2026-01-10\"\nexpires = \"2026-01-14";
    assert!(with("2026-01-10", expires).contains("expired on 2026-01-14"));
    assert!(with("2026-01-10", "last winter").contains("last winter"));
    // Written into the capture, it goes on being told of.
    let text = BY_HAND.replace("2026-01-10", "2025-01-10");
    std::fs::write(folder.path().join("c.toml"), text).unwrap();
    let arguments = ["measure", "--annotate", "--calibration", "c.toml", "a"];
    coilrig(folder.path(), &arguments).with_code(0);
    let meta: Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("a.sigmf-meta")).unwrap())
            .unwrap();
    assert_eq!(meta["global"]["coilrig:calibration"]["date"], "2025-01-10");
    assert_eq!(numbers(&meta["global"]["coilrig:field_per_count"]), [1e-9; 3]);
    let run = coilrig(folder.path(), &["measure", "a"]);
    run.with_code(0);
    assert!(run.stderr.contains("expired on 2026-01-10"), "{run:?}");
}
