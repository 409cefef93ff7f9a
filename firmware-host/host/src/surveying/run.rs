//! A survey with its folder: each step is on the disk before it counts.

use std::future::Future;
use std::path::{Path, PathBuf};

use coilrig_analysis::signal::Measurement;
use coilrig_analysis::survey::{
    Distance, Event, Kind, NotTaken, PointState, Setup, Step, Survey, Surveyed, TakeError, Taken,
};

use super::kind::Guided;
use crate::calibration::Calibration;
use crate::capture::meta::Paths;
use crate::error::{Error, Result};
use crate::files;
use crate::journal::{Journal, Told, damaged, format_at};
use crate::link::Link;
use crate::measuring::{self, Keep};
use crate::recording::{self, Notice, Options, PulseCounter, Summary};

/// Name of the table of readings in a survey's folder.
pub const TABLE: &str = "readings.csv";
/// Name of the journal in a survey's folder.
const JOURNAL: &str = "survey.jsonl";

/// Whether `folder` holds a survey, of whatever kind.
pub fn is_in(folder: &Path) -> bool {
    folder.join(JOURNAL).is_file()
}

/// Format of the journal in `folder`, which says of what kind the survey is.
///
/// # Errors
///
/// It cannot be read, or its first line is damaged.
pub fn kind_in(folder: &Path) -> Result<String> {
    format_at(&folder.join(JOURNAL))
}

/// How points are recorded.
#[derive(Clone, Debug)]
pub struct Recording {
    /// How long each, s.
    pub duration_s: f64,
    /// Gain step of the receiver.
    pub gain_step: u8,
    /// Calibration of the receiver and the file it stands in.
    pub calibration: (PathBuf, Calibration),
    /// Name of the surveyed unit, for the captures.
    pub unit: Option<String>,
}

/// What came of recording a point.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The capture; there whatever came of it.
    pub capture: PathBuf,
    /// Number of the reading, now in hand; or why there is none.
    pub reading: std::result::Result<usize, NotTaken>,
    /// Other transmitters that were heard.
    pub others: Vec<Surveyed>,
    /// Things a person should know.
    pub warnings: Vec<String>,
}

/// What the measurement says of the transmitter that was taken.
pub(super) fn notes<K: Kind>(measurement: &Measurement, taken: &Taken<K>) -> Vec<String> {
    let of = measurement.transmitters.iter().find(|t| Surveyed::of(t) == taken.surveyed);
    of.map(|t| t.notes.clone()).unwrap_or_default()
}

/// `stop`, and whether it was ready.
async fn noted(stop: impl Future<Output = ()>, was_ready: &mut bool) {
    stop.await;
    *was_ready = true;
}

/// A survey in a folder.
pub struct SurveyRun<K: Kind = Distance> {
    folder: PathBuf,
    journal: Journal,
    survey: Survey<K>,
}

impl<K: Guided> SurveyRun<K> {
    /// Begin a survey in `folder`, which is made when it is not there.
    ///
    /// # Errors
    ///
    /// A senseless setup, a folder that holds a survey already, or that cannot be
    /// written.
    pub fn begin(folder: &Path, setup: Setup<K>) -> Result<Self> {
        let survey = Survey::new(setup)
            .map_err(|e| Error::usage(e.to_string(), "correct the options of the survey"))?;
        files::make_folder(folder)?;
        let journal = Journal::begin(&folder.join(JOURNAL), K::JOURNAL, survey.setup())?;
        let run = Self { folder: folder.to_owned(), journal, survey };
        run.write_table()?;
        Ok(run)
    }

    /// The survey that `folder` holds, as it was left; `None` when it holds none.
    ///
    /// # Errors
    ///
    /// A journal that is damaged, with the line.
    pub fn resume(folder: &Path) -> Result<Option<Self>> {
        let path = folder.join(JOURNAL);
        if !path.exists() {
            return Ok(None);
        }
        let (journal, told): (_, Told<Setup<K>, Event<K>>) = Journal::read(&path, K::JOURNAL)?;
        let mut survey = Survey::new(told.setup).map_err(|e| damaged(&path, 1, e.to_string()))?;
        for (line, event) in told.events {
            survey.apply(&event).map_err(|e| damaged(&path, line, e.to_string()))?;
        }
        let run = Self { folder: folder.to_owned(), journal, survey };
        // The program may have been killed between the journal and the table.
        run.write_table()?;
        Ok(Some(run))
    }

    /// The survey.
    pub fn survey(&self) -> &Survey<K> {
        &self.survey
    }

    /// The table of the readings that count.
    pub fn table_path(&self) -> PathBuf {
        self.folder.join(TABLE)
    }

    /// Let `event` happen: into the journal, then into the table.
    ///
    /// # Errors
    ///
    /// It cannot happen now, or the folder cannot be written; the survey is then
    /// as before.
    pub fn tell(&mut self, event: &Event<K>) -> Result<()> {
        let mut after = self.survey.clone();
        after.apply(event).map_err(|e| Error::usage(e.to_string(), "choose another step"))?;
        self.journal.append(event)?;
        self.survey = after;
        self.write_table()
    }

    /// Record the point of that number and measure it. The reading is then in
    /// hand; [`Event::Kept`] makes it count. `None` when `stop` came first: what
    /// was recorded up to then is left as a capture.
    ///
    /// # Errors
    ///
    /// Those of the recording and of the measurement, and a capture without
    /// calibration.
    pub async fn record_point(
        &mut self,
        number: usize,
        link: &mut Link,
        how: &Recording,
        notify: impl FnMut(Notice),
        stop: impl Future<Output = ()>,
    ) -> Result<Option<Attempt>> {
        let (name, options) = self.options(number, how)?;
        let mut was_stopped = false;
        let stop = noted(stop, &mut was_stopped);
        let recorded = recording::record(options, link, notify, stop).await;
        self.recorded(number, &name, recorded, was_stopped)
    }

    /// The same from a stream that runs already and goes on, while somebody else hears the
    /// samples as well.
    ///
    /// # Errors
    ///
    /// As [`Self::record_point`].
    pub async fn record_point_running(
        &mut self,
        number: usize,
        link: &mut Link,
        how: &Recording,
        heard_by: PulseCounter,
        notify: impl FnMut(Notice),
        stop: impl Future<Output = ()>,
    ) -> Result<Option<Attempt>> {
        let (name, mut options) = self.options(number, how)?;
        options.pulse_counter = Some(heard_by);
        let mut was_stopped = false;
        let stop = noted(stop, &mut was_stopped);
        let recorded = recording::record_running(options, link, notify, stop).await;
        self.recorded(number, &name, recorded, was_stopped)
    }

    /// Name and options of the next capture of a point.
    fn options(&self, number: usize, how: &Recording) -> Result<(String, Options)> {
        let Some((point, PointState::Due)) = self.survey.point(number) else {
            return Err(Error::usage(format!("point {number} is not due"), "choose one that is"));
        };
        let name = self.free_name(number, point);
        let options = Options {
            name: self.folder.join(&name),
            duration_s: Some(how.duration_s),
            gain_step: how.gain_step,
            calibration: Some(how.calibration.clone()),
            unit: how.unit.clone(),
            note: Some(format!("survey, point {number}: {point}")),
            ..Options::default()
        };
        Ok((name, options))
    }

    /// What came of recording the capture of that name.
    fn recorded(
        &mut self,
        number: usize,
        name: &str,
        recorded: Result<Summary>,
        was_stopped: bool,
    ) -> Result<Option<Attempt>> {
        if was_stopped {
            return Ok(None);
        }
        recorded?;
        self.take(number, name).map(Some)
    }

    /// Take every point that is due without asking anybody: `place` puts the
    /// receiver there; the reading is kept, or the point left when the unit is not
    /// heard. What came of each point is given in their order.
    ///
    /// # Errors
    ///
    /// The first error of `place` or of a point.
    pub async fn record_all(
        &mut self,
        link: &mut Link,
        how: &Recording,
        mut place: impl FnMut(usize, K::Point) -> Result<()>,
        mut notify: impl FnMut(Notice),
    ) -> Result<Vec<(usize, Attempt)>> {
        let mut attempts = Vec::new();
        loop {
            match self.survey.next() {
                Step::Finished => return Ok(attempts),
                Step::Decide(reading) => self.tell(&Event::Kept { reading })?,
                Step::Place { number, point } => {
                    place(number, point)?;
                    let never = std::future::pending();
                    let attempt = self.record_point(number, link, how, &mut notify, never).await?;
                    if let Some(attempt) = attempt {
                        if attempt.reading.is_err() {
                            self.tell(&Event::Skipped { point: number })?;
                        }
                        attempts.push((number, attempt));
                    }
                }
            }
        }
    }

    fn take(&mut self, number: usize, name: &str) -> Result<Attempt> {
        let measured = measuring::measure(&self.folder.join(name), Keep::default())?;
        let mut warnings = measured.warnings;
        let mut others: Vec<Surveyed> =
            measured.measurement.transmitters.iter().map(Surveyed::of).collect();
        let taken = match measured.overdriven {
            true => Err(TakeError::NotTaken(NotTaken::Overdriven)),
            false => self.survey.take(number, &measured.measurement, name),
        };
        let reading = match taken {
            Ok(event) => {
                if let Event::Taken(taken) = &event {
                    warnings.extend(notes(&measured.measurement, taken));
                    others.retain(|other| *other != taken.surveyed);
                }
                self.tell(&event)?;
                Ok(self.survey.readings().count())
            }
            Err(TakeError::NotTaken(why @ NotTaken::NotCalibrated)) => {
                return Err(super::listed::not_calibrated(&measured.path, &why));
            }
            Err(TakeError::NotTaken(why)) => Err(why),
            Err(TakeError::Refused(why)) => {
                return Err(Error::usage(why.to_string(), "choose another point"));
            }
        };
        Ok(Attempt { capture: measured.capture.paths.meta, reading, others, warnings })
    }

    /// A name for the next capture of a point that no capture has, even of a
    /// recording that was killed.
    fn free_name(&self, number: usize, point: K::Point) -> String {
        let first = format!("point-{number:02}-{}", K::in_file_name(&point));
        let is_free = |name: &String| {
            let paths = Paths::of(&self.folder.join(name));
            !paths.meta.exists() && !paths.data.exists()
        };
        let later = (2..).map(|attempt| format!("{first}-{attempt}"));
        std::iter::once(first.clone()).chain(later).find(is_free).unwrap_or(first)
    }

    fn write_table(&self) -> Result<()> {
        K::write_table(&self.survey, &self.table_path())
    }
}
