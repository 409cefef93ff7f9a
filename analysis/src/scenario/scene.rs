//! Everything that the coils see, as tones over short stretches of samples.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::clock::Clock;
use super::impulses::Impulses;
use super::keying::{Keying, Level};
use super::oscillator::Oscillator;
use super::truth::field_at_coils;
use super::{Interference, Orientation, Scenario, ScenarioError};

/// Longest stretch over which a tone's frequency is taken as constant, s. A
/// chirp of 100 Hz that dies in 2 ms turns by less than 1e-3 rad from that.
const STRETCH_S: f64 = 125e-6;

/// Random streams, so that no source's draws depend on another's.
const NOISE_STREAM: u64 = 0;
pub(super) const FAULTS_STREAM: u64 = 1;
const INTERFERENCE_STREAM: u64 = 1 << 32;
const UNIT_STREAM: u64 = 2 << 32;

/// A change to the scene while time goes on.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Put the receiver there, m.
    Place([f64; 3]),
    /// Hold the receiver so.
    Turn(Orientation),
    /// Lay a unit so that its moment, A·m², is this along x, y, z.
    Lay {
        /// Name of the unit.
        unit: String,
        /// Its moment.
        moment_a_m2: [f64; 3],
    },
    /// Switch a unit on or off: one that is off sends nothing at all, and its
    /// pulses come where they would have come anyway when it is on again.
    Switch {
        /// Name of the unit.
        unit: String,
        /// On or off.
        on: bool,
    },
}

/// A scenario in time.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    scenario: Scenario,
    clock: Clock,
    stretch: usize,
    /// Next sample.
    at: u64,
    gain_step: u8,
    units: Vec<SendingUnit>,
    carriers: Vec<SteadyCarrier>,
    impulses: Vec<Impulses>,
    /// The receiver's own 457 kHz against the true one.
    tuned: Oscillator,
    pub(super) noise_rng: ChaCha8Rng,
}

#[derive(Clone, Debug)]
struct SendingUnit {
    keying: Keying,
    oscillator: Oscillator,
    /// RMS field at the coils while keyed on, A/m.
    field: [Complex64; 3],
    on: bool,
}

#[derive(Clone, Debug)]
struct SteadyCarrier {
    oscillator: Oscillator,
    phase_cycles: f64,
    station_field_a_per_m: [f64; 3],
    field: [Complex64; 3],
}

/// A tone over `len` samples from the `first` of a block on.
pub(super) struct Tone<'a> {
    /// First sample, from the start of the block.
    pub(super) first: usize,
    /// Samples.
    pub(super) len: usize,
    /// RMS field at the coils at the first sample, before `envelope`.
    pub(super) field: [Complex64; 3],
    /// Phasor at the first sample, of magnitude 1 or below, against the
    /// receiver's 457 kHz.
    pub(super) phasor: Complex64,
    /// Turn (and decay) from sample to sample.
    pub(super) step: Complex64,
    /// How the level runs over the stretch.
    pub(super) envelope: Envelope<'a>,
}

/// How the level of a tone runs.
pub(super) enum Envelope<'a> {
    /// At this level throughout.
    Steady(f64),
    /// Along an edge of a pulse.
    Edge(&'a Keying, Clock, u64),
}

impl Envelope<'_> {
    /// Level at the `i`th sample of the tone.
    pub(super) fn at(&self, i: usize) -> f64 {
        match self {
            Self::Steady(level) => *level,
            Self::Edge(keying, clock, start) => keying.level_at(clock.time_s(start + i as u64)),
        }
    }
}

impl Scene {
    /// A scenario from its beginning, sampled at the nominal `rate_hz`.
    ///
    /// # Errors
    ///
    /// A field of the scenario that makes no sense.
    pub(super) fn new(scenario: &Scenario, rate_hz: f64) -> Result<Self, ScenarioError> {
        scenario.validate()?;
        let clock = Clock::new(rate_hz, scenario.receiver.clock_offset_ppm);
        let units = scenario.units.iter().zip(UNIT_STREAM..).map(|(unit, stream)| SendingUnit {
            keying: Keying::new(unit, random(scenario.seed, stream)),
            oscillator: Oscillator::new(unit, &clock),
            field: [Complex64::ZERO; 3],
            on: true,
        });
        let mut scene = Self {
            clock,
            stretch: ((STRETCH_S * rate_hz) as usize).max(1),
            at: 0,
            gain_step: scenario.receiver.gain_step,
            units: units.collect(),
            carriers: Vec::new(),
            impulses: Vec::new(),
            tuned: Oscillator::steady(0.0, &clock),
            noise_rng: random(scenario.seed, NOISE_STREAM),
            scenario: scenario.clone(),
        };
        for (source, stream) in scenario.interference.iter().zip(INTERFERENCE_STREAM..) {
            let mut rng = random(scenario.seed, stream);
            match source {
                Interference::Carrier(carrier) => scene.carriers.push(SteadyCarrier {
                    oscillator: Oscillator::steady(carrier.frequency_offset_hz, &clock),
                    phase_cycles: super::keying::uniform(&mut rng),
                    station_field_a_per_m: carrier.field_a_per_m,
                    field: [Complex64::ZERO; 3],
                }),
                Interference::Impulse(impulse) => scene.impulses.push(Impulses::new(impulse, rng)),
            }
        }
        scene.couple();
        Ok(scene)
    }

    /// The scenario with all changes made so far, switches aside.
    pub(super) fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// The clock that samples are counted by.
    pub(super) fn clock(&self) -> &Clock {
        &self.clock
    }

    /// True time of the next sample.
    pub(super) fn time_s(&self) -> f64 {
        self.clock.time_s(self.at)
    }

    /// Index of the next sample.
    pub(super) fn index(&self) -> u64 {
        self.at
    }

    /// The gain step in force.
    pub(super) fn gain_step(&self) -> u8 {
        self.gain_step
    }

    /// Set the gain step; one beyond the last counts as the last.
    pub(super) fn set_gain_step(&mut self, step: u8) {
        self.gain_step = step;
    }

    /// Change the scene from the next sample on.
    ///
    /// # Errors
    ///
    /// A change that makes no sense; the scene then stays as it was.
    pub(super) fn change(&mut self, change: &Change) -> Result<(), ScenarioError> {
        let mut changed = self.scenario.clone();
        match change {
            Change::Place(position_m) => changed.receiver.position_m = *position_m,
            Change::Turn(orientation) => changed.receiver.orientation = *orientation,
            Change::Lay { unit, moment_a_m2 } => {
                changed.units[self.number_of(unit)?].moment_a_m2 = *moment_a_m2;
            }
            Change::Switch { unit, on } => {
                let number = self.number_of(unit)?;
                self.units[number].on = *on;
                return Ok(());
            }
        }
        changed.validate()?;
        self.scenario = changed;
        self.couple();
        Ok(())
    }

    fn number_of(&self, unit: &str) -> Result<usize, ScenarioError> {
        self.scenario.units.iter().position(|model| model.name == unit).ok_or_else(|| {
            ScenarioError::new(
                format!("unit \"{unit}\""),
                "is not in the scenario",
                "name one of its units",
            )
        })
    }

    /// Let `samples` go by unseen.
    pub(super) fn skip(&mut self, samples: u64) {
        self.at += samples;
    }

    /// Show the tones of the next `len` samples, then stand after them.
    pub(super) fn tones(&mut self, len: usize, mut show: impl FnMut(&Tone)) {
        let mut first = 0;
        while first < len {
            let stretch = self.stretch.min(len - first);
            self.stretch_tones(first, stretch, &mut show);
            self.at += stretch as u64;
            first += stretch;
        }
    }

    fn stretch_tones(&mut self, first: usize, len: usize, show: &mut impl FnMut(&Tone)) {
        let (from, until) = (self.at, self.at + len as u64);
        for unit in &mut self.units {
            let mut n = from;
            while n < until {
                let time_s = self.clock.time_s(n);
                unit.keying.advance_to(time_s);
                let (level, holds_s) = unit.keying.level(time_s);
                // Rounding may put the next sample a hair before the change.
                let next = self.clock.sample_after(holds_s).clamp(n + 1, until);
                let len = (next - n) as usize;
                if unit.on && level != Level::Steady(0.0) {
                    let cycles = |t: f64| unit.oscillator.cycles(t) + unit.keying.phase_cycles(t);
                    let (phasor, step) = turning(&self.clock, n, len, cycles);
                    let envelope = match level {
                        Level::Steady(level) => Envelope::Steady(level),
                        Level::Edge => Envelope::Edge(&unit.keying, self.clock, n),
                    };
                    let first = first + (n - from) as usize;
                    show(&Tone { first, len, field: unit.field, phasor, step, envelope });
                }
                n = next;
            }
        }
        let envelope = || Envelope::Steady(1.0);
        for carrier in &self.carriers {
            let cycles = |t: f64| carrier.oscillator.cycles(t) + carrier.phase_cycles;
            let (phasor, step) = turning(&self.clock, from, len, cycles);
            show(&Tone { first, len, field: carrier.field, phasor, step, envelope: envelope() });
        }
        let (from_s, until_s) = (self.clock.time_s(from), self.clock.time_s(until));
        for impulses in &mut self.impulses {
            impulses.advance(from_s, until_s);
            let dying = (-impulses.decay_per_s() / self.clock.rate_hz()).exp();
            for ringing in impulses.ringing() {
                let n = self.clock.sample_after(ringing.at_s).max(from);
                if n >= until {
                    continue;
                }
                let len = (until - n) as usize;
                let cycles = |t: f64| self.tuned.cycles(t) + ringing.phase_cycles;
                let (phasor, step) = turning(&self.clock, n, len, cycles);
                let left = (-impulses.decay_per_s() * (self.clock.time_s(n) - ringing.at_s)).exp();
                let station = ringing.field_a_per_m.map(Complex64::from);
                show(&Tone {
                    first: first + (n - from) as usize,
                    len,
                    field: self.scenario.receiver.at_coils(station),
                    phasor: phasor * left,
                    step: step * dying,
                    envelope: envelope(),
                });
            }
        }
    }

    /// Work out anew how strongly each source reaches each coil.
    fn couple(&mut self) {
        let receiver = &self.scenario.receiver;
        for (model, unit) in self.scenario.units.iter().zip(&mut self.units) {
            unit.field = field_at_coils(model, receiver);
        }
        for carrier in &mut self.carriers {
            carrier.field = receiver.at_coils(carrier.station_field_a_per_m.map(Complex64::from));
        }
    }
}

/// Phasor at sample `n` and its turn from sample to sample, such that phase is
/// exact at both ends of `len` samples.
fn turning(
    clock: &Clock,
    n: u64,
    len: usize,
    cycles: impl Fn(f64) -> f64,
) -> (Complex64, Complex64) {
    let start = cycles(clock.time_s(n));
    let end = cycles(clock.time_s(n + len as u64));
    let per_sample = (end - start) / len as f64;
    (Complex64::cis(TAU * start.fract()), Complex64::cis(TAU * per_sample))
}

/// One of the random streams that follow from a scenario's seed.
pub(super) fn random(seed: u64, stream: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(stream);
    rng
}
