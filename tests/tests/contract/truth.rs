//! Known transmitters must be found as they are.

use coilrig_tests::capture::{Datatype, Scene};
use coilrig_tests::json::{number, numbers, reading};
use coilrig_tests::program::coilrig;
use serde_json::{Value, json};
use tempfile::tempdir;

/// The one transmitter in `scene`.
fn only(scene: &Scene) -> Value {
    let folder = tempdir().unwrap();
    scene.write(folder.path(), "a");
    let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
    let transmitters = document["transmitters"].as_array().unwrap();
    assert_eq!(transmitters.len(), 1, "{document}");
    transmitters[0].clone()
}

/// Carrier within 0.05 Hz, period within 50 µs, on time within 0.5 ms, field
/// within 1 %; and each within five of its standard uncertainties. The ratio of
/// residual carrier is the root of a power and cannot scatter about nought.
#[track_caller]
fn check(transmitter: &Value, field_a_per_m: f64) {
    let bounds = [
        ("carrier_hz", 457_012.3, 0.05),
        ("period_s", 1.0007, 50e-6),
        ("on_time_s", 0.0903, 0.5e-3),
        ("off_time_s", 1.0007 - 0.0903, 0.5e-3),
        ("field_a_per_m", field_a_per_m, 0.01 * field_a_per_m),
        ("carrier_drift_hz_per_s", 0.0, 0.02),
    ];
    for (name, truth, bound) in bounds {
        let (value, u) = reading(&transmitter[name]);
        let off = (value - truth).abs();
        assert!(off < bound, "{name} is {value} ± {u}, not {truth}");
        assert!(off <= 5.0 * u, "{name} is {value} ± {u}: the truth, {truth}, is not in reach");
    }
    let (residual, _) = reading(&transmitter["residual_carrier_ratio"]);
    assert!((0.0..0.005).contains(&residual), "residual carrier of {residual}");
    let first_pulse_s = number(&transmitter["first_pulse_s"]);
    assert!((first_pulse_s - 0.4123).abs() < 0.5e-3, "first pulse at {first_pulse_s}");
    assert!(number(&transmitter["period_jitter_s"]) < 0.2e-3);
}

/// Up to its sign, to `share` of its length in each component.
#[track_caller]
fn check_vector(transmitter: &Value, truth: &[f64], share: f64) {
    let vector = numbers(&transmitter["field_vector_a_per_m"]);
    let product: f64 = vector.iter().zip(truth).map(|(a, b)| a * b).sum();
    let length = truth.iter().map(|h| h * h).sum::<f64>().sqrt();
    for (found, true_h) in vector.iter().zip(truth) {
        let off = (found * product.signum() - true_h).abs();
        assert!(off < share * length, "{vector:?}, not {truth:?} or the opposite");
    }
}

#[test]
fn every_encoding_rate_and_tuning_gives_the_same_transmitter() {
    let plain = Scene::plain(30.0);
    let scenes = [
        plain.clone(),
        Scene { datatype: Datatype::Cf32, ..plain.clone() },
        plain.clone().on_one_channel(),
        Scene { datatype: Datatype::Cf32, ..plain.clone() }.on_one_channel(),
        Scene { rate_hz: 20_000.0, tuned_hz: 455_000.0, ..plain.clone() },
        Scene { rate_hz: 6250.0, tuned_hz: 457_900.0, ..plain.clone() },
        Scene { rate_hz: 200_000.0, tuned_hz: 480_000.0, duration_s: 20.0, ..plain.clone() }
            .on_one_channel(),
    ];
    for scene in &scenes {
        let transmitter = only(scene);
        check(&transmitter, 1e-6);
        if scene.channels == 3 {
            check_vector(&transmitter, &[2e-6 / 3.0, -1e-6 / 3.0, 2e-6 / 3.0], 0.01);
        }
    }
}

#[test]
fn noise_is_the_density_of_each_axis() {
    let folder = tempdir().unwrap();
    Scene::plain(30.0)
        .with("coilrig:field_per_count", json!([1e-9, 2e-9, 0.5e-9]))
        .write(folder.path(), "a");
    let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
    // Rounding to counts adds 1/6 count² to each sample, 1e-5 of the noise.
    for (found, truth) in numbers(&document["noise_a_per_m_rthz"]).iter().zip([1e-9, 2e-9, 0.5e-9])
    {
        assert!((found / truth - 1.0).abs() < 0.02, "{found}, not {truth}");
    }
}

/// A clock that is 40 ppm fast: at 457 kHz 18.3 Hz, 40 µs in a second.
#[test]
fn a_fast_clock_is_corrected_for_in_frequency_and_time() {
    let scene = Scene { clock_ppm: 40.0, ..Scene::plain(30.0) };
    check(&only(&scene.clone().with("coilrig:clock_offset_ppm", json!(40.0))), 1e-6);
    let slow = Scene { clock_ppm: -40.0, ..scene.clone() };
    check(&only(&slow.with("coilrig:clock_offset_ppm", json!(-40.0))), 1e-6);
    // Not corrected, the carrier shows low and the period long.
    let raw = only(&scene);
    let (carrier_hz, _) = reading(&raw["carrier_hz"]);
    assert!((carrier_hz - (457_012.3 - 18.28)).abs() < 0.05, "{carrier_hz}");
    let (period_s, _) = reading(&raw["period_s"]);
    assert!((period_s - 1.0007 - 40.0e-6).abs() < 10e-6, "{period_s}");
}

#[test]
fn the_uncertainty_of_clock_and_scale_goes_into_the_results() {
    let scene = Scene::plain(30.0)
        .with("coilrig:clock_offset_u_ppm", json!(2.0))
        .with("coilrig:field_per_count_u_rel", json!([0.05, 0.05, 0.05]));
    let transmitter = only(&scene);
    let (_, u_carrier_hz) = reading(&transmitter["carrier_hz"]);
    assert!((0.914..0.93).contains(&u_carrier_hz), "{u_carrier_hz} Hz for 2 ppm of 457 kHz");
    let (period_s, u_period_s) = reading(&transmitter["period_s"]);
    assert!((2e-6..40e-6).contains(&u_period_s), "{period_s} ± {u_period_s}");
    // Nothing says that the axes were calibrated apart: 5 % of each may be 5 % of all.
    let (field, u_field) = reading(&transmitter["field_a_per_m"]);
    assert!((u_field / field / 0.05 - 1.0).abs() < 0.01, "{field} ± {u_field}");
}

/// What all axes share is that of the magnitude: 4 % shared and 3 % of each axis.
#[test]
fn an_uncertainty_that_all_axes_share_does_not_average_out() {
    let scene = Scene::plain(30.0)
        .with("coilrig:field_per_count_u_rel", json!([0.05, 0.05, 0.05]))
        .with("coilrig:field_per_count_u_common_rel", json!(0.04));
    let (field, u_field) = reading(&only(&scene)["field_a_per_m"]);
    // Squares of 4, 1 and 4 ninths on the axes.
    let expected = 0.04f64.hypot(0.03 * 33.0f64.sqrt() / 9.0);
    assert!((u_field / field / expected - 1.0).abs() < 0.05, "{field} ± {u_field}");
    let apart = scene.with("coilrig:field_per_count_u_common_rel", json!(0.0));
    let (field, u_field) = reading(&only(&apart)["field_a_per_m"]);
    let expected = 0.05 * 33.0f64.sqrt() / 9.0;
    assert!((u_field / field / expected - 1.0).abs() < 0.1, "{field} ± {u_field}");
}

#[test]
fn every_channel_has_its_own_scale() {
    let scene = Scene::plain(30.0).with("coilrig:field_per_count", json!([1e-9, 3e-9, 0.5e-9]));
    let truth = [2e-6 / 3.0, -1e-6, 1e-6 / 3.0];
    let transmitter = only(&scene);
    check(&transmitter, truth.iter().map(|h: &f64| h * h).sum::<f64>().sqrt());
    check_vector(&transmitter, &truth, 0.01);
}

/// A matrix that is neither symmetric nor orthogonal, so that rows and columns,
/// and before and after the scale, cannot be mixed up.
#[test]
fn the_axes_matrix_turns_channel_fields_into_components() {
    let rows = [[0.9, 0.2, 0.0], [0.0, 1.1, -0.1], [0.3, 0.0, 1.0]];
    let per_count = [1e-9, 2e-9, 1e-9];
    let channels = [2e-6 / 3.0, -2e-6 / 3.0, 2e-6 / 3.0];
    let truth = rows.map(|row| row.iter().zip(channels).map(|(a, h)| a * h).sum::<f64>());
    let length = truth.iter().map(|h| h * h).sum::<f64>().sqrt();
    let flat: Vec<f64> = rows.concat();
    for axes in [json!(rows), json!(flat)] {
        let scene = Scene::plain(30.0)
            .with("coilrig:field_per_count", json!(per_count))
            .with("coilrig:axes", axes);
        let transmitter = only(&scene);
        check(&transmitter, length);
        check_vector(&transmitter, &truth, 0.01);
    }
}

#[test]
fn two_units_are_told_apart_the_stronger_first() {
    let folder = tempdir().unwrap();
    let mut scene = Scene::plain(30.0);
    let mut second = scene.transmitters[0].clone();
    second.carrier_hz = 456_963.7;
    second.period_s = 0.9131;
    second.first_s = 0.10;
    second.counts = vec![0.0, 0.0, 500.0];
    scene.transmitters.insert(0, second);
    scene.write(folder.path(), "a");
    let document = coilrig(folder.path(), &["measure", "--json", "a"]).json();
    let transmitters = document["transmitters"].as_array().unwrap();
    assert_eq!(transmitters.len(), 2, "{document}");
    let truths = [(457_012.3, 1.0007, 1e-6), (456_963.7, 0.9131, 0.5e-6)];
    for (transmitter, (carrier_hz, period_s, field)) in transmitters.iter().zip(truths) {
        let off = |name: &str, truth: f64| (reading(&transmitter[name]).0 - truth).abs();
        assert!(off("carrier_hz", carrier_hz) < 0.05, "{transmitter}");
        assert!(off("period_s", period_s) < 50e-6, "{transmitter}");
        assert!(off("field_a_per_m", field) < 0.01 * field, "{transmitter}");
    }
    assert!(number(&transmitters[0]["pulses"]["overlapped"]) > 0.0, "they do meet");
}
