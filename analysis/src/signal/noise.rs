//! Noise floor per axis, from the cells of short-time spectra.
//!
//! Cells of white noise have exponentially distributed power. Their mean below
//! a clip at four times the floor, over what the exponential has there, is the
//! floor again: pulses are taken out before, and what is left of them, steady
//! carriers and impulses fill a few cells of many, above the clip.

/// Slow running estimate of the noise power per sample and axis.
#[derive(Clone, Debug)]
pub(super) struct NoiseFloor {
    current: [f64; 3],
    floor: [f64; 3],
    log_sum: [f64; 3],
    windows: f64,
}

/// Weight of one window in the running estimate.
const GAIN: f64 = 0.015;
/// Cells above this times the floor are left out.
const CLIP: f64 = 4.0;
/// No axis is taken for quieter than this times the noise power of the loudest.
const QUIETEST_AXIS: f64 = 1e-4;

impl NoiseFloor {
    /// `least` is the noise power per working sample that the samples cannot be
    /// without: that of their quantisation.
    pub(super) fn new(least: f64) -> Self {
        let floor = [least.max(f64::MIN_POSITIVE); 3];
        Self { current: [0.0; 3], floor, log_sum: [0.0; 3], windows: 0.0 }
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

    /// First guess, while pulses and carriers are still in: the lower quartile of
    /// all cells, which they move less than the median (exponential: mean · ln 4/3).
    pub(super) fn begin(&mut self, cells: &mut [Vec<f32>; 3], strongest: f64) {
        for (axis, cells) in cells.iter_mut().enumerate().filter(|(_, c)| !c.is_empty()) {
            let at = cells.len() / 4;
            let quartile = f64::from(*cells.select_nth_unstable_by(at, f32::total_cmp).1);
            self.current[axis] = quartile / (4.0f64 / 3.0).ln();
        }
        self.raise_floor(strongest);
    }

    /// One window's cells with the pulses taken out.
    pub(super) fn update(&mut self, cells: &[Vec<f32>; 3]) {
        let now = self.per_sample();
        let gain = GAIN.max(1.0 / (self.windows + 16.0));
        for (axis, cells) in cells.iter().enumerate().filter(|(_, c)| !c.is_empty()) {
            let clip = (CLIP * now[axis]) as f32;
            let (sum, below) = below_clip(cells, clip);
            // The floor has risen out of sight: go after it.
            let seen = if 2.0 * below < cells.len() as f32 {
                2.0 * now[axis]
            } else {
                let outside = (-CLIP).exp();
                f64::from(sum / below) / (1.0 - CLIP * outside / (1.0 - outside))
            };
            self.current[axis] += gain * (seen - self.current[axis]);
            self.log_sum[axis] += seen.max(self.floor[axis]).ln();
        }
        self.windows += 1.0;
    }

    /// The floor has risen at once: take the quietest of some windows' medians
    /// (exponential: mean · ln 2).
    pub(super) fn jump(&mut self, windows: &mut [[Vec<f32>; 3]]) {
        for axis in 0..3 {
            let median = |w: &mut [Vec<f32>; 3]| -> f64 {
                let cells = &mut w[axis];
                let at = cells.len() / 2;
                f64::from(*cells.select_nth_unstable_by(at, f32::total_cmp).1)
            };
            let medians = windows.iter_mut().filter(|w| !w[axis].is_empty()).map(median);
            if let Some(quietest) = medians.min_by(f64::total_cmp) {
                self.current[axis] = quietest / std::f64::consts::LN_2;
            }
        }
    }

    /// A recording without any noise must not make every rounding error a
    /// signal: the floor never lies more than 120 dB below the strongest sample.
    pub(super) fn raise_floor(&mut self, strongest: f64) {
        self.floor.iter_mut().for_each(|f| *f = f.max(1e-12 * strongest));
    }

    /// Mean over the capture (of the logarithm, against single loud stretches).
    pub(super) fn mean_per_sample(&self) -> [f64; 3] {
        if self.windows == 0.0 {
            return self.per_sample();
        }
        self.log_sum.map(|s| (s / self.windows).exp())
    }
}

/// Sum and number of the cells below `clip`, in eight sums side by side, which
/// vectors hold.
fn below_clip(cells: &[f32], clip: f32) -> (f32, f32) {
    let (mut sums, mut counts) = ([0.0f32; 8], [0.0f32; 8]);
    for part in cells.chunks(8) {
        for ((p, sum), count) in part.iter().zip(&mut sums).zip(&mut counts) {
            let inside = if *p < clip { 1.0 } else { 0.0 };
            *sum += inside * p;
            *count += inside;
        }
    }
    (sums.iter().sum(), counts.iter().sum())
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn follows_the_floor_past_outliers_and_steps() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let mut cells = |scale: f32| -> [Vec<f32>; 3] {
            std::array::from_fn(|a| {
                let cell = |k: usize| {
                    let noise = -(1.0 - rng.random::<f32>()).ln() * scale;
                    if k < 8 { 1e4 * scale } else { noise }
                };
                if a == 0 { (0..77).map(cell).collect() } else { Vec::new() }
            })
        };
        let mut floor = NoiseFloor::new(0.0);
        floor.begin(&mut cells(2.0), 1.0);
        for _ in 0..600 {
            floor.update(&cells(2.0));
        }
        assert!((floor.per_sample()[0] / 2.0 - 1.0).abs() < 0.05, "{:?}", floor.per_sample());
        for _ in 0..900 {
            floor.update(&cells(200.0));
        }
        assert!((floor.per_sample()[0] / 200.0 - 1.0).abs() < 0.05, "{:?}", floor.per_sample());
    }
}
