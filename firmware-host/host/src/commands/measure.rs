//! `coilrig measure`: captures → transmitters.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Args;

use super::into_records::{IntoRecords, check_stated};
use super::{CAUTIONS, Outcome, load_for_captures};
use crate::calibration::Calibration;
use crate::error::{Error, Result};
use crate::measuring::{self, Keep, Measured};
use crate::output::{budget, measurement, over_time};
use crate::records::MeasurementKind;
use crate::records::book::{self, Book, Named};
use crate::records::values;
use crate::{temperature_log, verifying};

/// Find the transmitters in captures and measure each of them
///
/// For each transmitter: carrier, period, on and off time between the
/// half-amplitude points, RMS field while on, carrier left between the pulses,
/// each with its standard uncertainty.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Measure {
    /// SigMF recordings: the .sigmf-meta or .sigmf-data file, or the name of both
    #[arg(required = true, value_name = "CAPTURE")]
    captures: Vec<PathBuf>,
    /// Calibration file of the receiver, in place of what the captures state; with
    /// --annotate it is written into their metadata
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Print one JSON document (an array for several captures)
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Print CSV, one row a transmitter
    #[arg(long)]
    csv: bool,
    /// Add what each uncertainty is made of
    #[arg(long, conflicts_with_all = ["json", "csv"])]
    budget: bool,
    /// Write the pulses found into the captures' metadata as SigMF annotations
    #[arg(long)]
    annotate: bool,
    /// Follow each transmitter over a long capture, or over several in order of
    /// their start: tables, drift, jumps and pictures go to this folder
    #[arg(long, value_name = "FOLDER")]
    over_time: Option<PathBuf>,
    /// Length of the stretches that --over-time takes means over, in seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 60.0, requires = "over_time")]
    every: f64,
    /// Temperatures beside the unit, for --over-time: CSV with the columns
    /// datetime,temperature_c or time_s,temperature_c (seconds from the start of the
    /// first capture); without it those that the captures state
    #[arg(long, value_name = "FILE", requires = "over_time")]
    temperatures: Option<PathBuf>,
    /// Which transmitter is the unit, where a capture holds several: T1, T2, …; else the
    /// only one, or one at least 20 dB stronger than all others
    #[arg(long, value_name = "LABEL", requires = "unit", help_heading = "Records")]
    transmitter: Option<String>,
    #[command(flatten)]
    into: IntoRecords,
}

const EXAMPLE: &str = "\
Example:
  coilrig measure monday.sigmf-meta
  coilrig measure --json monday tuesday > readings.json
  coilrig measure --calibration CR-0001.toml monday
  coilrig measure --over-time soak --every 300 night.sigmf-meta
  coilrig measure --over-time soak --temperatures shed.csv night.sigmf-meta
  coilrig measure --unit creek --station meadow.toml --by office monday";

/// Run the command.
pub fn run(args: &Measure) -> Result<Outcome> {
    let mut all = Vec::new();
    let mut errors = Vec::new();
    if !(args.every >= 1.0 && args.every <= 86_400.0) {
        return Err(Error::usage(
            format!("--every {} s", args.every),
            "give a length between 1 and 86400 seconds",
        ));
    }
    let rows_s = args.over_time.as_ref().map(|_| args.every);
    let mut book = args.into.open()?;
    let keep = Keep { pulses: args.annotate, rows_s, ..Keep::default() };
    let calibration = load_for_captures(args.calibration.as_deref())?;
    for result in measure_all(&args.captures, keep, calibration.as_ref()) {
        match result {
            Ok(measured) => all.push(measured),
            Err(error) => errors.push(error),
        }
    }
    for warning in all.iter().flat_map(|m| &m.warnings) {
        eprintln!("coilrig: {warning}");
    }
    if args.annotate {
        for measured in &all {
            measuring::annotate(measured)?;
            let path = measured.capture.paths.meta.display();
            eprintln!("coilrig: wrote {} annotations to {path}", measured.pulses.len());
        }
    }
    // One bad capture must not cost the results of the others.
    if all.is_empty() {
        return Err(last_of(errors));
    }
    let told = match &args.over_time {
        Some(folder) => {
            let start = over_time::first_start(&all);
            let read = |path: &PathBuf| temperature_log::read(path, start);
            let course = args.temperatures.as_ref().map(read).transpose()?;
            over_time::write(folder, &all, course.as_ref())?
        }
        None => String::new(),
    };
    let text = if args.json {
        measurement::json(&all, args.captures.len() > 1)?
    } else if args.csv {
        measurement::csv(&all)?
    } else {
        let table = |m: &Measured| match args.budget {
            true => Ok(measurement::table(m) + &budget::of_measurement(m)?),
            false => Ok(measurement::table(m)),
        };
        all.iter().map(table).collect::<Result<Vec<_>>>()?.join("\n") + &told
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    if !args.json && !args.csv {
        eprintln!("{CAUTIONS}");
    }
    if let (Some(book), Some(unit)) = (&mut book, &args.into.unit) {
        match enter(book, unit, args, &all) {
            Ok(more) => errors.extend(more),
            Err(error) => errors.push(error),
        }
    }
    if errors.is_empty() { Ok(Outcome::Done) } else { Err(last_of(errors)) }
}

/// Enter what was measured of the unit. Captures that do not tell which transmitter it
/// is are given back as errors, and the others entered.
fn enter(book: &mut Book, unit: &str, args: &Measure, all: &[Measured]) -> Result<Vec<Error>> {
    let (mut entries, mut errors) = (Vec::new(), Vec::new());
    for measured in all {
        let (capture, paths) = (&measured.capture.meta.global, &measured.capture.paths);
        if let Err(error) = check_stated(&paths.meta, capture.unit.as_deref(), unit) {
            errors.push(error.and("not entered into the records"));
            continue;
        }
        let chosen = match verifying::choose(measured, args.transmitter.as_deref()) {
            Ok((chosen, note)) => {
                let place = measured.capture.paths.meta.display();
                note.iter().for_each(|note| eprintln!("coilrig: {place}: {note}"));
                &measured.measurement.transmitters[chosen]
            }
            Err(error) => {
                errors.push(error.and("not entered into the records"));
                continue;
            }
        };
        entries.push(book::Measured {
            kind: MeasurementKind::Signal,
            captures: vec![&measured.capture],
            values: values::of_signal(chosen),
            document_json: measurement::of_one(measured, chosen)?,
            at: None,
        });
    }
    if !entries.is_empty() {
        book.measured(Named::by_name(unit), args.calibration.as_ref(), &entries)?;
    }
    Ok(errors)
}

/// Say all errors but the last, and give that one back as the command's.
fn last_of(mut errors: Vec<Error>) -> Error {
    let last = errors.pop();
    errors.iter().for_each(|e| eprintln!("coilrig: {e}"));
    last.unwrap_or_else(|| Error::usage("no capture given", "name at least one capture"))
}

/// All captures on all cores, results in the order given.
fn measure_all(
    captures: &[PathBuf],
    keep: Keep,
    calibration: Option<&(PathBuf, Calibration)>,
) -> Vec<Result<Measured>> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let workers = cores.min(captures.len());
    let keep = Keep { spare_core: cores > workers, ..keep };
    let next = AtomicUsize::new(0);
    let mut results: Vec<(usize, Result<Measured>)> = std::thread::scope(|scope| {
        let work = || {
            let mut done = Vec::new();
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                let Some(path) = captures.get(i) else { return done };
                done.push((i, measuring::measure_with(path, keep, calibration)));
            }
        };
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        threads
            .into_iter()
            .flat_map(|t| t.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    results.sort_by_key(|r| r.0);
    results.into_iter().map(|r| r.1).collect()
}
