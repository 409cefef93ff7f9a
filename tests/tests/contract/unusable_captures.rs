//! Captures that cannot be used are refused with file, place, reason and remedy.

use std::path::Path;

use coilrig_tests::capture::{Datatype, Scene};
use coilrig_tests::program::{Run, coilrig};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use serde_json::{Value, json};
use tempfile::{TempDir, tempdir};

fn measure(folder: &Path) -> Run {
    coilrig(folder, &["measure", "--json", "a"])
}

/// A folder with the capture `a` of `scene`.
fn written(scene: &Scene) -> TempDir {
    let folder = tempdir().unwrap();
    scene.write(folder.path(), "a");
    folder
}

/// Change the metadata of a good capture; it must be refused for `parts`.
#[track_caller]
fn refused_with(change: impl FnOnce(&mut Value), parts: &[&str]) {
    let folder = written(&Scene::plain(3.0));
    let path = folder.path().join("a.sigmf-meta");
    let mut meta: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    change(&mut meta);
    std::fs::write(&path, meta.to_string()).unwrap();
    measure(folder.path()).refused(3, parts).refused(3, &["a.sigmf-meta"]);
}

#[test]
fn one_file_without_the_other() {
    for (lost, kept) in [("a.sigmf-data", "a.sigmf-meta"), ("a.sigmf-meta", "a.sigmf-data")] {
        let folder = written(&Scene::plain(3.0));
        std::fs::remove_file(folder.path().join(lost)).unwrap();
        for name in ["a", "a.sigmf-meta", "a.sigmf-data"] {
            coilrig(folder.path(), &["measure", "--json", name]).refused(3, &[lost]);
        }
        assert!(folder.path().join(kept).exists());
    }
    let folder = tempdir().unwrap();
    measure(folder.path()).refused(3, &["a.sigmf-meta"]);
}

/// Half a sample at the end is no reason to lose a recording.
#[test]
fn data_that_end_within_a_sample_are_used_up_to_it() {
    let folder = written(&Scene::plain(8.0));
    let path = folder.path().join("a.sigmf-data");
    let bytes = std::fs::read(&path).unwrap();
    std::fs::write(&path, &bytes[..bytes.len() - 7]).unwrap();
    let run = measure(folder.path());
    assert_eq!(run.json()["transmitters"].as_array().unwrap().len(), 1);
    assert!(run.stderr.contains("a.sigmf-data"), "{run:?}");
}

#[test]
fn data_that_end_before_a_segment_of_theirs() {
    let folder = written(&Scene { gaps: vec![(1.0, 1.5)], ..Scene::plain(3.0) });
    let path = folder.path().join("a.sigmf-data");
    let bytes = std::fs::read(&path).unwrap();
    std::fs::write(&path, &bytes[..12 * 4000]).unwrap();
    measure(folder.path()).refused(3, &["a.sigmf-meta", "captures[1]", "cut short"]);
}

#[test]
fn no_data_at_all() {
    let folder = written(&Scene::plain(3.0));
    std::fs::write(folder.path().join("a.sigmf-data"), b"").unwrap();
    measure(folder.path()).refused(3, &["a.sigmf-data"]);
}

#[test]
fn a_sample_that_is_not_a_number() {
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let folder = written(&Scene { datatype: Datatype::Cf32, ..Scene::plain(3.0) });
        let path = folder.path().join("a.sigmf-data");
        let mut bytes = std::fs::read(&path).unwrap();
        // Sample 12 345, channel 1, its imaginary part.
        bytes[12_345 * 24 + 12..][..4].copy_from_slice(&bad.to_le_bytes());
        std::fs::write(&path, bytes).unwrap();
        measure(folder.path()).refused(3, &["a.sigmf-data", "12345", "channel 1"]);
    }
}

#[test]
fn metadata_that_are_no_metadata() {
    let folder = written(&Scene::plain(3.0));
    let texts: [&[u8]; 8] = [
        b"",
        b"{",
        b"null",
        b"[]",
        b"{}",
        b"{\"global\": 3, \"captures\": [], \"annotations\": []}",
        b"a,b,c\n1,2,3\n",
        &[0xff, 0x00, 0x80],
    ];
    for text in texts {
        std::fs::write(folder.path().join("a.sigmf-meta"), text).unwrap();
        measure(folder.path()).refused(3, &["a.sigmf-meta"]);
    }
}

#[test]
fn the_shape_of_the_samples() {
    let set =
        |name: &'static str, value: Value| move |meta: &mut Value| meta["global"][name] = value;
    let global = |name: &'static str, value: Value, parts: &[&str]| {
        refused_with(set(name, value), parts);
    };
    for channels in [0, 2, 4, 1_000_000_007] {
        global("core:num_channels", json!(channels), &["core:num_channels"]);
    }
    for datatype in ["ci8", "cf64_le", "ci16_be", "rf32_le", "ri16_le", "", "CI16_LE"] {
        global("core:datatype", json!(datatype), &["core:datatype", datatype]);
    }
    for rate in [json!(0.0), json!(-8000.0), json!(50.0), json!(2e6), json!(1e300)] {
        global("core:sample_rate", rate, &["core:sample_rate"]);
    }
    global("core:version", json!("2.0.0"), &["core:version", "2.0.0"]);
    global("core:version", json!("10.1.0"), &["core:version", "10.1.0"]);
    for name in ["core:datatype", "core:sample_rate", "core:version"] {
        let remove = |meta: &mut Value| {
            meta["global"].as_object_mut().unwrap().remove(name);
        };
        refused_with(remove, &[name]);
    }
    let extension = json!([{"name": "other", "version": "1.0.0", "optional": false}]);
    global("core:extensions", extension, &["core:extensions", "other"]);
}

#[test]
fn the_segments() {
    let first = |name: &'static str, value: Value, parts: &[&str]| {
        refused_with(|meta| meta["captures"][0][name] = value, parts);
    };
    for elsewhere_hz in [0.0, 433.92e6, 470e3, 450e3, -457e3] {
        first("core:frequency", json!(elsewhere_hz), &["core:frequency", "457 kHz"]);
    }
    refused_with(|meta| meta["captures"] = json!([]), &["captures"]);
    let mut second = Scene::plain(3.0).meta()["captures"][0].clone();
    second["core:sample_start"] = json!(8000);
    second["core:global_index"] = json!(9000);
    let with = |name: &'static str, value: Value, parts: &[&str]| {
        let mut changed = second.clone();
        changed[name] = value;
        refused_with(|meta| meta["captures"].as_array_mut().unwrap().push(changed), parts);
    };
    with("core:frequency", json!(457_500.0), &["captures[1]", "core:frequency"]);
    with("core:global_index", json!(7000), &["captures[1]", "core:global_index"]);
    with("core:sample_start", json!(24_001), &["captures[1]", "core:sample_start"]);
    with("core:sample_start", json!(-1), &["a.sigmf-meta"]);
}

/// Sample counts that cannot be, alone or together with the data.
#[test]
fn places_outside_the_data() {
    let two = |change: &dyn Fn(&mut Value), parts: &[&str]| {
        let second = json!({
            "core:sample_start": 8000,
            "core:global_index": 9000,
            "core:frequency": 457e3,
        });
        refused_with(
            |meta| {
                meta["captures"].as_array_mut().unwrap().push(second);
                change(meta);
            },
            parts,
        );
    };
    two(&|meta| meta["captures"][0]["core:global_index"] = json!(u64::MAX), &["core:global_index"]);
    two(&|meta| meta["captures"][1]["core:global_index"] = json!(u64::MAX), &["core:global_index"]);
    // The number of the first sample in the file, past that of a segment in it.
    two(&|meta| meta["global"]["core:offset"] = json!(8001), &["a.sigmf-meta"]);
    refused_with(|meta| meta["global"]["core:offset"] = json!(u64::MAX), &["a.sigmf-meta"]);
    refused_with(|meta| meta["captures"][0]["core:sample_start"] = json!(24_001), &["captures[0]"]);
}

#[test]
fn the_calibration() {
    let global = |name: &'static str, value: Value| {
        refused_with(|meta| meta["global"][name] = value, &[name]);
    };
    for list in [json!([1e-9]), json!([1e-9, 1e-9]), json!([]), json!([1e-9, 1e-9, 1e-9, 1e-9])] {
        global("coilrig:field_per_count", list.clone());
        global("coilrig:field_per_count_u_rel", list);
    }
    for factor in [0.0, -1e-9] {
        global("coilrig:field_per_count", json!([1e-9, factor, 1e-9]));
    }
    global("coilrig:field_per_count_u_rel", json!([0.1, -0.1, 0.1]));
    global("coilrig:clock_offset_ppm", json!(-1e6));
    global("coilrig:clock_offset_ppm", json!(1e300));
    global("coilrig:clock_offset_u_ppm", json!(-1.0));
    for axes in [json!([1, 0, 0]), json!("x"), json!([[1, 0, 0], [0, 1, 0]]), json!({})] {
        global("coilrig:axes", axes);
    }
}

/// JSON has no number for what is infinite or none; a null is no result.
#[test]
fn a_calibration_that_leaves_no_number() {
    refused_with(
        |meta| meta["global"]["coilrig:axes"] = json!([[0, 0, 0], [0, 0, 0], [0, 0, 0]]),
        &["coilrig:axes"],
    );
    refused_with(
        |meta| meta["global"]["coilrig:field_per_count"] = json!([1e308, 1e308, 1e308]),
        &["coilrig:field_per_count"],
    );
}

/// The good ones are printed all the same, and the exit code tells of the bad one.
#[test]
fn a_bad_capture_costs_no_good_one() {
    let folder = tempdir().unwrap();
    for name in ["a", "b", "c"] {
        Scene::plain(4.0).write(folder.path(), name);
    }
    std::fs::write(folder.path().join("b.sigmf-data"), b"").unwrap();
    let run = coilrig(folder.path(), &["measure", "--json", "a", "b", "c"]);
    run.with_code(3);
    assert!(run.stderr.contains("b.sigmf-data"), "{run:?}");
    let document = run.document();
    let paths: Vec<String> =
        document.as_array().unwrap().iter().map(|d| d["capture"]["path"].to_string()).collect();
    assert_eq!(paths.len(), 2);
    assert!(paths[0].contains('a') && paths[1].contains('c'), "{paths:?}");
    // One good one of two asked for is still an array.
    let run = coilrig(folder.path(), &["measure", "--json", "b", "a"]);
    assert_eq!(run.with_code(3).document().as_array().unwrap().len(), 1);
    let table = coilrig(folder.path(), &["measure", "b", "a"]);
    assert!(table.with_code(3).stdout.contains("T1"), "{table:?}");
}

/// Any JSON in the place of any value: used or refused, but no panic and no hang.
fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        (-300.0..300.0f64).prop_map(|e| Value::from(10f64.powf(e))),
        "[ -~]{0,12}".prop_map(Value::from),
    ];
    leaf.prop_recursive(2, 8, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::vec((Just("core:frequency".to_owned()), inner), 0..2)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

/// Every value of a capture's metadata, as a JSON pointer.
fn places() -> Vec<String> {
    fn walk(value: &Value, place: &str, places: &mut Vec<String>) {
        match value {
            Value::Object(fields) => {
                for (name, value) in fields {
                    walk(value, &format!("{place}/{name}"), places);
                }
            }
            Value::Array(items) => {
                for (i, value) in items.iter().enumerate() {
                    walk(value, &format!("{place}/{i}"), places);
                }
            }
            _ => {}
        }
        places.push(place.to_owned());
    }
    let mut places = Vec::new();
    walk(&two_segments().meta(), "", &mut places);
    places
}

fn two_segments() -> Scene {
    Scene { gaps: vec![(0.5, 0.7)], ..Scene::plain(2.5) }
        .with("coilrig:axes", json!([[1, 0, 0], [0, 1, 0], [0, 0, 1]]))
        .with("core:offset", json!(0))
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(457),
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_metadata_break_the_program(
        place in prop::sample::select(places()),
        value in any_json(),
    ) {
        let folder = written(&two_segments());
        let mut meta = two_segments().meta();
        *meta.pointer_mut(&place).unwrap() = value;
        std::fs::write(folder.path().join("a.sigmf-meta"), meta.to_string()).unwrap();
        let run = measure(folder.path());
        match run.code {
            0 => prop_assert!(
                run.document().is_object() && !run.stdout.contains("null"),
                "{run:?}"
            ),
            3 => prop_assert!(
                run.stdout.is_empty()
                    && run.stderr.contains("a.sigmf-meta")
                    && run.stderr.contains("to do: "),
                "{run:?}"
            ),
            _ => prop_assert!(false, "{run:?}"),
        }
    }
}
