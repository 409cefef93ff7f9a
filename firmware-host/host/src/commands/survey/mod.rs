//! `coilrig survey`: guided readings.

use clap::{Args, Subcommand};

use super::{CAUTIONS, Outcome};
use crate::error::Result;

mod angle;
mod common;
mod distance;
mod grid;

/// Take readings of a unit at known places or angles
#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    kind: KindOfSurvey,
}

#[derive(Subcommand)]
enum KindOfSurvey {
    Distance(distance::Distance),
    Angle(angle::Angle),
    Grid(grid::Grid),
}

/// Run the command.
pub fn run(args: Arguments) -> Result<Outcome> {
    // Before anybody switches a unit on.
    eprintln!("{CAUTIONS}");
    match &args.kind {
        KindOfSurvey::Distance(args) => distance::run(args),
        KindOfSurvey::Angle(args) => angle::run(args),
        KindOfSurvey::Grid(args) => grid::run(args),
    }
}
