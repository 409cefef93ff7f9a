//! Measurements as JSON (contract), CSV and a table for people.

use coilrig_analysis::reading::Reading;
use coilrig_analysis::signal::{CARRIER_HZ, Measurement, Transmitter};
use coilrig_analysis::units;
use serde::Serialize;

use super::columns::align;
use crate::capture::reader::shown;
use crate::error::{Error, Result};
use crate::measuring::Measured;

/// `coilrig-measurement/1`, the document of one capture.
#[derive(Serialize)]
pub struct Document<'a> {
    format: &'static str,
    capture: CaptureSummary,
    #[serde(skip_serializing_if = "Option::is_none")]
    noise_a_per_m_rthz: Option<&'a [f64]>,
    transmitters: &'a [Transmitter],
}

#[derive(Serialize)]
struct CaptureSummary {
    path: String,
    duration_s: f64,
    sample_rate_hz: f64,
    axes: usize,
    gaps: usize,
}

impl<'a> Document<'a> {
    /// The document of a measured capture.
    pub fn of(measured: &'a Measured) -> Self {
        let Measurement { duration_s, gaps, noise_a_per_m_rthz, transmitters, .. } =
            &measured.measurement;
        Self {
            format: "coilrig-measurement/1",
            capture: CaptureSummary {
                path: shown(&measured.path),
                duration_s: *duration_s,
                sample_rate_hz: measured.capture.format.sample_rate_hz,
                axes: measured.capture.format.axes,
                gaps: *gaps,
            },
            noise_a_per_m_rthz: noise_a_per_m_rthz.as_deref(),
            transmitters,
        }
    }
}

/// The document of a single capture, or an array of documents if `several` were asked for.
pub fn json(all: &[Measured], several: bool) -> Result<String> {
    let documents: Vec<Document<'_>> = all.iter().map(Document::of).collect();
    let text = match documents.as_slice() {
        [one] if !several => serde_json::to_string_pretty(one),
        all => serde_json::to_string_pretty(all),
    };
    text.map(|t| t + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

/// The document of a capture with one of its transmitters alone.
pub fn of_one(measured: &Measured, transmitter: &Transmitter) -> Result<String> {
    let transmitters = std::slice::from_ref(transmitter);
    serde_json::to_string(&Document { transmitters, ..Document::of(measured) })
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

const CSV_HEADER: &str = "capture,label,carrier_hz,u_carrier_hz,carrier_drift_hz_per_s,\
u_carrier_drift_hz_per_s,period_s,u_period_s,period_jitter_s,on_time_s,u_on_time_s,off_time_s,\
u_off_time_s,field_a_per_m,u_field_a_per_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,\
residual_carrier_ratio,u_residual_carrier_ratio,pulses_expected,pulses_found,pulses_overlapped,\
first_pulse_s,notes";

/// One row a transmitter, header first; fields are empty where a value is absent.
pub fn csv(all: &[Measured]) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let bad = |e: csv::Error| Error::file("results", e.to_string(), "report this");
    writer.write_record(CSV_HEADER.split(',')).map_err(bad)?;
    for measured in all {
        for t in &measured.measurement.transmitters {
            let pair = |r: Reading| [r.value.to_string(), r.u.to_string()];
            let mut row = vec![shown(&measured.path), t.label.clone()];
            row.extend(pair(t.carrier_hz));
            row.extend(pair(t.carrier_drift_hz_per_s));
            row.extend(pair(t.period_s));
            row.push(t.period_jitter_s.to_string());
            row.extend(pair(t.on_time_s));
            row.extend(pair(t.off_time_s));
            row.extend(t.field_a_per_m.map_or_else(Default::default, pair));
            let vector = t.field_vector_a_per_m.as_deref().unwrap_or(&[]);
            row.extend((0..3).map(|i| vector.get(i).map(f64::to_string).unwrap_or_default()));
            row.extend(pair(t.residual_carrier_ratio));
            let counts = [t.pulses.expected, t.pulses.found, t.pulses.overlapped];
            row.extend(counts.map(|c| c.to_string()));
            row.push(t.first_pulse_s.to_string());
            row.push(t.notes.join("; "));
            writer.write_record(&row).map_err(bad)?;
        }
    }
    let bytes =
        writer.into_inner().map_err(|e| Error::file("results", e.to_string(), "report this"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// A table for people.
pub fn table(measured: &Measured) -> String {
    let Measurement { duration_s, gaps, noise_a_per_m_rthz, transmitters, .. } =
        &measured.measurement;
    let format = &measured.capture.format;
    let axes = if format.axes == 1 { "1 axis".to_owned() } else { format!("{} axes", format.axes) };
    let gaps = match gaps {
        0 => "no gaps".to_owned(),
        1 => "1 gap".to_owned(),
        n => format!("{n} gaps"),
    };
    let mut text = format!(
        "{}: {duration_s:.1} s, {} kS/s, {axes}, {gaps}",
        shown(&measured.path),
        format.sample_rate_hz / 1e3
    );
    if let Some(noise) = noise_a_per_m_rthz {
        let each: Vec<String> = noise.iter().map(|n| format!("{:.2}", n * 1e9)).collect();
        text += &format!(", noise {} nA/m/√Hz", each.join(" "));
    }
    text.push('\n');
    if transmitters.is_empty() {
        return text + "no transmitter found\n";
    }
    text += &align(&rows(transmitters));
    for t in transmitters {
        for note in &t.notes {
            text += &format!("{}: {note}\n", t.label);
        }
    }
    text
}

/// Residual carrier in per cent; u of 1 says that it was not measured.
pub fn residual(ratio: Reading) -> String {
    if ratio.u < 1.0 { units::plus_minus(ratio.scaled(100.0), "%") } else { "not measured".into() }
}

fn rows(transmitters: &[Transmitter]) -> Vec<Vec<String>> {
    let header =
        ["", "carrier", "from 457 kHz", "period", "on", "off", "field", "residual", "pulses"];
    let mut rows = vec![header.map(String::from).to_vec()];
    rows.extend(transmitters.iter().map(|t| {
        vec![
            t.label.clone(),
            units::plus_minus(t.carrier_hz, "Hz"),
            format!("{:+.1} Hz", t.carrier_hz.value - CARRIER_HZ),
            units::milliseconds(t.period_s),
            units::milliseconds(t.on_time_s),
            units::milliseconds(t.off_time_s),
            t.field_a_per_m.map_or_else(|| "not calibrated".into(), units::field_reading),
            residual(t.residual_carrier_ratio),
            format!("{} of {}", t.pulses.found, t.pulses.expected),
        ]
    }));
    rows
}
