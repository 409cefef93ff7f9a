//! Noise floor per axis, from the median power of narrow cells.
//!
//! Cells (one block, one frequency) of white noise have exponentially
//! distributed power with median mean · ln 2. Pulses are taken out before the
//! cells are read, steady carriers fill a few of many, so the median stands.

/// Slow running estimate of the noise power per sample and axis.
#[derive(Clone, Debug)]
pub(super) struct NoiseFloor {
    current: [f64; 3],
    floor: [f64; 3],
    log_sum: [f64; 3],
    /// Cells that `log_sum` is weighted by.
    cells: f64,
    hops: f64,
}

/// Weight of one hop in the running estimate.
const GAIN: f64 = 0.06;
/// No axis is taken for quieter than this times the noise power of the loudest.
const QUIETEST_AXIS: f64 = 1e-4;

impl NoiseFloor {
    /// `least` is the noise power per working sample that the samples cannot be
    /// without: that of their quantisation.
    pub(super) fn new(least: f64) -> Self {
        let floor = [least.max(f64::MIN_POSITIVE); 3];
        Self { current: [0.0; 3], floor, log_sum: [0.0; 3], cells: 0.0, hops: 0.0 }
    }

    /// Noise power per working sample, E|z|², counts².
    pub(super) fn per_sample(&self) -> [f64; 3] {
        // A dead coil must not outweigh the live ones by being silent.
        let loudest = self.current.iter().copied().fold(0.0, f64::max);
        std::array::from_fn(|a| self.current[a].max(self.floor[a]).max(QUIETEST_AXIS * loudest))
    }

    /// Whether any estimate has been made.
    pub(super) fn is_known(&self) -> bool {
        self.current.iter().any(|c| *c > 0.0)
    }

    /// First guess, while pulses are still in: the lower quartile, which pulses
    /// move less than the median (quartile of the exponential: mean · ln 4/3).
    pub(super) fn begin(&mut self, cells: &mut [Vec<f64>; 3], strongest: f64) {
        for (axis, cells) in cells.iter_mut().enumerate() {
            self.current[axis] = quantile(cells, 0.25) / (4.0f64 / 3.0).ln();
        }
        self.raise_floor(strongest);
    }

    /// One hop's cells with the pulses taken out.
    /// A hop without cells, at a break in the samples, says nothing.
    pub(super) fn update(&mut self, cells: &mut [Vec<f64>; 3]) {
        let count = cells[0].len() as f64;
        if count == 0.0 {
            return;
        }
        let gain = GAIN.max(1.0 / (self.hops + 1.0));
        for (axis, cells) in cells.iter_mut().enumerate() {
            let measured = quantile(cells, 0.5) / std::f64::consts::LN_2;
            self.current[axis] += gain * (measured - self.current[axis]);
            self.log_sum[axis] += count * measured.max(self.floor[axis]).ln();
        }
        self.cells += count;
        self.hops += 1.0;
    }

    /// A recording without any noise must not make every rounding error a
    /// signal: the floor never lies more than 140 dB below the strongest sample.
    pub(super) fn raise_floor(&mut self, strongest: f64) {
        self.floor.iter_mut().for_each(|f| *f = f.max(1e-14 * strongest));
    }

    /// Mean over the capture (of the logarithm, against single loud stretches).
    pub(super) fn mean_per_sample(&self) -> [f64; 3] {
        if self.hops == 0.0 {
            return self.per_sample();
        }
        self.log_sum.map(|s| (s / self.cells).exp())
    }
}

fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let at = ((values.len() - 1) as f64 * share).round() as usize;
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}
