//! From the thread that reads the receiver to the one that analyses, without ever
//! making the first wait.

use std::sync::mpsc::{Receiver as Inbox, SyncSender, sync_channel};

use jiff::Timestamp;
use num_complex::{Complex, Complex32};

use super::engine::Engine;
use crate::error::{Error, Result};

/// Packets that may wait, some ten seconds of them.
const WAITING: usize = 512;

/// What is fed.
enum Fed {
    /// Counts interleaved by axis, and the samples per axis missing before them.
    Samples { counts: Vec<Complex<i16>>, missing: u64, at: Timestamp },
    /// Something clipped.
    Clipped,
}

/// The way to the engine.
pub struct Feed {
    to: SyncSender<Fed>,
    axes: u64,
    /// Samples per axis that the engine has not got since it last got some.
    missing: u64,
}

impl Feed {
    /// Feed `engine`, on a thread of its own, with samples of so many axes.
    ///
    /// # Errors
    ///
    /// The system does not let the program start a thread.
    pub fn of(engine: Engine, axes: u8) -> Result<Self> {
        let (to, from) = sync_channel(WAITING);
        std::thread::Builder::new().name("live".into()).spawn(move || run(engine, &from)).map_err(
            |e| Error::file("analysis", format!("cannot start: {e}"), "close some programs"),
        )?;
        Ok(Self { to, axes: axes.into(), missing: 0 })
    }

    /// Take samples as they come, `missing` per axis having been lost before them.
    pub fn take(&mut self, counts: &[Complex<i16>], missing: u64) {
        let length = counts.len() as u64 / self.axes;
        self.missing += missing;
        let at = Timestamp::now();
        let fed = Fed::Samples { counts: counts.to_vec(), missing: self.missing, at };
        self.missing = match self.to.try_send(fed) {
            Ok(()) => 0,
            Err(_) => self.missing + length,
        };
    }

    /// Something clipped.
    pub fn clipped(&self) {
        // An engine that has that much to do will be told again.
        let _ = self.to.try_send(Fed::Clipped);
    }
}

fn run(mut engine: Engine, from: &Inbox<Fed>) {
    let mut samples: Vec<Complex32> = Vec::new();
    while let Ok(fed) = from.recv() {
        match fed {
            Fed::Samples { counts, missing, at } => {
                if missing > 0 {
                    engine.gap(missing);
                }
                samples.clear();
                samples.extend(counts.iter().map(|z| Complex32::new(z.re.into(), z.im.into())));
                engine.samples(&samples, at);
            }
            Fed::Clipped => engine.clipped(),
        }
    }
}
