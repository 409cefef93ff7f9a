//! Which trains are one unit.
//!
//! A train ends when its timing breaks: the unit was switched off and on, its
//! period jumped, a long gap left the count of periods open. Its pulses then
//! begin a new train of the same carrier, direction, strength and length. Where
//! other units cover a train's first pulses, two trains may even run side by side
//! on one grid. Such trains are joined again for the report.

use super::tracker::{Gap, Train};

/// One unit: the train with most of its pulses, the others joined to it.
pub(super) struct Unit {
    /// Values are reported from this; carrier, length and strength from all.
    pub train: Train,
    /// Numbers of all its trains.
    pub trains: Vec<usize>,
    pub expected: usize,
    pub first_on_s: f64,
    pub last_on_s: f64,
    /// What happened between its trains.
    pub notes: Vec<String>,
}

/// Mean energy over noise from which on hardly a pulse is missed.
const SURE_ENERGY: f64 = 22.0;
const FAINT_CARRIER_HZ: f64 = 3.0;
/// Disagreement that real units show after a restart.
const CARRIER_HZ: f64 = 0.3;
const ON_TIME_S: f64 = 1e-3;
const STRENGTH: f64 = 0.15;
/// Two trains of one unit keep to one grid within this.
const GRID_S: f64 = 0.01;
const SAME_PERIOD_S: f64 = 2e-3;
/// Together they have no more pulses than are due, but for a few found twice.
const MOST_SHARED: f64 = 1.1;
/// A period jumps by less than this share.
const PERIOD_SHARE: f64 = 0.05;

impl Unit {
    fn of(number: usize, train: &Train) -> Self {
        Self {
            trains: vec![number],
            expected: train.expected(),
            first_on_s: train.sums.first_on_s(),
            last_on_s: train.last_pulse.on_s,
            notes: Vec::new(),
            train: train.clone(),
        }
    }

    fn take(&mut self, number: usize, other: &Train, gaps: &[Gap]) {
        let (first, last) = (other.sums.first_on_s(), other.last_pulse.on_s);
        let found = self.train.sums.found + other.sums.found;
        if self.beside(first, last) && self.aside(other) > 0.25 * self.period_s() {
            // Each has every other pulse.
            self.train.sums.renumber(2.0);
            self.expected += other.expected();
        } else if self.beside(first, last) {
            self.expected = self.expected.max(found);
        } else {
            self.expected += other.expected();
            self.note_break(other, gaps);
        }
        self.first_on_s = self.first_on_s.min(first);
        self.last_on_s = self.last_on_s.max(last);
        self.trains.push(number);
        self.train.sums.absorb(&other.sums);
    }

    /// Whether a train from `first` to `last` runs while this one does.
    fn beside(&self, first: f64, last: f64) -> bool {
        first < self.last_on_s && last > self.first_on_s
    }

    fn period_s(&self) -> f64 {
        self.train.sums.period().reading.value
    }

    /// How far the pulses of `other` lie from this one's grid, s.
    fn aside(&self, other: &Train) -> f64 {
        let period_s = self.period_s();
        let apart = other.sums.fitted_first_on_s() - self.train.sums.fitted_first_on_s();
        let slots = apart / period_s;
        (slots - slots.round()).abs() * period_s
    }

    fn note_break(&mut self, other: &Train, gaps: &[Gap]) {
        let (own, new) = (self.train.sums.period().reading, other.sums.period().reading);
        let (from, to, before, after) = if other.sums.first_on_s() > self.last_on_s {
            (self.last_on_s, other.sums.first_on_s(), own, new)
        } else {
            (other.last_pulse.on_s, self.first_on_s, new, own)
        };
        let lost: f64 = gaps.iter().map(|g| (g.1.min(to) - g.0.max(from)).max(0.0)).sum();
        let silent = to - from - lost;
        if (before.value - after.value).abs() > 2e-4 + 5.0 * before.u.hypot(after.u).min(1e-3) {
            self.notes.push(format!(
                "the period changed from {:.1} ms to {:.1} ms at {to:.1} s",
                before.value * 1e3,
                after.value * 1e3
            ));
        } else if silent > 2.5 * before.value {
            self.notes.push(format!("silent from {from:.1} s to {to:.1} s"));
        } else if lost == 0.0 {
            self.notes.push(format!("its timing jumped at {to:.1} s"));
        }
    }

    /// Whether `faint` is this unit, found a second time by its pulses together.
    fn sums_over(&self, faint: &Train) -> bool {
        let offset_hz = faint.sums.carrier().value;
        let close = (offset_hz - self.train.sums.carrier().value).abs() < FAINT_CARRIER_HZ;
        close && self.train.explains(offset_hz, faint.sums.period().reading.value)
    }

    fn is(&self, other: &Train) -> bool {
        let (a, b) = (&self.train.sums, &other.sums);
        let off = |x: crate::reading::Reading, y: crate::reading::Reading, least: f64| {
            (x.value - y.value).abs()
                < least + 4.0 * x.u.min(8.0 * least).hypot(y.u.min(8.0 * least))
        };
        let ((da, aside_a), (db, aside_b)) = (a.direction(), b.direction());
        let cosine: f64 = da.iter().zip(&db).map(|(x, y)| x * y).sum();
        let moved =
            aside_a.max(aside_b) > 0.02 || a.magnitude_scatter().max(b.magnitude_scatter()) > 0.1;
        let strength = (a.magnitude().value / b.magnitude().value).ln().abs();
        let (pa, pb) = (a.period().reading.value, b.period().reading.value);
        let timing = if self.beside(b.first_on_s(), other.last_pulse.on_s) {
            let aside = self.aside(other);
            let half = (aside - 0.5 * pa).abs() < 3.0 * GRID_S && self.trains.len() == 1;
            // Two pulses at once are not one unit's.
            let both = (a.found + b.found) as f64;
            let shared = both <= MOST_SHARED * self.expected.max(other.expected()) as f64;
            (pa - pb).abs() < SAME_PERIOD_S && ((aside < GRID_S && shared) || half)
        } else {
            (pa / pb).ln().abs() < PERIOD_SHARE
        };
        // Overlap leaves lengths uncertain.
        let covered = b.overlapped as f64 > 0.4 * b.found as f64;
        let on_time_s = if covered { 5.0 * ON_TIME_S } else { ON_TIME_S };
        off(a.carrier(), b.carrier(), CARRIER_HZ)
            && off(a.on_time(), b.on_time(), on_time_s)
            && (moved || (cosine.abs() > 0.97 && strength < STRENGTH))
            && timing
    }
}

/// Join the trains that are one unit's.
pub(super) fn units(trains: &[Train], gaps: &[Gap]) -> Vec<Unit> {
    let mut order: Vec<usize> = (0..trains.len()).collect();
    order.sort_by_key(|i| std::cmp::Reverse(trains[*i].sums.found));
    let mut units: Vec<Unit> = Vec::new();
    let (faint, order): (Vec<usize>, Vec<usize>) =
        order.into_iter().partition(|i| trains[*i].faint);
    for i in order {
        match units.iter_mut().find(|u| u.is(&trains[i])) {
            Some(unit) => unit.take(i, &trains[i], gaps),
            None => units.push(Unit::of(i, &trains[i])),
        }
    }
    for i in faint {
        match units.iter_mut().find(|u| u.sums_over(&trains[i])) {
            // Single pulses near the threshold are a choice of the strong ones.
            Some(unit)
                if unit.train.sums.mean_energy() < SURE_ENERGY
                    || trains[i].sums.found as f64 > 1.2 * unit.train.sums.found as f64 =>
            {
                *unit = Unit::of(i, &trains[i]);
            }
            Some(_) => {}
            None => units.push(Unit::of(i, &trains[i])),
        }
    }
    units
}
