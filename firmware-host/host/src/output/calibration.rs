//! What a part of a calibration came to, for people and as JSON.

use std::path::Path;

use coilrig_analysis::calibration::noise;
use coilrig_analysis::calibration::scale::AXES;
use coilrig_analysis::calibration::source::Arrangement;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::uncertainty::coverage;
use coilrig_analysis::units;
use serde::Serialize;

use super::columns::align;
use crate::calibration::records::{
    BudgetLine, ClockRecord, Made, NoiseRecord, ReferenceRecord, RotationRecord,
};
use crate::calibration::{Calibration, GainStep, Record};
use crate::error::{Error, Result};

/// Coverage probability of expanded uncertainties.
const COVERAGE: f64 = 0.95;

/// A part that was just added to a calibration.
pub struct Told<'a> {
    /// The file.
    pub file: &'a Path,
    /// All of it.
    pub calibration: &'a Calibration,
    /// The part.
    pub record: &'a Record,
}

/// `coilrig-calibrate/1`.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    file: String,
    receiver: &'a str,
    part: &'static str,
    result: Part<'a>,
    gain_steps: &'a [GainStep],
    clock_offset_ppm: Option<Reading>,
    axes: Option<[[f64; 3]; 3]>,
    expires: Option<&'a str>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Part<'a> {
    Reference(&'a ReferenceRecord),
    Rotation(&'a RotationRecord),
    Clock(&'a ClockRecord),
    Noise(&'a NoiseRecord),
}

impl Told<'_> {
    /// One JSON document.
    pub fn json(&self) -> Result<String> {
        let of = self.calibration;
        let (part, result) = match self.record {
            Record::Reference(record) => (kind(record.kind), Part::Reference(record)),
            Record::Rotation(record) => ("rotation", Part::Rotation(record)),
            Record::Clock(record) => ("clock", Part::Clock(record)),
            Record::Noise(record) => ("noise", Part::Noise(record)),
        };
        let clock = of.clock_offset_ppm.zip(of.clock_offset_u_ppm);
        let document = Document {
            format: "coilrig-calibrate/1",
            file: self.file.display().to_string(),
            receiver: &of.receiver,
            part,
            result,
            gain_steps: &of.gain_steps,
            clock_offset_ppm: clock.map(|(value, u)| Reading::new(value, u)),
            axes: of.axes,
            expires: of.expires.as_deref(),
        };
        serde_json::to_string_pretty(&document).map(|text| text + "\n").map_err(|e| {
            Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
        })
    }

    /// Lines for people.
    pub fn text(&self) -> String {
        let (part, made) = match self.record {
            Record::Reference(record) => (reference(record), &record.made),
            Record::Rotation(record) => (rotation(record), &record.made),
            Record::Clock(record) => (clock(record), &record.made),
            Record::Noise(record) => (self.noise(record), &record.made),
        };
        let receiver = &self.calibration.receiver;
        format!("receiver {receiver}, {}\n{part}{}{}", day(made), self.state(), self.written(made))
    }

    fn noise(&self, record: &NoiseRecord) -> String {
        let of = record.counts_rthz.iter().zip(&record.u_rel);
        let counts: Vec<String> =
            of.map(|(n, u)| units::plus_minus(Reading::new(*n, n * u), "")).collect();
        let mut text = format!(
            "noise at gain step {}, {:.0} s: {} counts/√Hz\n",
            record.gain_step,
            record.heard_s,
            counts.join(", ")
        );
        match self.calibration.gain_step(record.gain_step) {
            Some(step) => text += &floor(step),
            None => {
                text += "the field per count is not known yet, so neither is the noise in A/m\n"
            }
        }
        text
    }

    /// How far the calibration is.
    fn state(&self) -> String {
        let of = self.calibration;
        let mut text = String::new();
        let mut steps: Vec<u8> = of.references.iter().map(|r| r.gain_step).collect();
        steps.extend(of.gain_steps.iter().map(|s| s.step));
        steps.sort_unstable();
        steps.dedup();
        for step in steps {
            match of.gain_step(step) {
                Some(scale) => text += &scale_line(scale),
                None => {
                    text += &format!(
                        "gain step {step}: only {} known; measure the other coils, or turn the \
                         receiver\n",
                        of.measured_axes(step).join(" and ")
                    );
                }
            }
        }
        if of.gain_steps.is_empty() {
            text += "not yet for fields: no gain step is known on all coils\n";
        }
        text
    }

    fn written(&self, made: &Made) -> String {
        format!("written to {}; this part counts until {}\n", self.file.display(), made.expires)
    }
}

fn kind(arrangement: Arrangement) -> &'static str {
    match arrangement {
        Arrangement::Loop => "loop",
        Arrangement::Pair => "pair",
    }
}

fn day(made: &Made) -> String {
    let by = made.by.as_ref().map_or(String::new(), |by| format!(" by {by}"));
    let cold = made.temperature_c.map_or(String::new(), |c| format!(" at {c} °C"));
    format!("{}{by}{cold}", made.date)
}

fn scale_line(scale: &GainStep) -> String {
    let of = scale.field_per_count.iter().zip(&scale.u_rel);
    let each: Vec<String> = of
        .map(|(value, u_rel)| units::plus_minus(Reading::new(value * 1e9, u_rel * value * 1e9), ""))
        .collect();
    format!("gain step {}: {} nA/m per count\n", scale.step, each.join(", "))
}

fn floor(step: &GainStep) -> String {
    let noise = step.noise_a_per_m_rthz.as_deref().unwrap_or(&[]);
    let noise: Vec<String> = noise.iter().map(|n| units::significant(n * 1e9, 3)).collect();
    let mut text = format!("that is {} nA/m/√Hz", noise.join(", "));
    if let Some(field) = step.smallest_field_a_per_m {
        text += &format!(
            "\nsmallest field that can be measured: {}\n({})",
            units::field(field),
            noise::definition()
        );
    }
    text + "\n"
}

fn reference(record: &ReferenceRecord) -> String {
    let u = record.u_rel * record.field_per_count;
    let factor = coverage::factor(COVERAGE, record.degrees_of_freedom);
    format!(
        "coil {}, gain step {}: {} repeats in {}\n\
         field per count {}, {} %; {:.0} % of such intervals cover it: ± {} % (k = {})\n{}",
        record.axis,
        record.gain_step,
        record.reading.len(),
        units::field(record.field_a_per_m),
        units::plus_minus(Reading::new(record.field_per_count * 1e9, u * 1e9), "nA/m"),
        units::significant(100.0 * record.u_rel, 2),
        100.0 * COVERAGE,
        units::significant(100.0 * factor * record.u_rel, 2),
        units::significant(factor, 3),
        budget(&record.budget, 100.0 / record.field_per_count, "%")
    )
}

fn rotation(record: &RotationRecord) -> String {
    let result = &record.result;
    let gains = (0..3).map(|i| format!("{} {}", AXES[i], units::plus_minus(result.gains[i], "")));
    let pairs = ["x and y", "x and z", "y and z"];
    let angles =
        (0..3).map(|i| format!("{} {}", pairs[i], units::plus_minus(result.angles_deg[i], "°")));
    let rows: Vec<Vec<String>> = (0..3)
        .map(|i| {
            let element = |j: usize| {
                units::plus_minus(Reading::new(result.axes[i][j], result.u_axes[i][j]), "")
            };
            std::iter::once("  ".to_owned()).chain((0..3).map(element)).collect()
        })
        .collect();
    format!(
        "{} turns at gain step {}; the field scatters by {} %, noise explains {} %\n\
         gains over their mean: {}\nangles between the coils: {}\n\
         matrix from coils to orthogonal components:\n{}",
        result.turns,
        record.gain_step,
        units::significant(100.0 * result.scatter_rel, 2),
        units::significant(100.0 * result.noise_rel, 2),
        gains.collect::<Vec<_>>().join(", "),
        angles.collect::<Vec<_>>().join(", "),
        align(&rows)
    )
}

fn clock(record: &ClockRecord) -> String {
    let offset = Reading::new(record.offset_ppm, record.u_offset_ppm);
    let factor = coverage::factor(COVERAGE, record.degrees_of_freedom);
    let runs = if record.offset_ppm < 0.0 { "slow" } else { "fast" };
    format!(
        "clock: {} ({runs}), 95 % within ± {} ppm\n{}",
        units::plus_minus(offset, "ppm"),
        units::significant(factor * record.u_offset_ppm, 2),
        budget(&record.budget, 1.0, "ppm")
    )
}

/// A number with so many digits; a small one with its power of ten.
fn number(value: f64, digits: i32) -> String {
    if value == 0.0 || value.abs() >= 1e-3 {
        return units::significant(value, digits);
    }
    let power = value.abs().log10().floor() as i32;
    format!("{}e{power}", units::significant(value / 10f64.powi(power), digits))
}

/// The lines of a budget; contributions times `factor` are in `unit`.
fn budget(lines: &[BudgetLine], factor: f64, unit: &str) -> String {
    let header = ["contribution", "type", "value", "u", "dof", &format!("u in {unit}"), "share"];
    let mut rows = vec![header.map(String::from).to_vec()];
    for line in lines {
        let freedom = line.degrees_of_freedom;
        rows.push(vec![
            line.name.clone(),
            line.evaluation.clone(),
            format!("{} {}", number(line.value, 6), line.unit).trim_end().to_owned(),
            format!("{} {}", number(line.u, 2), line.unit).trim_end().to_owned(),
            if freedom.is_finite() { format!("{freedom:.0}") } else { "∞".into() },
            number(factor * line.u_contribution, 2),
            format!("{:.1} %", 100.0 * line.share),
        ]);
    }
    align(&rows)
}
