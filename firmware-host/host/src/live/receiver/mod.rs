//! The receiver behind the page: streams while nobody records, records when told to.
//!
//! A recording is that of `coilrig record`, in every respect; the page hears its samples
//! on their way.

mod due;
mod surveys;
mod told;

use std::cell::RefCell;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::rc::Rc;
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, MissedTickBehavior, interval};

use crate::calibration::Calibration;
use crate::capture::meta::Paths;
use crate::error::{Error, Result};
use crate::link::{Event, Link, Samples};
use crate::live::feed::Feed;
use crate::live::hub::{Hub, Topic};
use crate::live::orders::{Asked, Order, checked};
use crate::live::survey::Led;
use crate::recording::{self, Notice, Options};
use due::Due;
use told::{LinkTold, RecordingTold, finite};

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
    Record {
        name: String,
        unit: Option<String>,
        asked: Asked,
    },
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
        tokio::select! {
            biased;
            () = is_stopped(&mut self.stop) => return Ok(()),
            started = start(&mut self.link, self.using.gain_step) => started?,
        }
        self.told.is_up = true;
        loop {
            match self.stream().await? {
                Next::Stop => break,
                Next::Record { name, unit, asked } => self.record(name, unit, asked).await,
                Next::Survey(asked) => self.survey(asked).await,
            }
        }
        self.link.stop().await;
        Ok(())
    }

    fn tell(&self) {
        self.hub.tell(Topic::Link, &self.told);
    }

    fn say(&mut self, what: impl Into<String>) {
        self.told.said = what.into();
        self.tell();
    }

    /// Listen until something else is to be done; the stream runs on meanwhile.
    async fn stream(&mut self) -> Result<Next> {
        self.tell();
        let mut ticks = interval(EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Skip);
        // What was lost before the next samples was told to whoever took those before.
        let mut due = Due::default();
        loop {
            tokio::select! {
                biased;
                () = is_stopped(&mut self.stop) => return Ok(Next::Stop),
                asked = self.orders.recv() => match asked {
                    None => return Ok(Next::Stop),
                    Some(asked) => if let Some(next) = self.obey(asked) { return Ok(next) },
                },
                _ = ticks.tick() => {
                    self.told.samples_lost = self.link.health().samples_lost;
                    self.tell();
                    self.told.overload = false;
                }
                event = self.link.next() => self.heard(event?, &mut due),
            }
        }
    }

    fn heard(&mut self, event: Event, due: &mut Due) {
        match event {
            Event::Samples(samples) => self.take(&samples, due),
            Event::Status(status) => self.told.temperature_c = finite(status.temperature_c),
            Event::Gap(gap) => {
                due.gap(gap.from_index);
                self.say(format!("{} samples are missing", gap.missing));
            }
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

    fn take(&mut self, samples: &Samples, due: &mut Due) {
        // Of another gain, as of a receiver that was just switched on: not on one scale.
        if samples.gain_step != self.using.gain_step {
            return;
        }
        let mut feed = self.feed.borrow_mut();
        if samples.overload {
            self.told.overload = true;
            feed.clipped();
        }
        let length = samples.samples.len() / usize::from(self.link.receiver().axes);
        feed.take(&samples.samples, due.take(samples.first_index, length as u64));
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
        self.told.recording =
            Some(RecordingTold { name: name.clone(), elapsed_s: 0.0, of_s: None });
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
        let until = until_stopped(orders, stop);
        let notify = telling(told, feed, hub);
        let recorded = recording::record_running(options, link, notify, until).await;
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
            // any more says so again.
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

/// Tells the page what a recording that begins now says of the link.
fn telling<'a>(
    told: &'a mut LinkTold,
    feed: &'a RefCell<Feed>,
    hub: &'a Hub,
) -> impl FnMut(Notice) + 'a {
    let since = Instant::now();
    let lost_before = told.samples_lost;
    move |notice| {
        if let Some(recording) = &mut told.recording {
            recording.elapsed_s = since.elapsed().as_secs_f64();
        }
        told.take(notice, lost_before);
        if told.overload {
            feed.borrow().clipped();
        }
        hub.tell(Topic::Link, told);
    }
}

/// Ready when everything is to end.
async fn is_stopped(stop: &mut watch::Receiver<bool>) {
    // Whoever could say so is gone: that is as good.
    let _ = stop.wait_for(|stop| *stop).await;
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
