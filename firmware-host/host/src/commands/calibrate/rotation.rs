//! `coilrig calibrate rotation`: the coils against each other.

use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::calibration::rotation::{self, NoRotation};
use coilrig_analysis::units;

use super::super::Outcome;
use super::common::{Common, Heard, Plan, heard, refused, signals};
use crate::calibrating::{self, Task};
use crate::calibration::Record;
use crate::calibration::records::RotationRecord;
use crate::error::Result;

/// Gains and angles of the three coils, from turning the receiver in a steady field
///
/// Keep source and receiver's place as they are and turn the receiver into many
/// attitudes, all round: each coil along the field, against it and across it, and
/// midway between. Nobody needs to know how it was held. 20 to 40 turns are good,
/// nine the least. The field must be steady, and the same wherever the coils come
/// to lie: a Helmholtz pair, or a loop several metres away.
///
/// The result is the matrix that makes orthogonal components of the coils', in the
/// frame that lies nearest to the three coils, and their gains against each other,
/// which carry the scale of a coil measured in a loop over to the others.
#[derive(Args)]
#[command(after_help = EXAMPLE)]
pub struct Rotation {
    #[command(flatten)]
    pub common: Common,
}

const EXAMPLE: &str = "\
Example:
  coilrig calibrate rotation --out CR-0001.toml --port /dev/ttyACM0 --count 30
  coilrig calibrate rotation --out CR-0001.toml --capture turn-*.sigmf-meta

The source transmits on a rescue frequency: never switch it on near a rescue.";

/// Fit the coils to the turns and add them to the file.
pub fn run(common: &Common) -> Result<Outcome> {
    let plan = Plan {
        part: "rotation",
        reference: String::new(),
        coils: 3,
        is_of_any_gain: false,
        count: 24,
        seconds: 5.0,
        task: &Turns,
    };
    let Some(Heard { gathered, listened, update }) = common.listen(&plan)? else {
        return Ok(Outcome::Done);
    };
    let turns: Vec<_> = listened.iter().map(|l| l.signal.turn()).collect();
    let result = rotation::fit(&turns).map_err(|e| refused(&gathered.captures, &e, remedy(&e)))?;
    let record = RotationRecord {
        gain_step: update.gain_step,
        made: common.about().made(),
        result,
        reading: listened.iter().map(calibrating::Listened::raw).collect(),
    };
    common.finish(gathered, update, Record::Rotation(record))?;
    Ok(Outcome::Done)
}

/// Turns of the receiver.
struct Turns;

/// Where the field is to point, in turn: along each coil and midway between two.
const ATTITUDES: [&str; 9] = [
    "along coil x",
    "along coil y",
    "along coil z",
    "midway between x and y",
    "midway between y and z",
    "midway between x and z",
    "midway between x and the far end of y",
    "midway between y and the far end of z",
    "midway between x and the far end of z",
];

impl Task for Turns {
    fn before(&self, number: usize, _: usize) -> String {
        let attitude = ATTITUDES[(number - 1) % ATTITUDES.len()];
        format!(
            "turn the receiver so that the field points roughly {attitude}, its place unchanged; \
             then take your hands off"
        )
    }

    fn heard(&self, capture: &Path) -> Result<String> {
        heard(capture)
    }

    fn so_far(&self, kept: &[PathBuf]) -> Vec<String> {
        let turns: Vec<_> = signals(kept).iter().map(|s| s.turn()).collect();
        match rotation::fit(&turns) {
            Ok(so_far) => {
                let worst = so_far.angles_deg.iter().map(|a| a.u).fold(0.0, f64::max);
                let gain = so_far.gains.iter().map(|g| g.u_rel()).fold(0.0, f64::max);
                vec![format!(
                    "so far gains to {} %, angles to {}°",
                    units::significant(100.0 * gain, 2),
                    units::significant(worst, 2)
                )]
            }
            Err(NoRotation::TooFew { .. }) => Vec::new(),
            Err(why) => vec![format!("so far: {why}")],
        }
    }
}

fn remedy(error: &NoRotation) -> &'static str {
    match error {
        NoRotation::TooFew { .. } => "record more turns, the receiver held otherwise in each",
        NoRotation::Empty { .. } => "record that turn anew",
        NoRotation::OneSided { .. } => {
            "record the missing turns and give them with the others; with --port, a larger --count \
             goes on with the series"
        }
        NoRotation::NoEllipsoid | NoRotation::NotSteady { .. } => {
            "keep source, current and the receiver's place as they are for all turns, away from \
             metal and people, and record anew"
        }
    }
}
