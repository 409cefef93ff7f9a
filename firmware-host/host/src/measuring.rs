//! Capture in, measurement out: the one way from a file to numbers.

use std::path::{Path, PathBuf};

use coilrig_analysis::over_time::{Collector, Row};
use coilrig_analysis::signal::{Analyser, Event, Measurement, Pulse, Transmitter};
use coilrig_analysis::verification::Heard;

use crate::analysing;
use crate::calibrating;
use crate::calibration::Calibration;
use crate::capture::meta::{Annotation, Meta};
use crate::capture::reader::Capture;
use crate::error::{Error, Result};
use crate::files;

/// A capture and what was found in it.
#[derive(Debug)]
pub struct Measured {
    /// Path as given by the user.
    pub path: PathBuf,
    /// The capture.
    pub capture: Capture,
    /// What was found.
    pub measurement: Measurement,
    /// Every pulse with the number of its train, when asked for.
    pub pulses: Vec<(Pulse, Option<usize>)>,
    /// Means over stretches of time, when asked for.
    pub rows: Vec<Row>,
    /// Samples were at full scale: fields are read too low.
    pub clipped: bool,
    /// So many of them that the field of the transmitters is no reading: no spark, but
    /// the pulses themselves.
    pub overdriven: bool,
    /// Things a person should know.
    pub warnings: Vec<String>,
}

impl Measured {
    /// One of its transmitters as this capture has it.
    pub fn heard<'a>(&'a self, transmitter: &'a Transmitter) -> Heard<'a> {
        Heard {
            transmitter,
            calibration: &self.capture.calibration,
            detail: &self.capture.detail,
            axes: self.capture.format.axes,
            duration_s: self.measurement.duration_s,
            clipped: self.clipped,
        }
    }
}

/// Share of the samples at full scale from which on pulses clip, which are on for a
/// tenth of the time.
const OVERDRIVEN: f64 = 1e-3;

/// Units that a station may have (common practice, no source).
const MOST_UNITS: usize = 12;

/// What to keep besides the result, and what it may cost.
#[derive(Clone, Copy, Debug, Default)]
pub struct Keep {
    /// Every single pulse.
    pub pulses: bool,
    /// Means over stretches of so many seconds.
    pub rows_s: Option<f64>,
    /// Whether a core is free to read and filter on.
    pub spare_core: bool,
}

/// Measure the capture at `path`.
pub fn measure(path: &Path, keep: Keep) -> Result<Measured> {
    measure_with(path, keep, None)
}

/// Measure the capture at `path` with a calibration, out of the file named, in
/// place of what the capture states.
///
/// # Errors
///
/// Those of the capture, and a calibration that is of another receiver or lacks
/// the gain step.
pub fn measure_with(
    path: &Path,
    keep: Keep,
    calibration: Option<&(PathBuf, Calibration)>,
) -> Result<Measured> {
    let mut capture = Capture::open(path)?;
    if let Some((file, calibration)) = calibration {
        calibrating::apply(&mut capture, file, calibration)?;
    }
    for concern in calibrating::age_concerns(&capture) {
        capture.warnings.push(format!("{}: {concern}", capture.paths.meta.display()));
    }
    let unusable = |e: coilrig_analysis::signal::FormatError| {
        Error::file(capture.paths.meta.display(), e.to_string(), "correct the metadata")
    };
    let mut analyser =
        Analyser::new(capture.format, capture.calibration.clone()).map_err(unusable)?;
    if let Some(step) = capture.quantum() {
        analyser = analyser.quantised(step);
    }
    let mut pulses: Vec<(Pulse, Option<usize>)> = Vec::new();
    let mut rows =
        keep.rows_s.map(|s| Collector::new(s, &capture.calibration, capture.format.axes));
    let mut on_event = |event: Event| {
        if let Some(rows) = &mut rows {
            rows.take(&event);
        }
        match event {
            Event::Pulse(pulse) if keep.pulses => pulses.push((pulse, None)),
            Event::Assigned { pulse, train } if keep.pulses => {
                pulses[pulse as usize].1 = Some(train);
            }
            _ => {}
        }
    };
    let analysed = if keep.spare_core { analysing::on_two_cores } else { analysing::on_one_core };
    let (mut measurement, streamed) = analysed(&capture, analyser, &mut on_event)?;
    let rows = rows.map(Collector::finish).unwrap_or_default();
    let mut warnings = capture.warnings.clone();
    let name = capture.paths.meta.display();
    if streamed.clipped > 0 {
        let note = "samples are at full scale: the field is read too low";
        measurement.transmitters.iter_mut().for_each(|t| t.notes.push(note.into()));
        warnings.push(format!(
            "{name}: {} samples are at full scale: fields are read too low; lower the gain or \
             move away",
            streamed.clipped
        ));
    }
    if measurement.transmitters.is_empty() {
        warnings.push(format!("{name}: no transmitter found"));
    }
    if measurement.transmitters.len() > MOST_UNITS {
        warnings.push(format!(
            "{name}: {} transmitters, more than a station has on the air together: noise that \
             comes in bursts or is louder near 457 kHz looks like this; none of them is sure",
            measurement.transmitters.len()
        ));
    }
    for carrier in &measurement.steady_carriers {
        warnings.push(format!(
            "{name}: a steady carrier at {:.1} Hz, heard for {:.0} s; units within some hertz of \
             it are not measured well",
            carrier.carrier_hz, carrier.heard_s
        ));
    }
    if measurement.stray_pulses > 0 {
        warnings.push(format!(
            "{name}: {} found that no transmitter's pulse train explains",
            counted(measurement.stray_pulses as u64, "pulse")
        ));
    }
    let clipped = streamed.clipped > 0;
    let overdriven = streamed.clipped as f64 > OVERDRIVEN * capture.frames() as f64;
    Ok(Measured {
        path: path.to_owned(),
        capture,
        measurement,
        pulses,
        rows,
        clipped,
        overdriven,
        warnings,
    })
}

/// Write the pulses back into the capture's metadata as SigMF annotations, in
/// place of those an earlier run wrote.
pub fn annotate(measured: &Measured) -> Result<()> {
    let generator = concat!("coilrig ", env!("CARGO_PKG_VERSION"));
    let capture = &measured.capture;
    let mut meta: Meta = capture.meta.clone();
    let ours = |a: &Annotation| a.generator.as_ref().is_some_and(|g| g.starts_with("coilrig "));
    // Marks of the recording itself (overload) stay.
    meta.annotations.retain(|a| !(ours(a) && a.label.as_ref().is_some_and(|l| is_pulse_label(l))));
    let offset = meta.global.other.get("core:offset").and_then(|v| v.as_u64()).unwrap_or(0);
    for (pulse, train) in &measured.pulses {
        let first = capture.frame_at(pulse.on_s);
        let last = capture.frame_at(pulse.off_s);
        let transmitters = &measured.measurement.transmitters;
        let label = train.and_then(|n| transmitters.iter().find(|t| t.trains.contains(&n)));
        // The band is in the file's own hertz, the comment in true ones.
        let carrier_hz = coilrig_analysis::signal::CARRIER_HZ + pulse.offset_hz;
        let clock = capture.calibration.clock_ratio();
        // Most of a keyed carrier's power lies within one over its length.
        let half_hz = 1.0 / pulse.on_time_s();
        meta.annotations.push(Annotation {
            sample_start: first + offset,
            sample_count: Some((last - first).max(1)),
            freq_lower_edge_hz: Some(carrier_hz - half_hz),
            freq_upper_edge_hz: Some(carrier_hz + half_hz),
            generator: Some(generator.into()),
            label: Some(label.map_or_else(|| STRAY.into(), |t| t.label.clone())),
            comment: Some(format!(
                "carrier {:.2} Hz, {:.2} ms on{}",
                carrier_hz * clock,
                pulse.on_time_s() / clock * 1e3,
                if pulse.overlapped { ", overlapped" } else { "" }
            )),
            other: serde_json::Map::new(),
        });
    }
    meta.annotations.sort_by_key(|a| a.sample_start);
    let path = &capture.paths.meta;
    let text = serde_json::to_vec_pretty(&meta)
        .map_err(|e| Error::file(path.display(), e.to_string(), "report this"))?;
    files::write_whole(path, &text)
}

/// "1 pulse", "2 pulses".
pub fn counted(count: u64, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

const STRAY: &str = "pulse";

fn is_pulse_label(label: &str) -> bool {
    label == STRAY || label.strip_prefix('T').is_some_and(|n| n.parse::<usize>().is_ok())
}
