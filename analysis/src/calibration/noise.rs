//! The noise of the receiver with nothing on, and the smallest field that it
//! can measure.
//!
//! The smallest field is that of a pulse of [`SHORTEST_PULSE_S`] which the analysis
//! finds with a probability of [`FOUND`] when noise alone passes for a pulse with
//! a probability of [`FALSE_PULSE`] a filter: less than one false pulse an hour.
//! A weaker field shows in trains of pulses taken together, but not in one.

use super::detection::energy_for;
use super::slow::Slow;
use super::spectrum::{Spectrum, WINDOW};
use crate::signal::{CARRIER_HZ, FALSE_PULSE};
use crate::uncertainty::{Budget, Input, Inputs, UncertaintyError, propagate};

/// Shortest pulse that a unit may send, s (EN 300 718-1, from memory).
pub const SHORTEST_PULSE_S: f64 = 0.07;
/// Probability with which the smallest field is found.
pub const FOUND: f64 = 0.9;
/// Windows of a second below which the scatter says nothing.
const LEAST_WINDOWS: usize = 8;
/// Noise power of one window over the mean beyond which something else was on.
const MOST_UNEVEN: f64 = 2.0;

/// Noise of each channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    /// Density in counts per √Hz, one for each channel, each with its budget.
    pub density_counts_rthz: Vec<Budget>,
    /// Time listened to, s.
    pub heard_s: f64,
}

/// Why captures give no noise.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoNoise {
    /// Too little.
    #[error("{have_s:.0} s of noise are too few: at least {LEAST_WINDOWS} s are needed")]
    Short {
        /// What there is.
        have_s: f64,
    },
    /// A carrier in the noise.
    #[error("a carrier is heard at {carrier_hz:.1} Hz, {over_db:.0} dB over the noise in 1.5 Hz")]
    Carrier {
        /// By the receiver's clock.
        carrier_hz: f64,
        /// Power over noise.
        over_db: f64,
    },
    /// Noise that comes and goes.
    #[error("the noise of channel {channel} is not even: {ratio:.1} times the mean at {at_s:.0} s")]
    Uneven {
        /// From 1.
        channel: usize,
        /// Power over the mean.
        ratio: f64,
        /// When, from the start of all that was heard.
        at_s: f64,
    },
    /// A channel without any noise is dead.
    #[error("channel {channel} gives no noise at all: it is not connected, or rounded away")]
    Dead {
        /// From 1.
        channel: usize,
    },
    /// The sums give no finite number.
    #[error(transparent)]
    Uncertainty(#[from] UncertaintyError),
}

/// The noise in all that was heard of one receiver at one gain step. Of more than half
/// an hour the first half hour counts.
///
/// # Errors
///
/// Too little of it, a carrier in it, or noise that is not even.
pub fn measure(slow: &Slow) -> Result<Noise, NoNoise> {
    let spectrum = Spectrum::of(slow);
    let windows = spectrum.as_ref().map_or(0, Spectrum::windows);
    let window_s = WINDOW as f64 / slow.rate_hz();
    let heard_s = windows as f64 * window_s;
    let Some(spectrum) = spectrum.filter(|_| windows >= LEAST_WINDOWS) else {
        return Err(NoNoise::Short { have_s: heard_s });
    };
    let (noise, axes) = (spectrum.noise(), slow.axes());
    if let Some(channel) = (0..axes).find(|a| noise[*a] <= 0.0) {
        return Err(NoNoise::Dead { channel: channel + 1 });
    }
    let line = spectrum.strongest(&noise, None);
    if let Some(line) = line.filter(|l| l.over_noise > most_of_noise(axes, windows)) {
        return Err(NoNoise::Carrier {
            carrier_hz: CARRIER_HZ + line.offset_hz,
            over_db: 10.0 * (line.over_noise / axes as f64).log10(),
        });
    }
    let density = |axis: usize| density(&spectrum, axis, slow.rate_hz());
    let density_counts_rthz = (0..axes).map(density).collect::<Result<_, _>>()?;
    Ok(Noise { density_counts_rthz, heard_s })
}

/// Power over noise, summed over the axes, that no cell of noise reaches: seven
/// standard deviations of a Gamma variable and what its tail has beyond the
/// normal's.
fn most_of_noise(axes: usize, windows: usize) -> f64 {
    let (axes, windows) = (axes as f64, windows as f64);
    axes + 7.0 * (axes / windows).sqrt() + 20.0 / windows
}

fn density(spectrum: &Spectrum, axis: usize, rate_hz: f64) -> Result<Budget, NoNoise> {
    let powers: Vec<f64> = spectrum.courses().iter().map(|c| c[axis]).collect();
    let mean = powers.iter().sum::<f64>() / powers.len() as f64;
    let loudest = (0..powers.len()).max_by(|a, b| powers[*a].total_cmp(&powers[*b]));
    if let Some(at) = loudest.filter(|at| powers[*at] > MOST_UNEVEN * mean) {
        let (ratio, at_s) = (powers[at] / mean, at as f64 * WINDOW as f64 / rate_hz);
        return Err(NoNoise::Uneven { channel: axis + 1, ratio, at_s });
    }
    let mut inputs = Inputs::new();
    let power = inputs.add(Input::repeated("noise power", "counts²", &powers)?);
    Ok(propagate(&inputs, |x| (x[power] / rate_hz).sqrt())?)
}

/// Smallest field (A/m RMS) that a receiver of so many axes can measure when all
/// of it lies along an axis with this noise density.
pub fn smallest_field_a_per_m(axes: usize, noise_a_per_m_rthz: f64) -> f64 {
    noise_a_per_m_rthz * (energy_for(axes, FALSE_PULSE, FOUND) / SHORTEST_PULSE_S).sqrt()
}

/// The definition of the smallest field, in words.
pub fn definition() -> String {
    format!(
        "RMS field of a pulse of {:.0} ms that is found with {:.0} % probability while noise \
         alone passes for a pulse with {FALSE_PULSE:e} a filter, less than once an hour",
        1e3 * SHORTEST_PULSE_S,
        100.0 * FOUND
    )
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use num_complex::Complex32;

    use super::*;
    use crate::signal::StreamFormat;

    const FORMAT: StreamFormat =
        StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };

    /// Noise of 1, 2 and 4 counts per √Hz and a carrier on the first channel.
    fn heard(duration_s: f64, seed: u64, carrier: impl Fn(f64) -> f64) -> Result<Noise, NoNoise> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let sigma = 4000f64.sqrt();
        let mut slow = Slow::new(FORMAT);
        for n in 0..(duration_s * 8000.0) as usize {
            let t = n as f64 / 8000.0;
            let tone = num_complex::Complex64::cis(std::f64::consts::TAU * 70.3 * t) * carrier(t);
            let mut z = |density: f64| {
                let z = num_complex::Complex64::new(normal(), normal()) * sigma * density;
                Complex32::new(z.re as f32, z.im as f32)
            };
            let (x, y, w) = (z(1.0), z(2.0), z(4.0));
            slow.push(&[x + Complex32::new(tone.re as f32, tone.im as f32), y, w]);
        }
        measure(&slow)
    }

    #[test]
    fn the_density_of_each_channel_is_within_its_uncertainty() {
        let (mut squares, seeds) = (0.0, 30);
        for seed in 0..seeds {
            let noise = heard(20.0, seed, |_| 0.0).unwrap();
            for (found, truth) in noise.density_counts_rthz.iter().zip([1.0, 2.0, 4.0]) {
                assert!((found.value / truth - 1.0).abs() < 0.03, "{}", found.value);
                squares += ((found.value - truth) / found.u).powi(2) / f64::from(3 * seeds as u32);
            }
        }
        assert!((0.75..1.3).contains(&squares.sqrt()), "{}", squares.sqrt());
    }

    /// A steady carrier of four counts, one keyed as a unit, and a burst of noise.
    #[test]
    fn noise_with_something_in_it_is_refused() {
        assert!(matches!(heard(20.0, 1, |_| 4.0), Err(NoNoise::Carrier { .. })));
        let keyed = |t: f64| if t.fract() < 0.1 { 30.0 } else { 0.0 };
        assert!(matches!(heard(20.0, 1, keyed), Err(NoNoise::Carrier { .. })));
        let once = |t: f64| if (10.0..10.1).contains(&t) { 300.0 } else { 0.0 };
        assert!(heard(20.0, 1, once).is_err());
        assert!(matches!(heard(5.0, 1, |_| 0.0), Err(NoNoise::Short { .. })));
    }

    #[test]
    fn plain_noise_is_not_refused() {
        for seed in 100..140 {
            heard(10.0, seed, |_| 0.0).unwrap();
        }
    }

    #[test]
    fn a_channel_without_noise_is_named() {
        let mut slow = Slow::new(FORMAT);
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        for _ in 0..160_000 {
            let draw: f64 = StandardNormal.sample(&mut rng);
            let z = Complex32::new(draw as f32, 0.0);
            slow.push(&[z, Complex32::ZERO, z]);
        }
        assert!(matches!(measure(&slow), Err(NoNoise::Dead { channel: 2 })));
    }

    /// 1 nA/m/√Hz on three axes: 37.3 of energy over 70 ms.
    #[test]
    fn the_smallest_field_is_some_twenty_times_the_density() {
        let field = smallest_field_a_per_m(3, 1e-9);
        assert!((20e-9..26e-9).contains(&field), "{field}");
        assert!(definition().contains("70 ms") && definition().contains("90 %"));
    }
}
