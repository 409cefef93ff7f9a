//! Two pulse trains.

use super::Timing;

/// Two pulse trains, the first seen by the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// The train whose pulses are counted.
    pub own: Timing,
    /// The train that covers them.
    pub other: Timing,
}

impl Pair {
    /// Share of the time in which both send.
    pub fn share_of_time(&self) -> f64 {
        self.own.duty() * self.other.duty()
    }

    /// Share of the first one's pulses that the other one's meet.
    ///
    /// A pulse is met when it starts less than its own length before or less than the
    /// other's length after the start of one of the other's: (T₁ + T₂) / P₂.
    pub fn share_of_pulses(&self) -> f64 {
        (self.window_s() / self.other.period_s).min(1.0)
    }

    /// By how much the first one's start moves in the grid of the other with each of its
    /// pulses, s: positive if it gets later, at most half the other's period.
    pub fn step_s(&self) -> f64 {
        let ratio = self.own.period_s / self.other.period_s;
        self.own.period_s - ratio.round() * self.other.period_s
    }

    /// Most pulses in a row that are met; infinite where they never part.
    pub fn most_in_a_row(&self) -> f64 {
        let (step, window) = (self.step_s().abs(), self.window_s());
        if window >= self.other.period_s || step == 0.0 {
            return f64::INFINITY;
        }
        // n starts, each a step further, lie within the window if (n − 1) · step < window.
        let inside = (window / step).ceil();
        // Where the window is nearly all of the grid, one step may lead over the gap.
        if step > self.other.period_s - window { f64::INFINITY } else { inside }
    }

    /// Longest time for which each pulse of the first is met, from the start of the first
    /// such pulse to the end of the last, s; infinite where they never part.
    pub fn longest_s(&self) -> f64 {
        (self.most_in_a_row() - 1.0) * self.own.period_s + self.own.on_time_s
    }

    /// Time after which the two stand to each other as before, s: how often they meet.
    /// Infinite for periods that are whole multiples.
    pub fn beat_s(&self) -> f64 {
        self.own.period_s * self.other.period_s / self.step_s().abs()
    }

    /// Width of the range of starts that are met.
    fn window_s(&self) -> f64 {
        self.own.on_time_s + self.other.on_time_s
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::super::simulation;
    use super::*;

    fn random(rng: &mut rand_chacha::ChaCha8Rng) -> Timing {
        Timing { period_s: rng.random_range(0.7..1.3), on_time_s: rng.random_range(0.07..0.15) }
    }

    /// Two units of 1.000 s and 1.002 s, 0.1 s on: they slide by 2 ms a pulse, so that
    /// 0.2 s of meeting last 100 pulses, and come back after 501 s.
    #[test]
    fn nearly_equal_periods_stay_together_for_minutes() {
        let own = Timing { period_s: 1.0, on_time_s: 0.1 };
        let other = Timing { period_s: 1.002, on_time_s: 0.1 };
        let pair = Pair { own, other };
        assert!((pair.step_s() + 0.002).abs() < 1e-12);
        assert!((pair.longest_s() - 99.1).abs() < 1.01, "{}", pair.longest_s());
        assert!((pair.beat_s() - 501.0).abs() < 1e-6);
        assert!((pair.share_of_pulses() - 0.2 / 1.002).abs() < 1e-12);
    }

    #[test]
    fn equal_periods_never_part() {
        let own = Timing { period_s: 1.0, on_time_s: 0.1 };
        let pair = Pair { own, other: own };
        assert!(pair.longest_s().is_infinite() && pair.beat_s().is_infinite());
        let twice = Pair { own: Timing { period_s: 2.0, ..own }, other: own };
        assert!(twice.longest_s().is_infinite());
    }

    /// Ten hours counted pulse by pulse: shares within 1 %, stretches within 1 s.
    #[test]
    fn ten_hours_pulse_by_pulse_say_the_same() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(61);
        for case in 0..60 {
            let own = random(&mut rng);
            let mut other = random(&mut rng);
            if case % 3 == 0 {
                // Slow slides, but through several times within ten hours.
                other.period_s = own.period_s + rng.random_range(0.001..0.02);
            }
            let pair = Pair { own, other };
            let counted = simulation::pair(&pair, 36_000.0, &mut rng);
            let close = |is: f64, truth: f64| (is / truth - 1.0).abs() < 0.01;
            assert!(close(pair.share_of_time(), counted.share_of_time), "{pair:?} {counted:?}");
            assert!(close(pair.share_of_pulses(), counted.share_of_pulses), "{pair:?} {counted:?}");
            let apart_s = pair.longest_s() - counted.longest_s;
            assert!(apart_s.abs() < 1.0, "{pair:?}: {} {counted:?}", pair.longest_s());
        }
    }
}
