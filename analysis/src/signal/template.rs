//! The shape that an edge takes at the working rate.
//!
//! A sharp edge becomes the step response of the front-end filter; an edge
//! that takes a while becomes the mean of that response over its duration. A
//! least-squares fit of a step places it where the amplitude passes half of
//! the plateau, whatever the shape of the rise: d/dt of
//! ∫(A(s) − step(s − t))² ds vanishes where A(t) = 1/2.

/// Table entries per working sample.
const FINE: usize = 32;

/// Step response of the front end and its integral, by time in working samples.
pub(super) struct StepTemplate {
    /// Step response from −`reach` and its integral, at spacing 1 / `FINE`.
    table: Vec<[f64; 2]>,
    reach: f64,
    own_overlap: f64,
}

impl StepTemplate {
    pub(super) fn new(taps: &[f32], decimation: usize) -> Self {
        // A tap is held for one input sample, so that the step of a single tap
        // is a ramp of one sample: all that is known of an unfiltered edge.
        let tap_length = 1.0 / decimation as f64;
        let reach = (taps.len() as f64 * tap_length / 2.0).ceil() + 1.0;
        let entries = (2.0 * reach) as usize * FINE + 1;
        let first = -(taps.len() as f64) * tap_length / 2.0;
        let sum: f64 = taps.iter().map(|&t| f64::from(t)).sum();
        let mut step = vec![0.0; entries];
        for (i, value) in step.iter_mut().enumerate() {
            let t = i as f64 / FINE as f64 - reach;
            let covered = (t - first) / tap_length;
            let whole = (covered.max(0.0) as usize).min(taps.len());
            let full: f64 = taps[..whole].iter().map(|&t| f64::from(t)).sum();
            let part = if covered > 0.0 && whole < taps.len() {
                f64::from(taps[whole]) * (covered - whole as f64)
            } else {
                0.0
            };
            *value = (full + part) / sum;
        }
        let mut table = vec![[0.0; 2]; entries];
        for i in 1..entries {
            let more = (step[i - 1] + step[i]) / (2 * FINE) as f64;
            table[i] = [step[i], table[i - 1][1] + more];
        }
        let own_overlap = step.iter().map(|s| s * (1.0 - s)).sum::<f64>() / FINE as f64;
        Self { table, reach, own_overlap }
    }

    /// Value, `time` working samples after the half-amplitude point, of an edge
    /// that rises linearly over `width` working samples before filtering.
    pub(super) fn edge(&self, time: f64, width: f64) -> f64 {
        self.rise(time, width, 1)
    }

    /// Derivative of [`StepTemplate::edge`] by time.
    pub(super) fn slope(&self, time: f64, width: f64) -> f64 {
        self.rise(time, width, 0)
    }

    /// Envelope of a whole pulse at `time` from `on` to `off`.
    pub(super) fn pulse(&self, time: f64, on: f64, off: f64, widths: [f64; 2]) -> f64 {
        self.edge(time - on, widths[0]) - self.edge(time - off, widths[1])
    }

    /// Mean slope over `width` of a column of the table.
    fn rise(&self, time: f64, width: f64, column: usize) -> f64 {
        // Most samples are nowhere near an edge.
        if time.abs() > self.reach + width {
            return if column == 1 && time > 0.0 { 1.0 } else { 0.0 };
        }
        let width = width.max(2.0 / FINE as f64);
        let ends = [time + width / 2.0, time - width / 2.0].map(|at| self.at(at, column));
        (ends[0] - ends[1]) / width
    }

    /// Working samples on each side after which a sharp edge has settled.
    pub(super) fn reach(&self) -> f64 {
        self.reach
    }

    /// ∫ s(1 − s) of the sharp edge, in working samples: the part of an edge's
    /// apparent width that the filter makes.
    pub(super) fn own_overlap(&self) -> f64 {
        self.own_overlap
    }

    fn at(&self, time: f64, column: usize) -> f64 {
        let last = self.table.len() - 1;
        let at = (time + self.reach) * FINE as f64;
        if at <= 0.0 {
            return 0.0;
        }
        if at >= last as f64 {
            // The step stays at one, so that its integral grows with time.
            let beyond = if column == 1 { time - self.reach } else { 0.0 };
            return self.table[last][column] + beyond;
        }
        let i = at as usize;
        let [from, to] = [self.table[i][column], self.table[i + 1][column]];
        from + (to - from) * (at - i as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rises_from_zero_to_one_through_half() {
        let taps = [0.1f32, 0.2, 0.4, 0.2, 0.1];
        let template = StepTemplate::new(&taps, 2);
        for width in [0.0, 0.7, 5.0] {
            assert!(template.edge(-20.0, width).abs() < 1e-9);
            assert!((template.edge(20.0, width) - 1.0).abs() < 1e-9);
            assert!((template.edge(0.0, width) - 0.5).abs() < 1e-6, "{width}");
            let (a, b) = (template.edge(0.6, width), template.edge(-0.6, width));
            assert!((a + b - 1.0).abs() < 1e-6, "antisymmetric about the half point");
        }
    }

    #[test]
    fn overlap_of_a_linear_ramp_is_a_sixth_of_its_width() {
        // A single tap of one working sample is a ramp of width 1.
        let template = StepTemplate::new(&[1.0], 1);
        assert!((template.own_overlap() - 1.0 / 6.0).abs() < 2e-3, "{}", template.own_overlap());
    }
}
