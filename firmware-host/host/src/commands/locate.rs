//! `coilrig locate`: field over a grid → position, depth, moment.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::field::constants::NOMINAL_CARRIER_HZ;
use coilrig_analysis::field::layered::Layered;
use coilrig_analysis::field::medium::Medium;
use coilrig_analysis::locate::{LocateError, Location, Options, analyse, budgets};
use coilrig_analysis::range::common_u_rel;

use super::into_records::{IntoRecords, when_done};
use super::{CAUTIONS, Outcome};
use crate::error::{Error, Result};
use crate::ground_file;
use crate::output::budget;
use crate::output::location;
use crate::placed_readings::{self, PlacedTable};
use crate::records::MeasurementKind;
use crate::records::book::{Measured, Named};
use crate::records::values;

/// Find a buried unit from field over a grid: position, depth, moment
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Locate {
    /// Table of readings on the snow, over a grid or along lines:
    /// x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m (m and A/m, z up), or
    /// h_a_per_m in place of the three components; one row a reading. Places are
    /// those of the coils; the sign of a vector does not matter. A further column
    /// u_calibration_rel gives the relative uncertainty of the calibration, which
    /// all readings share and u_a_per_m does not hold
    readings: PathBuf,
    /// Whether hx and hy were measured along x and y of the plan. With unknown only
    /// the horizontal and the vertical part of each vector count
    #[arg(long, value_enum, value_name = "WHICH", default_value_t = Heading::Known)]
    heading: Heading,
    /// Height of the coils over the snow, straight up, m: depths count from the snow,
    /// a plane fitted to the readings less this height
    #[arg(long, value_name = "METRES", default_value_t = 0.0, value_parser = height)]
    coil_height_m: f64,
    /// Take the field over layered ground in place of free space: a TOML file of
    /// layers, which are laid along the snow as it slopes
    #[arg(long, value_name = "FILE")]
    ground: Option<PathBuf>,
    /// Where the unit really is, if you know, to compare and to draw: X,Y,Z in m
    #[arg(long, value_name = "X,Y,Z", value_parser = place, allow_hyphen_values = true)]
    true_place: Option<TruePlace>,
    /// Show what the uncertainties are made of
    #[arg(long)]
    budget: bool,
    /// Write locate.json, the pictures and their tables to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print one JSON document in place of the text
    #[arg(long)]
    json: bool,
    /// When the readings were taken, as 2026-04-01 or 2026-04-01T08:00 [default: now]
    #[arg(long, value_name = "TIME", value_parser = when_done, requires = "unit")]
    #[arg(help_heading = "Records")]
    at: Option<jiff::Timestamp>,
    #[command(flatten)]
    into: IntoRecords,
}

const EXAMPLE: &str = "\
Example:
  coilrig locate captures/buried-grid.csv --coil-height-m 0.3 --out buried-grid

This is for practice and for the care of training fields. In a real burial keep to the
rescue procedure you were trained in.";

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Heading {
    /// As the axes of the plan
    Known,
    /// Another at each point, or not written down
    Unknown,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct TruePlace([f64; 3]);

fn height(text: &str) -> std::result::Result<f64, String> {
    let value: Option<f64> = text.parse().ok();
    value
        .filter(|v| (0.0..=10.0).contains(v))
        .ok_or_else(|| format!("{text} is no height in m from 0 to 10"))
}

fn place(text: &str) -> std::result::Result<TruePlace, String> {
    let numbers: Vec<f64> = text.split(',').filter_map(|part| part.trim().parse().ok()).collect();
    match numbers[..] {
        [x, y, z] if text.split(',').count() == 3 && (x + y + z).is_finite() => {
            Ok(TruePlace([x, y, z]))
        }
        _ => Err(format!("{text} is no place such as 0.9,-0.6,-1.4")),
    }
}

/// Run the command.
pub fn run(args: &Locate) -> Result<Outcome> {
    let mut book = args.into.open()?;
    let table = placed_readings::read(&args.readings)?;
    let ground = args.ground.as_deref().map(layered).transpose()?;
    let options = Options {
        ground: ground.as_ref().map(|ground| ground as &dyn Medium),
        heading_known: args.heading == Heading::Known,
        coil_height_m: args.coil_height_m,
        u_calibration_rel: common_u_rel(&table.u_calibration_rel),
        true_position_m: args.true_place.map(|place| place.0),
        ..Options::default()
    };
    let found =
        analyse(&table.readings, &options).map_err(|e| unusable(&args.readings, &table, &e))?;
    let budgets =
        budget::of_fit(args.budget, &args.readings, || budgets(&found, &table.readings, &options))?;
    let json = location::json(&found, budgets.as_deref())?;
    if let Some(folder) = &args.out {
        location::write_all(folder, &table.readings, &options, &found, &json)?;
        eprintln!("coilrig: wrote pictures and tables to {}", folder.display());
    }
    let text = match args.json {
        true => json.clone(),
        false => {
            for_people(&args.readings, &table, args.heading, &found)
                + &budgets.as_deref().map_or(String::new(), budget::tables)
        }
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}\n{PRACTICE}");
    if let (Some(book), Some(unit)) = (&mut book, &args.into.unit) {
        if found.ambiguous {
            eprintln!("coilrig: two answers: the document is entered, and no numbers of it");
        }
        let entry = Measured {
            kind: MeasurementKind::Location,
            captures: Vec::new(),
            values: values::of_location(&found),
            document_json: json,
            at: args.at,
        };
        book.measured(Named::by_name(unit), None, &[entry])?;
    }
    Ok(Outcome::Done)
}

/// The field over the ground of this file.
fn layered(path: &Path) -> Result<Layered> {
    let ground = ground_file::load(path)?;
    Layered::new(ground, NOMINAL_CARRIER_HZ)
        .map_err(|e| Error::file(path.display(), e.to_string(), "correct the layer"))
}

const PRACTICE: &str =
    "In a real burial keep to the rescue procedure you were trained in; this is no part of it.";

fn for_people(path: &Path, table: &PlacedTable, heading: Heading, found: &Location) -> String {
    let kind = match table.readings.first().map(|r| r.field.numbers()) {
        Some(1) => "magnitudes",
        _ if heading == Heading::Unknown => "vectors without heading, of unknown sign",
        _ => "vectors of unknown sign",
    };
    let first = format!("{}: {} readings, {kind}", path.display(), table.readings.len());
    format!("{first}\n\n{}", location::for_people(found))
}

fn unusable(path: &Path, table: &PlacedTable, error: &LocateError) -> Error {
    let line = error.row().and_then(|row| table.lines.get(row - 1));
    let place = match line {
        Some(line) => format!("{}, line {line}", path.display()),
        None => path.display().to_string(),
    };
    let remedy = match error {
        LocateError::TooFew { .. } => {
            "add readings at other places: 25 vectors over the whole field do well, 5 by 5"
        }
        LocateError::OneLine => {
            "add a second line beside the first, or measure all three components"
        }
        LocateError::Contradiction { .. } => {
            "check the place and the field of both, and leave the wrong one out by # before its line"
        }
        LocateError::UnitMixUp { .. } => "write all fields in A/m; 1 µA/m is 1e-6, 1 nA/m is 1e-9",
        LocateError::Axes { .. } => {
            "check how the receiver's axes lay on the plan and correct the table; nothing was changed"
        }
        LocateError::NoFit => {
            "check places, fields and their units; a unit above the readings is not looked for"
        }
        LocateError::NotFinite { .. } | LocateError::NotPositive { .. } => "correct the row",
        LocateError::Option { .. } => "correct the option or the column u_calibration_rel",
    };
    Error::file(place, error.to_string(), remedy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_heights_are_read_or_refused() {
        assert_eq!(place("0.9, -0.6,-1.4"), Ok(TruePlace([0.9, -0.6, -1.4])));
        for wrong in ["", "1,2", "1,2,3,4", "1,2,x", "1,2,nan"] {
            assert!(place(wrong).is_err(), "{wrong}");
        }
        assert_eq!(height("0.3"), Ok(0.3));
        for wrong in ["-0.1", "nan", "300", "0,3"] {
            assert!(height(wrong).is_err(), "{wrong}");
        }
    }
}
