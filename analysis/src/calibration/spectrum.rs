//! Mean power spectrum of slow samples, and the noise floor and lines in it.

use num_complex::Complex64;
use rustfft::FftPlanner;

use super::slow::Slow;

/// Length of a window in slow samples: half a second to a second.
pub(super) const WINDOW: usize = 1024;
/// Looked at on either side of 457 kHz.
const BAND_HZ: f64 = 300.0;
/// Cells on either side of a line that a Hann window lets it reach.
const REACH: usize = 3;

/// Power spectra of Hann windows, averaged.
pub(super) struct Spectrum {
    /// For each cell, from the lowest frequency on, power of each axis: |z|² of a
    /// sample, noise spread over the cells.
    cells: Vec<[f64; 3]>,
    /// Offset of the first cell from 457 kHz, and from one to the next.
    first_hz: f64,
    step_hz: f64,
    windows: usize,
    axes: usize,
    /// Mean power in the band of each window and axis.
    courses: Vec<[f64; 3]>,
}

/// A carrier that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Line {
    /// Offset from 457 kHz, to a cell.
    pub(super) offset_hz: f64,
    /// Power over noise in its cell, summed over the axes.
    pub(super) over_noise: f64,
    cell: usize,
}

impl Spectrum {
    /// Of all windows that fit into the stretches; `None` when there is none.
    pub(super) fn of(slow: &Slow) -> Option<Self> {
        let axes = slow.axes();
        let rate_hz = slow.rate_hz();
        let fft = FftPlanner::new().plan_fft_forward(WINDOW);
        let hann =
            |n: usize| (std::f64::consts::PI * (n as f64 + 0.5) / WINDOW as f64).sin().powi(2);
        let window: Vec<f64> = (0..WINDOW).map(hann).collect();
        let square: f64 = window.iter().map(|w| w * w).sum();
        let reach = (BAND_HZ / rate_hz * WINDOW as f64) as usize;
        let mut cells = vec![[0.0; 3]; 2 * reach + 1];
        let mut courses = Vec::new();
        let mut buffer = vec![Complex64::ZERO; WINDOW];
        for frames in slow.stretches().iter().flat_map(|s| s.frames.chunks_exact(WINDOW)) {
            let mut course = [0.0; 3];
            for axis in 0..axes {
                let weighted = frames.iter().zip(&window).map(|(f, w)| f[axis] * w);
                buffer.iter_mut().zip(weighted).for_each(|(b, z)| *b = z);
                fft.process(&mut buffer);
                for (k, cell) in cells.iter_mut().enumerate() {
                    let power = buffer[(k + WINDOW - reach) % WINDOW].norm_sqr() / square;
                    cell[axis] += power;
                    course[axis] += power / (2 * reach + 1) as f64;
                }
            }
            courses.push(course);
        }
        let windows = courses.len();
        cells.iter_mut().flatten().for_each(|p| *p /= windows as f64);
        let step_hz = rate_hz / WINDOW as f64;
        let first_hz = -(reach as f64) * step_hz;
        (windows > 0).then_some(Self { cells, first_hz, step_hz, windows, axes, courses })
    }

    /// Noise power per slow sample and axis: the middle cell, which lines do not
    /// move. The mean of w exponential powers has its middle at about
    /// (1 − 1/3w) of the mean (median of the Gamma distribution).
    pub(super) fn noise(&self) -> [f64; 3] {
        let middle = 1.0 - 1.0 / (3.0 * self.windows as f64);
        std::array::from_fn(|axis| {
            if axis >= self.axes {
                return 0.0;
            }
            let mut powers: Vec<f64> = self.cells.iter().map(|c| c[axis]).collect();
            let at = powers.len() / 2;
            let median = *powers.select_nth_unstable_by(at, f64::total_cmp).1;
            median / middle
        })
    }

    /// Power per slow sample and axis in each window, all cells of the band.
    pub(super) fn courses(&self) -> &[[f64; 3]] {
        &self.courses
    }

    /// Windows averaged.
    pub(super) fn windows(&self) -> usize {
        self.windows
    }

    /// The strongest cell in units of `noise`, those near `beside` left out.
    pub(super) fn strongest(&self, noise: &[f64; 3], beside: Option<&Line>) -> Option<Line> {
        let free = |k: &usize| beside.is_none_or(|line| k.abs_diff(line.cell) > REACH);
        let line = |cell: usize| Line {
            offset_hz: self.first_hz + cell as f64 * self.step_hz,
            over_noise: (0..self.axes).map(|a| self.cells[cell][a] / noise[a]).sum(),
            cell,
        };
        let all = (0..self.cells.len()).filter(free).map(line);
        all.max_by(|a, b| a.over_noise.total_cmp(&b.over_noise))
    }
}
