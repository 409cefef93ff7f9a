//! The values of a calibration file from its records.

use coilrig_analysis::calibration::assembly::{self, AxisScale};
use coilrig_analysis::calibration::noise;
use coilrig_analysis::calibration::rotation::Rotation;
use coilrig_analysis::calibration::scale::AXES;
use coilrig_analysis::calibration::source::Arrangement;
use coilrig_analysis::reading::Reading;

use super::records::{ClockRecord, Made, NoiseRecord, ReferenceRecord, RotationRecord, Stated};
use super::{Calibration, GainStep};

/// A measurement to be added.
#[derive(Clone, Debug)]
pub enum Record {
    /// One axis in a known field.
    Reference(ReferenceRecord),
    /// The coils against each other.
    Rotation(RotationRecord),
    /// The clock.
    Clock(ClockRecord),
    /// The noise.
    Noise(NoiseRecord),
}

impl Record {
    fn made(&self) -> &Made {
        match self {
            Self::Reference(record) => &record.made,
            Self::Rotation(record) => &record.made,
            Self::Clock(record) => &record.made,
            Self::Noise(record) => &record.made,
        }
    }
}

impl Calibration {
    /// Add a measurement of a receiver of so many `channels` and make the values
    /// anew. Nothing that was there is lost: earlier records stay, and values that
    /// were stated by hand are kept beside.
    pub fn add(&mut self, record: Record, channels: usize) {
        if !self.has_records() && self.stated.is_none() && self.states_values() {
            self.stated = Some(Stated {
                date: self.date.clone(),
                method: self.method.clone(),
                expires: self.expires.clone(),
                clock_offset_ppm: self.clock_offset_ppm,
                clock_offset_u_ppm: self.clock_offset_u_ppm,
                axes: self.axes,
                gain_steps: self.gain_steps.clone(),
            });
        }
        let made = record.made().clone();
        match record {
            Record::Reference(record) => self.references.push(record),
            Record::Rotation(record) => self.rotations.push(record),
            Record::Clock(record) => self.clocks.push(record),
            Record::Noise(record) => self.noises.push(record),
        }
        self.channels = Some(channels);
        self.date = made.date;
        self.by = made.by;
        self.temperature_c = made.temperature_c;
        self.derive();
    }

    fn states_values(&self) -> bool {
        self.clock_offset_ppm.is_some() || self.axes.is_some() || !self.gain_steps.is_empty()
    }

    fn derive(&mut self) {
        if let Some(clock) = self.clocks.last() {
            self.clock_offset_ppm = Some(clock.offset_ppm);
            self.clock_offset_u_ppm = Some(clock.u_offset_ppm);
            self.clock_degrees_of_freedom = Some(clock.degrees_of_freedom);
        }
        if let Some(rotation) = self.rotations.last() {
            self.axes = Some(rotation.result.axes);
            self.axes_u = Some(rotation.result.u_axes);
        }
        let mut steps: Vec<u8> = self.references.iter().map(|r| r.gain_step).collect();
        steps.extend(self.gain_steps.iter().map(|s| s.step));
        steps.sort_unstable();
        steps.dedup();
        self.gain_steps = steps.into_iter().filter_map(|step| self.derived_step(step)).collect();
        self.expires = self.earliest_end();
        self.method = self.methods();
    }

    /// The newest measurement of an axis at a gain step.
    fn newest(&self, step: u8, axis: usize) -> Option<&ReferenceRecord> {
        self.references.iter().rfind(|r| r.gain_step == step && r.axis == AXES[axis])
    }

    /// The newest turns at a gain step.
    fn turned(&self, step: u8) -> Option<&Rotation> {
        self.rotations.iter().rfind(|r| r.gain_step == step).map(|r| &r.result)
    }

    /// Names of the axes that were measured at a gain step.
    pub fn measured_axes(&self, step: u8) -> Vec<&'static str> {
        (0..3).filter(|axis| self.newest(step, *axis).is_some()).map(|axis| AXES[axis]).collect()
    }

    /// What was measured of each axis in a known field, at a gain step.
    fn measured(&self, step: u8) -> [Option<AxisScale>; 3] {
        let scale = |r: &ReferenceRecord| AxisScale {
            field_per_count: Reading::new(r.field_per_count, r.u_rel * r.field_per_count),
            degrees_of_freedom: r.degrees_of_freedom,
            of_source_rel: r.u_source_rel,
        };
        std::array::from_fn(|axis| self.newest(step, axis).map(scale))
    }

    /// Whether the axes of a gain step were all measured in the same source.
    fn is_one_source(&self, step: u8) -> bool {
        let mut all = (0..3).filter_map(|axis| self.newest(step, axis));
        all.next().is_some_and(|first| all.all(|other| first.has_source_of(other)))
    }

    /// The whole gain step when each of its axes is known.
    fn derived_step(&self, step: u8) -> Option<GainStep> {
        let channels = self.channels.unwrap_or(3);
        // A value stated by hand stays until the axis is measured.
        let stated = self.stated.as_ref();
        let stated = stated.and_then(|s| s.gain_steps.iter().find(|s| s.step == step));
        let stated = |axis: usize| {
            let scale = stated?;
            let (value, u_rel) = (*scale.field_per_count.get(axis)?, *scale.u_rel.get(axis)?);
            let field_per_count = Reading::new(value, u_rel * value);
            let freedom = scale.degrees_of_freedom.as_ref().map_or(f64::INFINITY, |d| d[axis]);
            Some(AxisScale { field_per_count, degrees_of_freedom: freedom, of_source_rel: 0.0 })
        };
        let known = self.measured(step);
        let measured = assembly::complete(known, self.turned(step));
        let all: Vec<AxisScale> = (0..channels)
            .map(|axis| measured[axis].or_else(|| stated(axis)))
            .collect::<Option<_>>()?;
        let field_per_count: Vec<f64> = all.iter().map(|s| s.field_per_count.value).collect();
        // With a value stated by hand nobody knows what they share.
        let is_measured = measured[..channels.min(3)].iter().all(Option::is_some);
        let common = assembly::common_u_rel(&known, self.is_one_source(step));
        let noise = self.noises.iter().rfind(|n| n.gain_step == step);
        let noise: Option<Vec<f64>> =
            noise.filter(|noise| noise.counts_rthz.len() == channels).map(|noise| {
                noise.counts_rthz.iter().zip(&field_per_count).map(|(n, f)| n * f).collect()
            });
        let loudest = noise.as_ref().map(|n| n.iter().copied().fold(0.0, f64::max));
        Some(GainStep {
            step,
            u_rel: all.iter().map(|s| s.field_per_count.u_rel()).collect(),
            u_common_rel: common.filter(|_| is_measured && channels > 1),
            degrees_of_freedom: Some(all.iter().map(|s| s.degrees_of_freedom).collect()),
            smallest_field_a_per_m: loudest.map(|n| noise::smallest_field_a_per_m(channels, n)),
            noise_a_per_m_rthz: noise,
            field_per_count,
        })
    }

    /// Pairs of axes whose gains differ by turning and in a known field, as a
    /// person should know of.
    pub fn contradictions(&self) -> Vec<String> {
        let of = |step: &GainStep| -> Vec<String> {
            let Some(rotation) = self.turned(step.step) else { return Vec::new() };
            let compared = assembly::compare(&self.measured(step.step), rotation);
            let beyond = compared.into_iter().filter(|(_, _, over_u)| over_u.abs() > 3.0);
            let told = |((i, j), percent, over_u): ((usize, usize), f64, f64)| {
                format!(
                    "gain step {}: coils {} and {} differ by {percent:+.1} % between the known \
                     field and the turns, {over_u:.1} times the uncertainty: one of the two is \
                     wrong",
                    step.step, AXES[i], AXES[j]
                )
            };
            beyond.map(told).collect()
        };
        self.gain_steps.iter().flat_map(of).collect()
    }

    /// The records whose results are in use.
    fn parts_in_use(&self) -> impl Iterator<Item = &Made> {
        let reference = |r: &&ReferenceRecord| {
            let axis = AXES.iter().position(|name| *name == r.axis);
            axis.and_then(|axis| self.newest(r.gain_step, axis))
                .is_some_and(|n| std::ptr::eq(n, *r))
        };
        let references = self.references.iter().filter(reference).map(|r| &r.made);
        let rotation = self.rotations.last().map(|r| &r.made);
        let clock = self.clocks.last().map(|r| &r.made);
        references.chain(rotation).chain(clock)
    }

    /// The day on which the first part in use stops to count. Noise does not age a
    /// result; it is only told of.
    fn earliest_end(&self) -> Option<String> {
        // ISO dates sort as text.
        let ends = self.parts_in_use().map(|made| made.expires.clone());
        let stated = self.stated.as_ref().filter(|stated| self.still_uses(stated));
        let stated = stated.map(|stated| {
            let year =
                |date: jiff::civil::Date| super::age::after(date, super::age::VALID_FOR_DAYS);
            let end = || stated.date.parse().map(|date| year(date).to_string());
            stated.expires.clone().or_else(|| end().ok()).unwrap_or_else(|| stated.date.clone())
        });
        let noise = self.noises.last().map(|n| n.made.expires.clone());
        ends.chain(stated).min().or(noise)
    }

    /// Whether any value stated by hand is still in use.
    fn still_uses(&self, stated: &Stated) -> bool {
        let channels = self.channels.unwrap_or(3);
        let scale = |step: &GainStep| {
            let measured = assembly::complete(self.measured(step.step), self.turned(step.step));
            measured[..channels.min(3)].iter().any(Option::is_none)
        };
        (stated.clock_offset_ppm.is_some() && self.clocks.is_empty())
            || (stated.axes.is_some() && self.rotations.is_empty())
            || stated.gain_steps.iter().any(scale)
    }

    fn methods(&self) -> String {
        let of = |kind: Arrangement| self.references.iter().any(|r| r.kind == kind);
        let stated = self.stated.as_ref().filter(|stated| self.still_uses(stated));
        let parts = [
            of(Arrangement::Loop).then(|| "reference loop".to_owned()),
            of(Arrangement::Pair).then(|| "Helmholtz pair".to_owned()),
            (!self.rotations.is_empty()).then(|| "rotation in a steady field".to_owned()),
            (!self.clocks.is_empty()).then(|| "clock against a known carrier".to_owned()),
            (!self.noises.is_empty()).then(|| "noise with nothing on".to_owned()),
            stated.map(|stated| format!("the rest stated: {}", stated.method)),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}
