//! The sums from which every value of one transmitter follows.
//!
//! Nothing here grows with the number of pulses.

use std::sync::Arc;

use nalgebra::Matrix3;

use super::phases::{Phases, RunningOn};
use super::pooled::Pooled;
use super::pulse::Pulse;
use super::shape::{Chirp, Shape, Shapes};
use crate::line::Line;
use crate::reading::Reading;

/// Scatter of real units that keeps strong pulses from outweighing all others.
const CARRIER_SCATTER_HZ: f64 = 0.05;
const EDGE_SCATTER_S: f64 = 20e-6;
const AMPLITUDE_SCATTER: f64 = 0.003;
/// Edges are weighted as if all took this long: the width measured on a single
/// pulse is too noisy to weight it by.
const NOMINAL_EDGE_S: f64 = 1e-3;
/// Edges of units differ by this much.
const EDGE_SPREAD_S: f64 = 3e-3;
/// The share of the pulses that must have been measured together for the result to
/// stand for all of them.
const MOST_TOGETHER: f64 = 0.7;
/// Pulses from one mean of their shapes to the next.
const SHAPE_EVERY: usize = 4;
/// A phase that runs on may be one by chance, if not by less than this.
const LEAST_CHANCE: f64 = 0.01;
/// Jitter of the period by which an oscillator that starts anew has no course.
const LEAST_JITTER_S: f64 = 2e-6;
/// Pulses whose pace is known well enough to measure them together.
const LEAST_RECENT: f64 = 4.0;

/// Pulses measured together, in seconds and hertz.
pub(super) struct Summed {
    pub period_s: f64,
    pub length_s: f64,
    pub offset_hz: f64,
    /// Carrier in the middle of the pulses; its change from one to the next.
    pub drift_hz: f64,
    pub u_on_s: f64,
    pub u_length_s: f64,
    pub u_offset_hz: f64,
    pub slots: usize,
    pub found: usize,
    /// Mean of Re(a aᴴ) less its noise, counts².
    pub vectors: Matrix3<f64>,
    /// Noise power of one pulse's amplitude, by axis, counts².
    pub amplitude_noise: [f64; 3],
    pub energy_to_noise: f64,
}

impl Summed {
    /// Two numbers that have the mean and the spread of those of all pulses.
    fn two_points(&self, middle: f64) -> [f64; 2] {
        let apart = self.slots as f64 / 12f64.sqrt();
        [middle - apart, middle + apart]
    }

    fn magnitude(&self, to_field: &[[f64; 3]; 3]) -> (f64, f64) {
        let into = Matrix3::from_fn(|i, j| to_field[i][j]);
        let noise = Matrix3::from_diagonal(&self.amplitude_noise.into());
        let field = into * self.vectors * into.transpose();
        let spread = into * noise * into.transpose();
        let power = field.trace().max(1e-3 * spread.trace());
        // Each pulse's power varies by 2 P N along the field and by N² aside of it.
        let along = (field * spread).trace();
        let variance = (2.0 * along.max(0.0) + (spread * spread).trace()) / self.slots as f64;
        (power.sqrt(), variance.sqrt() / (2.0 * power.sqrt()))
    }
}

/// Uncertainty of the root `value` of a power known to `u_power`, such that the truth is
/// as many of it away as the true power is of `u_power`, also where that is zero: the
/// power over the root then, half of that (linear) where the power stands out, the root
/// of u where there is no power.
fn u_of_root(value: f64, u_power: f64) -> f64 {
    let sigmas = value * value / u_power.max(f64::MIN_POSITIVE);
    if sigmas < 1.0 {
        return u_power.sqrt();
    }
    u_power / value * (1.5 - sigmas / 8.0).clamp(0.5, 1.0)
}

/// Sums over a set of pulses of one train.
#[derive(Clone, Debug, Default)]
struct Sums {
    /// Rising edge minus its place in the first guess of the grid, over pulse number.
    timing: Pooled,
    /// Deviations of single periods from the first guess.
    steps: Line,
    on_time: Pooled,
    carrier: Pooled,
    magnitude: Pooled,
    edge_variance: f64,
}

impl Sums {
    /// Begin all but the timing anew.
    fn forget_values(&mut self) {
        let Self { on_time, carrier, magnitude, .. } = self;
        [on_time, carrier, magnitude].into_iter().for_each(|p| *p = Pooled::default());
    }

    /// Pulses measured together, but for their timing; `middle_s` is their mean time.
    fn add_stack(&mut self, middle_s: f64, stacked: &Summed, to_field: &[[f64; 3]; 3]) {
        let u_length = stacked.u_length_s;
        self.on_time.add(middle_s, stacked.length_s, u_length, u_length);
        let u_carrier = stacked.u_offset_hz * std::f64::consts::SQRT_2;
        for number in stacked.two_points(0.0) {
            let at_s = middle_s + number * stacked.period_s;
            let offset_hz = stacked.offset_hz + number * stacked.drift_hz;
            self.carrier.add(at_s, offset_hz, u_carrier, u_carrier);
        }
        let (magnitude, u_magnitude) = stacked.magnitude(to_field);
        self.magnitude.add(middle_s, magnitude, u_magnitude, u_magnitude);
    }
}

/// Sums of one pulse train.
#[derive(Clone, Debug)]
pub(super) struct TrainSums {
    first_on_s: f64,
    period_guess_s: f64,
    /// All pulses, and those that no other pulse overlaps.
    all: Sums,
    clean: Sums,
    /// Pulses too weak to be measured well by themselves, measured together.
    together: Sums,
    measured_together: usize,
    /// Rising edges, as in the sums, of the pulses since they were last measured together.
    recent: Line,
    /// Number of the next pulse to be measured with others.
    pub next_together: usize,
    previous: Option<(usize, f64, bool)>,
    /// Σ Re(a aᴴ) less its noise, counts².
    vectors: Matrix3<f64>,
    pub found: usize,
    pub overlapped: usize,
    /// Pulses of odd number.
    pub odd: usize,
    energy: f64,
    residual: Line,
    /// Of all pulses that were measured one by one.
    times_s: Line,
    phases: Phases,
    shapes: Shapes,
    /// Their mean, brought up to date now and then.
    pub shape: Option<Arc<Shape>>,
    /// It was not known until just now.
    begin_anew: bool,
}

/// A period estimate with what is known of its irregularity.
pub(super) struct Period {
    pub reading: Reading,
    pub jitter_s: f64,
    /// The start times wander: each period deviates on its own.
    pub wanders: bool,
    /// Change of the period from the first to the last, with its uncertainty.
    pub change_s: Reading,
}

impl TrainSums {
    pub(super) fn new(first: &Pulse, period_guess_s: f64) -> Self {
        Self {
            first_on_s: first.on_s,
            period_guess_s,
            all: Sums::default(),
            clean: Sums::default(),
            together: Sums::default(),
            measured_together: 0,
            recent: Line::default(),
            next_together: 0,
            previous: None,
            vectors: Matrix3::zeros(),
            found: 0,
            overlapped: 0,
            odd: 0,
            energy: 0.0,
            residual: Line::default(),
            times_s: Line::default(),
            phases: Phases::default(),
            shapes: Shapes::default(),
            shape: None,
            begin_anew: false,
        }
    }

    /// Take in pulse number `k`; `to_field` turns counts into the unit of the
    /// reported magnitude, `regular` says that its length agrees with the rest.
    pub(super) fn add(&mut self, k: usize, pulse: &Pulse, to_field: &[[f64; 3]; 3], regular: bool) {
        self.found += 1;
        self.odd += k % 2;
        self.energy += pulse.energy_to_noise;
        self.overlapped += usize::from(pulse.overlapped);
        if let Some(shape) = pulse.shape.as_ref().filter(|_| regular) {
            self.shapes.add(shape, pulse.energy_to_noise);
        }
        if self.found.is_multiple_of(SHAPE_EVERY) {
            let plain = self.shape.is_none();
            self.shape = self.shapes.model().map(Arc::new);
            // What was taken for plain before was not measured well.
            self.begin_anew = plain && self.shape.is_some();
        } else if std::mem::take(&mut self.begin_anew) {
            self.all.forget_values();
            self.clean.forget_values();
            self.phases.forget();
            self.shapes.discount();
        }
        let late = pulse.on_s - self.first_on_s - k as f64 * self.period_guess_s;
        self.recent.add(k as f64, late, 1.0);
        let clean = !pulse.overlapped && regular;
        let (magnitude, u_magnitude) = pulse.magnitude(to_field);
        let step = self.previous.filter(|p| p.0 + 1 == k).map(|p| (late - p.1, p.2));
        let x = pulse.on_s;
        self.times_s.add(0.0, x, 1.0);
        // var t = width / (2 A²/n²) for the best fit to a linear ramp.
        let density = pulse.energy_to_noise / pulse.on_time_s();
        let edge = (NOMINAL_EDGE_S / (2.0 * density)).sqrt().hypot(EDGE_SCATTER_S);
        let into = |sums: &mut Sums, step: Option<f64>| {
            sums.timing.add(k as f64, late, pulse.u_edge_s, edge);
            if let Some(step) = step {
                sums.steps.add(k as f64, step, 1.0);
            }
            let u_length = pulse.u_edge_s * std::f64::consts::SQRT_2;
            sums.on_time.add(x, pulse.on_time_s(), u_length, edge);
            let carrier = pulse.u_offset_hz.hypot(CARRIER_SCATTER_HZ);
            sums.carrier.add(x, pulse.offset_hz, pulse.u_offset_hz, carrier);
            // By the mean so far, not its own: a weak pulse is no better than a strong one.
            let usual = if sums.magnitude.line.count > 0.0 {
                sums.magnitude.line.mean()
            } else {
                magnitude
            };
            let spread = u_magnitude.hypot(AMPLITUDE_SCATTER * usual);
            sums.magnitude.add(x, magnitude, u_magnitude, spread);
            sums.edge_variance += pulse.u_edge_s * pulse.u_edge_s;
        };
        into(&mut self.all, step.map(|s| s.0));
        if clean {
            self.phases.add(pulse);
            into(&mut self.clean, step.filter(|s| s.1).map(|s| s.0));
        }
        self.previous = Some((k, late, clean));
        for i in 0..3 {
            for j in 0..3 {
                self.vectors[(i, j)] += (pulse.amplitude[i] * pulse.amplitude[j].conj()).re;
            }
            self.vectors[(i, i)] -= pulse.amplitude_noise[i];
        }
    }

    /// The period is `1 / factor` of what it was taken for: pulse k was number
    /// `factor` · k.
    pub(super) fn renumber(&mut self, factor: f64) {
        self.period_guess_s /= factor;
        for sums in [&mut self.all, &mut self.clean] {
            sums.timing.line.stretch(factor);
            // These were not single periods.
            sums.steps = Line::default();
        }
        self.recent = Line::default();
        self.next_together = (self.next_together as f64 * factor) as usize;
        self.previous = None;
    }

    /// Time of pulse number 0 and the period as the latest pulses have them, if
    /// they are enough.
    pub(super) fn recent_course_s(&self) -> Option<(f64, f64)> {
        let (line, guess_s) = (&self.recent, self.period_guess_s);
        (line.count >= LEAST_RECENT)
            .then(|| (self.first_on_s + line.at(0.0), guess_s + line.slope()))
    }

    /// Take in pulses measured together that have been counted one by one before, up
    /// to number `next`.
    pub(super) fn add_together(
        &mut self,
        next: usize,
        middle_s: f64,
        stacked: &Summed,
        to_field: &[[f64; 3]; 3],
    ) {
        self.together.add_stack(middle_s, stacked, to_field);
        self.measured_together += stacked.slots;
        self.pass_together(next);
    }

    /// What came before number `next` is not measured together any more.
    pub(super) fn pass_together(&mut self, next: usize) {
        self.next_together = next;
        self.recent = Line::default();
    }

    /// Take in pulses that were measured together, number `first` the first of
    /// them at `on_s`.
    pub(super) fn add_stack(
        &mut self,
        first: usize,
        on_s: f64,
        stacked: &Summed,
        to_field: &[[f64; 3]; 3],
    ) {
        let count = stacked.slots as f64;
        self.found += stacked.found;
        self.energy += stacked.energy_to_noise * stacked.found as f64;
        let middle = first as f64 + 0.5 * (count - 1.0);
        let middle_s = on_s + 0.5 * (count - 1.0) * stacked.period_s;
        // Two points with the mean and the slope of a line through all pulses.
        let u_point = stacked.u_on_s * std::f64::consts::SQRT_2;
        for sums in [&mut self.all, &mut self.clean] {
            for number in stacked.two_points(middle) {
                let due = on_s + (number - first as f64) * stacked.period_s;
                let late = due - self.first_on_s - number * self.period_guess_s;
                sums.timing.add(number, late, u_point, u_point);
            }
            sums.add_stack(middle_s, stacked, to_field);
            sums.edge_variance += 2.0 * u_point * u_point;
        }
        self.vectors += stacked.vectors * count;
    }

    /// Mean energy over noise of the pulses.
    pub(super) fn mean_energy(&self) -> f64 {
        self.energy / self.found.max(1) as f64
    }

    /// Share of what was seen of the edges, over what is usual, that is not noise.
    ///
    /// Of a single pulse ∫ y(1 − y) over the samples of an edge has the variance of
    /// 28 samples of noise n² and 2 n⁴, n² = T / 2ρ in milliseconds: samples are taken
    /// for 1 ms long, the longest that they are.
    pub(super) fn trust_in_edges(&self) -> f64 {
        let count = self.all.on_time.line.count.clamp(1.0, 60.0);
        let noise = 500.0 * self.all.on_time.line.mean() / self.mean_energy().max(1.0);
        let variance_s2 = 1e-6 * 36.0 * 28.0 * (noise + 2.0 * noise * noise) / count;
        EDGE_SPREAD_S * EDGE_SPREAD_S / (EDGE_SPREAD_S * EDGE_SPREAD_S + variance_s2)
    }

    /// Add what another train of the same unit tells; its timing stands apart.
    pub(super) fn absorb(&mut self, other: &Self) {
        self.found += other.found;
        self.overlapped += other.overlapped;
        self.energy += other.energy;
        self.measured_together += other.measured_together;
        let both = [
            (&mut self.all, &other.all),
            (&mut self.clean, &other.clean),
            (&mut self.together, &other.together),
        ];
        for (own, others) in both {
            own.on_time.merge(&others.on_time);
            own.carrier.merge(&others.carrier);
            own.magnitude.merge(&others.magnitude);
        }
        self.vectors += other.vectors;
        self.residual.merge(&other.residual);
        self.times_s.merge(&other.times_s);
        self.phases.absorb(&other.phases);
        self.shapes.merge(&other.shapes);
    }

    /// Share of the amplitude that is lost during a pulse.
    pub(super) fn sag(&self) -> Option<Reading> {
        self.shapes.sag()
    }

    /// How the carrier settles after key-on.
    pub(super) fn chirp(&self) -> Option<Chirp> {
        self.shapes.chirp(self.on_time().value)
    }

    /// Squared ratio of carrier between pulses to carrier on, noise deducted.
    pub(super) fn add_residual(&mut self, at_s: f64, power_ratio: f64) {
        self.residual.add(at_s, power_ratio, 1.0);
    }

    /// The sums to report from: the clean pulses if there are enough of them.
    fn sums(&self) -> &Sums {
        let (clean, all) = (self.clean.carrier.line.count, self.all.carrier.line.count);
        if clean >= 5.0 && clean >= 0.25 * all { &self.clean } else { &self.all }
    }

    /// The sums for what weak pulses have in common.
    fn shared(&self) -> &Sums {
        let most = self.measured_together as f64 >= MOST_TOGETHER * self.found as f64;
        if self.measured_together > 0 && most { &self.together } else { self.sums() }
    }

    /// Rising edge of the first pulse as measured, s.
    pub(super) fn first_on_s(&self) -> f64 {
        self.first_on_s
    }

    /// The same as all pulses have it, for a train that keeps time.
    pub(super) fn fitted_first_on_s(&self) -> f64 {
        self.first_on_s + self.sums().timing.line.at(0.0)
    }

    pub(super) fn carrier(&self) -> Reading {
        let carrier = &self.shared().carrier;
        // What is reported are all pulses, also those from before the sums began anew.
        if self.times_s.count > 0.0 { carrier.at(self.times_s.mean()) } else { carrier.mean() }
    }

    pub(super) fn drift(&self) -> Reading {
        self.shared().carrier.slope()
    }

    /// Carrier and drift by the phase, where it runs on from pulse to pulse.
    pub(super) fn running_on(&self) -> Option<RunningOn> {
        let sure = |found: &RunningOn| found.chance < LEAST_CHANCE || self.jitters();
        self.phases.running_on().filter(|found| self.chirp().is_none() && sure(found))
    }

    /// Whether single periods differ by more than a part of a carrier's cycle.
    fn jitters(&self) -> bool {
        let sums = self.sums();
        let n = sums.steps.count;
        if n < 8.0 {
            return false;
        }
        let measured = 2.0 * sums.edge_variance / sums.timing.line.count;
        let own = sums.steps.deviation() / (n - 1.0) - measured;
        own > 4.0 * measured * (3.0 / n).sqrt() && own.sqrt() > LEAST_JITTER_S
    }

    /// Samples are missing from here on, and with them the course of the phase.
    pub(super) fn gap(&mut self) {
        self.phases.settle();
    }

    pub(super) fn on_time(&self) -> Reading {
        self.shared().on_time.mean()
    }

    pub(super) fn magnitude(&self) -> Reading {
        self.shared().magnitude.mean()
    }

    /// Scatter of the magnitude over its mean, noise deducted.
    pub(super) fn magnitude_scatter(&self) -> f64 {
        let pooled = &self.sums().magnitude;
        let excess =
            pooled.line.deviation() / pooled.line.count - pooled.theory / pooled.line.count;
        // Weighted by 1 / (u² + scatter²): back to a variance.
        let per_weight = pooled.line.count / pooled.line.weight();
        (excess.max(0.0) * per_weight).sqrt() / pooled.line.mean()
    }

    /// Slope of the start times over pulse number.
    ///
    /// Independent timing errors of each pulse give the slope a variance of
    /// σ² / Σ(k − k̄)². Where instead each *period* deviates by σ_p on its own,
    /// start times wander like a random walk, residuals grow with the number
    /// of pulses n, and the slope's variance is 6/5 σ_p² / n. Von Neumann's
    /// ratio (Ann. Math. Stat. 12 (1941) 367–395) of successive differences to
    /// residuals, 2 for independent errors, tells the two apart.
    pub(super) fn period(&self) -> Period {
        let sums = self.sums();
        let (timing, steps) = (&sums.timing, &sums.steps);
        let n = timing.line.count;
        let slope = timing.slope();
        let measured = sums.edge_variance / n;
        let step_variance =
            if steps.count > 1.0 { steps.deviation() / (steps.count - 1.0) } else { 0.0 };
        let own = (step_variance - 2.0 * measured).max(0.0);
        let residual = timing.line.residual() / timing.line.weight() * n / (n - 2.0).max(1.0);
        let ratio = step_variance / residual;
        let wanders = steps.count >= 8.0 && ratio < 2.0 - 4.66 / n.sqrt();
        let span = (timing.line.spread() / timing.line.weight() * 12.0).sqrt().max(1.0);
        let few = steps.count < 8.0;
        let walk = if wanders || few { 1.2 * own / span } else { 0.0 };
        let u = if few { slope.u.max(walk.sqrt()) } else { slope.u.hypot(walk.sqrt()) };
        Period {
            reading: Reading::new(self.period_guess_s + slope.value, u),
            jitter_s: own.sqrt(),
            wanders,
            change_s: Reading::new(
                steps.slope() * span,
                if steps.count > 8.0 {
                    (steps.residual() / (steps.count - 2.0) / steps.spread()).sqrt() * span
                } else {
                    f64::MAX
                },
            ),
        }
    }

    /// Carrier between the pulses over carrier on, amplitude ratio.
    pub(super) fn residual_ratio(&self) -> Reading {
        let n = self.residual.count;
        if n < 2.0 {
            return Reading::new(0.0, 1.0);
        }
        let power = self.residual.mean();
        let u_power = (self.residual.deviation() / (n - 1.0) / n).sqrt();
        let value = power.max(0.0).sqrt();
        Reading::new(value, u_of_root(value, u_power))
    }

    /// Real amplitude vector in counts, unit length, largest entry positive;
    /// and the share of the power that does not lie along it.
    pub(super) fn direction(&self) -> ([f64; 3], f64) {
        let eigen = self.vectors.symmetric_eigen();
        let (largest, total) = (eigen.eigenvalues.imax(), self.vectors.trace());
        let vector = eigen.eigenvectors.column(largest);
        let sign = vector[vector.iamax()].signum();
        let aside = 1.0 - eigen.eigenvalues[largest] / total;
        (std::array::from_fn(|i| sign * vector[i]), aside)
    }
}
