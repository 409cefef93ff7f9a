//! Recording: a receiver's stream into a capture.
//!
//! The link is read on one thread and the disk written on another, so that a
//! disk that takes its time loses no samples.

use std::future::Future;
use std::path::PathBuf;
use std::pin::pin;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::JoinHandle;
use std::time::Duration;

use coilrig_analysis::level::PeakMeter;
use jiff::{SignedDuration, Timestamp};
use num_complex::Complex;
use serde::Serialize;
use tokio::time::{Instant, MissedTickBehavior, interval_at, sleep_until};

use crate::calibration::{Calibration, GainStep, InUse};
use crate::capture::meta::{Extension, Global, SIGMF_VERSION};
use crate::capture::writer::{Stretch, Writer, Written};
use crate::error::{Error, Result};
use crate::link::{Event, Gap, Health, Link, Receiver, Samples};

/// How often the disk is brought up to date, and progress is told.
const EVERY: Duration = Duration::from_secs(1);
/// How much longer than it should last a recording waits for its last samples.
const GRACE: Duration = Duration::from_secs(3);

/// Counts pulses as samples arrive: takes the samples, interleaved by axis, and
/// how many per axis are missing right before them; gives the pulses seen since
/// the start. Called every 20 ms, between two packets.
pub type PulseCounter = Box<dyn FnMut(&[Complex<i16>], u64) -> u64>;

/// What to record.
#[derive(Default)]
pub struct Options {
    /// Name of the capture, with or without the ending of one of its files.
    pub name: PathBuf,
    /// How long, missing samples counted; until stopped when absent.
    pub duration_s: Option<f64>,
    /// Gain step of the receiver.
    pub gain_step: u8,
    /// Calibration of the receiver and the file it stands in. Without it the
    /// capture states no field.
    pub calibration: Option<(PathBuf, Calibration)>,
    /// Name of the unit under test.
    pub unit: Option<String>,
    /// Free text.
    pub note: Option<String>,
    /// Temperature of the unit under test, °C.
    pub temperature_c: Option<f64>,
    /// Counts pulses for [`Progress::pulses`].
    pub pulse_counter: Option<PulseCounter>,
}

/// What a recording tells while it runs.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// How far it is, once a second.
    Progress(Progress),
    /// Samples are missing.
    Gap(Gap),
    /// The receiver sends nothing and was told to start once more.
    Stalled,
    /// The port is gone, for the reason given; the recording waits for it.
    Lost(String),
    /// The port is back and the recording goes on.
    Back,
    /// The receiver is far from the temperature at which it was calibrated.
    OtherTemperature {
        /// Temperature of the receiver, °C.
        now_c: f64,
        /// That of its calibration, °C.
        calibrated_c: f64,
    },
}

/// What is to be said of a receiver that is colder or warmer than when it was calibrated.
pub fn other_temperature(now_c: f64, calibrated_c: f64) -> String {
    format!(
        "the receiver is at {now_c:.0} °C and was calibrated at {calibrated_c:.0} °C: its clock and \
         coils may have drifted by more than the calibration states; calibrate it as cold or warm \
         as it is used"
    )
}

/// Farther from the temperature of the calibration than this, °C, crystals and tuned
/// coils have drifted (common practice, no source).
const FAR_C: f64 = 15.0;

/// How far a recording is.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Time since the start.
    pub elapsed_s: f64,
    /// Peak of the last second for each axis, dBFS; −∞ when there was none.
    pub level_dbfs: Vec<f64>,
    /// Samples per axis missing so far.
    pub samples_lost: u64,
    /// Whether anything clipped in the last second.
    pub overload: bool,
    /// Pulses seen so far, when they are counted.
    pub pulses: Option<u64>,
}

/// What a recording came to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// The metadata file of the capture.
    pub capture: PathBuf,
    /// Serial number of the receiver.
    pub receiver: String,
    /// From the first to the last sample, gaps counted.
    pub duration_s: f64,
    /// Samples per axis in the capture.
    pub samples: u64,
    /// Stretches without a gap.
    pub segments: usize,
    /// Whether the capture states what a count is in A/m.
    pub calibrated: bool,
    /// Pulses seen, when they are counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pulses: Option<u64>,
    /// What the link went through.
    pub link: Health,
}

/// Record from `link` until the time is over or `stop` is ready. The stream is
/// started at the beginning and stopped at the end; the link may be used again.
///
/// # Errors
///
/// The receiver refuses the gain step, the calibration is not for it, there is
/// a capture of that name already, no samples came, another receiver took its
/// place, or the disk failed. What was recorded before is kept, and the error
/// says how much.
pub async fn record(
    options: Options,
    link: &mut Link,
    notify: impl FnMut(Notice),
    stop: impl Future<Output = ()>,
) -> Result<Summary> {
    // Known before anything is written.
    scale_for(&options, link.receiver())?;
    link.set_gain(options.gain_step).await?;
    let prepared = Prepared::new(options, link, Some(0))?;
    let started = link.start().await;
    let recorded = prepared.run(link, started, notify, stop).await;
    link.stop().await;
    recorded
}

/// The same from a stream that runs already, at the gain step in `options`, and goes on
/// afterwards; its next sample is the first of the capture.
///
/// # Errors
///
/// As [`record`].
pub async fn record_running(
    options: Options,
    link: &mut Link,
    notify: impl FnMut(Notice),
    stop: impl Future<Output = ()>,
) -> Result<Summary> {
    Prepared::new(options, link, None)?.run(link, Ok(()), notify, stop).await
}

/// A recording that can begin.
struct Prepared {
    session: Session,
    disk: Disk,
    duration_s: Option<f64>,
    calibrated: bool,
}

impl Prepared {
    /// `base_index` is the index in the stream that counts as 0; that of the first sample
    /// when absent.
    fn new(mut options: Options, link: &Link, base_index: Option<u64>) -> Result<Self> {
        let receiver = link.receiver();
        let rate_hz = f64::from(receiver.sample_rate_hz);
        let scale = scale_for(&options, receiver)?;
        let global = global(&options, receiver, scale.as_ref());
        let writer = Writer::create(&options.name, global, f64::from(receiver.tuned_hz))?;
        let disk = Disk::start(writer, receiver.clone())?;
        let end_index = options.duration_s.map(|duration_s| (duration_s * rate_hz).round() as u64);
        let session = Session {
            axes: usize::from(receiver.axes),
            gain_step: options.gain_step,
            base_index,
            end_index: end_index.unwrap_or(u64::MAX),
            due_index: 0,
            first_index: None,
            // A stream that is started begins with nothing behind it.
            began: if base_index.is_some() { Health::default() } else { link.health() },
            overload: false,
            calibrated_c: options.calibration.as_ref().and_then(|(_, c)| c.temperature_c),
            meter: PeakMeter::new(receiver.axes.into(), receiver.full_scale_counts.into()),
            pulse_counter: options.pulse_counter.take(),
            pulses: None,
        };
        Ok(Self { session, disk, duration_s: options.duration_s, calibrated: scale.is_some() })
    }

    /// Record, once the stream has `started`.
    async fn run(
        self,
        link: &mut Link,
        started: Result<()>,
        mut notify: impl FnMut(Notice),
        stop: impl Future<Output = ()>,
    ) -> Result<Summary> {
        let Self { mut session, disk, duration_s, calibrated } = self;
        let receiver = link.receiver().clone();
        let rate_hz = f64::from(receiver.sample_rate_hz);
        let outcome = match started {
            Ok(()) => session.run(link, &disk, duration_s, &mut notify, stop).await,
            Err(error) => Err(error),
        };
        let health = link.health().since(&session.began);
        let written = disk.finish()?;
        let kept_s = written.samples as f64 / rate_hz;
        if let Err(error) = outcome {
            return Err(if written.samples > 0 {
                error.and(format!("the first {kept_s:.1} s are kept"))
            } else {
                error
            });
        }
        let Some(first_index) = session.first_index else {
            return Err(Error::receiver(
                link.path().display(),
                format!("receiver {} sent no samples", receiver.serial_number),
                "unplug the receiver, plug it in again, and record anew",
            ));
        };
        Ok(Summary {
            capture: written.paths.meta,
            receiver: receiver.serial_number,
            duration_s: (session.due_index - first_index) as f64 / rate_hz,
            samples: written.samples,
            segments: written.segments,
            calibrated,
            pulses: session.pulses,
            link: health,
        })
    }
}

/// The state of a recording under way.
struct Session {
    axes: usize,
    gain_step: u8,
    /// What counts as index 0 of the stream.
    base_index: Option<u64>,
    /// Index at which the recording ends.
    end_index: u64,
    /// Index after the last sample taken.
    due_index: u64,
    first_index: Option<u64>,
    /// What the link had been through before.
    began: Health,
    /// Whether anything clipped since progress was last told.
    overload: bool,
    /// Temperature of the calibration, until the receiver's was told to be another.
    calibrated_c: Option<f64>,
    meter: PeakMeter,
    pulse_counter: Option<PulseCounter>,
    pulses: Option<u64>,
}

impl Session {
    async fn run(
        &mut self,
        link: &mut Link,
        disk: &Disk,
        duration_s: Option<f64>,
        notify: &mut impl FnMut(Notice),
        stop: impl Future<Output = ()>,
    ) -> Result<()> {
        let started_at = Instant::now();
        let mut ticks = interval_at(started_at + EVERY, EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let mut stop = pin!(stop);
        let mut overdue = pin!(async {
            match duration_s.and_then(|s| Duration::try_from_secs_f64(s).ok()) {
                Some(duration) => sleep_until(started_at + duration + GRACE).await,
                None => std::future::pending().await,
            }
        });
        let mut lost: Option<String> = None;
        while self.due_index < self.end_index && !disk.has_failed() {
            tokio::select! {
                biased;
                () = &mut stop => break,
                () = &mut overdue => {
                    let place = link.path().display().to_string();
                    return match lost {
                        Some(why) => Err(Error::receiver(
                            place,
                            format!("{why}, and the receiver did not come back in time"),
                            "check cable and receiver, and record the rest anew",
                        )),
                        None => Ok(()),
                    };
                }
                _ = ticks.tick() => notify(Notice::Progress(Progress {
                    elapsed_s: started_at.elapsed().as_secs_f64(),
                    level_dbfs: self.meter.take_dbfs(),
                    samples_lost: link.health().since(&self.began).samples_lost,
                    overload: std::mem::take(&mut self.overload),
                    pulses: self.pulses,
                })),
                event = link.next() => match event? {
                    Event::Samples(samples) => self.take(samples, disk),
                    Event::Gap(gap) => notify(Notice::Gap(gap)),
                    Event::Stalled => notify(Notice::Stalled),
                    Event::Lost(why) => {
                        lost = Some(why.clone());
                        notify(Notice::Lost(why));
                    }
                    Event::Back => {
                        lost = None;
                        notify(Notice::Back);
                    }
                    Event::Status(status) => {
                        let now_c = f64::from(status.temperature_c);
                        let is_far = |at_c: &mut f64| (now_c - *at_c).abs() > FAR_C;
                        // Said once.
                        if let Some(calibrated_c) = self.calibrated_c.take_if(is_far) {
                            notify(Notice::OtherTemperature { now_c, calibrated_c });
                        }
                    }
                },
            }
        }
        Ok(())
    }

    fn take(&mut self, mut samples: Samples, disk: &Disk) {
        // A capture has one scale. Samples at another gain step, as of a
        // receiver that was just switched on, are left out as a gap.
        if samples.gain_step != self.gain_step {
            return;
        }
        samples.first_index -= *self.base_index.get_or_insert(samples.first_index);
        if samples.first_index >= self.end_index {
            return;
        }
        let room = (self.end_index - samples.first_index).saturating_mul(self.axes as u64);
        let wanted = usize::try_from(room).unwrap_or(usize::MAX).min(samples.samples.len());
        samples.samples.truncate(wanted);

        let missing = samples.first_index - self.due_index;
        self.first_index.get_or_insert(samples.first_index);
        self.due_index = samples.first_index + (wanted / self.axes) as u64;
        self.overload |= samples.overload;
        self.meter.push(&samples.samples);
        if let Some(count) = &mut self.pulse_counter {
            self.pulses = Some(count(&samples.samples, missing));
        }
        disk.take(samples);
    }
}

/// The thread that writes the capture.
struct Disk {
    samples: mpsc::Sender<Samples>,
    thread: JoinHandle<Result<Written>>,
}

impl Disk {
    fn start(writer: Writer, receiver: Receiver) -> Result<Self> {
        let (samples, taken) = mpsc::channel();
        let thread = std::thread::Builder::new()
            .name("capture".into())
            .spawn(move || write(writer, &receiver, &taken))
            .map_err(|e| {
                Error::file("capture", format!("cannot start writing: {e}"), "close some programs")
            })?;
        Ok(Self { samples, thread })
    }

    /// Hand samples over. After a failure they are dropped; [`Self::finish`]
    /// tells of it.
    fn take(&self, samples: Samples) {
        let _ = self.samples.send(samples);
    }

    fn has_failed(&self) -> bool {
        self.thread.is_finished()
    }

    fn finish(self) -> Result<Written> {
        drop(self.samples);
        self.thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

/// Write what comes until there is no more, to the disk once a second.
fn write(
    mut writer: Writer,
    receiver: &Receiver,
    taken: &mpsc::Receiver<Samples>,
) -> Result<Written> {
    let mut flush_at = std::time::Instant::now() + EVERY;
    loop {
        let wait = flush_at.saturating_duration_since(std::time::Instant::now());
        match taken.recv_timeout(wait) {
            Ok(samples) => writer.append(Stretch {
                index: samples.first_index,
                starts_at: first_sample_at(&samples, receiver),
                overload: samples.overload,
                samples: &samples.samples,
            }),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return writer.finish(),
        }
        if std::time::Instant::now() >= flush_at {
            writer.flush()?;
            flush_at = std::time::Instant::now() + EVERY;
        }
    }
}

/// When the antenna saw the first sample of a packet: the last one had just
/// been finished when the packet arrived, give or take the cable's delay.
fn first_sample_at(samples: &Samples, receiver: &Receiver) -> Timestamp {
    let later = (samples.samples.len() / usize::from(receiver.axes)).saturating_sub(1);
    let before = Duration::from_secs_f64(later as f64 / f64::from(receiver.sample_rate_hz))
        + Duration::from_nanos(receiver.group_delay_ns.into());
    SignedDuration::try_from(before)
        .and_then(|before| samples.received_at.checked_sub(before))
        .unwrap_or(samples.received_at)
}

/// The scale of the gain step in use, out of a calibration of this receiver.
fn scale_for(options: &Options, receiver: &Receiver) -> Result<Option<GainStep>> {
    let Some((path, calibration)) = &options.calibration else { return Ok(None) };
    let used = InUse {
        receiver: Some(receiver.serial_number.clone()),
        gain_step: Some(options.gain_step),
        channels: receiver.axes.into(),
    };
    calibration.scale_for(path, &used).cloned().map(Some)
}

fn global(options: &Options, receiver: &Receiver, scale: Option<&GainStep>) -> Global {
    let gain_db = receiver.gain_steps_db.get(usize::from(options.gain_step));
    let mut global = Global {
        datatype: "ci16_le".into(),
        sample_rate_hz: Some(receiver.sample_rate_hz.into()),
        version: SIGMF_VERSION.into(),
        num_channels: Some(receiver.axes.into()),
        recorder: Some(concat!("coilrig ", env!("CARGO_PKG_VERSION")).into()),
        hardware: Some(format!(
            "coilrig receiver {}, {} {}, gain step {}{}",
            receiver.serial_number,
            receiver.firmware,
            receiver.firmware_version,
            options.gain_step,
            gain_db.map_or(String::new(), |db| format!(" ({db} dB)")),
        )),
        extensions: Some(vec![Extension::coilrig()]),
        receiver: Some(receiver.serial_number.clone()),
        gain_step: Some(options.gain_step),
        temperature_c: options.temperature_c,
        unit: options.unit.clone(),
        note: options.note.clone(),
        ..Global::default()
    };
    if let (Some((_, calibration)), Some(scale)) = (&options.calibration, scale) {
        calibration.put_into(scale, &mut global);
    }
    global
}
