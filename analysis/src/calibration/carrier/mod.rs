//! A steady reference carrier as the receiver gives it: frequency by the
//! receiver's own clock, and amplitude on each channel up to a common sign.
//!
//! The carrier is cut into pieces of a quarter of a second. What they have in
//! common, whichever phase each has, is the strongest eigenvector of the sum of
//! their outer products, in units of the noise and with the noise's own part
//! taken off: the amplitude does not suffer from a clock that wanders. The
//! frequency is the slope of the pieces' phases beside a bend for its drift.
//!
//! Accuracy: in white noise the amplitude is good to its bound, a standard
//! deviation of n/√(2T) counts for noise of n counts/√Hz over T seconds, and the
//! frequency to √(6/ρ)/(2πT) with ρ the energy over the noise density (Rife and
//! Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591–598); the tests hold both to
//! a tenth. Where the pieces scatter more, the uncertainty says so.

mod frequency;
mod pieces;
mod shape;

use super::slow::{Slow, Stretch};
use super::spectrum::{Line, Spectrum};
use crate::reading::Reading;
use crate::signal::CARRIER_HZ;
use frequency::frequency;
use pieces::{PIECE_S, Piece, Pieces};
use shape::Shape;

/// Fewer pieces tell nothing of their scatter.
const LEAST_PIECES: usize = 8;
/// Energy over noise density, dB: below it noise alone is over 2 % of the amplitude.
const LEAST_ENERGY_DB: f64 = 30.0;
/// Standard deviation of the amplitude over the capture, relative, noise aside.
const MOST_CHANGE: f64 = 0.03;
/// Share of the power that points another way, or swings in another phase.
const MOST_ASIDE: f64 = 0.001;
/// Another line is not to be stronger than this share of the carrier's power.
const MOST_BESIDE: f64 = 0.01;

/// A steady carrier.
#[derive(Clone, Debug, PartialEq)]
pub struct Carrier {
    /// Its mean frequency by the receiver's own clock, not corrected.
    pub seen_hz: Reading,
    /// Degrees of freedom of the frequency's uncertainty.
    pub degrees_of_freedom: f64,
    /// Amplitude on each channel in counts (RMS field over field per count), the
    /// sign of all three free; 0 for channels that are not there.
    pub counts: [f64; 3],
    /// Standard uncertainty of each, from noise and scatter.
    pub u_counts: [f64; 3],
    /// Noise density of each channel, counts per √Hz.
    pub noise_counts_rthz: [f64; 3],
    /// Energy over noise density, dB.
    pub energy_db: f64,
    /// Time it was listened to, s.
    pub heard_s: f64,
}

/// Why a capture holds no steady carrier to calibrate with.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoCarrier {
    /// Too little to say anything.
    #[error("is too short: {have_s:.1} s without a gap, {} s are needed", least_s())]
    Short {
        /// What there is.
        have_s: f64,
    },
    /// Nothing but noise.
    #[error(
        "holds no steady carrier that is strong enough: the strongest has {energy_db:.0} dB of \
         energy over noise density, {LEAST_ENERGY_DB} dB are needed"
    )]
    Weak {
        /// Energy over noise density, dB.
        energy_db: f64,
    },
    /// An amplitude that changes.
    #[error("holds a carrier that is not steady: its amplitude changes by {percent:.1} %")]
    NotSteady {
        /// Standard deviation, percent.
        percent: f64,
    },
    /// A receiver that moves, or a field that turns.
    #[error(
        "holds a carrier whose direction changes ({percent:.1} % of its amplitude is aside): the \
         receiver moved, or its channels are out of phase"
    )]
    Turning {
        /// Root of the share aside, percent.
        percent: f64,
    },
    /// Another carrier beside.
    #[error(
        "holds two carriers: {carrier_hz:.1} Hz, and {other_hz:.1} Hz only {below_db:.0} dB below"
    )]
    NotAlone {
        /// The stronger one, by the receiver's clock.
        carrier_hz: f64,
        /// The other one.
        other_hz: f64,
        /// How much weaker.
        below_db: f64,
    },
}

fn least_s() -> f64 {
    PIECE_S * LEAST_PIECES as f64
}

/// The carrier in all that was heard. Of more than half an hour the first half
/// hour counts.
///
/// # Errors
///
/// There is none that is steady, strong and alone.
pub fn measure(slow: &Slow) -> Result<Carrier, NoCarrier> {
    let have_s = |s: &Stretch| s.frames.len() as f64 / slow.rate_hz();
    let longest_s = slow.stretches().iter().map(have_s).fold(0.0, f64::max);
    let short = NoCarrier::Short { have_s: longest_s };
    if longest_s < least_s() {
        return Err(short);
    }
    let spectrum = Spectrum::of(slow).ok_or(short.clone())?;
    let noise = floor_of(spectrum.noise(), &spectrum);
    let line = spectrum.strongest(&noise, None).ok_or(short)?;
    let other = spectrum.strongest(&noise, Some(&line));
    let pieces = Pieces::about(line.offset_hz, slow, &noise);
    let shape = Shape::of(&pieces, slow.axes());
    check(&pieces, &shape, &line, other, slow.axes())?;
    let per_second: [f64; 3] = noise.map(|n| (n / slow.rate_hz()).sqrt());
    let (counts, u_counts) = counts(slow, &pieces, &shape, &per_second);
    let (seen_hz, degrees_of_freedom) = frequency(&pieces, &shape);
    Ok(Carrier {
        seen_hz,
        degrees_of_freedom,
        counts,
        u_counts,
        noise_counts_rthz: per_second,
        energy_db: shape.energy_db(),
        heard_s: pieces.list.len() as f64 * pieces.length_s,
    })
}

/// Whether it is strong, steady and alone enough to calibrate with.
fn check(
    pieces: &Pieces,
    shape: &Shape,
    line: &Line,
    other: Option<Line>,
    axes: usize,
) -> Result<(), NoCarrier> {
    let energy_db = shape.energy_db();
    if energy_db.is_nan() || energy_db < LEAST_ENERGY_DB {
        return Err(NoCarrier::Weak { energy_db });
    }
    if shape.change > MOST_CHANGE {
        return Err(NoCarrier::NotSteady { percent: 100.0 * shape.change });
    }
    if shape.aside > MOST_ASIDE {
        return Err(NoCarrier::Turning { percent: 100.0 * shape.aside.sqrt() });
    }
    let share = other.map(|other| (other, other.over_noise / line.over_noise));
    // Noise alone makes some cell stand out a little.
    let stands_out = |o: &Line| o.over_noise > 10.0 * axes as f64;
    match share.filter(|(other, share)| *share > MOST_BESIDE && stands_out(other)) {
        Some((other, share)) => Err(NoCarrier::NotAlone {
            carrier_hz: CARRIER_HZ + pieces.course.offset_hz,
            other_hz: CARRIER_HZ + other.offset_hz,
            below_db: -10.0 * share.log10(),
        }),
        None => Ok(()),
    }
}

/// Counts on each channel and their standard uncertainties.
fn counts(slow: &Slow, pieces: &Pieces, shape: &Shape, noise: &[f64; 3]) -> ([f64; 3], [f64; 3]) {
    let count = pieces.list.len() as f64;
    let droop = slow.droop(pieces.course.offset_hz);
    // From units of a piece's noise to counts.
    let unit: [f64; 3] = noise.map(|n| n / pieces.length_s.sqrt() / droop);
    let u = |axis: usize| {
        let along = |p: &Piece| (p.vector[axis] * shape.phase_of(p).conj()).re;
        let mean = pieces.list.iter().map(along).sum::<f64>() / count;
        let squares: f64 = pieces.list.iter().map(|p| (along(p) - mean).powi(2)).sum();
        // Half of the noise's power is in phase.
        let scatter = (squares / (count * (count - 1.0))).max(0.5 / count);
        if axis < slow.axes() { scatter.sqrt() * unit[axis] } else { 0.0 }
    };
    (std::array::from_fn(|a| shape.vector[a] * unit[a]), std::array::from_fn(u))
}

/// Samples that were never noisy still have a floor to be measured by.
fn floor_of(noise: [f64; 3], spectrum: &Spectrum) -> [f64; 3] {
    let strongest = spectrum.courses().iter().flatten().copied().fold(0.0, f64::max);
    noise.map(|n| n.max(1e-12 * strongest).max(f64::MIN_POSITIVE))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use num_complex::{Complex32, Complex64};
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::signal::StreamFormat;

    const FORMAT: StreamFormat =
        StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };

    /// Samples of a carrier: counts of each channel, offset, noise density in
    /// counts per √Hz; `level` at each time.
    fn samples(
        counts: [f64; 3],
        offset_hz: f64,
        noise: f64,
        duration_s: f64,
        seed: u64,
        level: impl Fn(f64) -> f64,
    ) -> Vec<Complex32> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let sigma = noise * (8000.0f64 / 2.0).sqrt();
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut all = Vec::new();
        for n in 0..(duration_s * 8000.0) as usize {
            let t = n as f64 / 8000.0;
            let phasor = Complex64::cis(TAU * (offset_hz * t + 0.3).fract()) * level(t);
            for c in counts {
                let z = phasor * c + Complex64::new(normal(), normal()) * sigma;
                all.push(Complex32::new(z.re as f32, z.im as f32));
            }
        }
        all
    }

    fn measured(samples: &[Complex32]) -> Result<Carrier, NoCarrier> {
        let mut slow = Slow::new(FORMAT);
        samples.chunks(3 * 1000).for_each(|piece| slow.push(piece));
        measure(&slow)
    }

    #[test]
    fn amplitude_and_frequency_are_at_their_bounds() {
        let (counts, noise, duration_s, seeds) = ([300.0, -200.0, 50.0], 3.0, 8.0, 120);
        let (mut amplitude2, mut frequency2, mut told2) = (0.0, 0.0, 0.0);
        for seed in 0..seeds {
            let found = measured(&samples(counts, 37.3, noise, duration_s, seed, |_| 1.0)).unwrap();
            let sign = found.counts[0].signum();
            for ((found, u), due) in found.counts.iter().zip(found.u_counts).zip(counts) {
                let off = sign * found - due;
                amplitude2 += off * off / 3.0;
                told2 += (off / u).powi(2) / 3.0;
            }
            frequency2 += (found.seen_hz.value - 457_037.3).powi(2);
        }
        let rms = |sum: f64| (sum / seeds as f64).sqrt();
        let bound = noise / (2.0 * duration_s).sqrt();
        let energy = counts.iter().map(|c| c * c).sum::<f64>() * duration_s / (noise * noise);
        let bound_hz = (6.0 / energy).sqrt() / (TAU * duration_s);
        assert!((0.9..1.1).contains(&(rms(amplitude2) / bound)), "{}", rms(amplitude2) / bound);
        assert!((0.9..1.1).contains(&rms(told2)), "{}", rms(told2));
        let ratio = rms(frequency2) / bound_hz;
        assert!((0.85..1.15).contains(&ratio), "{ratio}");
    }

    /// A tenth of a hertz a second: the phase bends by 20 rad.
    #[test]
    fn a_clock_that_wanders_costs_no_amplitude() {
        let mut rng = samples([200.0, 100.0, 0.0], 0.0, 1.0, 8.0, 3, |_| 1.0);
        for (n, frame) in rng.chunks_exact_mut(3).enumerate() {
            let t = n as f64 / 8000.0;
            let z = Complex64::cis(TAU * (20.0 * t + 0.05 * t * t));
            let turn = Complex32::new(z.re as f32, z.im as f32);
            frame.iter_mut().for_each(|s| *s *= turn);
        }
        let found = measured(&rng).unwrap();
        assert!((found.counts[0].abs() - 200.0).abs() < 5.0 * found.u_counts[0], "{found:?}");
        assert!((found.seen_hz.value - 457_020.4).abs() < 0.01, "{:?}", found.seen_hz);
    }

    #[test]
    fn noise_is_told_beside_the_carrier() {
        let found = measured(&samples([900.0, 0.0, 0.0], -80.0, 2.0, 20.0, 5, |_| 1.0)).unwrap();
        for n in found.noise_counts_rthz {
            assert!((n / 2.0 - 1.0).abs() < 0.03, "{n}");
        }
        assert!(found.counts[1].abs() < 5.0 * found.u_counts[1]);
    }

    #[test]
    fn what_is_no_steady_carrier_is_refused_by_its_flaw() {
        let counts = [300.0, -200.0, 50.0];
        let refused = |level: fn(f64) -> f64, noise: f64| {
            measured(&samples(counts, 11.0, noise, 8.0, 9, level)).unwrap_err()
        };
        assert!(matches!(refused(|_| 0.0, 3.0), NoCarrier::Weak { .. }));
        assert!(matches!(refused(|_| 1.0, 90.0), NoCarrier::Weak { .. }));
        // Keyed as a unit is, and slowly falling.
        let keyed = |t: f64| if t.fract() < 0.1 { 1.0 } else { 0.0 };
        assert!(matches!(refused(keyed, 3.0), NoCarrier::NotSteady { .. }));
        assert!(matches!(refused(|t| 1.0 - 0.03 * t, 3.0), NoCarrier::NotSteady { .. }));
        let mut moved = samples(counts, 11.0, 3.0, 8.0, 9, |_| 1.0);
        let half = moved.len() / 2;
        moved[half..].chunks_exact_mut(3).for_each(|f| f.swap(0, 1));
        assert!(matches!(measured(&moved), Err(NoCarrier::Turning { .. })));
        let short = measured(&samples(counts, 11.0, 3.0, 1.5, 9, |_| 1.0));
        assert!(matches!(short, Err(NoCarrier::Short { .. })));
        let second = samples([90.0, 0.0, 0.0], -60.0, 0.0, 8.0, 1, |_| 1.0);
        let both: Vec<Complex32> = samples(counts, 11.0, 3.0, 8.0, 9, |_| 1.0)
            .iter()
            .zip(&second)
            .map(|(a, b)| a + b)
            .collect();
        assert!(
            matches!(measured(&both), Err(NoCarrier::NotAlone { .. })),
            "{:?}",
            measured(&both)
        );
    }

    #[test]
    fn gaps_are_left_out() {
        let all = samples([300.0, -200.0, 50.0], 37.3, 3.0, 10.0, 4, |_| 1.0);
        let mut slow = Slow::new(FORMAT);
        slow.push(&all[..3 * 30_000]);
        slow.gap(1234);
        slow.push(&all[3 * 31_234..]);
        let found = measure(&slow).unwrap();
        assert!((found.counts[0].abs() - 300.0).abs() < 5.0 * found.u_counts[0]);
        assert!((found.seen_hz.value - 457_037.3).abs() < 5.0 * found.seen_hz.u);
    }
}
