//! What all guided surveys share: how the receiver is used, going on with a survey
//! that was broken off, telling of it in the end.

use std::fmt::Display;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::survey::{Kind, Plan, Setup, Standing, Step, Survey};

use crate::capture::reader::Capture;
use crate::commands::into_records::{WhichRecords, no_unit};
use crate::commands::{Outcome, load_calibration};
use crate::error::{Error, Result};
use crate::link::Link;
use crate::output::survey::{self as output, Results};
use crate::records::book::{Book, Named};
use crate::surveying::{self, Answers, Guided, Listed, Recording, SurveyRun, TABLE};
use crate::{files, runtime};

/// How readings are taken with a receiver.
#[derive(Args)]
pub(super) struct Receiving {
    /// Port of the receiver; `coilrig ports` lists them
    #[arg(long, value_name = "PATH", requires = "calibration")]
    pub port: Option<PathBuf>,
    /// Calibration file of the receiver
    #[arg(long, value_name = "FILE", requires = "port")]
    pub calibration: Option<PathBuf>,
    /// How long to record at each point, s
    #[arg(long, value_name = "S", default_value_t = 20.0, value_parser = above_zero)]
    pub seconds: f64,
    /// Gain step of the receiver
    #[arg(long, value_name = "STEP", default_value_t = 0)]
    pub gain: u8,
    /// Name of the surveyed unit, for the captures; where there are records, they are
    /// entered as of it
    #[arg(long, value_name = "TEXT")]
    pub unit: Option<String>,
    #[command(flatten)]
    pub records: WhichRecords,
    /// Survey the unit with the carrier nearest to this, Hz; else the strongest
    #[arg(long, value_name = "HZ", value_parser = above_zero)]
    pub carrier: Option<f64>,
}

/// A survey to be led.
pub(super) struct Guidance<'a> {
    /// Its folder.
    pub out: &'a Path,
    /// How to take its readings.
    pub receiving: &'a Receiving,
    /// What to give where there is nothing to survey with.
    pub needs: &'static str,
}

/// Lead a person through the survey in the folder, or begin it with `setup`. What is
/// stated for one that has begun must pass `agrees`. Without a receiver, the survey
/// as it stands.
pub(super) fn guided<K: Results>(
    guidance: Guidance,
    agrees: impl FnOnce(&Setup<K>) -> Result<()>,
    setup: impl FnOnce() -> Result<Setup<K>>,
) -> Result<SurveyRun<K>> {
    let Guidance { out, receiving, needs } = guidance;
    if is_table(out) {
        return Err(Error::usage(
            format!("a guided survey needs a folder, not {}", out.display()),
            "give --out without .csv; the table will be readings.csv in it",
        ));
    }
    let begun = SurveyRun::resume(out)?;
    if let Some(run) = &begun {
        let begun: &Setup<K> = run.survey().setup();
        agrees(begun)?;
        check_carrier(out, receiving.carrier, begun.carrier_hz)?;
        say_what_is_there(out, run.survey());
    }
    let run = match (begun, receiving.recording()?) {
        (Some(run), None) => run,
        (None, None) => return Err(Error::usage("there is nothing to survey with", needs)),
        (begun, Some((port, how))) => runtime::run(async {
            let stop = runtime::stop_signal()?;
            // A receiver that is not there is better known before a folder is.
            let link = Link::open(port).await?;
            K::check_receiver(&link)?;
            drop(link);
            let mut run = match begun {
                Some(run) => run,
                None => SurveyRun::begin(out, setup()?)?,
            };
            let answers = Answers::of(BufReader::new(std::io::stdin()))?;
            surveying::guide(&mut run, port, &how, answers, stop).await?;
            Ok(run)
        })?,
    };
    if run.survey().next() != Step::Finished {
        eprintln!("points are still due; the same command goes on with them");
    }
    Ok(run)
}

/// A survey made from captures, and what is wrong with some of them.
pub(super) struct FromCaptures<K: Kind> {
    pub survey: Survey<K>,
    /// Its table.
    pub table: PathBuf,
    last: Option<Error>,
}

/// Measure captures and write the table of their readings: `out`, or readings.csv in
/// it. Captures that hold no reading are named on standard error.
pub(super) fn from_captures<K: Guided>(
    out: &Path,
    listed: &[Listed<K::Point>],
    kind: K,
    carrier_hz: Option<f64>,
) -> Result<FromCaptures<K>> {
    if SurveyRun::<K>::resume(out)?.is_some() {
        return Err(Error::usage(
            format!("{} holds a guided survey, which is never overwritten", out.display()),
            "give another --out for the captures",
        ));
    }
    let warn = |warning: &str| eprintln!("coilrig: {warning}");
    let (survey, mut errors) = surveying::survey_of(listed, kind, carrier_hz, warn)?;
    let last = errors.pop();
    errors.iter().for_each(|e| eprintln!("coilrig: {e}"));
    if let Some(error) = last.as_ref().filter(|_| survey.kept().next().is_none()) {
        return Err(error.clone());
    }
    let table = if is_table(out) {
        files::must_be_new(out)?;
        out.to_owned()
    } else {
        files::make_folder(out)?;
        out.join(TABLE)
    };
    K::write_table(&survey, &table)?;
    Ok(FromCaptures { survey, table, last })
}

impl<K: Kind> FromCaptures<K> {
    /// Done, or the last error of a capture.
    pub fn outcome(self) -> Result<Outcome> {
        self.last.map_or(Ok(Outcome::Done), Err)
    }
}

impl Receiving {
    /// The records that the survey is to be entered into, ready before anybody walks.
    pub fn open_records(&self) -> Result<Option<Book>> {
        if self.records.is_asked_for() && self.unit.is_none() {
            return Err(no_unit("this"));
        }
        let book = self.records.open_for(self.unit.as_deref())?;
        if let (Some(book), Some(unit)) = (&book, &self.unit) {
            book.check(Named::by_name(unit))?;
        }
        Ok(book)
    }

    /// Enter the captures, relative to a folder, of a survey that is finished; `command`
    /// is what analyses its table.
    pub fn enter_captures<K: Results>(
        &self,
        book: Option<Book>,
        survey: &Survey<K>,
        (folder, table): (&Path, &Path),
        command: &str,
    ) -> Result<()> {
        let (Some(mut book), Some(unit), Step::Finished) = (book, &self.unit, survey.next()) else {
            return Ok(());
        };
        book.captured(Named::by_name(unit), &captures_of(survey, folder)?)?;
        eprintln!(
            "coilrig: what follows from them is entered by: coilrig {command} {} --unit \"{unit}\"",
            table.display()
        );
        Ok(())
    }

    /// Port and way of recording, where both are stated.
    fn recording(&self) -> Result<Option<(&Path, Recording)>> {
        let (Some(port), Some(path)) = (&self.port, &self.calibration) else { return Ok(None) };
        let how = Recording {
            duration_s: self.seconds,
            gain_step: self.gain,
            calibration: (path.clone(), load_calibration(path)?),
            unit: self.unit.clone(),
        };
        Ok(Some((port, how)))
    }
}

/// The captures of the readings that count.
pub(super) fn captures_of<K: Results>(survey: &Survey<K>, folder: &Path) -> Result<Vec<Capture>> {
    let kept = survey.readings().filter(|(_, _, standing)| *standing == Standing::Kept);
    kept.map(|(_, taken, _)| Capture::open(&folder.join(&taken.capture))).collect()
}

/// What is stated of an option, if anything, must be what the survey began with.
pub(super) fn check_stated<T: PartialEq>(
    out: &Path,
    option: &str,
    stated: Option<&T>,
    begun: &T,
    had: impl Display,
) -> Result<()> {
    if stated.is_none_or(|stated| stated == begun) {
        return Ok(());
    }
    Err(Error::usage(
        format!("{option} is not that of the survey in {}, which has {had}", out.display()),
        format!("leave {option} out to go on with it, or give another --out"),
    ))
}

fn check_carrier(out: &Path, stated: Option<f64>, begun: Option<f64>) -> Result<()> {
    let had = begun.map_or("the strongest unit".into(), |hz| format!("{hz}"));
    check_stated(out, "--carrier", stated.map(Some).as_ref(), &begun, had)
}

/// The points of a plan in words.
pub(super) fn listed<K: Kind>(plan: &Plan<K>) -> String {
    plan.points().iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// Whether a path names a table, not a folder.
fn is_table(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"))
}

fn say_what_is_there<K: Kind>(folder: &Path, survey: &Survey<K>) {
    let count = survey.points().count();
    eprintln!(
        "{}: a survey of {count} points, {} of them with a reading",
        folder.display(),
        survey.kept().count()
    );
    if let Step::Decide(number) = survey.next() {
        eprintln!("reading {number} was taken and not yet decided on");
    }
}

/// The summary on standard output, the path of the table last.
pub(super) fn tell<K: Results>(survey: &Survey<K>, table: &Path, json: bool) -> Result<()> {
    print(&match json {
        true => output::json(survey, table)?,
        false => format!("{}readings: {}\n", output::table(survey), table.display()),
    })
}

/// Results on standard output.
pub(super) fn print(text: &str) -> Result<()> {
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))
}

/// An option over zero.
pub(super) fn above_zero(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number above zero, as 20".into()),
    }
}

/// An option that is 0 or more.
pub(super) fn zero_or_more(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number, 0 or more, as 0.02".into()),
    }
}
