//! Waiting: the runtime on which commands wait for ports, timers and signals.

use std::future::Future;

use tokio::signal::unix::{SignalKind, signal};

use crate::error::{Error, Result};

/// Run `job` to its end on this thread.
pub fn run<T>(job: impl Future<Output = Result<T>>) -> Result<T> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| refused("wait for ports and timers", &e))?
        .block_on(job)
}

/// Ready when the person at the keyboard (Ctrl-C) or the system (SIGTERM, and
/// SIGHUP of a closed terminal) wants the program to end. From here on these
/// signals do not end it by force any more.
///
/// # Errors
///
/// The system does not let the program catch signals.
pub fn stop_signal() -> Result<impl Future<Output = ()>> {
    let listen = |kind| signal(kind).map_err(|e| refused("wait for signals", &e));
    let mut interrupt = listen(SignalKind::interrupt())?;
    let mut terminate = listen(SignalKind::terminate())?;
    let mut hang_up = listen(SignalKind::hangup())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
            _ = hang_up.recv() => {}
        }
    })
}

fn refused(what: &str, e: &std::io::Error) -> Error {
    Error::receiver("this computer", format!("cannot {what}: {e}"), "start the program anew")
}
