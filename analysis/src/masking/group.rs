//! All pulse trains of a station.

use super::{Pair, Timing};

/// The trains of a station, in its order.
#[derive(Clone, Debug, PartialEq)]
pub struct Group(pub Vec<Timing>);

impl Group {
    /// Share of the time in which at least two send.
    ///
    /// The number that send at once is a sum of independent events, one for each unit
    /// with its duty as probability (Poisson's binomial distribution).
    pub fn share_of_time(&self) -> f64 {
        let (mut none, mut one, mut more) = (1.0, 0.0, 0.0);
        for timing in &self.0 {
            let duty = timing.duty();
            more += one * duty;
            one = one * (1.0 - duty) + none * duty;
            none *= 1.0 - duty;
        }
        more
    }

    /// Share of the pulses of unit `own` that any other's meet.
    ///
    /// # Panics
    ///
    /// When there is no such unit.
    pub fn share_of_pulses(&self, own: usize) -> f64 {
        let free: f64 = self.pairs_of(own).map(|pair| 1.0 - pair.share_of_pulses()).product();
        1.0 - free
    }

    /// Unit `own` with each of the others, in order, itself left out.
    ///
    /// # Panics
    ///
    /// When there is no such unit.
    pub fn pairs_of(&self, own: usize) -> impl Iterator<Item = Pair> + '_ {
        let timing = self.0[own];
        let others = self.0.iter().enumerate().filter(move |(i, _)| *i != own);
        others.map(move |(_, other)| Pair { own: timing, other: *other })
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::super::simulation;
    use super::*;

    #[test]
    fn two_are_a_pair() {
        let timing = |period_s| Timing { period_s, on_time_s: 0.1 };
        let group = Group(vec![timing(0.9), timing(1.1)]);
        let pair = Pair { own: timing(0.9), other: timing(1.1) };
        assert!((group.share_of_time() - pair.share_of_time()).abs() < 1e-15);
        assert!((group.share_of_pulses(0) - pair.share_of_pulses()).abs() < 1e-15);
    }

    #[test]
    fn ten_hours_of_twelve_units_say_the_same() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(62);
        for count in [3, 8, 12] {
            let all: Vec<Timing> = (0..count)
                .map(|_| Timing {
                    period_s: rng.random_range(0.8..1.2),
                    on_time_s: rng.random_range(0.07..0.12),
                })
                .collect();
            let counted: f64 =
                (0..4).map(|_| simulation::at_least(&all, 2, 36_000.0, &mut rng)[2] / 4.0).sum();
            let computed = Group(all.clone()).share_of_time();
            assert!((computed / counted - 1.0).abs() < 0.01, "{computed} {counted} {all:?}");
            let group = Group(all.clone());
            for own in 0..count {
                let counted: f64 =
                    (0..4).map(|_| simulation::met(&all, own, 36_000.0, &mut rng) / 4.0).sum();
                let computed = group.share_of_pulses(own);
                assert!((computed / counted - 1.0).abs() < 0.01, "{computed} {counted} {all:?}");
            }
        }
    }
}
