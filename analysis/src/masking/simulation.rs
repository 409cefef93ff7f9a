//! The same counted pulse by pulse, for tests.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Pair, Timing};

/// What was counted.
#[derive(Debug)]
pub(super) struct Counted {
    pub share_of_time: f64,
    pub share_of_pulses: f64,
    /// The longest over several phases, which few hours may not bring.
    pub longest_s: f64,
}

/// Pulses of `timing` from a random phase on, as start and end.
pub(super) fn pulses(timing: Timing, length_s: f64, rng: &mut ChaCha8Rng) -> Vec<(f64, f64)> {
    let first_s = rng.random_range(0.0..timing.period_s);
    let count = ((length_s - first_s) / timing.period_s) as usize;
    let start_s = |n: usize| first_s + n as f64 * timing.period_s;
    (0..count).map(|n| (start_s(n), start_s(n) + timing.on_time_s)).collect()
}

pub(super) fn pair(pair: &Pair, length_s: f64, rng: &mut ChaCha8Rng) -> Counted {
    let (mut both_s, mut met, mut all, mut longest_s) = (0.0, 0usize, 0usize, 0.0f64);
    let phases = 8;
    for _ in 0..phases {
        let own = pulses(pair.own, length_s, rng);
        let other = pulses(pair.other, length_s, rng);
        let mut next = 0;
        let mut since: Option<f64> = None;
        for (start, end) in &own {
            while next < other.len() && other[next].1 <= *start {
                next += 1;
            }
            let shared = |o: &(f64, f64)| (o.1.min(*end) - o.0.max(*start)).max(0.0);
            let here: f64 = other[next..].iter().take(3).map(shared).sum();
            both_s += here;
            if here > 0.0 {
                met += 1;
                let from = *since.get_or_insert(*start);
                longest_s = longest_s.max(end - from);
            } else {
                since = None;
            }
        }
        all += own.len();
    }
    Counted {
        share_of_time: both_s / (length_s * f64::from(phases)),
        share_of_pulses: met as f64 / all as f64,
        longest_s,
    }
}

/// Share of the time in which at least so many of the trains send.
pub(super) fn at_least(
    all: &[Timing],
    most: usize,
    length_s: f64,
    rng: &mut ChaCha8Rng,
) -> Vec<f64> {
    let mut edges: Vec<(f64, i32)> = Vec::new();
    for timing in all {
        edges
            .extend(pulses(*timing, length_s, rng).into_iter().flat_map(|p| [(p.0, 1), (p.1, -1)]));
    }
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut shares = vec![0.0; most + 1];
    let (mut on, mut before_s) = (0i32, 0.0);
    for (at_s, step) in edges {
        for share in shares.iter_mut().take(on as usize + 1) {
            *share += (at_s - before_s) / length_s;
        }
        on += step;
        before_s = at_s;
    }
    shares
}

/// Share of the pulses of train `own` that a pulse of any other train meets.
pub(super) fn met(all: &[Timing], own: usize, length_s: f64, rng: &mut ChaCha8Rng) -> f64 {
    let mut others: Vec<(f64, f64)> = Vec::new();
    for (_, timing) in all.iter().enumerate().filter(|(i, _)| *i != own) {
        others.extend(pulses(*timing, length_s, rng));
    }
    others.sort_by(|a, b| a.0.total_cmp(&b.0));
    let longest_s = all.iter().map(|t| t.on_time_s).fold(0.0, f64::max);
    let mine = pulses(all[own], length_s, rng);
    let is_met = |(start, end): &&(f64, f64)| {
        let first = others.partition_point(|o| o.0 < start - longest_s);
        others[first..].iter().take_while(|o| o.0 < *end).any(|o| o.1 > *start)
    };
    mine.iter().filter(is_met).count() as f64 / mine.len() as f64
}
