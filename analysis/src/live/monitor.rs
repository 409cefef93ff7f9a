//! The analysis and what goes along with it, over one stream.

use num_complex::Complex32;
use serde::Serialize;

use super::recent::Recent;
use super::state::{Basis, State};
use super::waterfall::{Band, Row, Waterfall};
use crate::level::PeakMeter;
use crate::limits::LimitSet;
use crate::signal::{
    Analyser, CARRIER_HZ, Calibration, Event, FormatError, Measurement, Pulse, StreamFormat,
};
use crate::verification::CalibrationDetail;

/// A pulse as it is told.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PulseHeard {
    /// Number of the pulse in the stream.
    pub id: u64,
    /// Half-amplitude point of the rising edge, true seconds from the first sample.
    pub on_s: f64,
    /// That of the falling edge.
    pub off_s: f64,
    /// Its carrier.
    pub carrier_hz: f64,
    /// RMS magnitude in A/m, in counts without a calibration.
    pub field: f64,
    /// Another unit's pulse was on at the same time.
    pub overlapped: bool,
}

/// What is told at once.
#[derive(Clone, Debug, PartialEq)]
pub enum Update {
    /// A spectrum.
    Row(Row),
    /// A pulse that is over.
    Pulse(PulseHeard),
    /// The pulse of that number belongs to the train of that number.
    Assigned {
        /// [`PulseHeard::id`].
        pulse: u64,
        /// [`super::UnitHeard::trains`].
        train: usize,
    },
}

/// Watches a stream.
pub struct Monitor {
    format: StreamFormat,
    calibration: Calibration,
    detail: CalibrationDetail,
    limits: LimitSet,
    clock: f64,
    /// None once the stream is over.
    analyser: Option<Analyser>,
    /// What was known at the end.
    last: Measurement,
    waterfall: Waterfall,
    recent: Recent,
    meter: PeakMeter,
    names: Vec<usize>,
    samples: u64,
    clipped: bool,
}

impl Monitor {
    /// A monitor of a stream of this shape, whose carriers, times and residual carriers
    /// are held against `limits`. Samples of integers have `quantum` 1, and clip at
    /// `full_scale` counts, which is 0 dBFS.
    ///
    /// # Errors
    /// A format or calibration that cannot be one.
    pub fn new(
        format: StreamFormat,
        (calibration, detail): (Calibration, CalibrationDetail),
        limits: LimitSet,
        quantum: Option<f64>,
        full_scale: f64,
    ) -> Result<Self, FormatError> {
        let mut analyser = Analyser::new(format, calibration.clone())?;
        if let Some(step) = quantum {
            analyser = analyser.quantised(step);
        }
        Ok(Self {
            clock: calibration.clock_ratio(),
            last: analyser.measurement(),
            analyser: Some(analyser),
            waterfall: Waterfall::new(&format, &calibration),
            recent: Recent::new(&calibration, format.axes),
            meter: PeakMeter::new(format.axes, full_scale),
            names: Vec::new(),
            samples: 0,
            clipped: false,
            format,
            calibration,
            detail,
            limits,
        })
    }

    /// What the lines of rows stand for.
    pub fn band(&self) -> Band {
        self.waterfall.band()
    }

    /// True seconds from the first sample to the newest.
    pub fn now_s(&self) -> f64 {
        self.samples as f64 / self.format.sample_rate_hz / self.clock
    }

    /// Samples clipped: fields read too low from here on, limits are not kept by it.
    pub fn note_clipped(&mut self) {
        self.clipped = true;
    }

    /// Take samples, interleaved by axis (a whole number of frames).
    pub fn push(&mut self, samples: &[Complex32], tell: &mut dyn FnMut(Update)) {
        self.samples += (samples.len() / self.format.axes) as u64;
        self.meter.push(samples);
        self.waterfall.push(samples, &mut |row| tell(Update::Row(row)));
        let Self { analyser: Some(analyser), recent, clock, .. } = self else { return };
        analyser.push(samples, &mut |event| tell(told(event, recent, *clock)));
    }

    /// `missing` samples per axis were lost here.
    pub fn gap(&mut self, missing: u64, tell: &mut dyn FnMut(Update)) {
        self.samples += missing;
        self.waterfall.gap(missing);
        let Self { analyser: Some(analyser), recent, clock, .. } = self else { return };
        analyser.gap(missing, &mut |event| tell(told(event, recent, *clock)));
    }

    /// The stream is over: what is still inside comes out.
    pub fn finish(&mut self, tell: &mut dyn FnMut(Update)) {
        let Self { analyser, recent, clock, last, .. } = self;
        if let Some(analyser) = analyser.take() {
            *last = analyser.finish(&mut |event| tell(told(event, recent, *clock)));
        }
    }

    /// What is known now.
    pub fn state(&mut self) -> State {
        let measured =
            self.analyser.as_ref().map_or_else(|| self.last.clone(), Analyser::measurement);
        let level_dbfs = self.meter.take_dbfs();
        let level_dbfs = level_dbfs.into_iter().map(|db| db.is_finite().then_some(db)).collect();
        let basis = Basis {
            format: &self.format,
            calibration: &self.calibration,
            detail: &self.detail,
            limits: &self.limits,
            recent: &self.recent,
            clipped: self.clipped,
        };
        let units = basis.units(&measured, &mut self.names);
        State {
            at_s: self.now_s(),
            level_dbfs,
            units,
            gaps: measured.gaps,
            stray_pulses: measured.stray_pulses,
            steady_carriers_hz: measured.steady_carriers.iter().map(|c| c.carrier_hz).collect(),
            noise_a_per_m_rthz: measured.noise_a_per_m_rthz,
        }
    }
}

fn told(event: Event, recent: &mut Recent, clock: f64) -> Update {
    recent.take(&event);
    match event {
        Event::Pulse(pulse) => Update::Pulse(as_heard(&pulse, recent, clock)),
        Event::Assigned { pulse, train } => Update::Assigned { pulse, train },
    }
}

fn as_heard(pulse: &Pulse, recent: &Recent, clock: f64) -> PulseHeard {
    PulseHeard {
        id: pulse.id,
        on_s: pulse.on_s / clock,
        off_s: pulse.off_s / clock,
        carrier_hz: (CARRIER_HZ + pulse.offset_hz) * clock,
        field: recent.magnitude(pulse),
        overlapped: pulse.overlapped,
    }
}
