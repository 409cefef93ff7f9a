//! `coilrig plan`: what a station will do to those who train on it.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::limits::RECEIVER_THRESHOLD;
use coilrig_analysis::plan::{Options, Plan as Analysis, PlanError, Space, Way, with_measured};
use coilrig_analysis::units;

use super::{CAUTIONS, Outcome};
use crate::error::{Error, Result};
use crate::measured_units::{self, Given};
use crate::output::plan::{self as output, Planned};
use crate::station_file;

/// What a station will do to those who train on it
///
/// Which units mask each other: pulses that are sent at once hide each other, and units
/// of nearly equal period stay on top of each other for minutes. How strong the field is
/// over the snow, and whose. Where each unit is first heard on a walk in lanes, and how
/// far its field then leads round. Where above each unit a receiver reads most. From the
/// values of the station file, or from measured ones in their place.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Plan {
    /// Station file (TOML): captures/station.toml shows every part of one
    #[arg(value_name = "STATION")]
    station: PathBuf,
    /// Field from which on a unit is taken for heard, such as 80nA/m or -22dBuA/m
    /// [default: 80nA/m]
    #[arg(long, value_name = "FIELD", value_parser = units::parse_field, allow_hyphen_values = true)]
    threshold: Option<f64>,
    /// Width of the lanes of the walk at most, m
    #[arg(long, value_name = "METRES", default_value_t = Options::LANE_WIDTH_M, value_parser = lane_width)]
    lanes: f64,
    /// Which way the lanes run
    #[arg(long, value_enum, value_name = "WAY", default_value_t = Direction::Up)]
    way: Direction,
    /// Height of the receiver on the walk over the snow, straight up, m
    #[arg(long, value_name = "METRES", default_value_t = Options::HEIGHT_M, value_parser = height)]
    height_m: f64,
    /// Leave snow and soil out. Else they are taken into account where the station file
    /// has snow_depth_m and soil_resistivity_ohm_m
    #[arg(long)]
    free_space: bool,
    /// What was measured of a unit, in place of what is planned: a JSON document of
    /// measure (period and on time), range (field at 10 m) or locate (place, depth, lie,
    /// field; on the axes of the station's map). #LABEL says which transmitter of a
    /// capture is the unit. May be given again
    #[arg(long, value_name = "UNIT=FILE[#LABEL]", value_parser = measured_units::parse)]
    measured: Vec<Given>,
    /// Write plan.json, a picture for each question and their tables to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print one JSON document in place of the text
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Examples:
  coilrig plan captures/station.toml
  coilrig plan captures/station.toml --lanes 15 --way across --out plan
  coilrig plan station.toml --measured post=post.json --measured stump=meadow.json#T2";

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Direction {
    /// Up and down the slope, the first lane, that farthest west, upward
    Up,
    /// The same, the first lane downward
    Down,
    /// Across the slope, the lowest lane first
    Across,
}

fn lane_width(text: &str) -> std::result::Result<f64, String> {
    number(text, 1.0, 500.0, "width of a lane")
}

fn height(text: &str) -> std::result::Result<f64, String> {
    number(text, 0.1, 3.0, "height")
}

fn number(text: &str, least: f64, most: f64, name: &str) -> std::result::Result<f64, String> {
    let value: Option<f64> = text.parse().ok();
    value
        .filter(|v| (least..=most).contains(v))
        .ok_or_else(|| format!("{text} is no {name} from {least} to {most} m"))
}

/// Run the command.
pub fn run(args: &Plan) -> Result<Outcome> {
    let station = station_file::load(&args.station)?;
    let threshold_a_per_m = args.threshold.unwrap_or(RECEIVER_THRESHOLD.field_a_per_m);
    if !(threshold_a_per_m > 0.0 && threshold_a_per_m.is_finite()) {
        let what = format!("--threshold {threshold_a_per_m} A/m is no field");
        return Err(Error::usage(what, "give a field over zero, such as 80nA/m"));
    }
    for doubt in &station.doubts {
        let place = format!("{}, line {}", args.station.display(), doubt.line);
        eprintln!("coilrig: {place}: {}", doubt.what);
    }
    let measured = measured_units::read(&args.measured)?;
    let (station, replaced) =
        with_measured(&station, &measured).map_err(|e| Error::file(&e.from, &e.what, e.remedy))?;
    let usual = Options::usual(&station);
    let options = Options {
        threshold_a_per_m,
        height_m: args.height_m,
        lane_width_m: args.lanes,
        way: match args.way {
            Direction::Up => Way::Up,
            Direction::Down => Way::Down,
            Direction::Across => Way::Across,
        },
        space: if args.free_space { Space::Free } else { usual.space },
        ..usual
    };
    let plan = Analysis::of(&station, options).map_err(|e| {
        let remedy = match e {
            PlanError::Ground(_) => {
                "correct snow_depth_m or soil_resistivity_ohm_m, or take --free-space"
            }
            PlanError::TooLong(_) => "correct the [field] or the places of the units, in metres",
        };
        Error::file(args.station.display(), e.to_string(), remedy)
    })?;
    let planned = Planned { station: &station, replaced: &replaced, plan: &plan };
    let json = output::json(&planned)?;
    if let Some(folder) = &args.out {
        output::write_all(folder, &planned, &json)?;
        eprintln!("coilrig: wrote pictures and tables to {}", folder.display());
    }
    let text = if args.json { json } else { output::for_people(&planned) };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes_and_heights_are_read_or_refused() {
        assert_eq!((lane_width("20"), height("0.5")), (Ok(20.0), Ok(0.5)));
        for wrong in ["0", "nan", "-3", "20 m", "9999"] {
            assert!(lane_width(wrong).is_err() && height(wrong).is_err(), "{wrong}");
        }
    }
}
