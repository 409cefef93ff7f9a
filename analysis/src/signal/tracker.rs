//! Orders pulses into trains as they come.
//!
//! A pulse goes to the train that expects it: the one whose prediction of
//! time, carrier, length and field direction it fits best, within gates. What
//! no train expects is kept for ten seconds; four pulses (one may be missing)
//! at equal intervals and alike in carrier and length begin a new train. Of
//! several such chains the one with the most pulses, then the best fit, wins,
//! so that the true period beats its multiples and chance coincidences. While a train
//! is young its pulses are held against each other: those of several units that stand
//! half or a third of a period apart are taken apart again ([`woven`]).

use std::collections::VecDeque;
use std::sync::Arc;

use super::fit::LONGEST_EDGE_S;
use super::pulse::Pulse;
use super::shape::Shape;
use super::steady::median;
use super::train::{Summed, TrainSums};
use super::woven;

/// Periods that a transmitter may have, s.
const PERIOD_S: std::ops::Range<f64> = 0.3..2.5;
/// How long an unexplained pulse is kept.
const MEMORY_S: f64 = 10.0;
const MOST_LOOSE: usize = 256;
/// Gaps remembered; older ones no train reaches back to.
const MOST_GAPS: usize = 1024;
/// No period is known so well that its count holds over a gap of more periods.
const MOST_SLOTS: f64 = 1000.0;
/// Edges of which nothing is known yet are taken for this.
const USUAL_EDGE_S: f64 = 0.002;
/// How far a pulse of another length moves what is expected of the next.
const REGAIN_S: f64 = 1e-3;
/// Pulses after which a young train is looked at, and how many are kept for it.
const LOOKED_AT: [usize; 5] = [8, 12, 16, 24, 32];
const KEPT: usize = 32;
/// A train unseen for this many periods is over.
const SILENT_PERIODS: f64 = 20.0;

/// A train being followed.
#[derive(Clone)]
pub(super) struct Train {
    pub sums: TrainSums,
    /// Number of the last pulse, counted from the first.
    pub last: usize,
    pub last_pulse: Pulse,
    /// Slots from the first to the last pulse that fell into gaps of the capture.
    pub slots_in_gaps: usize,
    /// Measured by its pulses together, too weak for single ones.
    pub faint: bool,
    /// Looks in a row in which a faint train was not there.
    pub unseen: usize,
    period_s: f64,
    offset_hz: f64,
    on_time_s: f64,
    edge_s: [f64; 2],
    /// Running mean square of the prediction error, per period.
    wander_s2: f64,
    /// Its latest pulses with their numbers, and how many have come since it began or
    /// took in those between its own.
    latest: VecDeque<(usize, Pulse)>,
    young: usize,
    /// As it was before it took in those between its own, while young.
    before: Option<Box<Train>>,
}

/// A pulse that a train expects.
pub(super) struct Expected {
    pub on_s: f64,
    pub off_s: f64,
    pub edge_s: [f64; 2],
    pub offset_hz: f64,
    pub shape: Option<Arc<Shape>>,
}

/// Samples are missing from one time to another, s.
pub(super) type Gap = (f64, f64);

/// All trains, and the pulses that belong to none yet.
pub(super) struct Tracker {
    pub trains: Vec<Train>,
    loose: Vec<Pulse>,
    pub to_field: [[f64; 3]; 3],
    pub gaps: Vec<Gap>,
    /// Pulses that found no train in time.
    pub stray: usize,
}

/// A pulse that has found its train.
pub(super) struct Assigned {
    pub pulse: u64,
    pub train: usize,
    /// The train's pulse one period before, when this is the newest.
    pub follows: Option<Pulse>,
}

/// A pulse in relation to a train's expectations.
struct Match {
    slots: usize,
    late_s: f64,
    score: f64,
}

impl Train {
    fn new(first: &Pulse, period_s: f64) -> Self {
        Self {
            sums: TrainSums::new(first, period_s),
            last: 0,
            last_pulse: first.clone(),
            slots_in_gaps: 0,
            faint: false,
            unseen: 0,
            period_s,
            offset_hz: first.offset_hz,
            on_time_s: first.on_time_s(),
            edge_s: first.edge_s,
            wander_s2: 1e-6,
            latest: VecDeque::new(),
            young: 0,
            before: None,
        }
    }

    /// Remember pulse number `k`.
    fn keep(&mut self, k: usize, pulse: &Pulse) {
        if self.latest.len() == KEPT {
            self.latest.pop_front();
        }
        self.latest.push_back((k, pulse.clone()));
        self.young += 1;
        if self.young > KEPT {
            self.before = None;
        }
    }

    /// Into how many units its pulses fall, if it is time to look and they do.
    fn is_woven(&self) -> Option<usize> {
        let look = LOOKED_AT.contains(&self.young) && !self.faint;
        let pulses = || self.latest.iter().rev().take(self.young).cloned().collect::<Vec<_>>();
        let turns = look.then(|| woven::units(&pulses())).flatten()?;
        (turns as f64 * self.period_s < PERIOD_S.end).then_some(turns)
    }

    /// The trains of the units whose pulses are woven into this one, `turns` of them by
    /// place; that which was there before, or else the first, comes first.
    fn unwoven(&self, turns: usize, to_field: &[[f64; 3]; 3], gaps: &[Gap]) -> Vec<Self> {
        let period_s = turns as f64 * self.period_s;
        let of = |turn: usize| -> Vec<Pulse> {
            let young = self.latest.iter().rev().take(self.young).rev();
            young.filter(|(k, _)| k % turns == turn).map(|(_, p)| p.clone()).collect()
        };
        let mut pulses: Vec<Vec<Pulse>> =
            (0..turns).map(of).filter(|pulses| pulses.len() > 1).collect();
        pulses.sort_by(|a, b| a[0].on_s.total_cmp(&b[0].on_s));
        let mut trains = Vec::new();
        if let Some(before) = &self.before {
            let late_s = |p: &Pulse| {
                let slots = (p.on_s - before.last_pulse.on_s) / before.period_s;
                (slots - slots.round()).abs() * before.period_s
            };
            let aside =
                |pulses: &Vec<Pulse>| pulses.iter().map(late_s).sum::<f64>() / pulses.len() as f64;
            let own =
                (0..pulses.len()).min_by(|a, b| aside(&pulses[*a]).total_cmp(&aside(&pulses[*b])));
            let mut train = (**before).clone();
            for pulse in own.map(|i| pulses.remove(i)).unwrap_or_default() {
                if pulse.on_s > train.last_pulse.on_s {
                    train.take_next(pulse, to_field, gaps);
                }
            }
            trains.push(train);
        }
        trains.extend(pulses.into_iter().map(|p| Self::from_chain(p, period_s, to_field, gaps)));
        // They have been looked at.
        trains.iter_mut().for_each(|train| train.young = KEPT + 1);
        trains
    }

    /// A train from its first pulses in order of time.
    fn from_chain(
        pulses: Vec<Pulse>,
        period_s: f64,
        to_field: &[[f64; 3]; 3],
        gaps: &[Gap],
    ) -> Self {
        let span = pulses[pulses.len() - 1].on_s - pulses[0].on_s;
        let mut train = Self::new(&pulses[0], span / (span / period_s).round().max(1.0));
        // The first pulse may be the one that is not like the others.
        train.on_time_s = median(pulses.iter().map(Pulse::on_time_s));
        train.sums.add(0, &pulses[0], to_field, true);
        train.keep(0, &pulses[0]);
        for pulse in pulses.into_iter().skip(1) {
            train.take_next(pulse, to_field, gaps);
        }
        train
    }

    /// A pulse that is known to be its next, but for some that may be missing.
    fn take_next(&mut self, pulse: Pulse, to_field: &[[f64; 3]; 3], gaps: &[Gap]) {
        let since = pulse.on_s - self.last_pulse.on_s;
        let slots = (since / self.period_s).round().max(1.0);
        let late_s = since - slots * self.period_s;
        self.take(pulse, &Match { slots: slots as usize, late_s, score: 0.0 }, to_field, gaps);
    }

    /// Whether pulses of this period, one of them `pulse`, fall half way between
    /// those of this train and are like them: it has twice the true period.
    fn is_every_other(&self, pulse: &Pulse, period_s: f64) -> bool {
        let slots = (pulse.on_s - self.last_pulse.on_s) / self.period_s;
        let aside = (slots - slots.floor() - 0.5).abs() * self.period_s;
        (period_s - self.period_s).abs() < 0.004
            && self.period_s > 2.0 * PERIOD_S.start
            && aside < 0.008 + 0.002 * slots.abs()
            && likeness(pulse, self.offset_hz, self.on_time_s, &self.last_pulse).is_some()
    }

    /// Half the period, with the pulses that lay between those known so far.
    fn halve(&mut self, between: Vec<Pulse>, to_field: &[[f64; 3]; 3]) {
        let before = Self { before: None, ..self.clone() };
        self.before = Some(Box::new(before));
        self.latest.iter_mut().for_each(|(k, _)| *k *= 2);
        self.young = 0;
        self.sums.renumber(2.0);
        self.sums.odd = 0;
        self.period_s /= 2.0;
        self.last *= 2;
        self.slots_in_gaps *= 2;
        let (last, last_on_s) = (self.last as f64, self.last_pulse.on_s);
        for pulse in between {
            let number = last + ((pulse.on_s - last_on_s) / self.period_s).round();
            if number < 0.0 {
                continue;
            }
            let regular = (pulse.on_time_s() - self.on_time_s).abs() < 0.004 + 6.0 * pulse.u_edge_s;
            self.sums.add(number as usize, &pulse, to_field, regular);
            self.keep(number as usize, &pulse);
            if number as usize > self.last {
                self.last = number as usize;
                self.last_pulse = pulse;
            }
        }
        self.latest.make_contiguous().sort_by_key(|(k, _)| *k);
        // Its own that lie between them count with them.
        self.young = (2 * self.young).min(self.latest.len());
    }

    /// This train, unless nearly all its pulses have even numbers: then that
    /// with twice the period.
    pub(super) fn with_true_period(&self) -> Self {
        let mut train = self.clone();
        let (found, odd) = (self.sums.found as f64, self.sums.odd as f64);
        if !self.faint && found >= 4.0 && odd < 0.1 * found && found < 0.7 * self.last as f64 {
            train.sums.renumber(0.5);
            train.period_s *= 2.0;
            train.last /= 2;
            train.slots_in_gaps /= 2;
        }
        train
    }

    /// A train too weak for single pulses; `first` stands for the first of them.
    pub(super) fn faint(first: &Pulse, summed: &Summed, to_field: &[[f64; 3]; 3]) -> Self {
        let mut train = Self::new(first, summed.period_s);
        train.faint = true;
        train.sums.add_stack(0, first.on_s, summed, to_field);
        train.end_at(first.on_s, 0, summed);
        train
    }

    /// More of its pulses, from about `on_s` on.
    pub(super) fn take_stack(&mut self, on_s: f64, summed: &Summed, to_field: &[[f64; 3]; 3]) {
        let slots = ((on_s - self.last_pulse.on_s) / self.period_s).round().max(1.0);
        let first = self.last + slots as usize;
        self.sums.add_stack(first, on_s, summed, to_field);
        self.end_at(on_s, first, summed);
    }

    fn end_at(&mut self, on_s: f64, first: usize, summed: &Summed) {
        let more = summed.slots - 1;
        self.last = first + more;
        self.last_pulse.on_s = on_s + more as f64 * summed.period_s;
        self.last_pulse.off_s = self.last_pulse.on_s + summed.length_s;
        self.period_s = self.sums.period().reading.value;
        self.offset_hz = self.sums.carrier().value;
        self.on_time_s = self.sums.on_time().value;
    }

    pub(super) fn offset_hz(&self) -> f64 {
        self.offset_hz
    }

    pub(super) fn on_time_s(&self) -> f64 {
        self.on_time_s
    }

    /// Duration of the edges, with as much trust in what was seen of them as the
    /// noise allows.
    pub(super) fn usual_edges_s(&self) -> [f64; 2] {
        let trust = self.sums.trust_in_edges();
        self.edge_s.map(|e| (USUAL_EDGE_S + trust * (e - USUAL_EDGE_S)).clamp(0.0, LONGEST_EDGE_S))
    }

    /// What a faint train is expected to be from `from_s` on: middle of the first
    /// pulse, period, offset and length.
    pub(super) fn outlook(&self, from_s: f64) -> (f64, f64, f64, f64) {
        let next = ((from_s - self.last_pulse.on_s) / self.period_s).ceil().max(1.0);
        let on_s = self.last_pulse.on_s + next * self.period_s;
        (on_s + 0.5 * self.on_time_s, self.period_s, self.offset_hz, self.on_time_s)
    }

    /// Whether next to nothing of this train is missed.
    pub(super) fn is_sure(&self) -> bool {
        self.sums.found >= 8 && self.sums.found as f64 > 0.8 * self.expected() as f64
    }

    /// Whether a train of this offset, period and pulse could be this one, or
    /// one that has a multiple or a part of its period.
    pub(super) fn explains(&self, offset_hz: f64, period_s: f64) -> bool {
        let ratio = period_s / self.period_s;
        let near = |r: f64| (r - r.round()).abs() < 0.01 * r && r.round() >= 1.0;
        (offset_hz - self.offset_hz).abs() < 12.0 && (near(ratio) || near(1.0 / ratio))
    }

    /// Pulses due from the first to the last one found, those in gaps not counted.
    pub(super) fn expected(&self) -> usize {
        self.last + 1 - self.slots_in_gaps
    }

    fn expects(&self, pulse: &Pulse, gaps: &[Gap]) -> Option<Match> {
        let since = pulse.on_s - self.last_pulse.on_s;
        let slots = (since / self.period_s).round();
        let counted = (1.0..=MOST_SLOTS).contains(&slots);
        if self.faint || !counted || self.silent_slots(pulse.on_s, gaps) > SILENT_PERIODS {
            return None;
        }
        let late_s = since - slots * self.period_s;
        let edges = pulse.u_edge_s.hypot(self.last_pulse.u_edge_s);
        // The period itself is known to the wander over the pulses seen.
        let drift = slots / (self.sums.found as f64).max(2.0);
        let variance = edges * edges + self.wander_s2 * (slots + drift * drift * slots);
        let gate = (5.0 * variance.sqrt()).clamp(0.004, 0.15 * self.period_s);
        if late_s.abs() > gate {
            return None;
        }
        let likeness = likeness(pulse, self.offset_hz, self.on_time_s, &self.last_pulse)?;
        let score = late_s * late_s / (variance + 0.25e-6) + likeness;
        Some(Match { slots: slots as usize, late_s, score })
    }

    /// Periods since the last pulse, those in gaps not counted.
    fn silent_slots(&self, until_s: f64, gaps: &[Gap]) -> f64 {
        let from_s = self.last_pulse.on_s;
        let after = gaps.iter().rev().take_while(|g| g.1 > from_s);
        let lost: f64 = after.map(|g| g.1.min(until_s) - g.0.max(from_s)).sum();
        (until_s - from_s - lost) / self.period_s
    }

    fn take(&mut self, pulse: Pulse, found: &Match, to_field: &[[f64; 3]; 3], gaps: &[Gap]) {
        let lost = |slot: &usize| {
            let due = self.last_pulse.on_s + *slot as f64 * self.period_s;
            gaps.iter().any(|g| due + self.on_time_s > g.0 && due < g.1)
        };
        self.slots_in_gaps += (1..found.slots).filter(lost).count();
        self.last += found.slots;
        let seen = self.sums.found as f64;
        let difference = (pulse.on_time_s() - self.on_time_s).abs();
        let regular = difference < 0.004 + 6.0 * pulse.u_edge_s;
        self.sums.add(self.last, &pulse, to_field, regular);
        self.keep(self.last, &pulse);
        let gain = (1.0 / (seen + 1.0)).max(0.1);
        self.period_s += gain * found.late_s / found.slots as f64;
        let error = found.late_s * found.late_s / found.slots as f64;
        self.wander_s2 += gain * (error - self.wander_s2);
        // Carriers drift faster than periods.
        self.offset_hz += gain.max(0.4) * (pulse.offset_hz - self.offset_hz);
        if regular && !pulse.overlapped {
            let edges = self.edge_s.iter_mut().zip(pulse.edge_s);
            let gain = gain.min(1.0 / (seen + 1.0).min(60.0));
            edges.for_each(|(mean, edge)| *mean += gain * (edge - *mean));
            self.on_time_s += gain * (pulse.on_time_s() - self.on_time_s);
        } else if !pulse.overlapped {
            // In small steps, should all others be like this one.
            self.on_time_s += (pulse.on_time_s() - self.on_time_s).clamp(-REGAIN_S, REGAIN_S);
        }
        self.last_pulse = pulse;
    }
}

/// Disagreement in carrier, length, direction and strength; `None` beyond the gates.
fn likeness(pulse: &Pulse, offset_hz: f64, on_time_s: f64, last: &Pulse) -> Option<f64> {
    let off_hz = pulse.offset_hz - offset_hz;
    let u_hz = pulse.u_offset_hz.hypot(last.u_offset_hz);
    let length = pulse.on_time_s() - on_time_s;
    let u_length = 1.5 * pulse.u_edge_s.max(last.u_edge_s);
    // Edges of overlapped pulses may be taken from each other.
    let loose = if pulse.overlapped || last.overlapped { 0.04 } else { 0.006 };
    if off_hz.abs() > 4.0 + 5.0 * u_hz || length.abs() > loose + 5.0 * u_length {
        return None;
    }
    let carrier = (off_hz / u_hz.hypot(0.5)).powi(2).min(25.0);
    let length = (length / u_length.hypot(loose / 4.0)).powi(2).min(16.0);
    // The coil may turn and move from pulse to pulse, so these only tip the scales.
    let direction = ((1.0 - pulse.alignment(&last.amplitude)) / 0.01).min(9.0);
    let strength = ((pulse.power() / last.power()).ln() / 0.4).powi(2).min(6.0);
    Some(carrier + length + direction + strength)
}

impl Tracker {
    pub(super) fn new(to_field: [[f64; 3]; 3]) -> Self {
        Self { trains: Vec::new(), loose: Vec::new(), to_field, gaps: Vec::new(), stray: 0 }
    }

    /// Samples are missing between these times.
    pub(super) fn gap(&mut self, from_s: f64, to_s: f64) {
        if self.gaps.len() == MOST_GAPS {
            self.gaps.remove(0);
        }
        self.gaps.push((from_s, to_s));
        self.trains.iter_mut().for_each(|train| train.sums.gap());
    }

    /// The pulses that trains expect to be on at any time within these seconds.
    pub(super) fn expected(&self, from_s: f64, to_s: f64) -> Vec<Expected> {
        let mut expected = Vec::new();
        let alive = |t: &&Train| !t.faint && t.silent_slots(from_s, &self.gaps) < SILENT_PERIODS;
        for train in self.trains.iter().filter(alive) {
            let last_s = train.last_pulse.on_s;
            let first = ((from_s - train.on_time_s - last_s) / train.period_s).ceil().max(1.0);
            let mut slot = first;
            while last_s + slot * train.period_s < to_s {
                let on_s = last_s + slot * train.period_s;
                expected.push(Expected {
                    on_s,
                    off_s: on_s + train.on_time_s,
                    edge_s: train.usual_edges_s(),
                    offset_hz: train.offset_hz,
                    shape: train.sums.shape.clone(),
                });
                slot += 1.0;
            }
        }
        expected
    }

    /// Take in a pulse; pulses must come in order of their start. Gives the
    /// assignments that follow: none, this pulse, or those of a whole new train.
    pub(super) fn push(&mut self, pulse: Pulse) -> Vec<Assigned> {
        let best = (0..self.trains.len())
            .filter_map(|i| self.trains[i].expects(&pulse, &self.gaps).map(|m| (i, m)))
            .min_by(|a, b| a.1.score.total_cmp(&b.1.score));
        if let Some((i, found)) = best {
            let id = pulse.id;
            let follows = (found.slots == 1).then(|| self.trains[i].last_pulse.clone());
            self.trains[i].take(pulse, &found, &self.to_field, &self.gaps);
            let mut assigned = vec![Assigned { pulse: id, train: i, follows }];
            assigned.extend(self.take_apart(i));
            return assigned;
        }
        let now = pulse.on_s;
        let before = self.loose.len();
        self.loose.retain(|p| now - p.on_s < MEMORY_S);
        self.stray += before - self.loose.len();
        if self.loose.len() == MOST_LOOSE {
            self.loose.remove(0);
            self.stray += 1;
        }
        self.loose.push(pulse);
        self.begin_train(4)
    }

    /// Take a train apart if it is woven from those of several units; gives the pulses
    /// that go to another train.
    fn take_apart(&mut self, train: usize) -> Vec<Assigned> {
        let Some(turns) = self.trains[train].is_woven() else { return Vec::new() };
        let mut apart = self.trains[train].unwoven(turns, &self.to_field, &self.gaps).into_iter();
        if let Some(first) = apart.next() {
            self.trains[train] = first;
        }
        let mut assigned = Vec::new();
        for other in apart {
            let to = self.trains.len();
            let of = |(_, p): &(usize, Pulse)| Assigned { pulse: p.id, train: to, follows: None };
            assigned.extend(other.latest.iter().map(of));
            self.trains.push(other);
        }
        assigned
    }

    /// End of the capture: short captures get along with shorter chains.
    pub(super) fn finish(&mut self) -> Vec<Assigned> {
        let mut assigned = Vec::new();
        for least in [3, 2] {
            // Two pulses make a train only where nothing else is known.
            if least == 2 && (!self.trains.is_empty() || self.loose.len() != 2) {
                break;
            }
            let pulses = std::mem::take(&mut self.loose);
            for pulse in pulses {
                self.loose.push(pulse);
                assigned.extend(self.begin_train(least));
            }
        }
        self.stray += self.loose.len();
        self.loose.clear();
        assigned
    }

    /// Look for a chain that ends with the newest loose pulse.
    fn begin_train(&mut self, least: usize) -> Vec<Assigned> {
        let Some(newest) = self.loose.len().checked_sub(1) else { return Vec::new() };
        let chains = (0..newest).flat_map(|q| {
            let interval = self.loose[newest].on_s - self.loose[q].on_s;
            [1.0, 2.0].map(|slots| (q, interval / slots))
        });
        let best = chains
            .filter(|(_, period)| PERIOD_S.contains(period))
            .filter_map(|(_, period)| self.chain(newest, period).map(|chain| (chain, period)))
            .filter(|((members, _), _)| members.len() >= least)
            // The longest period that explains as much: its fractions explain it too.
            .max_by(|((a, worse_a), p), ((b, worse_b), q)| {
                a.len().cmp(&b.len()).then(worse_b.total_cmp(worse_a)).then(p.total_cmp(q))
            });
        let Some(((mut members, _), period)) = best else { return Vec::new() };
        members.sort_unstable_by(|a, b| b.cmp(a));
        let train = self.trains.len();
        let mut pulses: Vec<Pulse> = members.into_iter().map(|i| self.loose.remove(i)).collect();
        pulses.sort_by(|a, b| a.on_s.total_cmp(&b.on_s));
        let half = self.trains.iter().position(|t| {
            // It must run beside them, not have stopped before.
            pulses[0].on_s < t.last_pulse.on_s && pulses.iter().all(|p| t.is_every_other(p, period))
        });
        let train = half.unwrap_or(train);
        let of = |p: &Pulse| Assigned { pulse: p.id, train, follows: None };
        let assigned: Vec<Assigned> = pulses.iter().map(of).collect();
        if let Some(half) = half {
            self.trains[half].halve(pulses, &self.to_field);
            return assigned.into_iter().chain(self.take_apart(half)).collect();
        }
        self.trains.push(Train::from_chain(pulses, period, &self.to_field, &self.gaps));
        assigned
    }

    /// Walk back from the newest pulse in steps of the period: members (newest
    /// first) and their mean disagreement.
    fn chain(&self, newest: usize, period_s: f64) -> Option<(Vec<usize>, f64)> {
        let mut members = vec![newest];
        let (mut missing, mut score) = (0, 0.0);
        let mut expected = self.loose[newest].on_s - period_s;
        while missing <= 1 {
            let from = &self.loose[members[members.len() - 1]];
            let next = (0..self.loose.len())
                .filter(|i| self.loose[*i].on_s < from.on_s)
                .filter_map(|i| {
                    let pulse = &self.loose[i];
                    let late = pulse.on_s - expected;
                    let gate = 0.006 + 5.0 * pulse.u_edge_s.hypot(from.u_edge_s);
                    let likeness = likeness(pulse, from.offset_hz, from.on_time_s(), from)?;
                    (late.abs() < gate).then(|| (i, likeness + (late / 0.003).powi(2)))
                })
                .min_by(|a, b| a.1.total_cmp(&b.1));
            match next {
                Some((i, disagreement)) => {
                    members.push(i);
                    score += disagreement;
                    expected = self.loose[i].on_s - period_s;
                }
                None => {
                    missing += 1;
                    expected -= period_s;
                }
            }
            if expected < self.loose[0].on_s - 0.01 {
                break;
            }
        }
        (members.len() > 1).then(|| {
            let mean = score / (members.len() - 1) as f64;
            (members, mean)
        })
    }
}
