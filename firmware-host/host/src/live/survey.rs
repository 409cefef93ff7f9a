//! A survey of any kind as the page leads it: the engine, journal and folder of
//! `coilrig survey`, so that one begun here goes on there and the other way round.

use std::future::Future;
use std::path::Path;
use std::pin::Pin;

use coilrig_analysis::survey::{Angle, Distance, Event, Grid, PointState, Step};
use serde::Serialize;

use super::picture::Pictured;
use super::plan::Begun;
use crate::error::{Error, Result};
use crate::link::Link;
use crate::output::survey::Results;
use crate::recording::{Notice, PulseCounter};
use crate::surveying::{self, Guided, Recording, SurveyRun, judgement};

/// What the page shows of a survey.
#[derive(Clone, Debug, Serialize)]
pub struct Told {
    /// Name of its folder.
    pub name: String,
    kind: &'static str,
    points: Vec<PointTold>,
    step: StepTold,
    /// What follows from the readings, in lines.
    results: String,
    /// What there was to say of the last point.
    pub said: Vec<String>,
    /// Counts up with each new picture; 0 while there is none.
    pub picture: u64,
}

#[derive(Clone, Debug, Serialize)]
struct PointTold {
    number: usize,
    place: String,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<coilrig_analysis::reading::Reading>,
    #[serde(skip_serializing_if = "String::is_empty")]
    beside: String,
}

#[derive(Clone, Debug, Serialize)]
#[serde(tag = "is", rename_all = "snake_case")]
enum StepTold {
    /// Stand there.
    Place { number: usize, place: String, how: Vec<String> },
    /// Keep it or not.
    Decide { reading: usize, point: usize, judgement: Vec<String> },
    /// Nothing is due.
    Finished,
}

/// A step that somebody asked for by a button.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(tag = "step", rename_all = "snake_case", deny_unknown_fields)]
pub enum Pressed {
    /// The reading in hand counts.
    Keep,
    /// Its point is to be taken again.
    Repeat,
    /// It does not count, and its point is left.
    Drop,
    /// The point that is due is left.
    Skip,
    /// A point is to be taken, again or after all.
    Again {
        /// Its number.
        point: usize,
    },
}

/// How a point is heard and shown while it is recorded.
pub struct Hearing<'a> {
    /// How it is recorded.
    pub how: &'a Recording,
    /// Hears the samples.
    pub heard_by: PulseCounter,
    /// Told how it goes.
    pub notify: &'a mut dyn FnMut(Notice),
    /// Ready when it is to stop.
    pub stop: Pin<Box<dyn Future<Output = ()> + 'a>>,
}

/// A survey of some kind.
pub trait Led {
    /// What the page shows.
    fn told(&self) -> Told;
    /// The picture of the readings, as SVG; none while they are too few.
    fn picture(&self) -> Option<String>;
    /// Do what was asked for.
    ///
    /// # Errors
    ///
    /// It makes no sense now, or the folder cannot be written.
    fn press(&mut self, pressed: Pressed) -> Result<()>;
    /// Whether a receiver can take its readings.
    ///
    /// # Errors
    ///
    /// It cannot.
    fn check_receiver(&self, link: &Link) -> Result<()>;
    /// Record the point that is due; what there is to say of it, and nothing when it was
    /// stopped.
    fn record<'a>(&'a mut self, link: &'a mut Link, hearing: Hearing<'a>) -> Recorded<'a>;
}

/// What comes of recording a point.
pub type Recorded<'a> = Pin<Box<dyn Future<Output = Result<Option<Vec<String>>>> + 'a>>;

/// The survey in `folder`, whatever its kind.
///
/// # Errors
///
/// There is none, or its journal is damaged.
pub fn resume(folder: &Path) -> Result<Box<dyn Led>> {
    let none = || Error::usage(format!("{} holds no survey", folder.display()), "begin one there");
    if !surveying::is_in(folder) {
        return Err(none());
    }
    let resumed = match surveying::kind_in(folder)?.as_str() {
        <Angle as Guided>::JOURNAL => led::<Angle>(folder),
        <Grid as Guided>::JOURNAL => led::<Grid>(folder),
        // What is no journal of a survey is refused there.
        _ => led::<Distance>(folder),
    };
    resumed?.ok_or_else(none)
}

fn led<K: Results + Pictured + 'static>(folder: &Path) -> Result<Option<Box<dyn Led>>> {
    let run = SurveyRun::<K>::resume(folder)?;
    Ok(run.map(|run| Box::new(Page { name: name_of(folder), run }) as Box<dyn Led>))
}

/// Begin a survey in `folder`.
///
/// # Errors
///
/// A plan that makes no sense, or a folder that holds a survey already.
pub fn begin(folder: &Path, plan: &Begun) -> Result<Box<dyn Led>> {
    let name = name_of(folder);
    Ok(match plan {
        Begun::Distance(plan) => {
            Box::new(Page { name, run: SurveyRun::begin(folder, plan.setup()?)? })
        }
        Begun::Angle(plan) => {
            Box::new(Page { name, run: SurveyRun::begin(folder, plan.setup()?)? })
        }
        Begun::Grid(plan) => Box::new(Page { name, run: SurveyRun::begin(folder, plan.setup()?)? }),
    })
}

fn name_of(folder: &Path) -> String {
    folder.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned())
}

struct Page<K: Guided> {
    name: String,
    run: SurveyRun<K>,
}

impl<K: Results + Pictured> Page<K> {
    fn points(&self) -> Vec<PointTold> {
        let survey = self.run.survey();
        let told = |(number, point, state): (usize, K::Point, PointState)| {
            let reading = match state {
                PointState::Done(reading) => Some(reading),
                PointState::Due | PointState::Left => None,
            };
            PointTold {
                number,
                place: point.to_string(),
                state: match state {
                    PointState::Due => "due",
                    PointState::Done(_) => "done",
                    PointState::Left => "left",
                },
                field: reading.and_then(|r| survey.reading(r)).map(|taken| taken.field()),
                beside: reading.map_or(String::new(), |r| K::beside(survey, r)),
            }
        };
        survey.points().map(told).collect()
    }

    fn step(&self) -> StepTold {
        let survey = self.run.survey();
        match survey.next() {
            Step::Place { number, point } => StepTold::Place {
                number,
                place: point.to_string(),
                how: survey.setup().kind.how_to_get_there(&point),
            },
            Step::Decide(reading) => StepTold::Decide {
                reading,
                point: survey.reading(reading).map_or(0, |taken| taken.point),
                judgement: judgement(survey, reading),
            },
            Step::Finished => StepTold::Finished,
        }
    }
}

impl<K: Results + Pictured> Led for Page<K> {
    fn told(&self) -> Told {
        Told {
            name: self.name.clone(),
            kind: K::NAME,
            points: self.points(),
            step: self.step(),
            results: K::lines(self.run.survey()),
            said: Vec::new(),
            picture: 0,
        }
    }

    fn picture(&self) -> Option<String> {
        K::picture(self.run.survey())
    }

    fn press(&mut self, pressed: Pressed) -> Result<()> {
        let nothing = |what: &str| Err(Error::usage(what, "see what the survey waits for"));
        let survey = self.run.survey();
        let event = match (pressed, survey.next()) {
            (Pressed::Keep, Step::Decide(reading)) => Event::Kept { reading },
            (Pressed::Repeat, Step::Decide(reading)) => Event::Repeated { reading },
            (Pressed::Drop, Step::Decide(reading)) => Event::Dropped { reading },
            (Pressed::Keep | Pressed::Repeat | Pressed::Drop, _) => {
                return nothing("no reading waits for a decision");
            }
            (Pressed::Skip, Step::Place { number, .. }) => Event::Skipped { point: number },
            (Pressed::Skip, _) => return nothing("no point is due"),
            (Pressed::Again { .. }, Step::Decide(_)) => {
                return nothing("decide on the reading in hand first");
            }
            (Pressed::Again { point }, _) => match survey.point(point) {
                Some((_, PointState::Done(reading))) => Event::Repeated { reading },
                Some((_, PointState::Left)) => Event::Reopened { point },
                Some((_, PointState::Due)) => return nothing("that point is still to come"),
                None => return nothing("there is no such point"),
            },
        };
        self.run.tell(&event)
    }

    fn check_receiver(&self, link: &Link) -> Result<()> {
        K::check_receiver(link)
    }

    fn record<'a>(&'a mut self, link: &'a mut Link, hearing: Hearing<'a>) -> Recorded<'a> {
        Box::pin(async move {
            let Step::Place { number, .. } = self.run.survey().next() else {
                return Err(Error::usage("no point is due", "decide on the reading in hand"));
            };
            let Hearing { how, heard_by, notify, stop } = hearing;
            let attempt =
                self.run.record_point_running(number, link, how, heard_by, notify, stop).await?;
            Ok(attempt.map(|attempt| {
                let mut said = attempt.warnings;
                if let Err(why) = &attempt.reading {
                    said.push(format!(
                        "no reading: {why}; check that the unit is on and sends, then record again"
                    ));
                } else if !attempt.others.is_empty() {
                    let others: Vec<String> =
                        attempt.others.iter().map(ToString::to_string).collect();
                    said.push(format!("also heard: {}", others.join(", ")));
                }
                said
            }))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_damaged_journal_is_explained_by_its_own_kind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("survey.jsonl");
        let refused = || resume(folder.path()).err().unwrap().to_string();
        assert!(refused().contains("holds no survey"));
        for format in [Distance::JOURNAL, Angle::JOURNAL, Grid::JOURNAL] {
            let head = format!("{{\"format\":\"{format}\",\"at\":\"2026-01-10T10:00:00Z\"}}\n");
            std::fs::write(&path, head).unwrap();
            let said = refused();
            assert!(said.contains("missing field") && !said.contains("format is"), "{said}");
        }
        std::fs::write(&path, "{\"format\":\"other/1\"}\n").unwrap();
        assert!(refused().contains("format is \"other/1\""));
        std::fs::write(&path, "").unwrap();
        assert!(refused().contains("is empty"));
    }
}
