//! Counts pulses while samples come in.

use coilrig_analysis::signal::{Analyser, Calibration, FormatError, StreamFormat};
use num_complex::{Complex, Complex32};

use crate::link::Receiver;
use crate::recording::PulseCounter;

/// A counter for the stream of `receiver`: the analysis that also measures
/// captures, running along.
///
/// # Errors
/// A receiver whose stream cannot be analysed.
pub fn pulse_counter(receiver: &Receiver) -> Result<PulseCounter, FormatError> {
    let format = StreamFormat {
        sample_rate_hz: receiver.sample_rate_hz.into(),
        tuned_hz: receiver.tuned_hz.into(),
        axes: usize::from(receiver.axes),
    };
    let mut analyser = Analyser::new(format, Calibration::default())?;
    let mut samples: Vec<Complex32> = Vec::new();
    Ok(Box::new(move |counts: &[Complex<i16>], missing| {
        if missing > 0 {
            analyser.gap(missing, &mut |_| ());
        }
        samples.clear();
        samples.extend(counts.iter().map(|z| Complex32::new(z.re.into(), z.im.into())));
        analyser.push(&samples, &mut |_| ());
        analyser.pulses_found()
    }))
}
