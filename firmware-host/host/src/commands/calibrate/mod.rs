//! `coilrig calibrate`: reference measurements → calibration file.

use clap::{Args, Subcommand};

use super::{CAUTIONS, Outcome};
use crate::error::Result;

mod clock;
mod common;
mod field;
mod noise;
mod rotation;

/// Calibrate a receiver, part by part, into one file
///
/// What a count is in A/m comes from a reference loop or a Helmholtz pair, coil by
/// coil and gain step by gain step; the angles between the coils from turning the
/// receiver in a steady field; the clock from a carrier of known frequency; the
/// noise from silence. Each part is added to the same file, with its uncertainty,
/// its raw readings and the day until which it counts; earlier parts stay.
///
/// Each part is measured with a receiver on --port, step by step, or from captures
/// recorded before, one --capture for each repeat or turn.
#[derive(Args)]
#[command(after_long_help = EXAMPLE)]
pub struct Calibrate {
    #[command(subcommand)]
    part: Part,
}

#[derive(Subcommand)]
enum Part {
    Loop(field::Loop),
    Pair(field::Pair),
    Rotation(rotation::Rotation),
    Clock(clock::Clock),
    Noise(noise::Noise),
}

const EXAMPLE: &str = "\
Examples:
  coilrig calibrate loop --out CR-0001.toml --port /dev/ttyACM0 --axis x \\
      --turns 10 --radius 0.15 --u-radius 0.0005 --current 1e-4 --u-current 5e-7 \\
      --distance 1 --u-distance 0.002
  coilrig calibrate rotation --out CR-0001.toml --port /dev/ttyACM0 --count 30
  coilrig calibrate clock --out CR-0001.toml --frequency 457000 --u-frequency 0.005 \\
      --capture generator
  coilrig calibrate noise --out CR-0001.toml --capture silence
  coilrig record --port /dev/ttyACM0 --calibration CR-0001.toml --out unit-7

A reference loop transmits, and 457 kHz is a rescue frequency: keep its current as low as \
will do, switch it off after each part, and never switch it on near a rescue.
This rig is no certification: the maker's service, local rules and licensed practice come first.";

/// Run the command.
pub fn run(args: &Calibrate) -> Result<Outcome> {
    // Before anybody switches a source on.
    eprintln!("{CAUTIONS}");
    match &args.part {
        Part::Loop(args) => field::run(&args.common, &args.source(), args.axis()),
        Part::Pair(args) => field::run(&args.common, &args.source(), args.axis()),
        Part::Rotation(args) => rotation::run(&args.common),
        Part::Clock(args) => clock::run(args),
        Part::Noise(args) => noise::run(&args.common),
    }
}
