//! `coilrig record` as a whole program.

use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use coilrig::calibration::{Calibration, GainStep};
use coilrig::capture::meta::{Meta, Paths};
use coilrig_receiver::{Axes, PACKET_SAMPLES};
use num_complex::Complex;

use crate::fake::{Fake, Order, SERIAL, expected};

const PACKET: usize = PACKET_SAMPLES;

fn record(fake: &Fake, out: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilrig"));
    command.arg("record").arg("--port").arg(fake.path()).arg("--out").arg(out);
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A capture as any reader would take it: whole frames, segment by segment.
struct Capture {
    meta: Meta,
    /// Global index and samples, interleaved by axis, of each segment.
    segments: Vec<(u64, Vec<Complex<i16>>)>,
}

fn read(name: &Path) -> Capture {
    let paths = Paths::of(name);
    let meta: Meta = serde_json::from_slice(&std::fs::read(&paths.meta).unwrap()).unwrap();
    let bytes = std::fs::read(&paths.data).unwrap();
    let samples: Vec<_> = bytes
        .chunks_exact(4)
        .map(|iq| {
            let part = |at: usize| i16::from_le_bytes([iq[at], iq[at + 1]]);
            Complex::new(part(0), part(2))
        })
        .collect();
    let axes = meta.global.num_channels.unwrap();
    let frames = samples.len() / axes;
    let starts: Vec<_> = meta.captures.iter().map(|s| s.sample_start as usize).collect();
    let segments = meta
        .captures
        .iter()
        .enumerate()
        .map(|(place, segment)| {
            let end = starts.get(place + 1).copied().unwrap_or(frames);
            (segment.global_index.unwrap(), samples[starts[place] * axes..end * axes].to_vec())
        })
        .collect();
    Capture { meta, segments }
}

impl Capture {
    /// Every segment holds what the receiver sent at its place in the stream.
    fn check(&self, axes: Axes) {
        let count = axes.count();
        let (last, samples) = self.segments.last().expect("a segment");
        let end = *last as usize + samples.len() / count;
        let truth = expected(axes, end.div_ceil(PACKET));
        for (index, samples) in &self.segments {
            let start = *index as usize * count;
            assert!(samples[..] == truth[start..start + samples.len()], "segment at {index}");
        }
    }
}

fn wait_for(what: &str, mut is_so: impl FnMut() -> bool) {
    let end = Instant::now() + Duration::from_secs(60);
    while !is_so() {
        assert!(Instant::now() < end, "{what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn data_len(name: &Path) -> u64 {
    std::fs::metadata(Paths::of(name).data).map_or(0, |m| m.len())
}

fn signal(child: &Child, name: &str) {
    let status = Command::new("kill").arg(format!("-{name}")).arg(child.id().to_string()).status();
    assert!(status.unwrap().success());
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn calibration(receiver: &str, step: u8) -> Calibration {
    let mut calibration = Calibration::new(receiver, "2026-01-15", "test");
    calibration.clock_offset_ppm = Some(-3.0);
    calibration.clock_offset_u_ppm = Some(0.5);
    calibration.axes = Some([[1.0, 0.01, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
    calibration.gain_steps.push(GainStep {
        step,
        field_per_count: vec![1e-9, 2e-9, 3e-9],
        u_rel: vec![0.01, 0.02, 0.03],
        ..GainStep::default()
    });
    calibration
}

#[test]
fn a_capture_of_a_given_length_holds_exactly_that() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let file = folder.path().join("c.toml");
    calibration(SERIAL, 1).save(&file).unwrap();
    let output = record(&fake, &name)
        .args(["--duration", "1.2345", "--gain", "1", "--unit", "hut 7", "--note", "frost"])
        .args(["--temperature", "-5.5", "--json", "--calibration"])
        .arg(&file)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");

    let capture = read(&name);
    capture.check(Axes::Three);
    assert_eq!(capture.segments.len(), 1);
    assert_eq!(capture.segments[0].1.len(), 9876 * 3);
    let summary: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(summary["samples"], 9876);
    assert_eq!(summary["duration_s"], 1.2345);

    let global = &capture.meta.global;
    assert_eq!((global.datatype.as_str(), global.num_channels), ("ci16_le", Some(3)));
    assert_eq!(global.sample_rate_hz, Some(8000.0));
    assert_eq!(global.field_per_count.as_deref(), Some(&[1e-9, 2e-9, 3e-9][..]));
    assert_eq!(global.field_per_count_u_rel.as_deref(), Some(&[0.01, 0.02, 0.03][..]));
    assert_eq!((global.clock_offset_ppm, global.clock_offset_u_ppm), (Some(-3.0), Some(0.5)));
    assert_eq!(global.axes.as_ref().unwrap()[0][1], 0.01);
    assert_eq!(global.unit.as_deref(), Some("hut 7"));
    assert_eq!(global.note.as_deref(), Some("frost"));
    assert_eq!(global.temperature_c, Some(-5.5));
    assert!(global.hardware.as_ref().unwrap().contains("CR-TEST"));
    assert_eq!(capture.meta.captures[0].frequency_hz, Some(457_000.0));
}

#[test]
fn a_receiver_of_one_axis_is_recorded_the_same_way() {
    let fake = Fake::on_cable(Axes::One, |_, packet| packet);
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let output = record(&fake, &name).args(["--duration", "1"]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    assert!(stderr(&output).contains("no field values"), "{output:?}");
    let capture = read(&name);
    capture.check(Axes::One);
    assert_eq!(capture.segments[0].1.len(), 8000);
    assert_eq!(capture.meta.global.field_per_count, None);
}

#[test]
fn gaps_become_segments() {
    fn bad(sequence: u32, packet: Vec<u8>) -> Vec<u8> {
        if matches!(sequence, 0 | 30 | 31 | 60) { Vec::new() } else { packet }
    }
    let fake = Fake::on_cable(Axes::Three, bad);
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let output = record(&fake, &name).args(["--duration", "2"]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let capture = read(&name);
    capture.check(Axes::Three);
    let places: Vec<_> = capture
        .segments
        .iter()
        .map(|(index, samples)| (*index as usize / PACKET, samples.len() / 3 / PACKET))
        .collect();
    assert_eq!(places, [(1, 29), (32, 28), (61, 39)]);
    let starts: Vec<_> = capture.meta.captures.iter().map(|s| s.sample_start).collect();
    assert_eq!(starts, [0, 29 * 160, 57 * 160]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.contains("640 samples missing in 3 gaps"), "{text}");
}

#[test]
fn a_kill_leaves_a_capture_that_can_be_read() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let mut child = record(&fake, &name).spawn().unwrap();
    // Five seconds of samples in one second; two flushes.
    wait_for("data", || data_len(&name) > 8 * 96_000);
    signal(&child, "KILL");
    child.wait().unwrap();

    let capture = read(&name);
    capture.check(Axes::Three);
    assert!(capture.segments[0].1.len() >= 8 * 8000 * 3);
    assert_eq!(data_len(&name) % 12, 0, "whole frames");

    // The port is free again at once.
    let again = folder.path().join("b");
    let output = record(&fake, &again).args(["--duration", "0.5"]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    read(&again).check(Axes::Three);
}

#[test]
fn a_signal_ends_a_recording_in_order() {
    for name in ["INT", "TERM", "HUP"] {
        let fake = Fake::new();
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("a");
        let child = record(&fake, &out).spawn().unwrap();
        wait_for("data", || data_len(&out) > 0);
        signal(&child, name);
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success(), "{name}: {output:?}");
        assert!(String::from_utf8_lossy(&output.stdout).contains("s of receiver CR-TEST"));
        read(&out).check(Axes::Three);
    }
}

#[test]
fn a_recording_outlives_its_cable() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let child = record(&fake, &name).spawn().unwrap();
    wait_for("data", || data_len(&name) > 0);
    fake.order(Order::Vanish);
    std::thread::sleep(Duration::from_millis(300));
    fake.order(Order::Return);
    let before = data_len(&name);
    wait_for("more data", || data_len(&name) > before + 12 * 8000);
    signal(&child, "INT");
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let capture = read(&name);
    capture.check(Axes::Three);
    assert!(capture.segments.len() >= 2);
    let said = stderr(&output);
    assert!(said.contains("waiting for the receiver") && said.contains("is back"), "{said}");
}

#[test]
fn another_receiver_ends_the_recording_and_what_there_was_is_kept() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    let child = record(&fake, &name).spawn().unwrap();
    wait_for("data", || data_len(&name) > 0);
    fake.order(Order::Vanish);
    fake.order(Order::Become("CR-OTHER"));
    fake.order(Order::Return);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(4));
    let said = stderr(&output);
    assert!(said.contains("CR-OTHER") && said.contains("s are kept"), "{said}");
    read(&name).check(Axes::Three);
}

#[test]
fn what_cannot_be_recorded_is_said_and_leaves_no_files() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("c.toml");
    let name = folder.path().join("a");
    let refused = |arguments: &[&str], code, matter: &str| {
        let output = record(&fake, &name).args(arguments).output().unwrap();
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(code), "{said}");
        assert!(said.contains(matter) && said.contains("to do:"), "{said}");
        assert!(!Paths::of(&name).meta.exists() && !Paths::of(&name).data.exists());
    };
    let with_file = ["--calibration", file.to_str().unwrap()];
    calibration("CR-OTHER", 0).save(&file).unwrap();
    refused(&with_file, 3, "is of receiver CR-OTHER, this is CR-TEST");
    calibration(SERIAL, 1).save(&file).unwrap();
    refused(&with_file, 3, "does not hold gain step 0");
    refused(&["--gain", "7"], 2, "the receiver has steps 0 to 1");
}

#[test]
fn a_capture_is_never_overwritten() {
    let fake = Fake::new();
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("a");
    std::fs::write(Paths::of(&name).data, "dear").unwrap();
    let output = record(&fake, &name).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    assert!(stderr(&output).contains("never overwritten"), "{output:?}");
    assert_eq!(std::fs::read(Paths::of(&name).data).unwrap(), b"dear");
}
