//! `coilrig calibrate noise`: the floor with nothing on.

use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::units;

use super::super::Outcome;
use super::common::{Common, Plan};
use crate::calibrating::{self, Origin, Task, Update};
use crate::calibration::Record;
use crate::calibration::records::NoiseRecord;
use crate::capture::reader::shown;
use crate::error::Result;

/// The noise of each coil with nothing on, and the smallest field that can be measured
///
/// Switch off everything that sends on 457 kHz and go where it is quiet. A minute
/// will do. A transmitter or a carrier in the capture is refused. Once the field
/// per count is known as well, the noise is told in A/m, and with it the smallest
/// field: that of a pulse of 70 ms which is found with 90 % probability while
/// noise alone passes for a pulse less than once an hour.
#[derive(Args)]
#[command(after_help = EXAMPLE)]
pub struct Noise {
    #[command(flatten)]
    pub common: Common,
}

const EXAMPLE: &str = "\
Example:
  coilrig calibrate noise --out CR-0001.toml --capture silence";

/// Measure the noise and add it to the file.
pub fn run(common: &Common) -> Result<Outcome> {
    let plan = Plan {
        part: "noise",
        reference: String::new(),
        coils: 1,
        is_of_any_gain: false,
        count: 1,
        seconds: 60.0,
        task: &Silence,
    };
    let Some(gathered) = common.gather(&plan)? else { return Ok(Outcome::Done) };
    let captures = &gathered.captures;
    let mut origin = common.origin();
    let (noise, warnings) = calibrating::noise(captures, &mut origin)?;
    warnings.iter().for_each(|warning| eprintln!("coilrig: {warning}"));
    let update = Update::open(&common.out, &origin)?;
    let budgets = &noise.density_counts_rthz;
    let record = NoiseRecord {
        gain_step: update.gain_step,
        counts_rthz: budgets.iter().map(|b| b.value).collect(),
        u_rel: budgets.iter().map(|b| b.u / b.value).collect(),
        degrees_of_freedom: budgets.iter().map(|b| b.degrees_of_freedom).collect(),
        heard_s: noise.heard_s,
        made: common.about().made(),
        capture: gathered.captures.iter().map(|path| shown(path)).collect(),
    };
    common.finish(gathered, update, Record::Noise(record))?;
    Ok(Outcome::Done)
}

/// Captures of silence.
struct Silence;

impl Task for Silence {
    fn before(&self, _: usize, _: usize) -> String {
        "switch off everything that sends, and go where it is quiet".into()
    }

    fn heard(&self, capture: &Path) -> Result<String> {
        let (noise, _) = calibrating::noise(&[capture.to_owned()], &mut Origin::default())?;
        let each = noise.density_counts_rthz.iter();
        let each: Vec<String> = each.map(|b| units::plus_minus(b.reading(), "")).collect();
        Ok(format!("{} counts/√Hz", each.join(", ")))
    }

    fn so_far(&self, _: &[PathBuf]) -> Vec<String> {
        Vec::new()
    }
}
