//! The receiver behind the page: streams while nobody records, records when told to.
//!
//! A recording is that of `coilrig record`, in every respect; the page hears its samples
//! on their way.

use std::cell::RefCell;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::rc::Rc;
use std::time::Duration;

use jiff::Timestamp;
use serde::Serialize;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, MissedTickBehavior, interval};

use super::feed::Feed;
use super::hub::{Hub, Topic};
use super::orders::{Asked, Order, checked};
use super::survey::{self, Hearing, Led};
use crate::calibration::Calibration;
use crate::capture::meta::Paths;
use crate::error::{Error, Result};
use crate::link::{Event, Link, Samples};
use crate::recording::{self, Notice, Options};
use crate::surveying::{self, Recording};

/// Seconds that a point of a survey may be recorded.
const POINT_S: std::ops::RangeInclusive<f64> = 2.0..=600.0;
/// How often the state of the link is told.
const EVERY: Duration = Duration::from_secs(1);

/// How the receiver is used.
pub struct Use {
    /// Gain step.
    pub gain_step: u8,
    /// Calibration, and the file it stands in.
    pub calibration: Option<(PathBuf, Calibration)>,
    /// Folder for recordings; without it there are none.
    pub folder: Option<PathBuf>,
}

/// What is told of the link.
#[derive(Clone, Debug, Default, Serialize)]
struct LinkTold {
    /// Whether samples come.
    is_up: bool,
    /// The last thing that happened.
    said: String,
    /// Whether anything clipped in the last second.
    overload: bool,
    /// Samples per axis missing so far.
    samples_lost: u64,
    /// Temperature of the receiver, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f32>,
    /// What is being recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    recording: Option<RecordingTold>,
}

#[derive(Clone, Debug, Serialize)]
struct RecordingTold {
    name: String,
    elapsed_s: f64,
    /// How long it is to last.
    #[serde(skip_serializing_if = "Option::is_none")]
    of_s: Option<f64>,
}

/// The receiver at work.
pub struct Receiver {
    link: Link,
    using: Use,
    feed: Rc<RefCell<Feed>>,
    hub: Hub,
    told: LinkTold,
    orders: mpsc::Receiver<Asked>,
    stop: watch::Receiver<bool>,
    survey: Option<Box<dyn Led>>,
    /// Pictures of surveys so far.
    pictures: u64,
}

/// What comes after streaming.
enum Next {
    Record { name: String, unit: Option<String>, asked: Asked },
    /// A step of a survey, which may write, compute and draw.
    Survey(Asked),
    Stop,
}

impl Receiver {
    /// A receiver that obeys `orders` until `stop` holds true.
    pub fn new(
        link: Link,
        using: Use,
        feed: Feed,
        hub: Hub,
        orders: mpsc::Receiver<Asked>,
        stop: watch::Receiver<bool>,
    ) -> Self {
        let feed = Rc::new(RefCell::new(feed));
        let told = LinkTold::default();
        Self { link, using, feed, hub, told, orders, stop, survey: None, pictures: 0 }
    }

    /// Stream and record until stopped.
    ///
    /// # Errors
    ///
    /// The receiver cannot be used any more: another one took its place, or it refuses.
    pub async fn run(mut self) -> Result<()> {
        self.tell_survey(Vec::new());
        loop {
            match self.stream().await? {
                Next::Stop => return Ok(()),
                Next::Record { name, unit, asked } => self.record(name, unit, asked).await,
                Next::Survey(asked) => self.survey(asked).await,
            }
        }
    }

    fn tell(&self) {
        self.hub.tell(Topic::Link, &self.told);
    }

    fn say(&mut self, what: impl Into<String>) {
        self.told.said = what.into();
        self.tell();
    }

    async fn stream(&mut self) -> Result<Next> {
        self.feed.borrow_mut().interrupt();
        tokio::select! {
            biased;
            () = is_stopped(&mut self.stop) => return Ok(Next::Stop),
            started = start(&mut self.link, self.using.gain_step) => started?,
        }
        self.told.is_up = true;
        self.tell();
        let mut ticks = interval(EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let lost_before = self.told.samples_lost;
        let mut due_index = 0;
        let next = loop {
            tokio::select! {
                biased;
                () = is_stopped(&mut self.stop) => break Next::Stop,
                asked = self.orders.recv() => match asked {
                    None => break Next::Stop,
                    Some(asked) => if let Some(next) = self.obey(asked) { break next },
                },
                _ = ticks.tick() => {
                    self.told.samples_lost = lost_before + self.link.health().samples_lost;
                    self.tell();
                    self.told.overload = false;
                }
                event = self.link.next() => self.heard(event?, &mut due_index),
            }
        };
        self.link.stop().await;
        Ok(next)
    }

    fn heard(&mut self, event: Event, due_index: &mut u64) {
        match event {
            Event::Samples(samples) => self.take(&samples, due_index),
            Event::Status(status) => self.told.temperature_c = finite(status.temperature_c),
            Event::Gap(gap) => self.say(format!("{} samples are missing", gap.missing)),
            Event::Stalled => self.say("the receiver sends nothing; told it to start again"),
            Event::Lost(why) => {
                self.told.is_up = false;
                self.say(format!("{why}; waiting for the receiver"));
            }
            Event::Back => {
                self.told.is_up = true;
                self.say("the receiver is back");
            }
        }
    }

    fn take(&mut self, samples: &Samples, due_index: &mut u64) {
        // Of another gain, as of a receiver that was just switched on: not on one scale.
        if samples.gain_step != self.using.gain_step {
            return;
        }
        let mut feed = self.feed.borrow_mut();
        if samples.overload {
            self.told.overload = true;
            feed.clipped();
        }
        feed.take(&samples.samples, samples.first_index - *due_index);
        let axes = usize::from(self.link.receiver().axes);
        *due_index = samples.first_index + (samples.samples.len() / axes) as u64;
    }

    /// What an order leads to while nothing is recorded.
    fn obey(&mut self, asked: Asked) -> Option<Next> {
        match &asked.order {
            Order::StopRecording => {
                asked.answer(Err(Error::usage("nothing is being recorded", "start a recording")));
                None
            }
            Order::Record { name, unit } => match self.free_name(name.as_deref()) {
                Ok(name) => Some(Next::Record { name, unit: unit.clone(), asked }),
                Err(why) => {
                    asked.answer(Err(why));
                    None
                }
            },
            _ => Some(Next::Survey(asked)),
        }
    }

    fn folder(&self) -> Result<&Path> {
        self.using.folder.as_deref().ok_or_else(|| {
            let what = "there is no folder for recordings and surveys";
            Error::usage(what, "start the page with --out FOLDER")
        })
    }

    fn free_name(&self, asked: Option<&str>) -> Result<String> {
        if !self.told.is_up {
            return Err(Error::usage("the receiver is not there", "wait until it is back"));
        }
        let folder = self.folder()?;
        let name = match asked {
            Some(name) => checked(name)?.to_owned(),
            None => jiff::ZonedDateTime::now().strftime("%Y-%m-%d-%H%M%S").to_string(),
        };
        let paths = Paths::of(&folder.join(&name));
        if paths.meta.exists() || paths.data.exists() {
            let what = format!("there is a recording {name} already");
            return Err(Error::usage(what, "give another name"));
        }
        Ok(name)
    }

    async fn record(&mut self, name: String, unit: Option<String>, asked: Asked) {
        self.feed.borrow_mut().interrupt();
        self.told.recording = Some(RecordingTold { name: name.clone(), elapsed_s: 0.0, of_s: None });
        self.say(format!("recording {name}"));
        asked.answer(Ok(()));
        let folder = self.using.folder.clone().unwrap_or_default();
        let feed = Rc::clone(&self.feed);
        let options = Options {
            name: folder.join(&name),
            gain_step: self.using.gain_step,
            calibration: self.using.calibration.clone(),
            unit,
            note: Some(format!("recorded from the live page, {:.0}", Timestamp::now())),
            // Samples pass by the page on their way to the disk; it counts pulses itself.
            pulse_counter: Some(Box::new(move |counts, missing| {
                feed.borrow_mut().take(counts, missing);
                0
            })),
            ..Options::default()
        };
        let Self { link, feed, hub, told, orders, stop, .. } = self;
        let since = Instant::now();
        let lost_before = told.samples_lost;
        let until = until_stopped(orders, stop);
        let notify = |notice| {
            if let Some(recording) = &mut told.recording {
                recording.elapsed_s = since.elapsed().as_secs_f64();
            }
            take_notice(notice, told, lost_before);
            if told.overload {
                feed.borrow().clipped();
            }
            hub.tell(Topic::Link, told);
        };
        let recorded = recording::record(options, link, notify, until).await;
        self.told.recording = None;
        match recorded {
            Ok(summary) => {
                let lost = match summary.link.samples_lost {
                    0 => String::new(),
                    lost => format!(", {lost} samples missing"),
                };
                self.say(format!("recorded {name}: {:.1} s{lost}", summary.duration_s));
            }
            // A full disk ends the recording, not the page; and a receiver that is of no use
            // any more will say so when it is to stream again.
            Err(error) => {
                eprintln!("coilrig: {error}");
                self.say(format!("the recording ended: {}", error.what()));
            }
        }
    }
}

async fn start(link: &mut Link, gain_step: u8) -> Result<()> {
    link.set_gain(gain_step).await?;
    link.start().await
}

/// Ready when everything is to end.
async fn is_stopped(stop: &mut watch::Receiver<bool>) {
    // Whoever could say so is gone: that is as good.
    let _ = stop.wait_for(|stop| *stop).await;
}

/// Steps of surveys.
impl Receiver {
    async fn survey(&mut self, asked: Asked) {
        if let Order::TakePoint { seconds } = asked.order {
            return self.take_point(seconds, asked).await;
        }
        let done = self.step(&asked.order);
        if done.is_ok() {
            self.tell_survey(Vec::new());
        }
        asked.answer(done);
    }

    fn step(&mut self, order: &Order) -> Result<()> {
        match order {
            Order::BeginSurvey { name, plan } => {
                let folder = self.folder()?.join(checked(name)?);
                let led = survey::begin(&folder, plan)?;
                led.check_receiver(&self.link)?;
                self.survey = Some(led);
            }
            Order::OpenSurvey { name } => {
                let led = survey::resume(&self.folder()?.join(checked(name)?))?;
                led.check_receiver(&self.link)?;
                self.survey = Some(led);
            }
            Order::LeaveSurvey => self.survey = None,
            Order::Press(pressed) => match &mut self.survey {
                Some(led) => led.press(*pressed)?,
                None => return Err(no_survey()),
            },
            Order::Record { .. } | Order::StopRecording | Order::TakePoint { .. } => {}
        }
        Ok(())
    }

    /// The survey as it stands, with what there is to say of its last point.
    fn tell_survey(&mut self, said: Vec<String>) {
        let Some(led) = &self.survey else {
            self.hub.show(String::new());
            let others = self.folder().map(surveys_in).unwrap_or_default();
            return self.hub.tell(Topic::Survey, &SurveyTold { open: None, others });
        };
        let mut told = led.told();
        told.said = said;
        if let Some(svg) = led.picture() {
            self.pictures += 1;
            told.picture = self.pictures;
            self.hub.show(svg);
        }
        self.hub.tell(Topic::Survey, &SurveyTold { open: Some(told), others: Vec::new() });
    }

    fn how(&self, seconds: f64) -> Result<Recording> {
        if self.survey.is_none() {
            return Err(no_survey());
        }
        if !self.told.is_up {
            return Err(Error::usage("the receiver is not there", "wait until it is back"));
        }
        if !POINT_S.contains(&seconds) {
            let what = format!("{seconds} s is no time to record a point for");
            return Err(Error::usage(what, "give 2 to 600 s"));
        }
        let calibration = self.using.calibration.clone().ok_or_else(|| {
            let what = "without a calibration a survey has no fields";
            Error::usage(what, "start the page with --calibration FILE")
        })?;
        let gain_step = self.using.gain_step;
        Ok(Recording { duration_s: seconds, gain_step, calibration, unit: None })
    }

    async fn take_point(&mut self, seconds: f64, asked: Asked) {
        let how = match self.how(seconds) {
            Ok(how) => how,
            Err(error) => return asked.answer(Err(error)),
        };
        self.feed.borrow_mut().interrupt();
        let name = "the point".to_owned();
        let recording = RecordingTold { name, elapsed_s: 0.0, of_s: Some(seconds) };
        self.told.recording = Some(recording);
        self.say("hold still: recording the point");
        asked.answer(Ok(()));
        let Self { link, feed, hub, told, orders, stop, survey, .. } = self;
        let Some(led) = survey else { return };
        let heard = Rc::clone(feed);
        let since = Instant::now();
        let lost_before = told.samples_lost;
        let mut notify = |notice| {
            if let Some(recording) = &mut told.recording {
                recording.elapsed_s = since.elapsed().as_secs_f64();
            }
            take_notice(notice, told, lost_before);
            hub.tell(Topic::Link, told);
        };
        let hearing = Hearing {
            how: &how,
            heard_by: Box::new(move |counts, missing| {
                heard.borrow_mut().take(counts, missing);
                0
            }),
            notify: &mut notify,
            stop: until_stopped(orders, stop),
        };
        let recorded = led.record(link, hearing).await;
        self.told.recording = None;
        let said = match recorded {
            Ok(None) => vec!["stopped; the point is still due".into()],
            Ok(Some(said)) => said,
            // Whatever it was, the point is still due and can be taken again.
            Err(error) => vec![error.what().to_owned()],
        };
        self.say(said.first().map_or("the point is recorded", String::as_str).to_owned());
        self.tell_survey(said);
    }
}

#[derive(Serialize)]
struct SurveyTold {
    #[serde(skip_serializing_if = "Option::is_none")]
    open: Option<survey::Told>,
    /// Surveys that could be opened.
    others: Vec<String>,
}

fn no_survey() -> Error {
    Error::usage("no survey is open", "begin one, or open one that was begun")
}

/// Names of the surveys in a folder.
fn surveys_in(folder: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    let mut surveys: Vec<String> = names
        .filter(|name| checked(name).is_ok() && surveying::is_in(&folder.join(name)))
        .collect();
    surveys.sort();
    surveys
}

/// Ready when the recording is to end. Other orders are refused meanwhile.
fn until_stopped<'a>(
    orders: &'a mut mpsc::Receiver<Asked>,
    stop: &'a mut watch::Receiver<bool>,
) -> Pin<Box<dyn Future<Output = ()> + 'a>> {
    Box::pin(async move {
        loop {
            tokio::select! {
                () = is_stopped(stop) => return,
                asked = orders.recv() => match asked {
                    None => return,
                    Some(asked) if matches!(asked.order, Order::StopRecording) => {
                        return asked.answer(Ok(()));
                    }
                    Some(asked) => {
                        let what = "a recording is under way";
                        asked.answer(Err(Error::usage(what, "stop it first")));
                    }
                },
            }
        }
    })
}

fn take_notice(notice: Notice, told: &mut LinkTold, lost_before: u64) {
    match notice {
        Notice::Progress(progress) => {
            told.samples_lost = lost_before + progress.samples_lost;
            told.overload = progress.overload;
        }
        Notice::Gap(gap) => told.said = format!("{} samples are missing", gap.missing),
        Notice::Stalled => told.said = "the receiver sends nothing; told it to start again".into(),
        Notice::Lost(why) => {
            told.is_up = false;
            told.said = format!("{why}; the recording waits for the receiver");
        }
        Notice::Back => {
            told.is_up = true;
            told.said = "the receiver is back, the recording goes on".into();
        }
        Notice::OtherTemperature { now_c, calibrated_c } => {
            told.temperature_c = Some(now_c as f32);
            told.said = recording::other_temperature(now_c, calibrated_c);
        }
    }
}

fn finite(value: f32) -> Option<f32> {
    value.is_finite().then_some(value)
}
