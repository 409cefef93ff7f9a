//! The reference signal of one capture: a steady carrier, or a unit's pulses.

use num_complex::Complex32;
use serde::{Deserialize, Serialize};

use super::carrier::{self, Carrier, NoCarrier};
use super::clock::Seen;
use super::rotation::Turn;
use super::scale::Repeat;
use super::slow::Slow;
use crate::reading::Reading;
use crate::signal::{Analyser, Calibration, FormatError, Measurement, StreamFormat, Transmitter};

/// Another unit this much weaker does no harm: amplitude ratio.
const MOST_BESIDE: f64 = 0.1;
/// Pulses below this, in dB of energy over noise density, are too weak to
/// calibrate with: noise alone is over 2 % of the amplitude.
const LEAST_ENERGY_DB: f64 = 30.0;
/// No unit leaks so much of its carrier between its pulses.
const MOST_LEAKED: f64 = 0.3;
/// Fewer pulses tell nothing of their scatter.
const LEAST_PULSES: usize = 5;

/// What sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A carrier that is on all the time.
    Carrier,
    /// A unit's pulses.
    Pulses,
}

/// The reference signal as the receiver gives it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceSignal {
    /// What sends.
    pub kind: Kind,
    /// Carrier by the receiver's own clock, Hz.
    pub seen_hz: Reading,
    /// Degrees of freedom of its uncertainty.
    pub degrees_of_freedom: f64,
    /// Amplitude on each channel in counts, the sign of all three free; 0 for
    /// channels that are not there.
    pub counts: [f64; 3],
    /// Standard uncertainty of each.
    pub u_counts: [f64; 3],
    /// Energy over noise density, dB.
    pub energy_db: f64,
}

/// Why a capture holds no signal to calibrate with.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoSignal {
    /// No pulses, and no carrier either.
    #[error(transparent)]
    Carrier(#[from] NoCarrier),
    /// Pulses that are not strong enough.
    #[error(
        "holds pulses that are too weak: {energy_db:.0} dB of energy over noise density, \
         {LEAST_ENERGY_DB} dB are needed"
    )]
    Weak {
        /// Energy over noise density, dB.
        energy_db: f64,
    },
    /// Pulses that are too few.
    #[error("holds {have} pulses, at least {LEAST_PULSES} are needed")]
    Few {
        /// What there is.
        have: usize,
    },
    /// Pulses that change.
    #[error("holds pulses whose field changes from one to the next: the coil or the unit moved")]
    Moved,
    /// A second unit.
    #[error(
        "holds more than one transmitter: {first_hz:.1} Hz, and {second_hz:.1} Hz only \
         {below_db:.0} dB below"
    )]
    NotAlone {
        /// The strongest.
        first_hz: f64,
        /// The next.
        second_hz: f64,
        /// How much weaker.
        below_db: f64,
    },
    /// Pulses and a carrier: which is the reference?
    #[error("holds a unit's pulses at {unit_hz:.1} Hz and a steady carrier at {carrier_hz:.1} Hz")]
    Both {
        /// The unit's carrier.
        unit_hz: f64,
        /// The steady one.
        carrier_hz: f64,
    },
}

impl NoSignal {
    /// What to do about it.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Carrier(NoCarrier::Short { .. }) | Self::Few { .. } => {
                "record for longer, 10 s of a carrier or 20 s of pulses"
            }
            Self::Carrier(NoCarrier::Weak { .. }) | Self::Weak { .. } => {
                "check that the source is on, raise its current, come nearer, take a higher gain \
                 step, or record for longer"
            }
            Self::Carrier(NoCarrier::NotSteady { .. }) => {
                "let source and receiver stand still, wait until the generator has settled, and \
                 record anew"
            }
            Self::Carrier(NoCarrier::Turning { .. }) | Self::Moved => {
                "let the receiver stand still for the whole capture, away from metal, and record \
                 anew"
            }
            Self::Carrier(NoCarrier::NotAlone { .. })
            | Self::NotAlone { .. }
            | Self::Both { .. } => "switch off everything but the reference source and record anew",
        }
    }
}

impl From<&Carrier> for ReferenceSignal {
    fn from(carrier: &Carrier) -> Self {
        Self {
            kind: Kind::Carrier,
            seen_hz: carrier.seen_hz,
            degrees_of_freedom: carrier.degrees_of_freedom,
            counts: carrier.counts,
            u_counts: carrier.u_counts,
            energy_db: carrier.energy_db,
        }
    }
}

impl ReferenceSignal {
    /// As a repeat in the field of a known source.
    pub fn repeat(&self) -> Repeat {
        Repeat { counts: self.counts, u_counts: self.u_counts }
    }

    /// As a turn of the receiver.
    pub fn turn(&self) -> Turn {
        Turn { counts: self.counts, u_counts: self.u_counts }
    }

    /// As a carrier to set the clock against.
    pub fn seen(&self) -> Seen {
        Seen { carrier_hz: self.seen_hz, degrees_of_freedom: self.degrees_of_freedom }
    }

    /// Magnitude over the channels, counts.
    pub fn magnitude_counts(&self) -> f64 {
        self.counts.iter().map(|c| c * c).sum::<f64>().sqrt()
    }

    fn of_pulses(transmitter: &Transmitter, noise: &[f64]) -> Result<Self, NoSignal> {
        let have = transmitter.pulses.found;
        if have < LEAST_PULSES {
            return Err(NoSignal::Few { have });
        }
        if transmitter.moved {
            return Err(NoSignal::Moved);
        }
        let on_s = have as f64 * transmitter.on_time_s.value;
        let counts = transmitter.channel_direction.map(|d| d * transmitter.amplitude.value);
        let over_noise = |(c, n): (&f64, &f64)| (c / n).powi(2);
        let energy_db =
            10.0 * (on_s * counts.iter().zip(noise).map(over_noise).sum::<f64>()).log10();
        if energy_db.is_nan() || energy_db < LEAST_ENERGY_DB {
            return Err(NoSignal::Weak { energy_db });
        }
        // Noise of each channel, and what all share of the pulses' own scatter.
        let u = |axis: usize| {
            let own = noise.get(axis).map_or(0.0, |n| n / (2.0 * on_s).sqrt());
            let shared = transmitter.amplitude.u * transmitter.channel_direction[axis].abs();
            own.max(shared)
        };
        Ok(Self {
            kind: Kind::Pulses,
            seen_hz: transmitter.carrier_hz,
            degrees_of_freedom: (have - 1) as f64,
            counts,
            u_counts: std::array::from_fn(u),
            energy_db,
        })
    }
}

/// Listens to one capture for a reference signal. What the capture states of its
/// calibration counts for nothing here.
pub struct Ear {
    analyser: Analyser,
    slow: Slow,
}

impl Ear {
    /// For a stream of this shape; `quantum` as for
    /// [`Analyser::quantised`](crate::signal::Analyser::quantised).
    ///
    /// # Errors
    ///
    /// A shape that cannot be analysed.
    pub fn new(format: StreamFormat, quantum: Option<f64>) -> Result<Self, FormatError> {
        let analyser = Analyser::new(format, Calibration::default())?;
        let analyser = match quantum {
            Some(step) => analyser.quantised(step),
            None => analyser,
        };
        Ok(Self { analyser, slow: Slow::new(format) })
    }

    /// Samples interleaved by axis, whole frames.
    pub fn push(&mut self, samples: &[Complex32]) {
        self.analyser.push(samples, &mut |_| ());
        self.slow.push(samples);
    }

    /// `missing` samples per axis were lost here.
    pub fn gap(&mut self, missing: u64) {
        self.analyser.gap(missing, &mut |_| ());
        self.slow.gap(missing);
    }

    /// The reference signal, and all that the analysis found beside it.
    pub fn finish(self) -> (Result<ReferenceSignal, NoSignal>, Measurement) {
        let carrier = carrier::measure(&self.slow);
        let measurement = self.analyser.finish(&mut |_| ());
        (reference(carrier, &measurement), measurement)
    }
}

fn reference(
    carrier: Result<Carrier, NoCarrier>,
    measurement: &Measurement,
) -> Result<ReferenceSignal, NoSignal> {
    let found = &measurement.transmitters;
    let magnitude = |t: &Transmitter| t.amplitude.value;
    let not_alone = |first_hz: f64, first: f64, second: &Transmitter| {
        let below_db = 20.0 * (first / magnitude(second)).log10();
        Err(NoSignal::NotAlone { first_hz, second_hz: second.carrier_hz.value, below_db })
    };
    match (carrier, found.as_slice()) {
        (Ok(carrier), found) => {
            let signal = ReferenceSignal::from(&carrier);
            let strength = signal.magnitude_counts();
            match found.first().filter(|t| magnitude(t) > MOST_BESIDE * strength) {
                Some(unit) => not_alone(signal.seen_hz.value, strength, unit),
                None => Ok(signal),
            }
        }
        (Err(_), [first, others @ ..]) => {
            let unit_hz = first.carrier_hz.value;
            let steady = measurement.steady_carriers.first().map(|s| s.carrier_hz);
            // One on the unit's own frequency passes for what it leaks.
            let leaks = first.residual_carrier_ratio.value > MOST_LEAKED;
            if let Some(carrier_hz) = steady.or(leaks.then_some(unit_hz)) {
                return Err(NoSignal::Both { unit_hz, carrier_hz });
            }
            let strength = magnitude(first);
            match others.first().filter(|t| magnitude(t) > MOST_BESIDE * strength) {
                Some(second) => not_alone(first.carrier_hz.value, strength, second),
                None => ReferenceSignal::of_pulses(first, &measurement.noise_counts_rthz),
            }
        }
        (Err(why), []) => Err(why.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Baseband, Scenario};

    fn heard(text: &str, duration_s: f64) -> Result<ReferenceSignal, NoSignal> {
        let scenario: Scenario = toml::from_str(text).unwrap();
        let mut baseband = Baseband::new(&scenario, 8000.0).unwrap();
        let mut frames = vec![[Complex32::ZERO; 3]; (duration_s * 8000.0) as usize];
        baseband.fill(&mut frames);
        let format = StreamFormat { sample_rate_hz: 8000.0, tuned_hz: 457_000.0, axes: 3 };
        let mut ear = Ear::new(format, None).unwrap();
        let flat: Vec<Complex32> = frames.into_iter().flatten().collect();
        flat.chunks(3 * 4000).for_each(|piece| ear.push(piece));
        ear.finish().0
    }

    const UNIT: &str = "[[unit]]\nname = \"u\"\nposition_m = [0, 0, 0]\nfirst_pulse_s = 0.2\n\
        carrier_offset_hz = 21\n[receiver]\nposition_m = [0, 0, 5]\nnoise_a_per_m_rthz = 1e-9\n\
        axis_factors = [1, 1, 2]\n";
    const CARRIER: &str = "[[interference]]\nkind = \"carrier\"\nfrequency_offset_hz = 21\n\
        field_a_per_m = [3e-7, -4e-7, 0]\n[receiver]\nnoise_a_per_m_rthz = 1e-9\n";

    #[test]
    fn a_carrier_and_pulses_give_counts_with_their_signs() {
        let carrier = heard(CARRIER, 10.0).unwrap();
        assert_eq!(carrier.kind, Kind::Carrier);
        let sign = carrier.counts[0].signum();
        for (found, due) in carrier.counts.iter().zip([300.0, -400.0, 0.0]) {
            assert!((sign * found - due).abs() < 2.0, "{carrier:?}");
        }
        // Coaxial m/2πr³ and coplanar half of it, z at half the counts.
        let pulses = heard(&UNIT.replace("first", "moment_a_m2 = [8e-4, 0, 8e-4]\nfirst"), 20.0);
        let pulses = pulses.unwrap();
        assert_eq!(pulses.kind, Kind::Pulses);
        let coaxial = 8e-4 / (2.0 * std::f64::consts::PI * 125.0) / 1e-9;
        let ratio = pulses.counts[2] / pulses.counts[0];
        assert!((ratio + 1.0).abs() < 0.02, "{pulses:?}");
        assert!((pulses.counts[2].abs() / (coaxial / 2.0) - 1.0).abs() < 0.02, "{pulses:?}");
    }

    #[test]
    fn what_cannot_serve_is_refused_with_a_way_out() {
        let weak = UNIT.replace("first", "moment_a_m2 = [2e-6, 0, 0]\nfirst");
        let two = format!(
            "{CARRIER}\n{}",
            UNIT.replace("first", "moment_a_m2 = [8e-6, 0, 0]\nfirst")
                .split("[receiver]")
                .next()
                .unwrap()
        );
        for (text, matter) in [
            ("", "no steady carrier"),
            (weak.as_str(), "no steady carrier"),
            (two.as_str(), "and a steady carrier"),
        ] {
            let refused = heard(text, 20.0).unwrap_err();
            assert!(refused.to_string().contains(matter), "{text}: {refused}");
            assert!(!refused.remedy().is_empty());
        }
    }
}
