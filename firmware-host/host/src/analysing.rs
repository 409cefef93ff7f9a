//! A capture through the analysis, on one core or on two.

use std::sync::mpsc::sync_channel;

use coilrig_analysis::signal::{Analyser, Event, Measurement};

use crate::capture::reader::{Capture, Piece, Streamed};
use crate::error::Result;

/// Pieces that may wait between the two threads, a few megabytes.
const WAITING: usize = 32;

/// What goes from the thread that reads and filters to the one that analyses.
enum Part {
    /// Samples at the fine rate, and how many recorded ones they are of.
    Samples(Vec<f32>, u64),
    /// The rest of a stretch, and the samples missing after it.
    Gap(Vec<f32>, u64),
    /// The rest of the capture.
    End(Vec<f32>),
}

/// All on this thread.
pub fn on_one_core(
    capture: &Capture,
    mut analyser: Analyser,
    on_event: &mut dyn FnMut(Event),
) -> Result<(Measurement, Streamed)> {
    let streamed = capture.stream(|piece| match piece {
        Piece::Samples(samples) => analyser.push(samples, on_event),
        Piece::Gap(missing) => analyser.gap(missing, on_event),
    })?;
    Ok((analyser.finish(on_event), streamed))
}

/// Reading and filtering on a thread of its own; the same result.
pub fn on_two_cores(
    capture: &Capture,
    analyser: Analyser,
    on_event: &mut dyn FnMut(Event),
) -> Result<(Measurement, Streamed)> {
    let axes = capture.format.axes;
    let (mut conditioner, mut analysis) = analyser.split();
    let (send, receive) = sync_channel(WAITING);
    std::thread::scope(|scope| {
        let reading = scope.spawn(move || {
            let mut fine = Vec::new();
            // Nobody listens any more only if the other thread has panicked, and
            // then there is nothing to give.
            let streamed = capture.stream(|piece| {
                let part = match piece {
                    Piece::Samples(samples) => {
                        conditioner.push(samples, &mut fine);
                        Part::Samples(std::mem::take(&mut fine), (samples.len() / axes) as u64)
                    }
                    Piece::Gap(missing) => {
                        conditioner.finish(&mut fine);
                        Part::Gap(std::mem::take(&mut fine), missing)
                    }
                };
                send.send(part).ok();
            })?;
            conditioner.finish(&mut fine);
            send.send(Part::End(fine)).ok();
            Ok(streamed)
        });
        let mut rest = Vec::new();
        for part in receive {
            match part {
                Part::Samples(fine, samples) => analysis.push(&fine, samples, on_event),
                Part::Gap(fine, missing) => analysis.gap(&fine, missing, on_event),
                Part::End(fine) => rest = fine,
            }
        }
        let streamed = reading.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
        Ok((analysis.finish(&rest, on_event), streamed))
    })
}
