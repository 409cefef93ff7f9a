//! Finds pulse trains too weak for their single pulses to be seen.
//!
//! Most of a minute of short-time spectra, the pulses found so far taken out, is
//! folded over all periods: where the power at one frequency, summed over
//! equally spaced windows, is beyond what noise would do in a hundred days, there
//! is a train. ([`super::stack`] then measures it.)
//!
//! The sum of n windows of noise is Gamma(axes · n)-distributed; Chernoff's
//! bound on its tail, exp(−(s − a − a ln(s/a))) for a sum s over shape a, is the
//! evidence that thresholds are set on.

use super::burst::Burst;
use super::frontend::Frame;
use super::template::StepTemplate;

/// Windows looked at together, and from one look to the next.
const LOOK_S: f64 = 48.0;
const STEP_S: f64 = 16.0;
/// Fewer windows in a period's grid are no train.
const LEAST_SLOTS: usize = 8;
/// Periods, s.
const PERIOD_S: std::ops::Range<f64> = 0.3..2.5;
/// No single window counts for more, so that a train needs many of them.
const MOST: f32 = 15.0;
/// Windows this far from a grid hold nothing of its pulses.
const CLEAR_HOPS: f64 = 4.0;
/// Mean of a window's cells over their noise from which on it is no pulse's.
const IMPULSE: f32 = 1.7;
/// Mean power of a frequency over its noise, in standard deviations, for its
/// periods to be searched.
const SIGN: f32 = 3.0;
/// Below this energy over noise, 18 dB, single pulses may be missed.
pub(super) const WEAK_ENERGY: f64 = 63.0;
/// −ln of the chance that one period and phase of noise passes. Some 10⁷ of them
/// are looked at in a search, five thousand searches are a day.
pub(super) const EVIDENCE: f64 = 32.0;

/// −ln of Chernoff's bound that a Gamma variable of shape `a` exceeds `s`.
pub(super) fn evidence(s: f64, a: f64) -> f64 {
    if s > a { s - a - a * (s / a).ln() } else { 0.0 }
}

/// Where to look closer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    /// Cell of the spectra.
    pub cell: usize,
    /// Middle of the first window, in samples of the history, and the period.
    pub first: f64,
    pub period: f64,
    pub evidence: f64,
}

/// The last minute or so: spectra and samples, pulses taken out.
pub(super) struct History {
    axes: usize,
    bins: usize,
    hop: usize,
    rate_hz: f64,
    rows: Vec<f32>,
    pub samples: Vec<Frame>,
    /// The pulses that were taken out of them.
    pub pulses: Vec<Burst>,
    /// Samples of the stretch before the first one held.
    pub passed: usize,
    /// Rows since the last search.
    fresh: usize,
}

impl History {
    pub(super) fn new(axes: usize, bins: usize, hop: usize, rate_hz: f64) -> Self {
        Self {
            axes,
            bins,
            hop,
            rate_hz,
            rows: Vec::new(),
            samples: Vec::new(),
            pulses: Vec::new(),
            passed: 0,
            fresh: 0,
        }
    }

    pub(super) fn clear(&mut self) {
        self.rows.clear();
        self.samples.clear();
        self.pulses.clear();
        self.passed = 0;
        self.fresh = 0;
    }

    /// The spectrum of one more window; a masked one says nothing.
    pub(super) fn push(&mut self, cells: &[f32], masked: bool) {
        let neutral = self.axes as f32;
        // An impulse fills all frequencies at once.
        let loud = cells.iter().sum::<f32>() > IMPULSE * neutral * cells.len() as f32;
        if masked || loud || cells.len() != self.bins {
            self.rows.extend(std::iter::repeat_n(neutral, self.bins));
        } else {
            self.rows.extend(cells.iter().map(|p| p.min(MOST)));
        }
        self.fresh += 1;
        let most = (LOOK_S * self.rate_hz) as usize / self.hop;
        // Rows and samples go together, a quarter more than needed at a time.
        let old = (self.rows.len() / self.bins).saturating_sub(most);
        if old > most / 4 && self.samples.len() >= old * self.hop {
            self.rows.drain(..old * self.bins);
            self.samples.drain(..old * self.hop);
            self.passed += old * self.hop;
            let by = -((old * self.hop) as f64);
            self.pulses.retain_mut(|burst| {
                *burst = burst.moved(by);
                burst.off > 0.0
            });
        }
    }

    /// The samples with those pulses put back that were seen only now and then.
    pub(super) fn with_weak(&self, template: &StepTemplate) -> Vec<Frame> {
        let mut samples = self.samples.clone();
        for burst in self.pulses.iter().filter(|b| b.energy_to_noise < WEAK_ENERGY) {
            burst.apply(&mut samples, template, 1.0);
        }
        samples
    }

    /// Whether there is enough new to search again.
    pub(super) fn is_due(&self) -> bool {
        self.fresh as f64 * self.hop as f64 >= STEP_S * self.rate_hz
    }

    /// Frequencies with a periodic surplus, the clearest first.
    pub(super) fn search(&mut self) -> Vec<Candidate> {
        self.fresh = 0;
        let count = self.rows.len() / self.bins;
        let mut sums = vec![0.0f32; self.bins];
        for row in self.rows.chunks_exact(self.bins) {
            sums.iter_mut().zip(row).for_each(|(s, p)| *s += p);
        }
        // Half-overlapped windows are correlated: their sum spreads by half more.
        let axes = self.axes as f32;
        let sigma = (1.5 * axes * count as f32).sqrt();
        let over = |k: usize| (sums[k] - axes * count as f32) / sigma;
        let stands_out = |k: &usize| {
            let around = k.saturating_sub(1)..(k + 2).min(self.bins);
            over(*k) > SIGN && around.into_iter().all(|other| sums[other] <= sums[*k])
        };
        let cells: Vec<usize> = (0..self.bins).filter(stands_out).collect();
        let folded = cells.into_iter().filter_map(|k| self.folded(k));
        let mut found: Vec<Candidate> = folded.filter(|c| c.evidence > EVIDENCE).collect();
        found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
        found
    }

    /// The period and phase of a cell that most of its power agrees with.
    fn folded(&self, cell: usize) -> Option<Candidate> {
        let series: Vec<f32> = self.rows.chunks_exact(self.bins).map(|row| row[cell]).collect();
        let count = series.len() as f64;
        let hops = |s: f64| s * self.rate_hz / self.hop as f64;
        let mut best: Option<Candidate> = None;
        let mut sums = Vec::new();
        let mut period = hops(PERIOD_S.start);
        while period < hops(PERIOD_S.end) && count / period >= LEAST_SLOTS as f64 {
            let slots = (count / period).floor();
            // All phases of a period at once, a slot after the other.
            sums.clear();
            sums.resize(period as usize, 0.0f32);
            for slot in 0..slots as usize {
                let from = (0.5 + slot as f64 * period) as usize;
                sums.iter_mut().zip(&series[from..]).for_each(|(s, p)| *s += p);
            }
            let most = sums.iter().copied().fold(0.0, f32::max);
            let evidence = evidence(most.into(), self.axes as f64 * slots);
            if best.is_none_or(|b| evidence > b.evidence) {
                let phase = sums.iter().position(|s| *s == most).unwrap_or(0) as f64;
                let hop = self.hop as f64;
                // A row's window ends with its hop and is two hops long.
                let first = (phase - 1.0) * hop;
                best = Some(Candidate { cell, first, period: period * hop, evidence });
            }
            // Half a hop of difference over the whole look.
            period += 0.5 * period / count;
        }
        best.map(|b| Candidate { evidence: b.evidence.min(self.contrast(&series, &b)), ..b })
    }

    /// The evidence against the level between the pulses, for a frequency that
    /// something steady lifts as a whole.
    fn contrast(&self, series: &[f32], at: &Candidate) -> f64 {
        let (first, period) = (at.first / self.hop as f64 + 1.0, at.period / self.hop as f64);
        let (mut on, mut slots, mut off, mut rest) = (0.0, 0.0, 0.0, 0.0f64);
        for (i, &p) in series.iter().enumerate() {
            let slot = ((i as f64 - first) / period).round();
            let aside = (i as f64 - first - slot * period).abs();
            if aside <= 0.5 {
                on += f64::from(p);
                slots += 1.0;
            } else if aside > CLEAR_HOPS {
                off += f64::from(p);
                rest += 1.0;
            }
        }
        let axes = self.axes as f64;
        let level = (off / rest.max(1.0) / axes).max(1.0);
        evidence(on / level, axes * slots)
    }
}
