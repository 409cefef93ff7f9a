//! Surveys from the page: steps, and points recorded.

use std::path::Path;
use std::rc::Rc;

use serde::Serialize;

use super::told::RecordingTold;
use super::{Receiver, telling, until_stopped};
use crate::error::{Error, Result};
use crate::live::hub::Topic;
use crate::live::orders::{Asked, Order, checked};
use crate::live::survey::{self, Hearing};
use crate::surveying::{self, Recording};

/// Seconds that a point of a survey may be recorded.
const POINT_S: std::ops::RangeInclusive<f64> = 2.0..=600.0;

impl Receiver {
    /// Do a step that somebody asked for.
    pub(super) async fn survey(&mut self, asked: Asked) {
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
    pub(super) fn tell_survey(&mut self, said: Vec<String>) {
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
        let name = "the point".to_owned();
        let recording = RecordingTold { name, elapsed_s: 0.0, of_s: Some(seconds) };
        self.told.recording = Some(recording);
        self.say("hold still: recording the point");
        asked.answer(Ok(()));
        let Self { link, feed, hub, told, orders, stop, survey, .. } = self;
        let Some(led) = survey else { return };
        let heard = Rc::clone(feed);
        let recorded = led
            .record(
                link,
                Hearing {
                    how: &how,
                    heard_by: Box::new(move |counts, missing| {
                        heard.borrow_mut().take(counts, missing);
                        0
                    }),
                    notify: &mut telling(told, feed, hub),
                    stop: until_stopped(orders, stop),
                },
            )
            .await;
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
