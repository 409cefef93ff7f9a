//! `coilrig calibrate clock`: the receiver's clock against a known carrier.

use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::calibration::clock::{self, NoClock};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;

use super::super::Outcome;
use super::common::{Common, Heard, Plan, above_zero, heard, refused, signals, zero_or_more};
use crate::calibrating::{self, Task};
use crate::calibration::Record;
use crate::calibration::records::{BudgetLine, ClockRecord};
use crate::error::Result;

/// The receiver's clock, from a carrier of known frequency
///
/// A generator that is disciplined by a better clock, or a unit whose carrier a
/// counter has measured just now. Let the receiver run for some minutes first: its
/// clock drifts while it warms. One capture of a minute will do; several show how
/// well it repeats.
#[derive(Args)]
#[command(after_help = EXAMPLE)]
pub struct Clock {
    #[command(flatten)]
    pub common: Common,
    /// Frequency of the carrier, Hz
    #[arg(long, value_name = "HZ", value_parser = above_zero)]
    frequency: f64,
    /// Its standard uncertainty, Hz
    #[arg(long, value_name = "HZ", value_parser = zero_or_more)]
    u_frequency: f64,
}

const EXAMPLE: &str = "\
Example:
  coilrig calibrate clock --out CR-0001.toml --frequency 457000 --u-frequency 0.005 \\
      --capture generator

The generator transmits on a rescue frequency: never switch it on near a rescue.";

/// Compare the clock and add it to the file.
pub fn run(args: &Clock) -> Result<Outcome> {
    let common = &args.common;
    let plan = Plan {
        part: "clock",
        reference: format!("{} Hz", args.frequency),
        coils: 1,
        is_of_any_gain: true,
        count: 3,
        seconds: 60.0,
        task: &Minutes,
    };
    let Some(Heard { gathered, listened, update }) = common.listen(&plan)? else {
        return Ok(Outcome::Done);
    };
    let known_hz = Reading::new(args.frequency, args.u_frequency);
    let seen: Vec<_> = listened.iter().map(|l| l.signal.seen()).collect();
    let budget = clock::offset_ppm(known_hz, &seen)
        .map_err(|e| refused(&gathered.captures, &e, remedy(&e)))?;
    let record = ClockRecord {
        offset_ppm: budget.value,
        u_offset_ppm: budget.u,
        degrees_of_freedom: budget.degrees_of_freedom,
        known_hz: known_hz.value,
        u_known_hz: known_hz.u,
        made: common.about().made(),
        reading: listened.iter().map(calibrating::Listened::raw).collect(),
        budget: BudgetLine::all(&budget),
    };
    common.finish(gathered, update, Record::Clock(record))?;
    Ok(Outcome::Done)
}

/// Captures of the known carrier.
struct Minutes;

impl Task for Minutes {
    fn before(&self, _: usize, _: usize) -> String {
        "generator on, and the receiver running for some minutes already".into()
    }

    fn heard(&self, capture: &Path) -> Result<String> {
        let mut text = heard(capture)?;
        for signal in signals(&[capture.to_owned()]) {
            let seen = units::plus_minus(signal.seen_hz, "Hz");
            text += &format!(", {seen} by the receiver's clock");
        }
        Ok(text)
    }

    fn so_far(&self, _: &[PathBuf]) -> Vec<String> {
        Vec::new()
    }
}

fn remedy(error: &NoClock) -> &'static str {
    match error {
        NoClock::OtherCarrier { .. } => {
            "check --frequency, and that nothing but the known carrier is on"
        }
        _ => "check --frequency and --u-frequency",
    }
}
