//! A capture played to the page as if it came from a receiver.

use std::time::{Duration, Instant};

use jiff::Timestamp;

use super::engine::Engine;
use crate::capture::reader::{Capture, Piece};
use crate::error::Result;

/// What is handed on at a time, s: as a receiver's packets.
const PIECE_S: f64 = 0.02;

/// Play `capture` into `engine`, `speed` times as fast as it was recorded.
///
/// # Errors
///
/// Those of reading the capture, which viewers are told too.
pub fn play(capture: &Capture, mut engine: Engine, speed: f64) -> Result<()> {
    let axes = capture.format.axes;
    let rate_hz = capture.format.sample_rate_hz;
    let piece = axes * ((PIECE_S * rate_hz) as usize).max(1);
    let began = Instant::now();
    let mut played = 0_u64;
    let wait = |played: u64| {
        let due = Duration::try_from_secs_f64(played as f64 / rate_hz / speed);
        std::thread::sleep(due.unwrap_or_default().saturating_sub(began.elapsed()));
    };
    let streamed = capture.stream(|part| match part {
        Piece::Samples(samples) => {
            for samples in samples.chunks(piece) {
                played += (samples.len() / axes) as u64;
                wait(played);
                engine.samples(samples, Timestamp::now());
            }
        }
        // Nobody wants to wait for what is not there.
        Piece::Gap(missing) => engine.gap(missing),
    });
    if streamed.as_ref().is_ok_and(|streamed| streamed.clipped > 0) {
        engine.clipped();
    }
    // What was heard until there stands.
    engine.finish(Timestamp::now(), streamed.as_ref().err().map(ToString::to_string));
    streamed.map(|_| ())
}
