//! What all parts of a calibration are told.

use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::calibration::scale::AXES;
use coilrig_analysis::calibration::signal::ReferenceSignal;
use coilrig_analysis::units;

use crate::calibrating::{self, About, How, Listened, Origin, Session, Setup, Task, Update};
use crate::calibration::Record;
use crate::commands::into_records;
use crate::dialogue::Answers;
use crate::error::{Error, Result};
use crate::link::Link;
use crate::output::calibration as output;
use crate::records::book::Book;
use crate::runtime;

/// How a part is recorded when the command line does not say.
pub struct Plan<'a> {
    /// Name of the part, for files.
    pub part: &'a str,
    /// The reference that all captures are of, in words and numbers; empty where any
    /// will do.
    pub reference: String,
    /// Coils that the receiver must have, counted from x.
    pub coils: usize,
    /// Whether the result is the same at each gain step, so that none need be known.
    pub is_of_any_gain: bool,
    /// Captures.
    pub count: usize,
    /// Length of each.
    pub seconds: f64,
    /// What the person is told.
    pub task: &'a dyn Task,
}

impl Plan<'_> {
    /// Refuse a receiver of too few coils.
    pub fn check_coils(&self, has: usize) -> Result<()> {
        match self.coils <= has {
            true => Ok(()),
            false => Err(Error::usage(
                format!("{}: the receiver has one coil, x", self.part),
                "calibrate it by loop or pair with --axis x",
            )),
        }
    }
}

/// Captures, and the series that they were recorded in.
pub struct Gathered {
    /// The captures that count.
    pub captures: Vec<PathBuf>,
    session: Option<Session>,
}

/// Captures with their reference signals, and the file that the result goes into.
pub struct Heard {
    /// The captures.
    pub gathered: Gathered,
    /// Their signals.
    pub listened: Vec<Listened>,
    /// The file.
    pub update: Update,
}

/// What the signal of a capture is, in a line.
pub fn heard(capture: &Path) -> Result<String> {
    let listened = calibrating::listen(&[capture.to_owned()], &mut Origin::default())?;
    let [one] = listened.as_slice() else { return Ok(String::new()) };
    let names = if one.channels == 1 { &[""][..] } else { &AXES };
    let counts = one.signal.counts;
    // The sign of all three is free: the largest is shown above zero.
    let largest = counts.into_iter().reduce(|a, b| if b.abs() > a.abs() { b } else { a });
    let sign = largest.map_or(1.0, f64::signum);
    let each: Vec<String> = names
        .iter()
        .zip(counts)
        .map(|(name, counts)| format!("{name} {}", units::significant(sign * counts, 4)))
        .collect();
    let energy_db = one.signal.energy_db;
    Ok(format!("{} counts, {energy_db:.0} dB over the noise", each.join(", ").trim_start()))
}

/// The signals of captures that were listened to before.
pub fn signals(captures: &[PathBuf]) -> Vec<ReferenceSignal> {
    let listened = calibrating::listen(captures, &mut Origin::default()).unwrap_or_default();
    listened.into_iter().map(|l| l.signal).collect()
}

/// Options of every part.
#[derive(Args)]
pub struct Common {
    /// Calibration file: made when it is not there, added to when it is
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Captures recorded before, one for each repeat or turn
    #[arg(long, value_name = "CAPTURE", num_args = 1.., conflicts_with = "port")]
    #[arg(required_unless_present = "port")]
    pub capture: Vec<PathBuf>,
    /// Port of the receiver, to record one capture after the other, step by step;
    /// `coilrig ports` lists them
    #[arg(long, value_name = "PATH")]
    pub port: Option<PathBuf>,
    /// Captures to record with --port [default: 5 for loop and pair, 24 for
    /// rotation, 3 for clock, 1 for noise]
    #[arg(long, value_name = "N", requires = "port")]
    #[arg(value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub count: Option<u16>,
    /// How long to record each with --port, s [default: 10 for loop and pair, 5
    /// for rotation, 60 for clock and noise]
    #[arg(long, value_name = "S", requires = "port", value_parser = above_zero)]
    pub seconds: Option<f64>,
    /// Folder for the captures and the journal of --port; a series that was broken
    /// off goes on there [default: beside --out, by its name and the part's]
    #[arg(long, value_name = "FOLDER", requires = "port")]
    pub folder: Option<PathBuf>,
    /// Serial number of the receiver, for captures that do not state it
    #[arg(long, value_name = "SERIAL", conflicts_with = "port")]
    pub receiver: Option<String>,
    /// Gain step of the receiver [default: as the captures state, 0 with --port]
    #[arg(long, value_name = "STEP")]
    pub gain: Option<u8>,
    /// Who calibrates
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Enter the file, once the part is in it, into these records too; made where there
    /// are none
    #[arg(long, value_name = "FILE")]
    pub records: Option<PathBuf>,
    /// Temperature of the receiver, °C
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    #[arg(value_parser = super::super::record::celsius)]
    pub temperature: Option<f64>,
    /// For how many days this part counts
    #[arg(long, value_name = "DAYS", default_value_t = crate::calibration::age::VALID_FOR_DAYS)]
    #[arg(value_parser = clap::value_parser!(u32).range(1..=36_500))]
    pub valid_for: u32,
    /// Print one JSON document in place of the table
    #[arg(long)]
    pub json: bool,
}

impl Common {
    /// The captures to calibrate from: those given, or recorded now. `None` when
    /// the person stopped before all were there.
    pub fn gather(&self, plan: &Plan<'_>) -> Result<Option<Gathered>> {
        // What cannot be entered in the end is better known before anybody records.
        self.open_records()?;
        let Some(port) = &self.port else {
            return Ok(Some(Gathered { captures: self.capture.clone(), session: None }));
        };
        let how = How { port, duration_s: self.seconds.unwrap_or(plan.seconds) };
        let mut session = None;
        let is_whole = runtime::run(async {
            let stop = runtime::stop_signal()?;
            // What cannot come to anything is better known before anybody records.
            let link = Link::open(port).await?;
            let (receiver, gain_step) = (link.receiver(), self.gain.unwrap_or(0));
            receiver.check_gain_step(gain_step)?;
            plan.check_coils(receiver.axes.into())?;
            let serial = receiver.serial_number.clone();
            Update::open(
                &self.out,
                &Origin {
                    receiver: Some(serial.clone()),
                    gain_step: Some(gain_step),
                    channels: Some(receiver.axes.into()),
                },
            )?;
            drop(link);
            let begun = session.insert(Session::open(
                &self.folder_for(plan.part),
                Setup {
                    part: plan.part.into(),
                    receiver: serial,
                    gain_step,
                    reference: plan.reference.clone(),
                    count: self.count.map_or(plan.count, usize::from),
                },
            )?);
            eprintln!("captures and journal: {}", begun.folder().display());
            let answers = Answers::of(BufReader::new(std::io::stdin()))?;
            calibrating::guide(begun, how, plan.task, answers, stop).await
        })?;
        if !is_whole {
            eprintln!("not finished yet; the same command goes on from here");
            return Ok(None);
        }
        let captures = session.as_ref().map(Session::kept).unwrap_or_default();
        Ok(Some(Gathered { captures, session }))
    }

    /// The reference signals of the captures to calibrate from. `None` when the person
    /// stopped before all were there.
    pub fn listen(&self, plan: &Plan<'_>) -> Result<Option<Heard>> {
        let Some(gathered) = self.gather(plan)? else { return Ok(None) };
        let mut origin = self.origin();
        let listened = calibrating::listen(&gathered.captures, &mut origin)?;
        for warning in listened.iter().flat_map(|l| &l.warnings) {
            eprintln!("coilrig: {warning}");
        }
        plan.check_coils(origin.channels.unwrap_or(3))?;
        if plan.is_of_any_gain {
            origin.gain_step = origin.gain_step.or(Some(0));
        }
        let update = Update::open(&self.out, &origin)?;
        Ok(Some(Heard { gathered, listened, update }))
    }

    fn open_records(&self) -> Result<Option<Book>> {
        let open = |path: &PathBuf| Book::open(path, into_records::by(self.by.as_deref())?, None);
        self.records.as_ref().map(open).transpose()
    }

    fn folder_for(&self, part: &str) -> PathBuf {
        self.folder.clone().unwrap_or_else(|| {
            let mut name = self.out.with_extension("").into_os_string();
            name.push(format!("-{part}"));
            name.into()
        })
    }

    /// What the command line says of the receiver.
    pub fn origin(&self) -> Origin {
        Origin { receiver: self.receiver.clone(), gain_step: self.gain, channels: None }
    }

    /// Who, when, how long.
    pub fn about(&self) -> About {
        About {
            day: jiff::ZonedDateTime::now().date(),
            valid_for_days: self.valid_for,
            by: self.by.clone(),
            temperature_c: self.temperature,
        }
    }

    /// A part that is finished: into the file, then told.
    pub fn finish(&self, gathered: Gathered, mut update: Update, record: Record) -> Result<()> {
        update.add(record.clone())?;
        if let Some(mut session) = gathered.session {
            session.used()?;
        }
        for warning in update.calibration.contradictions() {
            eprintln!("coilrig: {warning}");
        }
        let told =
            output::Told { file: &self.out, calibration: &update.calibration, record: &record };
        let text = if self.json { told.json()? } else { told.text() };
        std::io::stdout()
            .write_all(text.as_bytes())
            .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
        match self.open_records()? {
            Some(mut book) => book.calibrated(&self.out),
            None => Ok(()),
        }
    }
}

/// An error of all captures together.
pub fn refused(captures: &[PathBuf], what: impl ToString, remedy: &str) -> Error {
    let names: Vec<String> = captures.iter().map(|p| p.display().to_string()).collect();
    let place = match names.as_slice() {
        [first, _, _, .., last] => format!("{first} to {last}"),
        few => few.join(", "),
    };
    Error::file(place, what.to_string(), remedy)
}

pub fn above_zero(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number above zero in SI units, as 0.15".into()),
    }
}

pub fn zero_or_more(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number, zero or more, in SI units, as 0.002".into()),
    }
}

pub fn any_number(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("give a number in SI units, as 0.5".into()),
    }
}
