//! The spectrum around 457 kHz over time.
//!
//! Hann windows of about an eighth of a second, half overlapped, so that a pulse shows
//! as a bar of its own length and carriers 15 Hz apart as two. A steady carrier of RMS
//! field H shows as H whatever the window (its sum is divided out); noise shows with the
//! window's noise bandwidth of 1.5 lines.

use std::f64::consts::TAU;
use std::sync::Arc;

use num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use serde::Serialize;

use crate::signal::{CARRIER_HZ, Calibration, StreamFormat};

/// Length of a window, s, before it is rounded to a power of two of samples.
const WINDOW_S: f64 = 0.128;
/// Half of the band that is shown: that in which carriers are looked for.
const HALF_BAND_HZ: f64 = 300.0;
/// The least that is shown: below, there is no signal but rounding.
const LEAST: f64 = 1e-15;

/// Which carriers the lines of a row stand for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Carrier of the first line.
    pub first_hz: f64,
    /// From line to line.
    pub step_hz: f64,
    /// How many lines.
    pub lines: usize,
}

/// One spectrum.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Middle of its window, true seconds from the first sample.
    pub at_s: f64,
    /// Level of each line, dB over 1 A/m; over 1 count without a calibration.
    pub level_db: Vec<i16>,
}

/// Makes rows of samples.
pub(super) struct Waterfall {
    axes: usize,
    rate_hz: f64,
    clock: f64,
    to_field: [[f64; 3]; 3],
    window: Vec<f32>,
    fft: Arc<dyn Fft<f32>>,
    /// Lines of the transform that are shown, from the lowest carrier on.
    shown: Vec<usize>,
    band: Band,
    /// Samples not yet out of all windows, interleaved by axis.
    frames: Vec<Complex32>,
    /// Samples per axis before those.
    passed: u64,
    work: Vec<Complex32>,
}

impl Waterfall {
    pub(super) fn new(format: &StreamFormat, calibration: &Calibration) -> Self {
        let rate_hz = format.sample_rate_hz;
        let size = 1_usize << (WINDOW_S * rate_hz).log2().round() as u32;
        let window: Vec<f32> =
            (0..size).map(|k| (0.5 - 0.5 * (TAU * k as f64 / size as f64).cos()) as f32).collect();
        let step_hz = rate_hz / size as f64;
        let centre = CARRIER_HZ - format.tuned_hz;
        let reach = 0.45 * rate_hz;
        let low = ((centre - HALF_BAND_HZ).max(-reach) / step_hz).ceil() as i64;
        let high = ((centre + HALF_BAND_HZ).min(reach) / step_hz).floor() as i64;
        let clock = calibration.clock_ratio();
        let band = Band {
            first_hz: (format.tuned_hz + low as f64 * step_hz) * clock,
            step_hz: step_hz * clock,
            lines: (high - low + 1) as usize,
        };
        Self {
            axes: format.axes,
            rate_hz,
            clock,
            to_field: calibration.magnitude_matrix(format.axes),
            fft: FftPlanner::new().plan_fft_forward(size),
            shown: (low..=high).map(|k| k.rem_euclid(size as i64) as usize).collect(),
            band,
            frames: Vec::new(),
            passed: 0,
            work: vec![Complex32::ZERO; size * format.axes],
            window,
        }
    }

    pub(super) fn band(&self) -> Band {
        self.band
    }

    pub(super) fn push(&mut self, samples: &[Complex32], tell: &mut dyn FnMut(Row)) {
        self.frames.extend_from_slice(samples);
        let size = self.window.len();
        let hop = size / 2;
        while self.frames.len() >= size * self.axes {
            tell(self.row());
            self.frames.drain(..hop * self.axes);
            self.passed += hop as u64;
        }
    }

    /// No window spans missing samples.
    pub(super) fn gap(&mut self, missing: u64) {
        self.passed += (self.frames.len() / self.axes) as u64 + missing;
        self.frames.clear();
    }

    fn row(&mut self) -> Row {
        let size = self.window.len();
        for (axis, spectrum) in self.work.chunks_exact_mut(size).enumerate() {
            let own = self.frames.iter().skip(axis).step_by(self.axes);
            for ((out, sample), weight) in spectrum.iter_mut().zip(own).zip(&self.window) {
                *out = sample * weight;
            }
            self.fft.process(spectrum);
        }
        let sum: f32 = self.window.iter().sum();
        let middle = self.passed as f64 + size as f64 / 2.0;
        let level_db = self.shown.iter().map(|k| self.level_db(*k, f64::from(sum))).collect();
        Row { at_s: middle / self.rate_hz / self.clock, level_db }
    }

    fn level_db(&self, line: usize, sum: f64) -> i16 {
        let size = self.window.len();
        let power: f64 = (self.to_field.iter())
            .map(|row| {
                let part = |axis: usize| {
                    let z = self.work[axis * size + line];
                    (row[axis] * f64::from(z.re), row[axis] * f64::from(z.im))
                };
                let (re, im) =
                    (0..self.axes).map(part).fold((0.0, 0.0), |(re, im), (x, y)| (re + x, im + y));
                re * re + im * im
            })
            .sum();
        (20.0 * (power.sqrt() / sum).max(LEAST).log10()).round() as i16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORMAT: StreamFormat =
        StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };

    fn tone(offset_hz: f64, magnitude: f64, seconds: f64) -> Vec<Complex32> {
        let at = |k: usize| {
            let z = num_complex::Complex64::from_polar(
                magnitude,
                TAU * offset_hz * k as f64 / FORMAT.sample_rate_hz,
            );
            // Along x and z, 3 to 4.
            [0.6, 0.0, 0.8].map(|part| Complex32::new((part * z.re) as f32, (part * z.im) as f32))
        };
        (0..(seconds * FORMAT.sample_rate_hz) as usize).flat_map(at).collect()
    }

    #[test]
    fn a_carrier_shows_its_field_at_its_place() {
        let calibration =
            Calibration { field_per_count: Some(vec![1e-9; 3]), ..Calibration::default() };
        let mut waterfall = Waterfall::new(&FORMAT, &calibration);
        let band = waterfall.band();
        assert!(band.first_hz > 456_699.9 && band.first_hz < 456_710.0);
        let line = 45;
        let offset_hz = band.first_hz + line as f64 * band.step_hz - 457_000.0;
        let mut rows = Vec::new();
        for piece in tone(offset_hz, 1000.0, 0.5).chunks(3 * 160) {
            waterfall.push(piece, &mut |row| rows.push(row));
        }
        // 0.5 s hold the first window of 0.128 s and five more, each 0.064 s on.
        assert_eq!(rows.len(), 6);
        for (k, row) in rows.iter().enumerate() {
            assert!((row.at_s - 0.064 * (k + 1) as f64).abs() < 1e-9);
            assert_eq!(row.level_db.len(), band.lines);
            // 1000 counts of 1 nA/m: 1 µA/m is −120 dB over 1 A/m, 6 dB less a line beside.
            assert_eq!(row.level_db[line], -120);
            assert_eq!(row.level_db[line + 1], -126);
            assert!(row.level_db[line + 4] < -180);
        }
    }

    #[test]
    fn no_window_spans_a_gap() {
        let mut waterfall = Waterfall::new(&FORMAT, &Calibration::default());
        let mut rows = Vec::new();
        waterfall.push(&tone(0.0, 1.0, 0.1), &mut |row| rows.push(row));
        waterfall.gap(7200);
        waterfall.push(&tone(0.0, 1.0, 0.1), &mut |row| rows.push(row));
        assert!(rows.is_empty());
        waterfall.push(&tone(0.0, 1.0, 0.1), &mut |row| rows.push(row));
        assert!((rows[0].at_s - 1.064).abs() < 1e-9, "{}", rows[0].at_s);
    }
}
