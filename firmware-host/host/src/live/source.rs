//! Where the samples come from, made ready to be listened to.

use std::path::{Path, PathBuf};
use std::sync::mpsc as blocking;
use std::thread::JoinHandle;

use coilrig_analysis::limits::LimitSet;
use coilrig_analysis::live::Monitor;
use coilrig_analysis::signal::StreamFormat;
use tokio::sync::{mpsc, oneshot, watch};

use super::about::About;
use super::engine::Engine;
use super::feed::Feed;
use super::hub::{Hub, Topic};
use super::orders::Asked;
use super::receiver::{Receiver, Use};
use super::replay;
use crate::calibrating;
use crate::calibration::{Calibration, InUse};
use crate::capture::reader::{Capture, shown};
use crate::error::{Error, Result};
use crate::link::Link;
use crate::runtime;

const NOT_CALIBRATED: &str = "none: fields are in counts";
/// Magnitude of a carrier that just fills the integers of a capture.
const FULL_SCALE: f64 = i16::MAX as f64;

/// What all sources need.
pub struct Listening {
    /// Who is told.
    pub hub: Hub,
    /// What units are held against.
    pub limits: LimitSet,
    /// Holds true when everything is to end.
    pub stop: watch::Receiver<bool>,
}

/// A source at work.
pub struct Running {
    /// Its thread.
    pub thread: JoinHandle<Result<()>>,
    /// Ready when it ends of itself.
    pub ended: oneshot::Receiver<()>,
}

impl Running {
    fn start(name: &str, job: impl FnOnce() -> Result<()> + Send + 'static) -> Result<Self> {
        let (end, ended) = oneshot::channel();
        let thread = std::thread::Builder::new()
            .name(name.into())
            .spawn(move || {
                let result = job();
                // Nobody waits any more when the program ends.
                let _ = end.send(());
                result
            })
            .map_err(|e| {
                Error::file("live page", format!("cannot start: {e}"), "close some programs")
            })?;
        Ok(Self { thread, ended })
    }
}

/// Listen to the receiver on `port`, and do what is ordered.
///
/// # Errors
///
/// There is no receiver, or the calibration is not for it.
pub fn receiver(
    port: &Path,
    using: Use,
    listening: Listening,
    orders: mpsc::Receiver<Asked>,
) -> Result<Running> {
    let (ready, is_ready) = blocking::sync_channel(1);
    let port = port.to_owned();
    let running = Running::start("receiver", move || {
        runtime::run(async move {
            let (link, feed) = match open(&port, &using, &listening).await {
                Ok(opened) => opened,
                Err(error) => {
                    // Who started this waits for it.
                    let _ = ready.send(Err(error));
                    return Ok(());
                }
            };
            let _ = ready.send(Ok(()));
            let Listening { hub, stop, .. } = listening;
            Receiver::new(link, using, feed, hub, orders, stop).run().await
        })
    })?;
    is_ready.recv().unwrap_or_else(|_| {
        let what = "the thread that reads the receiver has ended";
        Err(Error::receiver("live page", what, "start it again"))
    })?;
    Ok(running)
}

async fn open(port: &Path, using: &Use, listening: &Listening) -> Result<(Link, Feed)> {
    let link = Link::open(port).await?;
    let receiver = link.receiver();
    receiver.check_gain_step(using.gain_step)?;
    let format = StreamFormat {
        sample_rate_hz: receiver.sample_rate_hz.into(),
        tuned_hz: receiver.tuned_hz.into(),
        axes: receiver.axes.into(),
    };
    let used = InUse {
        receiver: Some(receiver.serial_number.clone()),
        gain_step: Some(using.gain_step),
        channels: receiver.axes.into(),
    };
    let (known, words, concerns) = match &using.calibration {
        Some((path, calibration)) => {
            let scale = calibration.scale_for(path, &used)?;
            let today = jiff::ZonedDateTime::now().date();
            let concerns = calibration.concerns(today).iter().map(ToString::to_string).collect();
            let words = format!("{}, {}", calibration.date, calibration.method);
            let known = (calibration.for_analysis(scale), calibration.detail(scale));
            (known, words, concerns)
        }
        None => (Default::default(), NOT_CALIBRATED.into(), Vec::new()),
    };
    let full_scale = receiver.full_scale_counts.into();
    let is_calibrated = known.0.field_per_count.is_some();
    let limits = listening.limits.clone();
    let monitor = Monitor::new(format, known, limits, Some(1.0), full_scale).map_err(|e| {
        Error::receiver(port.display(), format!("the receiver {e}"), "update its firmware")
    })?;
    listening.hub.tell(
        Topic::About,
        &About {
            source: format!("receiver {} on {}", receiver.serial_number, port.display()),
            axes: format.axes,
            unit: unit(is_calibrated),
            band: monitor.band(),
            calibration: words,
            concerns,
            limits: (&listening.limits).into(),
            can_record: using.folder.is_some(),
            version: env!("CARGO_PKG_VERSION"),
        },
    );
    let engine = Engine::new(monitor, listening.hub.clone());
    let feed = Feed::of(engine, receiver.axes)?;
    Ok((link, feed))
}

/// Play the capture `path`, `speed` times as fast as it was recorded.
///
/// # Errors
///
/// A capture that cannot be read, or a calibration that is not for it.
pub fn capture(
    path: &Path,
    calibration: Option<&(PathBuf, Calibration)>,
    speed: f64,
    listening: &Listening,
) -> Result<Running> {
    let mut capture = Capture::open(path)?;
    if let Some((file, calibration)) = calibration {
        calibrating::apply(&mut capture, file, calibration)?;
    }
    for warning in &capture.warnings {
        eprintln!("coilrig: {warning}");
    }
    let known = (capture.calibration.clone(), capture.detail.clone());
    let is_calibrated = known.0.field_per_count.is_some();
    let words = match (&capture.meta.global.calibration, is_calibrated) {
        (_, false) => NOT_CALIBRATED.to_owned(),
        (Some(made), true) => {
            let method = made.method.as_ref().map_or(String::new(), |m| format!(", {m}"));
            format!("{}{method}", made.date)
        }
        (None, true) => "as the capture states it, without a date".into(),
    };
    let limits = listening.limits.clone();
    let monitor = Monitor::new(capture.format, known, limits, capture.quantum(), FULL_SCALE)
        .map_err(|e| {
            let place = capture.paths.meta.display();
            Error::file(place, e.to_string(), "correct the metadata")
        })?;
    listening.hub.tell(
        Topic::About,
        &About {
            source: format!("capture {}", shown(path)),
            axes: capture.format.axes,
            unit: unit(is_calibrated),
            band: monitor.band(),
            calibration: words,
            concerns: calibrating::age_concerns(&capture),
            limits: (&listening.limits).into(),
            can_record: false,
            version: env!("CARGO_PKG_VERSION"),
        },
    );
    let engine = Engine::new(monitor, listening.hub.clone());
    Running::start("replay", move || {
        // The page stands on until it is ended, which may be long after.
        replay::play(&capture, engine, speed).inspect_err(|error| {
            eprintln!("coilrig: {error}\nthe page shows what was played until there");
        })
    })
}

fn unit(is_calibrated: bool) -> &'static str {
    if is_calibrated { "A/m" } else { "counts" }
}
