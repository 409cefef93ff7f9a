//! The receiver's clock against a carrier of known frequency.
//!
//! A clock that runs fast by e sees a carrier of true frequency f at f/(1 + e):
//! e = f / f_seen − 1. The carrier is that of a disciplined generator, or of a
//! unit whose frequency a counter has measured.

use crate::reading::Reading;
use crate::uncertainty::{Budget, Input, Inputs, UncertaintyError, propagate};

/// Crystals are within 100 ppm with age and cold (common practice, no source);
/// twice that is another carrier.
const MOST_PPM: f64 = 200.0;

/// The carrier as one capture gave it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// By the receiver's own clock, Hz.
    pub carrier_hz: Reading,
    /// Degrees of freedom of its u.
    pub degrees_of_freedom: f64,
}

/// Why there is no result.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoClock {
    /// No capture.
    #[error("there is no carrier to compare with")]
    Nothing,
    /// A stated frequency that is none.
    #[error("the known frequency of {hz} Hz with an uncertainty of {u_hz} Hz cannot be one")]
    Senseless {
        /// As stated.
        hz: f64,
        /// As stated.
        u_hz: f64,
    },
    /// Another carrier than the one that was meant.
    #[error(
        "the carrier heard at {seen_hz:.2} Hz is {ppm:.0} ppm from the known {known_hz:.2} Hz: \
         no clock is that far off, so this is another carrier"
    )]
    OtherCarrier {
        /// By the receiver's clock.
        seen_hz: f64,
        /// As stated.
        known_hz: f64,
        /// Apart.
        ppm: f64,
    },
    /// The sums give no finite number.
    #[error(transparent)]
    Uncertainty(#[from] UncertaintyError),
}

/// Error of the receiver's clock in ppm, positive when it runs fast, with its
/// budget. Of several captures the mean counts, with its scatter.
///
/// # Errors
///
/// No capture, or a carrier that cannot be the known one.
pub fn offset_ppm(known_hz: Reading, seen: &[Seen]) -> Result<Budget, NoClock> {
    let Reading { value: hz, u: u_hz } = known_hz;
    if !(hz > 0.0 && hz.is_finite() && u_hz >= 0.0 && u_hz.is_finite()) {
        return Err(NoClock::Senseless { hz, u_hz });
    }
    let [first, ..] = seen else { return Err(NoClock::Nothing) };
    for Seen { carrier_hz, .. } in seen {
        let ppm = (hz / carrier_hz.value - 1.0) * 1e6;
        if ppm.is_nan() || ppm.abs() > MOST_PPM {
            return Err(NoClock::OtherCarrier { seen_hz: carrier_hz.value, known_hz: hz, ppm });
        }
    }
    let mut inputs = Inputs::new();
    let known = inputs.add(Input::normal("known frequency", "Hz", hz, u_hz)?);
    let heard = inputs.add(match seen.len() {
        1 => Input::observed("carrier", "Hz", first.carrier_hz, first.degrees_of_freedom)?,
        _ => repeated(seen)?,
    });
    // The difference first, so that no digits are lost.
    Ok(propagate(&inputs, |x| (x[known] - x[heard]) / x[heard] * 1e6)?)
}

/// Mean of the captures, with their scatter or their own uncertainty, whichever is
/// larger.
fn repeated(seen: &[Seen]) -> Result<Input, UncertaintyError> {
    let values: Vec<f64> = seen.iter().map(|s| s.carrier_hz.value).collect();
    let mut input = Input::repeated("carrier", "Hz", &values)?;
    let own2: f64 = seen.iter().map(|s| s.carrier_hz.u.powi(2)).sum();
    input.u = input.u.max(own2.sqrt() / seen.len() as f64);
    Ok(input)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(hz: f64) -> Seen {
        Seen { carrier_hz: Reading::new(hz, 0.002), degrees_of_freedom: 30.0 }
    }

    /// 2 ppm of 457 kHz are 0.914 Hz, by hand.
    #[test]
    fn a_fast_clock_sees_the_carrier_low() {
        let known = Reading::new(457_000.0, 0.0457);
        let budget = offset_ppm(known, &[seen(457_000.0 - 0.914)]).unwrap();
        assert!((budget.value - 2.000_004).abs() < 1e-6, "{}", budget.value);
        // 0.1 ppm of the generator and 2 mHz of the capture.
        assert!((budget.u - 0.1f64.hypot(0.002 / 0.457)).abs() < 1e-5, "{}", budget.u);
    }

    #[test]
    fn several_captures_give_their_mean_and_scatter() {
        let known = Reading::new(457_000.0, 0.0);
        let all = [457_000.9, 457_001.0, 457_001.1].map(seen);
        let budget = offset_ppm(known, &all).unwrap();
        assert!((budget.value + 2.188_18).abs() < 1e-4, "{}", budget.value);
        assert!((budget.u - 0.1 / 3f64.sqrt() / 0.457).abs() < 1e-4);
        assert!((budget.degrees_of_freedom - 2.0).abs() < 1e-9);
    }

    #[test]
    fn another_carrier_and_nonsense_are_refused() {
        let known = Reading::new(457_000.0, 0.1);
        let refused = offset_ppm(known, &[seen(457_120.0)]).unwrap_err();
        assert!(refused.to_string().contains("another carrier"), "{refused}");
        assert_eq!(offset_ppm(known, &[]), Err(NoClock::Nothing));
        assert!(offset_ppm(Reading::new(-1.0, 0.0), &[seen(457e3)]).is_err());
        assert!(offset_ppm(Reading::new(457e3, f64::NAN), &[seen(457e3)]).is_err());
    }
}
