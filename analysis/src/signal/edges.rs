//! Places the edges of a burst at half amplitude, at a finer rate than the fit.
//!
//! A step fitted to an edge seen through a filter stands at the mean of a
//! skewed rise, not at its half-amplitude point, once the filter is slower
//! than the rise. So where noise allows, the edges are fitted again on samples
//! of 8 kS/s and more, with a step narrower than the edge itself: its
//! residual then balances about the half-amplitude point whatever the shape.
//! (A step over an exponential rise of time constant τ stands 0.31 τ late when
//! the filter is much slower than τ, 0.02 τ with a quarter of its width.)

use num_complex::Complex64;

use super::burst::{Burst, along, over_noise, wide};
use super::decimator::Line;
use super::frontend::frame;
use super::template::StepTemplate;

/// Noise of a single fine sample over the amplitude above which the coarse
/// edges are the better ones.
const NOISIEST: f64 = 0.3;
/// Width of the fitted step over the width of the edge, for a noise of one
/// amplitude a sample: a step as wide as the edge averages more of the noise, a
/// narrow one stands at half amplitude whatever the shape.
const STEP_SHARE: f64 = 8.0;

/// An edge has its place when a round moves it by less, in fine samples, or after
/// so many rounds.
const CLOSE: f64 = 1e-4;
const MOST_ROUNDS: usize = 40;

/// Samples at the fine rate beside the span of working samples.
pub(super) struct FineSpan<'a> {
    pub line: &'a Line,
    pub lanes: usize,
    /// Fine frame of the stretch at which the span begins.
    pub start: usize,
    /// Fine samples per working sample.
    pub ratio: f64,
    /// Noise power per fine sample, one entry an axis.
    pub noise: Vec<f64>,
    pub template: &'a StepTemplate,
}

impl FineSpan<'_> {
    /// Move the edges of `burst` to where they are at the fine rate, with the
    /// bursts of `others` taken out.
    pub(super) fn refine(&self, burst: &mut Burst, others: &[&Burst]) {
        let power = over_noise(&burst.amplitude, &self.noise);
        let sigma = (0.5 / power).sqrt();
        if sigma > NOISIEST {
            return;
        }
        let rising = self.edge(burst, others, burst.on, burst.widths[0], 1.0, power);
        let falling = self.edge(burst, others, burst.off, burst.widths[1], -1.0, power);
        if let (Some(on), Some(off)) = (rising, falling) {
            burst.place(on.0, off.0);
            burst.u_edge = sigma * on.1.hypot(off.1) / std::f64::consts::SQRT_2;
        }
    }

    /// Place of one edge in working samples, and its uncertainty per unit of
    /// noise. `sign` is 1 for a rising edge, −1 for a falling one.
    fn edge(
        &self,
        burst: &Burst,
        others: &[&Burst],
        coarse: f64,
        width: f64,
        sign: f64,
        power: f64,
    ) -> Option<(f64, f64)> {
        let (start, width) = (coarse * self.ratio, width * self.ratio);
        let sigma = (0.5 / power).sqrt();
        // Of an edge that seems sharp the width is likely lost in the noise.
        let step = (STEP_SHARE * sigma).min(1.0) * width.max(self.ratio);
        let half = self.template.reach().max(2.0) + step;
        let reach = half + 1.5 * self.ratio + 0.5 * width;
        let first = (start - reach).floor().max(0.0) as usize;
        let last = ((start + reach).ceil() as usize).min(self.length());
        let values: Vec<f64> =
            (first..last).map(|n| self.envelope(burst, others, n, power)).collect();
        let slope = |t: f64, w: f64| self.template.slope(t, w);
        let around = |place: f64| {
            let times = (first..last).map(move |n| n as f64 - place);
            times.zip(&values).filter(move |(time, _)| time.abs() <= half)
        };
        let excess = |place: f64| -> f64 {
            let parts = around(place).map(|(time, &value)| {
                let rising = if sign > 0.0 { value } else { 1.0 - value };
                (self.template.edge(time, step) - rising) * slope(time, step)
            });
            parts.sum()
        };
        // Too early a step lies above the edge. Its own slope is not known well
        // enough for Newton's steps.
        let place = zero(excess, start - reach + half, start + reach - half)?;
        let (energy, response) = around(place).fold((0.0, 0.0), |(energy, response), (t, _)| {
            let s = slope(t, step);
            (energy + s * s, response + s * slope(t, width))
        });
        (response > 0.0).then(|| (place / self.ratio, energy.sqrt() / response / self.ratio))
    }

    /// Fine samples from the start of the span on.
    fn length(&self) -> usize {
        self.line.end(self.lanes).saturating_sub(self.start)
    }

    fn sample(&self, n: usize) -> [Complex64; 3] {
        let at = (self.start + n).checked_sub(self.line.dropped).map(|n| n * self.lanes);
        let numbers = at.and_then(|at| self.line.numbers.get(at..at + self.lanes));
        frame(numbers.unwrap_or(&[])).map(wide)
    }

    /// Real envelope of the burst, 1 on the plateau, at fine sample `n`.
    fn envelope(&self, burst: &Burst, others: &[&Burst], n: usize, power: f64) -> f64 {
        let time = n as f64 / self.ratio;
        // Of a burst that sags the half of what it has at the edge.
        let level = burst.shape.as_ref().map_or(Complex64::ONE, |s| s.level(burst.progress(time)));
        let turn = Complex64::from_polar(1.0, -burst.omega * (time - burst.middle())) / level;
        let mut frame = self.sample(n);
        for other in others {
            let (on, off) = (other.on * self.ratio, other.off * self.ratio);
            let envelope =
                self.template.pulse(n as f64, on, off, other.widths.map(|w| w * self.ratio));
            if envelope.abs() > 1e-6 {
                let phasor = Complex64::from_polar(envelope, other.omega * (time - other.middle()));
                frame.iter_mut().zip(&other.amplitude).for_each(|(z, a)| *z -= a * phasor);
            }
        }
        (along(&burst.amplitude, &frame, &self.noise) * turn).re / power
    }
}

/// Where a function that falls from above zero at `early` to below it at `late`
/// passes through it: by the false position whose lasting end
/// counts half (Dowell and Jarratt, BIT 11 (1971) 168–174, quoted from memory).
fn zero(excess: impl Fn(f64) -> f64, early: f64, late: f64) -> Option<f64> {
    let (mut low, mut high) = ((early, excess(early)), (late, excess(late)));
    if !(low.1 > 0.0 && high.1 < 0.0) {
        return None;
    }
    let mut place = f64::NAN;
    for _ in 0..MOST_ROUNDS {
        let before = place;
        place = low.0 + (high.0 - low.0) * low.1 / (low.1 - high.1);
        let value = excess(place);
        if (place - before).abs() < CLOSE || value == 0.0 {
            break;
        }
        let (moves, stays) =
            if value > 0.0 { (&mut low, &mut high) } else { (&mut high, &mut low) };
        let again = before == moves.0;
        *moves = (place, value);
        if again {
            stays.1 *= 0.5;
        }
    }
    Some(place)
}
