//! When a unit is keyed on and how strongly it sends at each moment.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;
use rand_distr::{Distribution, StandardNormal};

use super::unit::JITTER_LIMIT;
use super::{Phase, Unit};

/// The pulses of a unit, one after the other as time goes on.
#[derive(Clone, Debug)]
pub(super) struct Keying {
    unit: Unit,
    rng: ChaCha8Rng,
    /// Way of the rise at which the whole amplitude, residual carrier included,
    /// is half of that while keyed on.
    half: f64,
    current: Pulse,
    next: Pulse,
}

/// One pulse. All times are true times after the first sample.
#[derive(Clone, Copy, Debug)]
struct Pulse {
    /// Half amplitude of the rise.
    start_s: f64,
    /// The rise begins.
    key_on_s: f64,
    /// The fall begins.
    key_off_s: f64,
    /// Carrier phase at keying-on beyond that of the undisturbed oscillator.
    phase_cycles: f64,
}

/// How strongly a unit sends over a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Level {
    /// Steadily, at this share of the amplitude while keyed on.
    Steady(f64),
    /// In the middle of an edge: see [`Keying::level_at`].
    Edge,
}

impl Keying {
    pub(super) fn new(unit: &Unit, rng: ChaCha8Rng) -> Self {
        let residual = unit.residual_carrier_ratio;
        let before = Pulse {
            start_s: f64::NEG_INFINITY,
            key_on_s: f64::NEG_INFINITY,
            key_off_s: f64::NEG_INFINITY,
            phase_cycles: 0.0,
        };
        let mut keying = Self {
            unit: unit.clone(),
            rng,
            half: (0.5 - residual) / (1.0 - residual),
            current: before,
            next: before,
        };
        keying.current.phase_cycles = keying.uniform();
        keying.next = keying.pulse_at(unit.first_pulse_s);
        keying
    }

    /// Go on to `time_s`, which must not lie before an earlier one.
    pub(super) fn advance_to(&mut self, time_s: f64) {
        while self.next.key_on_s <= time_s {
            self.current = self.next;
            let interval_s = self.unit.period_s + self.unit.jitter_s * self.cut_normal();
            self.next = self.pulse_at(self.current.start_s + interval_s);
        }
    }

    /// The level at `time_s`, the one advanced to, and the time until which it
    /// holds.
    pub(super) fn level(&self, time_s: f64) -> (Level, f64) {
        let unit = &self.unit;
        if let Some(start_s) = unit.start_s
            && time_s < start_s
        {
            return (Level::Steady(0.0), start_s);
        }
        let stop_s = unit.stop_s.unwrap_or(f64::INFINITY);
        if time_s >= stop_s {
            return (Level::Steady(0.0), f64::INFINITY);
        }
        let pulse = &self.current;
        let risen_s = pulse.key_on_s + unit.edge.rise_length_s();
        let fallen_s = pulse.key_off_s + unit.edge.fall_length_s();
        let residual = Level::Steady(unit.residual_carrier_ratio);
        let (level, until_s) = if self.left_out() || time_s >= fallen_s {
            (residual, self.next.key_on_s)
        } else if time_s < risen_s {
            (Level::Edge, risen_s)
        } else if time_s < pulse.key_off_s {
            (Level::Steady(1.0), pulse.key_off_s)
        } else {
            (Level::Edge, fallen_s)
        };
        (level, until_s.min(self.next.key_on_s).min(stop_s))
    }

    /// The level at `time_s` within a stretch of [`Level::Edge`].
    pub(super) fn level_at(&self, time_s: f64) -> f64 {
        let edge = &self.unit.edge;
        let risen = edge.risen(time_s - self.current.key_on_s);
        let left = edge.left(time_s - self.current.key_off_s);
        let residual = self.unit.residual_carrier_ratio;
        residual + (1.0 - residual) * risen.min(left)
    }

    /// Carrier phase at `time_s` beyond that of the undisturbed oscillator, cycles.
    pub(super) fn phase_cycles(&self, time_s: f64) -> f64 {
        self.current.phase_cycles + self.chirp_cycles(time_s - self.current.key_on_s)
    }

    /// What the chirp has added, `s` seconds after keying-on.
    fn chirp_cycles(&self, s: f64) -> f64 {
        let decay_s = self.unit.key_on_chirp_decay_s;
        -self.unit.key_on_chirp_hz * decay_s * (-s / decay_s).exp_m1()
    }

    /// Whether the unit was switched on in the middle of the current pulse.
    fn left_out(&self) -> bool {
        self.unit.start_s.is_some_and(|start_s| self.current.key_on_s < start_s)
    }

    fn pulse_at(&mut self, start_s: f64) -> Pulse {
        let on_time_s = self.unit.on_time_s + self.unit.on_time_jitter_s * self.cut_normal();
        let key_on_s = start_s - self.unit.edge.rise_to_s(self.half);
        let phase_cycles = match self.unit.phase {
            Phase::Continuous => self.phase_cycles(key_on_s),
            Phase::Random => self.uniform(),
        };
        Pulse {
            start_s,
            key_on_s,
            key_off_s: start_s + on_time_s - self.unit.edge.fall_to_s(self.half),
            phase_cycles,
        }
    }

    fn cut_normal(&mut self) -> f64 {
        let draw: f64 = StandardNormal.sample(&mut self.rng);
        draw.clamp(-JITTER_LIMIT, JITTER_LIMIT)
    }

    fn uniform(&mut self) -> f64 {
        uniform(&mut self.rng)
    }
}

/// A draw from 0 to 1, 1 left out.
pub(super) fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use rand_chacha::rand_core::SeedableRng;

    use super::*;
    use crate::scenario::{Edge, Shape};

    fn keying(unit: &Unit) -> Keying {
        unit.validate().expect("a sensible unit");
        Keying::new(unit, ChaCha8Rng::seed_from_u64(3))
    }

    fn unit() -> Unit {
        toml::from_str("name = \"hut\"\nposition_m = [0, 0, 0]\nmoment_a_m2 = [1, 0, 0]").unwrap()
    }

    /// Level every 10 µs, by whichever way the stretch says.
    fn levels(keying: &mut Keying, for_s: f64) -> Vec<f64> {
        (0..(for_s / 1e-5) as usize)
            .map(|i| {
                let t = i as f64 * 1e-5;
                keying.advance_to(t);
                match keying.level(t) {
                    (Level::Steady(level), until_s) => {
                        assert!(until_s > t);
                        level
                    }
                    (Level::Edge, _) => keying.level_at(t),
                }
            })
            .collect()
    }

    /// Times at which the level passes one half, interpolated.
    fn crossings(levels: &[f64]) -> Vec<f64> {
        levels
            .windows(2)
            .enumerate()
            .filter(|(_, w)| (w[0] < 0.5) != (w[1] < 0.5))
            .map(|(i, w)| (i as f64 + (0.5 - w[0]) / (w[1] - w[0])) * 1e-5)
            .collect()
    }

    #[test]
    fn half_amplitude_points_are_on_time_apart_for_each_shape() {
        for shape in [Shape::RaisedCosine, Shape::Linear, Shape::Exponential] {
            for residual_carrier_ratio in [0.0, 0.2] {
                let unit = Unit {
                    edge: Edge { shape, rise_s: 1e-3, fall_s: 3e-3 },
                    residual_carrier_ratio,
                    ..unit()
                };
                let levels = levels(&mut keying(&unit), 1.6);
                let at = crossings(&levels);
                assert_eq!(at.len(), 4, "{shape:?}");
                for (found, meant) in at.iter().zip([0.25, 0.35, 1.25, 1.35]) {
                    assert!((found - meant).abs() < 1e-7, "{shape:?}: {found} for {meant}");
                }
                assert_eq!(levels[0], residual_carrier_ratio);
                assert_eq!(levels[30_000], 1.0);
            }
        }
    }

    #[test]
    fn levels_have_no_steps_beyond_the_edges() {
        let edge = Edge { shape: Shape::Exponential, rise_s: 1e-3, fall_s: 2e-3 };
        let levels = levels(&mut keying(&Unit { edge, ..unit() }), 1.5);
        let steepest = levels.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f64::max);
        assert!(steepest <= 0.01 + 1e-9, "{steepest}");
    }

    #[test]
    fn start_times_walk_at_random() {
        let unit = Unit { jitter_s: 1e-3, ..unit() };
        let mut keying = keying(&unit);
        let mut starts = Vec::new();
        for i in 0..4000 {
            keying.advance_to(i as f64 + 0.9);
            starts.push(keying.current.start_s);
        }
        let intervals: Vec<f64> = starts.windows(2).map(|w| w[1] - w[0]).collect();
        let n = intervals.len() as f64;
        let mean = intervals.iter().sum::<f64>() / n;
        let std = (intervals.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n).sqrt();
        // Five standard errors of mean and of standard deviation.
        assert!((mean - 1.0).abs() < 5.0 * 1e-3 / n.sqrt(), "{mean}");
        assert!((std / 1e-3 - 1.0).abs() < 5.0 / (2.0 * n).sqrt(), "{std}");
        let neighbours = intervals.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>();
        assert!((neighbours / n / std.powi(2)).abs() < 5.0 / n.sqrt());
    }

    #[test]
    fn a_unit_sends_between_start_and_stop_alone() {
        // Switched on within a pulse, switched off within another.
        let unit =
            Unit { start_s: Some(0.3), stop_s: Some(1.3), residual_carrier_ratio: 0.1, ..unit() };
        let levels = levels(&mut keying(&unit), 2.5);
        assert_eq!(levels[29_990], 0.0);
        assert_eq!(levels[30_010], 0.1);
        assert_eq!(levels[129_990], 1.0);
        assert!(levels[130_001..].iter().all(|&level| level == 0.0));
    }

    #[test]
    fn phase_runs_on_or_starts_anew() {
        let chirped = Unit { key_on_chirp_hz: 40.0, key_on_chirp_decay_s: 0.3, ..unit() };
        let mut keying = keying(&chirped);
        keying.advance_to(1.0);
        let t = keying.next.key_on_s;
        let before = keying.phase_cycles(t);
        keying.advance_to(t);
        assert!((keying.phase_cycles(t) - before).abs() < 1e-9);
        // Frequency just after keying-on is off by the chirp.
        let hz = (keying.phase_cycles(t + 1e-6) - keying.phase_cycles(t)) / 1e-6;
        assert!((hz - 40.0).abs() < 0.01, "{hz}");

        let mut random =
            Keying::new(&Unit { phase: Phase::Random, ..unit() }, ChaCha8Rng::seed_from_u64(3));
        let phases = [0.9, 1.9, 2.9].map(|t| {
            random.advance_to(t);
            random.phase_cycles(t)
        });
        assert!(phases[0] != phases[1] && phases[1] != phases[2]);
    }
}
