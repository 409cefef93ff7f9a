//! `coilrig range`: field over distance → dipole fit, range, coupling.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::{Args, ValueEnum};
use coilrig_analysis::field::layered::GroundError;
use coilrig_analysis::range::noise::NoiseThreshold;
use coilrig_analysis::range::{
    Coplanar, Heights, OffsetChoice, Options, OverGround, RangeError, Soil, analyse,
    analyse_over_ground, budgets, common_u_rel,
};
use coilrig_analysis::units;

use super::into_records::{IntoRecords, when_done};
use super::{CAUTIONS, Outcome};
use crate::error::{Error, Result};
use crate::ground_file;
use crate::output::budget;
use crate::output::range::Findings;
use crate::readings::{self, Table};
use crate::records::MeasurementKind;
use crate::records::book::{Measured, Named};
use crate::records::values;

/// Fit a dipole to field over distance: moment, range, coupling
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Range {
    /// Table of readings: distance_m,field_a_per_m,u_field_a_per_m,alignment
    /// (m and A/m; coaxial or coplanar), one row a reading. A further column
    /// u_calibration_rel gives the relative uncertainty of the calibration, which
    /// all readings share and u_field_a_per_m does not hold
    readings: PathBuf,
    /// Give the range for a receiver that needs this field, such as 80nA/m,
    /// 0.5uA/m, -6dBuA/m or 8e-8 (A/m); may be repeated [default: 80nA/m]
    #[arg(long, value_name = "FIELD", value_parser = units::parse_field, allow_hyphen_values = true)]
    threshold: Vec<f64>,
    /// Fit an error that all stated distances share
    #[arg(long, value_enum, value_name = "WHEN", default_value_t = FitOffset::Auto)]
    fit_offset: FitOffset,
    /// Give the range over this noise in 1 Hz as well, such as 1.4nA/m: the site's
    /// own, as `measure` prints it
    #[arg(long, value_name = "FIELD", value_parser = units::parse_field, allow_hyphen_values = true)]
    noise: Option<f64>,
    /// Noise bandwidth of the receiver, Hz (200: common practice, no source)
    #[arg(long, value_name = "HZ", default_value_t = 200.0, requires = "noise")]
    bandwidth: f64,
    /// How far a signal must stand over the noise, dB (10: common practice, no source)
    #[arg(long, value_name = "DB", default_value_t = 10.0, requires = "noise")]
    over_noise: f64,
    /// Chance to find the unit that the width of the search strip is given for
    #[arg(long, value_name = "CHANCE", default_value_t = 0.95)]
    strip_probability: f64,
    /// Count in the ground of this file: horizontal layers from the surface down
    /// (captures/ground.toml is an example)
    #[arg(long, value_name = "GROUND.toml", requires = "unit_depth")]
    ground: Option<PathBuf>,
    /// Depth of the unit below the surface, m
    #[arg(long, value_name = "METRES", requires = "ground", allow_hyphen_values = true)]
    unit_depth: Option<f64>,
    /// Height of the receiver coil over the surface, m
    #[arg(long, value_name = "METRES", default_value_t = 1.0, requires = "ground")]
    coil_height: f64,
    /// How both axes lay where readings are coplanar
    #[arg(long, value_enum, value_name = "HOW", default_value_t = Lying::Level, requires = "ground")]
    coplanar: Lying,
    /// Fit the resistivity of the soil, the last layer
    #[arg(long, value_enum, value_name = "WHEN", default_value_t = FitSoil::Auto, requires = "ground")]
    fit_soil: FitSoil,
    /// Show what the uncertainties are made of: with --ground those of the results over
    /// ground, else those of free space
    #[arg(long)]
    budget: bool,
    /// Write range.json, the charts and their data as CSV to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print one JSON document in place of the table
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
  coilrig range captures/range-demo.csv --threshold 80nA/m --out range-demo
  coilrig range captures/range-snow.csv --ground captures/ground.toml --unit-depth 1

With --ground, distance_m is still that between the centres of the coils; coaxial coils
point along the line between them, coplanar ones lie square to it.";

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FitOffset {
    /// Always
    Yes,
    /// Never
    No,
    /// When at least 5 readings over a ratio of 4 in distance show one
    Auto,
}

impl From<FitOffset> for OffsetChoice {
    fn from(choice: FitOffset) -> Self {
        match choice {
            FitOffset::Yes => Self::Yes,
            FitOffset::No => Self::No,
            FitOffset::Auto => Self::Auto,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Lying {
    /// Level, square to the line between the coils
    Level,
    /// In the vertical plane through that line, square to it
    Upright,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum FitSoil {
    /// Never: it is as stated
    No,
    /// When the readings bound it on both sides
    Auto,
}

/// Run the command.
pub fn run(args: &Range) -> Result<Outcome> {
    let mut book = args.into.open()?;
    let table = readings::read(&args.readings)?;
    let noise = args.noise_threshold()?;
    let mut options = Options {
        offset: args.fit_offset.into(),
        u_calibration_rel: common_u_rel(&table.u_calibration_rel),
        ..Options::default()
    };
    if !args.threshold.is_empty() {
        options.thresholds_a_per_m.clone_from(&args.threshold);
    }
    options.thresholds_a_per_m.extend(noise.map(|noise| noise.threshold_a_per_m));
    let ground = args.over_ground(options.frequency_hz)?;
    let findings = || {
        let analysis = analyse(&table.readings, &options)?;
        let over_ground = ground
            .as_ref()
            .map(|ground| analyse_over_ground(&table.readings, &options, ground))
            .transpose()?;
        Findings::new(analysis, over_ground, &options, args.strip_probability)
    };
    let mut findings = findings().map_err(|e| unusable(&args.readings, &table, &e))?;
    findings.noise_threshold = noise;
    findings.budgets =
        budget::of_fit(args.budget, &args.readings, || match &findings.over_ground {
            Some(ground) => budgets(&ground.fit, &table.readings, &ground.fitted.ranges),
            None => budgets(&findings.analysis.fit, &table.readings, &findings.analysis.ranges),
        })?;
    if let Some(folder) = &args.out {
        findings.write_all(folder, &table.readings)?;
        eprintln!("coilrig: wrote charts and tables to {}", folder.display());
    }
    let text = match args.json {
        true => findings.json()?,
        false => findings.text(&args.readings, &table.readings),
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}");
    if let (Some(book), Some(unit)) = (&mut book, &args.into.unit) {
        let entry = Measured {
            kind: MeasurementKind::Range,
            captures: Vec::new(),
            values: values::of_range(&findings.analysis),
            document_json: findings.json()?,
            at: args.at,
        };
        book.measured(Named::by_name(unit), None, &[entry])?;
    }
    Ok(Outcome::Done)
}

impl Range {
    fn noise_threshold(&self) -> Result<Option<NoiseThreshold>> {
        for (name, value, least) in
            [("--bandwidth", self.bandwidth, 0.0), ("--over-noise", self.over_noise, -200.0)]
        {
            if !(value > least && value < 1e6) {
                let what = format!("{name} {value} is of no use");
                return Err(Error::usage(what, "give a bandwidth in Hz, a distance in dB"));
            }
        }
        if let Some(noise) = self.noise.filter(|noise| *noise > 1e-3) {
            let what = format!("--noise {noise} A/m in 1 Hz drowns every transmitter");
            return Err(Error::usage(what, "give the noise in 1 Hz, such as 1.4nA/m"));
        }
        let of = |noise| NoiseThreshold::new(noise, self.bandwidth, self.over_noise);
        Ok(self.noise.map(of))
    }

    fn over_ground(&self, frequency_hz: f64) -> Result<Option<Arc<OverGround>>> {
        let (Some(path), Some(unit_depth_m)) = (&self.ground, self.unit_depth) else {
            return Ok(None);
        };
        let ground = ground_file::load(path)?;
        let heights = Heights { unit_depth_m, coil_height_m: self.coil_height };
        let coplanar = match self.coplanar {
            Lying::Level => Coplanar::Level,
            Lying::Upright => Coplanar::Upright,
        };
        let soil = match self.fit_soil {
            FitSoil::No => Soil::Known,
            FitSoil::Auto => Soil::Open,
        };
        OverGround::new(ground, frequency_hz, heights, coplanar, soil)
            .map(|ground| Some(Arc::new(ground)))
            .map_err(|e| match e {
                GroundError::Number { quantity: "the resistivity of the soil", .. } => Error::file(
                    path.display(),
                    format!("{e} where it is to be fitted"),
                    "use --fit-soil no, or state 1 to 100000 ohm m",
                ),
                GroundError::Number { .. } => {
                    Error::usage(e.to_string(), "give --unit-depth and --coil-height in metres")
                }
                _ => Error::file(path.display(), e.to_string(), "mend the file of layers"),
            })
    }
}

fn unusable(path: &Path, table: &Table, error: &RangeError) -> Error {
    let line = error.row().and_then(|row| table.lines.get(row - 1));
    let place = match line {
        Some(line) => format!("{}, line {line}", path.display()),
        None => path.display().to_string(),
    };
    let remedy = match error {
        RangeError::TooFew { .. } => "add readings, best at distances over a ratio of 4 or more",
        RangeError::OneDistance => "add readings at another distance in the same alignment",
        RangeError::NoFit => "check distances, fields and their units, or use --fit-offset no",
        RangeError::NotFinite { .. } | RangeError::NotPositive { .. } => "correct the row",
        RangeError::TooNear { .. } => {
            "give distances between the centres of the coils; check --unit-depth and --coil-height"
        }
        RangeError::Threshold(_) => "give a threshold such as 80nA/m",
        RangeError::Probability(_) => {
            return Error::usage(error.to_string(), "give --strip-probability such as 0.95");
        }
        RangeError::Calibration(_) => "correct the column u_calibration_rel",
    };
    Error::file(place, error.to_string(), remedy)
}
