//! Impulses at random times that set the coils ringing.

use std::f64::consts::SQRT_2;

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp1, UnitSphere};

use super::ImpulseInterference;
use super::keying::uniform;

/// Ringing below this share of its peak (−80 dB) is left out.
const FORGOTTEN: f64 = 1e-4;

/// The impulses of one disturber, one after the other as time goes on.
#[derive(Clone, Debug)]
pub(super) struct Impulses {
    model: ImpulseInterference,
    rng: ChaCha8Rng,
    next_s: f64,
    ringing: Vec<Ringing>,
}

/// One impulse that still rings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ringing {
    /// True time of the impulse.
    pub(super) at_s: f64,
    /// Carrier phase at that time.
    pub(super) phase_cycles: f64,
    /// RMS field of the ringing at that time, in station coordinates.
    pub(super) field_a_per_m: [f64; 3],
}

impl Impulses {
    pub(super) fn new(model: &ImpulseInterference, rng: ChaCha8Rng) -> Self {
        let mut impulses = Self { model: model.clone(), rng, next_s: 0.0, ringing: Vec::new() };
        impulses.next_s = impulses.wait_s();
        impulses
    }

    /// Take up what begins before `until_s`, drop what has died by `from_s`.
    pub(super) fn advance(&mut self, from_s: f64, until_s: f64) {
        let lasts_s = -FORGOTTEN.ln() * self.model.ringing_s;
        while self.next_s < until_s {
            let direction: [f64; 3] = UnitSphere.sample(&mut self.rng);
            let rms_a_per_m = self.model.peak_field_a_per_m / SQRT_2;
            self.ringing.push(Ringing {
                at_s: self.next_s,
                phase_cycles: uniform(&mut self.rng),
                field_a_per_m: direction.map(|x| x * rms_a_per_m),
            });
            self.next_s += self.wait_s();
        }
        self.ringing.retain(|ringing| ringing.at_s + lasts_s > from_s);
    }

    /// The impulses that ring, as of the last [`Self::advance`].
    pub(super) fn ringing(&self) -> &[Ringing] {
        &self.ringing
    }

    /// Rate at which the ringing dies, nepers per second.
    pub(super) fn decay_per_s(&self) -> f64 {
        1.0 / self.model.ringing_s
    }

    fn wait_s(&mut self) -> f64 {
        let draw: f64 = Exp1.sample(&mut self.rng);
        draw / self.model.rate_per_s
    }
}

#[cfg(test)]
mod tests {
    use rand_chacha::rand_core::SeedableRng;

    use super::*;

    #[test]
    fn impulses_come_at_their_rate_and_die() {
        let model =
            ImpulseInterference { rate_per_s: 50.0, peak_field_a_per_m: 2e-6, ringing_s: 1e-4 };
        let mut impulses = Impulses::new(&model, ChaCha8Rng::seed_from_u64(1));
        let mut count = 0;
        let mut seen_s = 0.0;
        for step in 0..100_000 {
            let from_s = step as f64 * 1e-3;
            impulses.advance(from_s, from_s + 1e-3);
            for ringing in impulses.ringing().iter().filter(|r| r.at_s > seen_s) {
                let squares = ringing.field_a_per_m.iter().map(|h| h * h).sum::<f64>();
                assert!((squares.sqrt() * SQRT_2 / 2e-6 - 1.0).abs() < 1e-12);
                count += 1;
            }
            seen_s = from_s + 1e-3;
        }
        // 5000 expected, five standard deviations of a Poisson count.
        assert!((f64::from(count) - 5000.0).abs() < 5.0 * 5000f64.sqrt(), "{count}");
        impulses.advance(1e6, 0.0);
        assert!(impulses.ringing().is_empty());
    }

    #[test]
    fn a_rate_of_none_gives_none() {
        let model =
            ImpulseInterference { rate_per_s: 0.0, peak_field_a_per_m: 1.0, ringing_s: 1e-4 };
        let mut impulses = Impulses::new(&model, ChaCha8Rng::seed_from_u64(1));
        impulses.advance(0.0, 1e9);
        assert!(impulses.ringing().is_empty());
    }
}
