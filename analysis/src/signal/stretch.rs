//! A gapless stretch of working samples in which pulses are looked for.
//!
//! The stretch moves on in hops of 32 ms. As long as the short-time spectra show
//! nothing and no train expects anything, that is all there is to do. Otherwise
//! a *region* is open, from shortly before the first sign of a burst; it is taken
//! apart ([`Separation`]) when a burst has ended, or is due to have ended. Pulses
//! that are over leave the span for good; what still goes on stays.

use std::ops::Range;

use super::bank::{Bank, threshold};
use super::burst::Burst;
use super::edges::FineSpan;
use super::faint::{History, WEAK_ENERGY};
use super::frontend::{Frame, Frontend};
use super::noise::NoiseFloor;
use super::separate::{Found, Kind, Limits, Separation, TOUCHING_S};
use super::shape::Shape;
use super::spectra::Spectra;
use super::steady::Steady;
use super::template::StepTemplate;

/// The samples that stay in view.
const SPAN_S: f64 = 3.0;
/// The longest region that is taken apart at once.
const REGION_S: f64 = 2.0;
/// Hops gathered before the analysis begins, for noise and steady carriers, and
/// from one search for steady carriers to the next.
const BEGIN_HOPS: usize = 64;
/// Before the first sign of a burst.
const LEAD_S: f64 = 0.064;
/// A burst that ended less than this ago may go on.
const UNSURE_S: f64 = 0.028;
/// Chance that one filter full of noise passes for a pulse. The fit looks at
/// some 10⁹ distinguishable carriers, starts and lengths an hour, so that less
/// than one false pulse an hour is left.
pub const FALSE_PULSE: f64 = 4e-10;
/// The same where a train expects a pulse.
const FALSE_EXPECTED: f64 = 1e-4;
/// The coarse filters lose up to 2 dB, so they look at weaker candidates, and
/// the spectra at still weaker ones.
const FALSE_CANDIDATE: f64 = 4e-6;
const FALSE_SIGN: f64 = 1e-4;
/// Against a strong pulse its model is what limits, not the noise: below this
/// share of the power of the strongest sample, −55 dB, there is nothing to find
/// but its flaws. Steady carriers are known better, −80 dB, but for a break in the
/// samples, where the filters have seen half of them.
const PULSE_FLOOR: f64 = 3e-6;
const STEADY_FLOOR: f64 = 1e-8;
const BREAK_FLOOR: f64 = 1e-3;
/// A pulse of this energy over noise may leave something over that shows.
const LEFT_OVER_ENERGY: f64 = 1000.0;
/// Below this energy over noise a pulse tells nothing of its shape.
const SHAPE_ENERGY: f64 = 300.0;
/// Share of a pulse's power from which on another burst hides its shape.
const HIDING: f64 = 0.003;
/// A carrier is known to have stopped after this.
const STOPPED_S: f64 = 0.25;
/// A burst that goes on for longer than this may be a steady carrier that came up;
const LONG_S: f64 = 1.2;
/// so may pulses alike that are on for more than this share of two seconds.
const MOST_KEYED: f64 = 0.5;
/// Noise that rises fills all frequencies: half the cells of a window are above
/// this times their mean, none above so many times their median, for so many hops.
const LOUD: f32 = 4.0;
const FLAT: f32 = 12.0;
const LOUD_HOPS: usize = 12;
/// A region is taken apart when the spectra fall below this share of the last,
const FALLEN: f32 = 0.3;
/// or after so many hops.
const PATIENCE: usize = 4;

/// Where a region begins, in samples of the span, and when it was last taken apart.
#[derive(Clone, Copy)]
struct Region {
    start: usize,
    looked: usize,
}

/// See the module's documentation.
pub(super) struct Stretch {
    axes: usize,
    rate_hz: f64,
    limits: Limits,
    /// Of the fine and of the working rate.
    templates: [StepTemplate; 2],
    bank: Bank,
    spectra: Spectra,
    pub noise: NoiseFloor,
    pub steady: Steady,
    /// What came before the span.
    pub history: History,
    /// Samples in view, finished pulses and steady carriers taken out.
    pub span: Vec<Frame>,
    /// The same samples as they came.
    pub raw: Vec<Frame>,
    /// Working samples of the stretch before the span.
    pub passed: usize,
    /// Hops of the span that have been watched.
    watched: usize,
    begun: bool,
    region: Option<Region>,
    /// Spectra of the windows that end with each hop of the span.
    cells: Vec<Vec<f32>>,
    peaks: Vec<f32>,
    /// Hops until steady carriers are looked for again.
    until_steady: usize,
    /// Pulses taken out of the span, and of the time shortly before.
    pub taken: Vec<Burst>,
    /// Bursts that go on.
    pub open: Vec<Burst>,
}

impl Stretch {
    pub(super) fn new(frontend: &Frontend, axes: usize, rate_hz: f64, band_hz: Range<f64>) -> Self {
        let spectra = Spectra::new(axes, rate_hz, band_hz.clone());
        Self {
            history: History::new(axes, spectra.bins(), spectra.hop(), rate_hz),
            axes,
            rate_hz,
            limits: Limits {
                sign: threshold(axes, FALSE_SIGN),
                candidate: threshold(axes, FALSE_CANDIDATE),
                pulse: threshold(axes, FALSE_PULSE),
                expected: threshold(axes, FALSE_EXPECTED),
            },
            templates: frontend.templates(),
            bank: Bank::new(axes, rate_hz, band_hz),
            spectra,
            noise: NoiseFloor::new(0.0),
            steady: Steady::default(),
            span: Vec::new(),
            raw: Vec::new(),
            passed: 0,
            watched: 0,
            begun: false,
            region: None,
            cells: Vec::new(),
            peaks: Vec::new(),
            until_steady: BEGIN_HOPS,
            taken: Vec::new(),
            open: Vec::new(),
        }
    }

    pub(super) fn hop(&self) -> usize {
        self.spectra.hop()
    }

    /// Noise power per working sample, an entry an axis.
    pub(super) fn noise_per_sample(&self) -> Vec<f64> {
        self.noise.per_sample()[..self.axes].to_vec()
    }

    pub(super) fn template(&self) -> &StepTemplate {
        &self.templates[1]
    }

    /// Be ready for a new stretch. Noise and steady carriers are likely the same
    /// after a gap, but the carriers' phases are not known.
    pub(super) fn restart(&mut self) {
        self.history.clear();
        self.span.clear();
        self.raw.clear();
        self.cells.clear();
        self.peaks.clear();
        self.taken.clear();
        self.open.clear();
        self.region = None;
        self.passed = 0;
        self.watched = 0;
        self.begun = false;
        self.until_steady = BEGIN_HOPS;
        self.steady.lose(self.spectra.hop());
    }

    /// Take in the samples of one hop (fewer at the end of the stretch). Gives
    /// whether there is anything to watch.
    pub(super) fn take_in(&mut self, frames: &[Frame], last: bool) -> bool {
        let from = self.span.len();
        self.span.extend_from_slice(frames);
        self.raw.extend_from_slice(frames);
        self.steady.take_out(&mut self.span[from..]);
        if !self.begun && (last || self.span.len() >= BEGIN_HOPS * self.hop()) {
            self.begin();
        }
        self.begun
    }

    /// Noise and steady carriers from the first two seconds.
    fn begin(&mut self) {
        self.begun = true;
        let hops = self.span.len() / self.hop();
        let strongest = strongest(&self.span);
        self.noise.raise_floor(strongest);
        if !self.noise.is_known() {
            let mut all: [Vec<f32>; 3] = Default::default();
            for h in 2..=hops {
                let end = h * self.hop();
                self.spectra.transform(&self.span[end - 2 * self.hop()..end]);
                all.iter_mut().zip(&self.spectra.power).for_each(|(a, p)| a.extend(p));
            }
            self.noise.begin(&mut all, strongest);
        }
        for h in 1..=hops {
            self.look_at(h);
        }
        self.find_steady(true);
    }

    /// Spectrum of the window that ends with hop `h` of the span.
    fn look_at(&mut self, h: usize) {
        self.cells.resize_with(self.cells.len().max(h + 1), Vec::new);
        self.peaks.resize(self.cells.len(), 0.0);
        let bins = self.spectra.bins();
        self.cells[h].resize(bins, 0.0);
        let end = h * self.hop();
        let Some(first) = end.checked_sub(2 * self.hop()) else { return };
        self.spectra.transform(&self.span[first..end]);
        self.spectra.over_noise(&self.noise.per_sample(), &mut self.cells[h]);
        self.peaks[h] = self.cells[h].iter().copied().fold(0.0, f32::max);
    }

    /// Look for steady carriers that have come up in the last two seconds;
    /// `pulses_in` says that pulses have not been taken out.
    fn find_steady(&mut self, pulses_in: bool) {
        self.until_steady = BEGIN_HOPS;
        let hop = self.hop();
        let noise = self.noise.per_sample();
        let last = self.cells.len().saturating_sub(1);
        let first = last.saturating_sub(BEGIN_HOPS) + 2;
        let from = (first - 2) * hop;
        if first > last {
            return;
        }
        let pieces = self.pieces_of_carriers(from);
        self.put(&pieces, from, 1.0);
        let looked = first..=last;
        if !pieces.is_empty() {
            looked.clone().for_each(|h| self.look_at(h));
        }
        let mut found = false;
        while self.steady.find(
            &mut self.span[from..],
            self.cells[looked.clone()].iter().map(Vec::as_slice),
            |k| self.spectra.omega(k),
            hop,
            &noise[..self.axes],
            pulses_in,
        ) {
            found = true;
            self.steady.relax(&mut self.span[from..], hop, &noise[..self.axes]);
            looked.clone().for_each(|h| self.look_at(h));
        }
        if found {
            self.taken.retain(|b| pieces.iter().all(|p| p.on != b.on || p.omega != b.omega));
        } else if !pieces.is_empty() {
            self.put(&pieces, from, -1.0);
            looked.for_each(|h| self.look_at(h));
        }
    }

    /// Add bursts to the span from sample `from` on `sign` times.
    fn put(&mut self, bursts: &[Burst], from: usize, sign: f64) {
        for burst in bursts {
            let moved = burst.moved(-(from as f64));
            moved.apply(&mut self.span[from..], &self.templates[1], sign);
        }
    }

    /// Of the pulses taken out of the span from sample `from` on those of which there
    /// is too much for a keyed unit: what its pulses have left of a steady carrier.
    fn pieces_of_carriers(&self, from: usize) -> Vec<Burst> {
        let from = from as f64;
        let most = MOST_KEYED * (self.span.len() as f64 - from);
        let recent = || self.taken.iter().filter(|b| b.off > from);
        let on = |burst: &Burst| -> f64 {
            let alike = recent().filter(|b| b.is_like(burst, self.rate_hz));
            alike.map(|b| b.off - b.on.max(from)).sum()
        };
        recent().filter(|b| on(b) > most).cloned().collect()
    }

    /// Watch the next hop of the span, if there is one, and give the pulses that
    /// are over; `expected` gives the pulses that trains expect to touch a range of the span's samples.
    pub(super) fn watch(
        &mut self,
        frontend: &Frontend,
        last: bool,
        expected: &mut dyn FnMut(Range<f64>) -> Vec<Burst>,
    ) -> Option<Vec<Found>> {
        let hop = self.hop();
        let (h, now) = match (self.watched + 1) * hop {
            end if end <= self.span.len() => (self.watched + 1, end),
            _ if last && self.watched * hop < self.span.len() => (self.watched, self.span.len()),
            _ => return None,
        };
        let ends_here = last && now == self.span.len();
        self.watched = now.div_ceil(hop);
        if h * hop == now {
            self.look_at(h);
        }
        // A stretch may be shorter than a hop.
        let peak = self.peaks.get(h).copied().unwrap_or(0.0);
        let before = self.peaks[h.saturating_sub(2).min(self.peaks.len())..h.min(self.peaks.len())]
            .iter()
            .copied()
            .fold(0.0, f32::max);
        let quiet = f64::from(peak) <= self.limits.sign;
        let sure = now as f64 - UNSURE_S * self.rate_hz;
        let due = expected(now as f64 - REGION_S * self.rate_hz..now as f64 + 2.0 * hop as f64);
        let ended = |b: &Burst| b.off <= sure && b.off > sure - hop as f64;
        let ends_soon = |b: &Burst| b.off > sure && b.off < sure + 3.0 * hop as f64;
        let lead = LEAD_S * self.rate_hz;
        if !quiet && self.region.is_none() {
            let start = now.saturating_sub(2 * hop + lead as usize);
            self.region = Some(Region { start, looked: h });
        }
        if let Some(first) = due.iter().filter(|b| ended(b)).map(|b| b.on).min_by(f64::total_cmp) {
            let start = (first - lead).max(0.0) as usize;
            let region = self.region.get_or_insert(Region { start, looked: h });
            region.start = region.start.min(start);
        }
        let Some(region) = self.region else {
            if !ends_here {
                self.learn(now);
            }
            self.steady_again();
            return Some(Vec::new());
        };
        let loud = self.loud_run();
        if loud == LOUD_HOPS {
            self.noise_rose(h);
            return Some(Vec::new());
        }
        let fallen = peak < FALLEN * before || quiet;
        // What fills all frequencies is looked at when it is over.
        if loud >= PATIENCE && !ends_here {
            return Some(Vec::new());
        }
        let look = ends_here
            || due.iter().any(ended)
            || (fallen && !due.iter().any(ends_soon))
            || h >= region.looked + PATIENCE;
        let settled =
            look.then(|| self.take_apart(region, h, now, quiet, ends_here, frontend, expected));
        self.steady_again();
        Some(settled.unwrap_or_default())
    }

    /// The last windows in a row that noise far above the floor fills.
    fn loud_run(&self) -> usize {
        let limit = LOUD * self.axes as f32;
        let loud = |cells: &&Vec<f32>| {
            let above = cells.iter().filter(|p| **p > limit).count();
            2 * above > cells.len() && is_flat(cells)
        };
        let seen = (self.watched + 1).min(self.cells.len());
        self.cells[..seen].iter().rev().take_while(loud).count()
    }

    /// Something fills all frequencies for longer than pulses do.
    fn noise_rose(&mut self, h: usize) {
        let hop = self.hop();
        let mut windows = Vec::new();
        for end in (h + 1).saturating_sub(LOUD_HOPS).max(2)..=h {
            self.spectra.transform(&self.span[(end - 2) * hop..end * hop]);
            windows.push(self.spectra.power.clone());
        }
        self.noise.jump(&mut windows);
        self.region = None;
        self.open.clear();
        self.look_at(h);
    }

    /// Noise and steady carriers from the window that ends at `now`, just
    /// transformed, with nothing else in it.
    fn learn(&mut self, now: usize) {
        self.noise.update(&self.spectra.power);
        let noise = self.noise.per_sample();
        let last_hop = now - self.hop()..now;
        if self.passed + last_hop.start == 0 {
            // The filters are still filling.
            return;
        }
        self.steady.follow(&mut self.span, last_hop, &noise[..self.axes]);
    }

    fn steady_again(&mut self) {
        self.until_steady = self.until_steady.saturating_sub(1);
        if self.until_steady == 0 && self.watched * self.hop() == self.span.len() {
            self.find_steady(false);
        }
    }

    #[allow(clippy::too_many_arguments, reason = "the state of one hop")]
    fn take_apart(
        &mut self,
        region: Region,
        h: usize,
        now: usize,
        quiet: bool,
        last: bool,
        frontend: &Frontend,
        expected: &mut dyn FnMut(Range<f64>) -> Vec<Burst>,
    ) -> Vec<Found> {
        let start = region.start.max(now.saturating_sub((REGION_S * self.rate_hz) as usize));
        let found = self.separated(start, now, last, expected);
        let sure = now as f64 - UNSURE_S * self.rate_hz;
        let longest = REGION_S * self.rate_hz;
        let goes_on = |f: &Found| !last && f.burst.off > sure && f.burst.length() < 0.9 * longest;
        let (open, mut over): (Vec<Found>, Vec<Found>) = found.into_iter().partition(goes_on);
        // What is left of a burst that goes on is not known before its end.
        let of_open = |f: &Found| open.iter().any(|o| f.burst.shares_time(&o.burst));
        over.retain(|f| f.kind != Kind::Residue || !of_open(f));
        let (taken, held): (Vec<Found>, Vec<Found>) =
            over.into_iter().partition(|f| last || f.burst.off <= sure);
        let hop = self.hop();
        // What a carrier leaves that has stopped goes on for longer than most pulses.
        let longer = STOPPED_S * self.rate_hz;
        let ended = |steady: &mut Steady, span: &mut [Frame], f: &Found| {
            f.kind != Kind::Leak && f.burst.length() > longer && steady.end(&f.burst, span, hop)
        };
        let open: Vec<Found> =
            open.into_iter().filter(|f| !ended(&mut self.steady, &mut self.span, f)).collect();
        if self.span.len() == now {
            for found in &held {
                self.steady.begin(&found.burst, &mut self.span, hop);
            }
        }
        // Carrier that a unit leaks is left for the loops to learn.
        for found in taken.iter().filter(|f| f.kind != Kind::Leak) {
            found.burst.apply(&mut self.span, &self.templates[1], -1.0);
        }
        let pulses = self.refined(&taken, &open, frontend);
        for found in taken {
            if found.kind == Kind::Pulse {
                self.taken.push(found.burst);
            }
        }
        self.open = open.into_iter().filter(|f| f.kind != Kind::Residue).map(|f| f.burst).collect();
        let heard = |b: &Burst| b.off - self.heard_since(b);
        if self.open.iter().any(|b| heard(b) > LONG_S * self.rate_hz) {
            self.until_steady = 1;
        }
        let lead = LEAD_S * self.rate_hz;
        let first_open = self.open.iter().map(|b| b.on).min_by(f64::total_cmp);
        // The windows that hold nothing more are final now.
        let clear = first_open.map_or(now, |on| ((on - lead).max(0.0) as usize).min(now));
        self.finish_windows(start, clear);
        self.region = match first_open {
            Some(on) => Some(Region { start: (on - lead).max(0.0) as usize, looked: h }),
            None if quiet || last => None,
            None => {
                let start = now.saturating_sub(2 * self.hop() + lead as usize);
                Some(Region { start, looked: h })
            }
        };
        pulses
    }

    /// Where a burst began of which the pulses of a unit beside it may have cut off
    /// pieces: those taken out before that it goes on from.
    fn heard_since(&self, burst: &Burst) -> f64 {
        let touching = TOUCHING_S * self.rate_hz;
        let mut since = burst.on;
        let goes_on_in = |piece: &&Burst, since: f64| {
            piece.on < since - touching
                && (piece.off - since).abs() < touching
                && piece.is_like(burst, self.rate_hz)
        };
        while let Some(piece) = self.taken.iter().find(|piece| goes_on_in(piece, since)) {
            since = piece.on;
        }
        since
    }

    fn separated(
        &mut self,
        start: usize,
        now: usize,
        last: bool,
        expected: &mut dyn FnMut(Range<f64>) -> Vec<Burst>,
    ) -> Vec<Found> {
        let noise = self.noise.per_sample();
        let strongest = strongest(&self.span[start..now]);
        self.noise.raise_floor(strongest);
        let at_break = last || start + self.passed == 0;
        let share = if at_break { BREAK_FLOOR } else { STEADY_FLOOR };
        let model_floor = (PULSE_FLOOR * strongest).max(share * self.steady.power());
        let (by, begun) = (start as f64, 0.5 * LEAD_S * self.rate_hz);
        let seen = self.templates[1].reach();
        let due = expected(by..now as f64 + seen);
        let due = due.into_iter().filter(|b| b.on > by + begun);
        // Of what has only just begun nothing can be told yet: it is left for later.
        let (due, begins): (Vec<Burst>, Vec<Burst>) = due.partition(|b| b.on < now as f64 - seen);
        let first = begins.iter().map(|b| b.on - seen).min_by(f64::total_cmp);
        let end = first.filter(|_| !last).map_or(now, |on| now.min(on.ceil() as usize));
        let mut view = self.span[start..end].to_vec();
        let due = due.into_iter().map(|b| b.moved(-by)).collect();
        let near = |b: &&Burst| b.off > by;
        let taken: Vec<Burst> = self.taken.iter().filter(near).map(|b| b.moved(-by)).collect();
        let whole = 0.6 * seen;
        let unsure = if last { whole } else { UNSURE_S * self.rate_hz - (now - end) as f64 };
        let separation = Separation {
            view: &mut view,
            bank: &mut self.bank,
            spectra: &mut self.spectra,
            noise,
            search_noise: noise.map(|n| n.max(model_floor)),
            axes: self.axes,
            template: &self.templates[1],
            rate_hz: self.rate_hz,
            limits: &self.limits,
            taken: &taken,
            margins: [whole, unsure],
        };
        let mut found = separation.run(due);
        found.iter_mut().for_each(|f| f.burst = f.burst.moved(by));
        found
    }

    /// Spectra and noise of the windows between `start` and `clear`, now that the
    /// pulses are out.
    fn finish_windows(&mut self, start: usize, clear: usize) {
        let hop = self.hop();
        for h in (start.div_ceil(hop) + 2).max(2)..=clear / hop {
            self.look_at(h);
            self.learn(h * hop);
        }
    }

    /// The pulses among `found`, their edges placed at the fine rate. Where the
    /// unit's own leaking carrier was taken out first, the fit saw the pulse less
    /// the leak; the pulse is both.
    fn refined(&self, found: &[Found], open: &[Found], frontend: &Frontend) -> Vec<Found> {
        let ratio = frontend.ratio() as f64;
        let noise = self.noise.per_sample();
        let fine = FineSpan {
            line: &frontend.fine,
            lanes: 2 * self.axes,
            start: self.passed * frontend.ratio(),
            ratio,
            noise: noise[..self.axes].iter().map(|n| n * ratio).collect(),
            template: &self.templates[0],
        };
        let steady = self.steady.as_bursts(self.span.len(), &noise[..self.axes]);
        let is_pulse = |i: &usize| found[*i].kind == Kind::Pulse;
        let refined = (0..found.len()).filter(is_pulse).map(|i| {
            let mut pulse = found[i].clone();
            let rest = found.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, f)| &f.burst);
            let all = rest.chain(open.iter().map(|f| &f.burst)).chain(&steady);
            let (own, others): (Vec<&Burst>, Vec<&Burst>) =
                (all.chain(&self.taken)).partition(|b| b.may_leak_from(&pulse.burst, self.rate_hz));
            let plain = pulse.burst.clone();
            pulse.shape = self.shape_of(i, found, open);
            let under = own.into_iter().filter(|leak| leak.spans(&plain));
            under.for_each(|leak| pulse.burst.join(leak));
            fine.refine(&mut pulse.burst, &others);
            pulse
        });
        refined.collect()
    }

    /// How pulse `i` of those `found` departs from a plain burst. What was found within
    /// it, from its direction, is a flaw of its own; anything else of some strength
    /// hides it.
    fn shape_of(&self, i: usize, found: &[Found], open: &[Found]) -> Option<Box<Shape>> {
        let pulse = &found[i].burst;
        let keyed = |f: &&Found| matches!(f.kind, Kind::Pulse | Kind::Open);
        let rest = || (0..found.len()).filter(|j| *j != i).map(|j| &found[j]);
        let hides = |b: &Burst| {
            b.shares_time(pulse) && b.density() > HIDING * pulse.density() && !b.is_flaw_of(pulse)
        };
        let mut seen = rest().chain(open).filter(keyed).map(|f| &f.burst).chain(&self.taken);
        if pulse.energy_to_noise < SHAPE_ENERGY || seen.any(hides) {
            return None;
        }
        let flaws: Vec<&Burst> = rest().map(|f| &f.burst).filter(|b| b.is_flaw_of(pulse)).collect();
        let noise = &self.noise.per_sample()[..self.axes];
        Shape::seen(pulse, &flaws, &self.span, noise, &self.templates[1])
    }

    /// Put the first `hops` of the span into the history.
    pub(super) fn remember(&mut self, hops: usize) {
        let hop = self.hop();
        let strong = |b: &&Burst| b.energy_to_noise > LEFT_OVER_ENERGY;
        let strong: Vec<&Burst> = self.taken.iter().filter(strong).collect();
        // Pulses that could be seen only now and then are left in for the search of
        // trains by all their pulses.
        let weak: Vec<&Burst> =
            self.taken.iter().filter(|b| b.energy_to_noise < WEAK_ENERGY && b.off > 0.0).collect();
        let length = (hops * hop).min(self.span.len());
        let mut old = self.span[..length].to_vec();
        for burst in &weak {
            burst.apply(&mut old, &self.templates[1], 1.0);
        }
        let noise = self.noise.per_sample();
        for h in 0..hops {
            let (from, to) = ((h as f64 - 2.0) * hop as f64, h as f64 * hop as f64);
            let masked = strong.iter().any(|b| b.on < to && b.off > from);
            if h >= 2 && weak.iter().any(|b| b.on < to && b.off > from) {
                self.spectra.transform(&old[(h - 2) * hop..h * hop]);
                self.spectra.over_noise(&noise, &mut self.cells[h]);
            }
            self.history.push(&self.cells[h], masked);
        }
        let by = self.history.samples.len() as f64;
        let begin = if self.passed == 0 { f64::NEG_INFINITY } else { 0.0 };
        let these = self.taken.iter().filter(|b| (begin..length as f64).contains(&b.on));
        self.history.pulses.extend(these.map(|b| b.moved(by)));
        self.history.samples.extend_from_slice(&self.span[..length]);
    }

    /// Hops of the span that are whole.
    pub(super) fn hops(&self) -> usize {
        (self.span.len() / self.hop()).min(self.cells.len())
    }

    /// Angular frequency of a cell of the spectra.
    pub(super) fn omega(&self, cell: usize) -> f64 {
        self.spectra.omega(cell)
    }

    /// Let go of what is too old, once there is much of it.
    pub(super) fn move_on(&mut self, frontend: &mut Frontend) {
        let hop = self.hop();
        let keep = (SPAN_S * self.rate_hz) as usize / hop;
        let hops = self.watched.saturating_sub(keep);
        if hops < keep {
            return;
        }
        let samples = hops * hop;
        self.remember(hops);
        self.span.drain(..samples);
        self.raw.drain(..samples);
        self.cells.drain(..hops);
        self.peaks.drain(..hops);
        self.passed += samples;
        self.watched -= hops;
        frontend.forget_before(self.passed);
        if let Some(region) = &mut self.region {
            region.start = region.start.saturating_sub(samples);
            region.looked = region.looked.saturating_sub(hops);
        }
        let oldest = -SPAN_S * self.rate_hz;
        for list in [&mut self.taken, &mut self.open] {
            list.retain_mut(|burst| {
                *burst = burst.moved(-(samples as f64));
                burst.off > oldest
            });
        }
    }
}

/// Whether no cell stands out: pulses do, however far their edges reach.
fn is_flat(cells: &[f32]) -> bool {
    let mut sorted = cells.to_vec();
    let middle = sorted.len() / 2;
    let median = *sorted.select_nth_unstable_by(middle, f32::total_cmp).1;
    cells.iter().all(|p| *p < FLAT * median)
}

/// Power of the strongest sample.
fn strongest(samples: &[Frame]) -> f64 {
    let power = |f: &Frame| f.iter().map(|z| z.norm_sqr()).fold(0.0, f32::max);
    samples.iter().map(power).fold(0.0, f32::max).into()
}
