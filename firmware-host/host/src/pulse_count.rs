//! Counts pulses while samples come in.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver as Inbox, sync_channel};

use coilrig_analysis::signal::{Analyser, Calibration, FormatError, StreamFormat};
use num_complex::{Complex, Complex32};

use crate::link::Receiver;
use crate::recording::PulseCounter;

/// Packets that may wait to be counted, some ten seconds of them.
const WAITING: usize = 512;

/// A counter for the stream of `receiver`: the analysis that also measures
/// captures, running along on a thread of its own. A scene that it cannot keep
/// up with costs counted pulses, never recorded samples.
///
/// # Errors
/// A receiver whose stream cannot be analysed.
pub fn pulse_counter(receiver: &Receiver) -> Result<PulseCounter, FormatError> {
    let format = StreamFormat {
        sample_rate_hz: receiver.sample_rate_hz.into(),
        tuned_hz: receiver.tuned_hz.into(),
        axes: usize::from(receiver.axes),
    };
    let axes = format.axes as u64;
    let analyser = Analyser::new(format, Calibration::default())?.quantised(1.0);
    let seen = Arc::new(AtomicU64::new(0));
    let (packets, inbox) = sync_channel(WAITING);
    let counted = Arc::clone(&seen);
    std::thread::spawn(move || count(analyser, &inbox, &counted));
    let mut left_out = 0;
    Ok(Box::new(move |counts: &[Complex<i16>], missing| {
        left_out += missing;
        left_out = match packets.try_send((counts.to_vec(), left_out)) {
            Ok(()) => 0,
            Err(_) => left_out + counts.len() as u64 / axes,
        };
        seen.load(Ordering::Relaxed)
    }))
}

fn count(mut analyser: Analyser, inbox: &Inbox<(Vec<Complex<i16>>, u64)>, seen: &AtomicU64) {
    let mut samples: Vec<Complex32> = Vec::new();
    while let Ok((counts, missing)) = inbox.recv() {
        if missing > 0 {
            analyser.gap(missing, &mut |_| ());
        }
        samples.clear();
        samples.extend(counts.iter().map(|z| Complex32::new(z.re.into(), z.im.into())));
        analyser.push(&samples, &mut |_| ());
        seen.store(analyser.pulses_found(), Ordering::Relaxed);
    }
}
