//! Which of the transmitters heard is the surveyed one, and what it reads.

use serde::{Deserialize, Serialize};

use super::event::Taken;
use super::kind::Kind;
use crate::signal::{Measurement, Transmitter};
use crate::units;

/// How far the carrier may move from one reading to the next. A unit that gets
/// colder drifts by a few hertz in minutes; common practice, no source.
pub const CARRIER_TOLERANCE_HZ: f64 = 10.0;

/// How far the period may differ from that of the reading before, as a share. It
/// leaves room for units whose single periods vary; common practice, no source.
pub const PERIOD_TOLERANCE_REL: f64 = 0.02;

/// By what a transmitter is known again.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Surveyed {
    /// Its carrier, Hz.
    pub carrier_hz: f64,
    /// Its period, s.
    pub period_s: f64,
}

impl Surveyed {
    /// By what `transmitter` is known.
    pub fn of(transmitter: &Transmitter) -> Self {
        Self { carrier_hz: transmitter.carrier_hz.value, period_s: transmitter.period_s.value }
    }

    /// Whether `transmitter` can be the same.
    pub fn is(&self, transmitter: &Transmitter) -> bool {
        let carrier_apart = transmitter.carrier_hz.value - self.carrier_hz;
        let period_apart = transmitter.period_s.value - self.period_s;
        carrier_apart.abs() <= CARRIER_TOLERANCE_HZ
            && period_apart.abs() <= PERIOD_TOLERANCE_REL * self.period_s
    }
}

impl std::fmt::Display for Surveyed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.1} Hz every {:.3} s", self.carrier_hz, self.period_s)
    }
}

/// Why a measurement gives no reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotTaken {
    /// Silence.
    #[error("no transmitter found")]
    Silent,
    /// Others are heard, but not the one that the survey follows.
    #[error("the surveyed unit, {wanted}, is not among the transmitters found: {found}")]
    OthersOnly {
        /// The one that is wanted.
        wanted: Surveyed,
        /// Those heard, in words.
        found: String,
    },
    /// Counts without a meaning.
    #[error("the capture is not calibrated, so it holds no field")]
    NotCalibrated,
    /// Pulses at the end of the receiver's range.
    #[error("the signal is beyond full scale, so that its field would be read too low")]
    Overdriven,
    /// One axis where a vector is wanted.
    #[error(
        "the receiver has one axis, and one axis tells neither the field's direction nor its \
         magnitude"
    )]
    OneAxis,
    /// A field or uncertainty that the fit could not take.
    #[error("the field comes out as {field_a_per_m} A/m with an uncertainty of {u_a_per_m} A/m")]
    NoField {
        /// Field, A/m.
        field_a_per_m: f64,
        /// Its uncertainty, A/m.
        u_a_per_m: f64,
    },
}

/// The surveyed transmitter in `measurement`: the one that `followed` describes;
/// when the survey has followed none so far, the one nearest to `carrier_hz`, or
/// else the strongest.
///
/// # Errors
///
/// [`NotTaken::Silent`] and [`NotTaken::OthersOnly`].
pub fn choose<'a>(
    measurement: &'a Measurement,
    followed: Option<&Surveyed>,
    carrier_hz: Option<f64>,
) -> Result<&'a Transmitter, NotTaken> {
    let heard = &measurement.transmitters;
    let nearest = |of: &mut dyn Iterator<Item = &'a Transmitter>, hz: f64| {
        of.min_by(|a, b| {
            (a.carrier_hz.value - hz).abs().total_cmp(&(b.carrier_hz.value - hz).abs())
        })
    };
    if heard.is_empty() {
        return Err(NotTaken::Silent);
    }
    match (followed, carrier_hz) {
        (Some(wanted), _) => nearest(&mut heard.iter().filter(|t| wanted.is(t)), wanted.carrier_hz)
            .ok_or_else(|| NotTaken::OthersOnly { wanted: *wanted, found: in_words(heard) }),
        (None, Some(hz)) => nearest(&mut heard.iter(), hz).ok_or(NotTaken::Silent),
        (None, None) => heard
            .iter()
            .max_by(|a, b| a.amplitude.value.total_cmp(&b.amplitude.value))
            .ok_or(NotTaken::Silent),
    }
}

fn in_words(heard: &[Transmitter]) -> String {
    heard.iter().map(|t| Surveyed::of(t).to_string()).collect::<Vec<_>>().join(", ")
}

/// A field beside the transmitter it is of: `1.012 ± 0.031 µA/m of 457012.3 Hz`.
impl<K: Kind> std::fmt::Display for Taken<K> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let field = self.field();
        write!(f, "{} of {}", units::field_reading(field), self.surveyed)
    }
}

impl<K: Kind> Taken<K> {
    /// The field with the uncertainty that is its own.
    pub fn field(&self) -> crate::reading::Reading {
        K::field_a_per_m(&self.reading)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::reading::Reading;
    use crate::signal::PulseCount;

    pub fn transmitter(carrier_hz: f64, period_s: f64, field_a_per_m: f64) -> Transmitter {
        let exact = |value| Reading::new(value, 0.0);
        Transmitter {
            label: "T1".into(),
            trains: vec![0],
            carrier_hz: exact(carrier_hz),
            carrier_drift_hz_per_s: exact(0.0),
            key_on_chirp_hz: None,
            period_s: exact(period_s),
            period_jitter_s: 0.0,
            on_time_s: exact(0.09),
            off_time_s: exact(period_s - 0.09),
            field_a_per_m: Some(Reading::new(field_a_per_m, 0.05 * field_a_per_m)),
            field_vector_a_per_m: Some(vec![field_a_per_m, 0.0, 0.0]),
            channel_direction: [1.0, 0.0, 0.0],
            moved: false,
            amplitude: Reading::new(field_a_per_m, 0.004 * field_a_per_m),
            u_calibration_rel: 0.05,
            residual_carrier_ratio: exact(0.0),
            pulses: PulseCount { expected: 20, found: 20, overlapped: 0 },
            first_pulse_s: 0.4,
            notes: Vec::new(),
        }
    }

    pub fn heard(transmitters: Vec<Transmitter>) -> Measurement {
        Measurement {
            duration_s: 20.0,
            gaps: 0,
            noise_a_per_m_rthz: Some(vec![1e-9; 3]),
            noise_counts_rthz: vec![1.0; 3],
            transmitters,
            stray_pulses: 0,
            steady_carriers: Vec::new(),
        }
    }

    fn three() -> Measurement {
        heard(vec![
            transmitter(457_012.0, 1.000, 1e-6),
            transmitter(457_061.0, 1.107, 5e-6),
            transmitter(456_952.0, 0.913, 2e-6),
        ])
    }

    fn carrier(chosen: Result<&Transmitter, NotTaken>) -> f64 {
        chosen.unwrap().carrier_hz.value
    }

    #[test]
    fn a_survey_begins_with_the_strongest_or_with_the_one_named() {
        assert_eq!(carrier(choose(&three(), None, None)), 457_061.0);
        assert_eq!(carrier(choose(&three(), None, Some(456_970.0))), 456_952.0);
        assert_eq!(choose(&heard(Vec::new()), None, None), Err(NotTaken::Silent));
    }

    #[test]
    fn once_begun_the_same_unit_is_followed_however_weak() {
        let wanted = Surveyed { carrier_hz: 457_009.0, period_s: 1.001 };
        assert_eq!(carrier(choose(&three(), Some(&wanted), None)), 457_012.0);
        // Whatever was named at the beginning.
        assert_eq!(carrier(choose(&three(), Some(&wanted), Some(456_952.0))), 457_012.0);
    }

    #[test]
    fn another_carrier_or_another_period_is_another_unit() {
        for (carrier_hz, period_s) in [(457_022.5, 1.0), (457_012.0, 1.03), (457_012.0, 0.97)] {
            let wanted = Surveyed { carrier_hz, period_s };
            let error = choose(&three(), Some(&wanted), None).unwrap_err().to_string();
            assert!(
                error.contains("is not among the transmitters found: 457012.0 Hz every 1.000 s")
            );
        }
    }
}
