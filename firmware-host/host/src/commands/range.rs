//! `coilrig range`: field over distance → dipole fit, range, coupling.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::limits::RECEIVER_THRESHOLD;
use coilrig_analysis::picture::coupling_over_distance::CouplingOverDistance;
use coilrig_analysis::picture::field_over_distance::FieldOverDistance;
use coilrig_analysis::range::{
    FieldReading, OffsetChoice, Options, RangeAnalysis, RangeError, analyse, common_u_rel,
};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;
use serde::Serialize;

use super::{CAUTIONS, Outcome};
use crate::error::{Error, Result};
use crate::files;
use crate::output::pictures;
use crate::readings::{self, Table};

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
    /// Write range.json, the charts and coupling.csv to this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print one JSON document in place of the table
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Example:
  coilrig range captures/range-demo.csv --threshold 80nA/m --out range-demo";

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

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    analysis: &'a RangeAnalysis,
}

/// Run the command.
pub fn run(args: &Range) -> Result<Outcome> {
    let table = readings::read(&args.readings)?;
    let mut options = Options {
        offset: args.fit_offset.into(),
        u_calibration_rel: common_u_rel(&table.u_calibration_rel),
        ..Options::default()
    };
    if !args.threshold.is_empty() {
        options.thresholds_a_per_m.clone_from(&args.threshold);
    }
    let analysis =
        analyse(&table.readings, &options).map_err(|e| unusable(&args.readings, &table, &e))?;
    let json = json(&analysis)?;
    if let Some(folder) = &args.out {
        write_all(folder, &table.readings, &analysis, &json)?;
        eprintln!("coilrig: wrote charts and tables to {}", folder.display());
    }
    let text = match args.json {
        true => json,
        false => for_people(&args.readings, &table.readings, &analysis),
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
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
        RangeError::Threshold(_) => "give a threshold such as 80nA/m",
        RangeError::Calibration(_) => "correct the column u_calibration_rel",
    };
    Error::file(place, error.to_string(), remedy)
}

/// The JSON document of the contract.
pub(crate) fn json(analysis: &RangeAnalysis) -> Result<String> {
    let document = Document { format: "coilrig-range/1", analysis };
    let text = serde_json::to_string_pretty(&document).map_err(|e| {
        Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

/// Write everything that follows from the readings to `folder`: range.json, the
/// charts, and the coupling as CSV.
pub(crate) fn write_all(
    folder: &Path,
    readings: &[FieldReading],
    analysis: &RangeAnalysis,
    json: &str,
) -> Result<()> {
    files::make_folder(folder)?;
    files::write_whole(&folder.join("range.json"), json.as_bytes())?;
    files::write_whole(&folder.join("coupling.csv"), coupling(readings, analysis).as_bytes())?;
    pictures::write(folder, "field_over_distance", &FieldOverDistance { readings, analysis })?;
    pictures::write(folder, "coupling_over_distance", &CouplingOverDistance { readings, analysis })
}

fn coupling(readings: &[FieldReading], analysis: &RangeAnalysis) -> String {
    let mut text = String::from("distance_m,alignment,field_a_per_m,coupling_db,u_coupling_db\n");
    for (r, db) in readings.iter().zip(&analysis.residuals_db) {
        text += &format!(
            "{},{},{:e},{:.4},{:.4}\n",
            r.distance_m, r.alignment, r.field_a_per_m, db.value, db.u
        );
    }
    text
}

/// The results as a text.
pub(crate) fn for_people(
    path: &Path,
    readings: &[FieldReading],
    analysis: &RangeAnalysis,
) -> String {
    let mut lines = vec![format!("{}: {} readings", path.display(), readings.len()), String::new()];
    let mut row = |name: &str, text: String| lines.push(format!("{name:<18}{text}"));
    row("moment", units::plus_minus(analysis.moment_a_m2.scaled(1e3), "mA·m²"));
    let at_10_m = analysis.field_at_10_m_a_per_m;
    row(
        "field at 10 m",
        format!("{} coaxial, {}", units::field_reading(at_10_m), units::field_level(at_10_m.value)),
    );
    row("slope", format!("{} (a dipole near by: −3)", units::plus_minus(analysis.slope, "")));
    row(
        "distance offset",
        analysis
            .distance_offset_m
            .map_or("none fitted".into(), |offset| units::plus_minus(offset, "m")),
    );
    row(
        "fit",
        format!(
            "chi squared {} for {} degrees of freedom",
            units::significant(analysis.chi_squared, 3),
            analysis.degrees_of_freedom
        ),
    );
    if analysis.u_calibration_rel > 0.0 {
        let share = units::significant(100.0 * analysis.u_calibration_rel, 2);
        row("calibration", format!("{share} % of field and moment, contained in their ±"));
    }
    lines.push(String::new());
    for reach in &analysis.ranges {
        let threshold = units::field(reach.threshold_a_per_m.value);
        lines.push(format!(
            "{threshold} at {} {}",
            units::plus_minus(reach.range_m, "m"),
            reach.alignment
        ));
    }
    if analysis.ranges.iter().any(|r| r.threshold_a_per_m.value == RECEIVER_THRESHOLD.field_a_per_m)
    {
        let memory = if RECEIVER_THRESHOLD.from_memory { ", quoted from memory" } else { "" };
        lines.push(format!(
            "({} is the {} of {}{memory})",
            units::field(RECEIVER_THRESHOLD.field_a_per_m),
            RECEIVER_THRESHOLD.name,
            RECEIVER_THRESHOLD.source
        ));
    }
    lines.push(String::new());
    lines
        .push(format!("{:>3}  {:>9}  {:<9}  {:<24}over theory", "row", "distance", "", "measured"));
    for ((number, r), db) in (1..).zip(readings).zip(&analysis.residuals_db) {
        let distance = format!("{} m", units::significant(r.distance_m, 4));
        let field = units::field_reading(Reading::new(r.field_a_per_m, r.u_field_a_per_m));
        let alignment = r.alignment.name();
        let coupling = units::plus_minus(*db, "dB");
        lines.push(format!("{number:>3}  {distance:>9}  {alignment:<9}  {field:<24}{coupling}"));
    }
    for note in &analysis.notes {
        lines.push(String::new());
        lines.push(format!("Note: {note}."));
    }
    lines.join("\n") + "\n"
}
