//! Measurements against numpy and scipy on the same samples. How they estimate
//! stands in tests/outside/signal_estimates.py.

use std::path::Path;

use coilrig_tests::capture::{Datatype, Scene};
use coilrig_tests::emulator::Emulator;
use coilrig_tests::json::{number, numbers, reading};
use coilrig_tests::program::coilrig;
use coilrig_tests::python;
use serde_json::{Value, json};
use tempfile::tempdir;

use super::agree;

/// Three units with edges of each shape, one with irregular periods; a clock that
/// is off, and channels that differ. Scale and clock are known without doubt, so
/// that uncertainties are those of the signal alone.
const THREE_UNITS: &str = r#"
seed = 11
[receiver]
noise_a_per_m_rthz = [1.2e-9, 1.4e-9, 1.8e-9]
axis_factors = [1.03, 0.98, 1.06]
calibration_u_rel = 0.0
clock_offset_ppm = 12.5
clock_offset_u_ppm = 0.0
[[unit]]
name = "creek"
position_m = [-6.0, 3.0, -0.8]
moment_a_m2 = [0.0, 4.1e-3, 0.8e-3]
carrier_offset_hz = -47.8
period_s = 0.913
on_time_s = 0.072
first_pulse_s = 0.05
jitter_s = 0.0004
edge = { shape = "linear", rise_s = 0.001, fall_s = 0.001 }
[[unit]]
name = "north"
position_m = [2.0, 9.0, -1.2]
moment_a_m2 = [4.2e-3, 1.2e-3, 0.4e-3]
carrier_offset_hz = 12.4
period_s = 1.000
on_time_s = 0.090
first_pulse_s = 0.31
edge = { shape = "raised-cosine", rise_s = 0.0015, fall_s = 0.002 }
[[unit]]
name = "hut"
position_m = [5.0, -7.0, -1.5]
moment_a_m2 = [-7.0e-3, 8.0e-3, 3.0e-3]
carrier_offset_hz = 61.3
period_s = 1.107
on_time_s = 0.128
first_pulse_s = 0.72
edge = { shape = "exponential", rise_s = 0.0004, fall_s = 0.0008 }
"#;

/// What the program and what the script make of `a` in `folder`, the program's
/// transmitters by rising carrier as the script's.
fn both(folder: &Path) -> (Value, Vec<Value>, Value) {
    let document = coilrig(folder, &["measure", "--json", "a"]).json();
    let mut ours = document["transmitters"].as_array().unwrap().clone();
    ours.sort_by(|a, b| reading(&a["carrier_hz"]).0.total_cmp(&reading(&b["carrier_hz"]).0));
    let theirs = python::outside("signal_estimates.py", &[folder.join("a.sigmf-meta")]);
    (document, ours, theirs)
}

fn compare(folder: &Path) -> Vec<Value> {
    let (document, ours, theirs) = both(folder);
    let [noise, reference] = [&document, &theirs].map(|from| numbers(&from["noise_a_per_m_rthz"]));
    assert_eq!(noise.len(), reference.len());
    for (noise, reference) in noise.iter().zip(reference) {
        // Each is the median of some 10⁵ cells or more, good for half a per cent.
        assert!((noise / reference - 1.0).abs() < 0.015, "{noise}, scipy has {reference}");
    }
    let units = theirs["units"].as_array().unwrap();
    assert_eq!(ours.len(), units.len(), "{theirs}");
    for (ours, theirs) in ours.iter().zip(units) {
        for name in ["carrier_hz", "period_s", "on_time_s", "field_a_per_m"] {
            let [value, u] = numbers(&theirs[name])[..] else { panic!("{theirs}") };
            agree(name, reading(&ours[name]), (value, u));
        }
        // The first pulse that the script took may be a later one, and single
        // pulses come by up to their jitter early or late.
        let period_s = reading(&ours["period_s"]).0;
        let apart = (number(&ours["first_pulse_s"]) - number(&theirs["first_pulse_s"])) / period_s;
        assert!((apart - apart.round()).abs() * period_s < 2e-3, "{apart} periods apart");
    }
    ours
}

#[test]
fn three_units_of_a_recording() {
    let folder = tempdir().unwrap();
    let emulator = Emulator::start(folder.path(), THREE_UNITS);
    let port = ["record", "--port", emulator.device(), "--calibration", emulator.calibration()];
    let arguments = [&port[..], &["--out", "a", "--duration", "60"]].concat();
    coilrig(folder.path(), &arguments).with_code(0);
    let ours = compare(folder.path());
    // And both against what was put into the scenario.
    let truths = [(-47.8, 0.913, 0.072), (12.4, 1.0, 0.090), (61.3, 1.107, 0.128)];
    for (transmitter, (offset_hz, period_s, on_time_s)) in ours.iter().zip(truths) {
        agree("carrier", reading(&transmitter["carrier_hz"]), (457e3 + offset_hz, 0.0));
        agree("period", reading(&transmitter["period_s"]), (period_s, 0.0));
        agree("on time", reading(&transmitter["on_time_s"]), (on_time_s, 0.0));
    }
}

#[test]
fn one_unit_on_one_channel_of_floats() {
    let folder = tempdir().unwrap();
    Scene {
        datatype: Datatype::Cf32,
        rate_hz: 20_000.0,
        tuned_hz: 455_000.0,
        clock_ppm: -12.0,
        ..Scene::plain(60.0)
    }
    .on_one_channel()
    .with("coilrig:clock_offset_ppm", json!(-12.0))
    .with("coilrig:clock_offset_u_ppm", json!(0.0))
    .with("coilrig:field_per_count_u_rel", json!([0.0]))
    .write(folder.path(), "a");
    compare(folder.path());
}

/// No unbiased estimate of a carrier is better than the bound of Rife and
/// Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591–598: for one pulse of length
/// T with A²T/N₀ = ρ, var f ≥ 6 / ((2π)² ρ T²); here for the mean of all pulses,
/// whose phases are not known to belong together.
#[test]
fn the_carrier_is_not_claimed_to_be_better_known_than_it_can_be() {
    let folder = tempdir().unwrap();
    for noise_counts_rthz in [1.0, 4.0, 10.0] {
        Scene { noise_counts_rthz, ..Scene::plain(30.0) }
            .with("coilrig:clock_offset_u_ppm", json!(0.0))
            .write(folder.path(), "a");
        let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
        let transmitter = &document["transmitters"][0];
        let on_s = 0.0903;
        let rho = 1000.0f64.powi(2) * on_s / noise_counts_rthz.powi(2);
        let pulses = number(&transmitter["pulses"]["found"]);
        let bound = (6.0 / (rho * pulses)).sqrt() / (std::f64::consts::TAU * on_s);
        let (carrier_hz, u) = reading(&transmitter["carrier_hz"]);
        // Taken from the scatter of 30 pulses, u itself scatters by 13 %.
        assert!((0.7..2.0).contains(&(u / bound)), "u is {u}, the bound {bound}");
        agree("carrier", (carrier_hz, u), (457_012.3, 0.0));
    }
}
