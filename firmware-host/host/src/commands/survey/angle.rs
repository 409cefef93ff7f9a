//! `coilrig survey angle`: coupling over angle, with a receiver or from a table.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::angle::{AngleAnalysis, AngleError, Law, Options, Turned, analyse, budgets};
use coilrig_analysis::range::common_u_rel;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::survey::{self as survey, Bearing, Plan, Setup, Step, Survey};

use super::common::{
    Guidance, Receiving, above_zero, captures_of, check_stated, from_captures, guided, listed,
    print, tell, zero_or_more,
};
use crate::angle_readings::{self, Table};
use crate::capture::reader::Capture;
use crate::commands::Outcome;
use crate::error::{Error, Result};
use crate::output::{angle as output, budget};
use crate::records::MeasurementKind;
use crate::records::book::{Book, Measured, Named};
use crate::records::values;
use crate::surveying::{self, U_ANGLE_DEG, U_DISTANCE_M};

/// Coupling over angle, with a receiver or from a table of readings
///
/// A unit is turned in place before a receiver that stays, or the receiver in the
/// field of a unit that stays; each angle is asked for in turn, as in a survey over
/// distance, and goes on in the same way. The greatest coupling, its angle and the
/// leakage come from the cosine law (a receiver of one axis, or turned itself) or
/// from that of a dipole's magnitude, √(1 + 3 cos²) (three axes before a unit that
/// is turned); three axes tell the unit's moment in its own case as well. The folder
/// gets the polar picture, also as data.
///
/// Angles are counter-clockwise seen from above. At 0° the mark on the unit's case
/// faces the receiver, whose x axis points away from the unit.
#[derive(Args)]
#[command(after_long_help = EXAMPLE)]
pub(super) struct Angle {
    /// Folder of the survey; with --readings a folder for the results
    #[arg(long, value_name = "PATH", required_unless_present = "readings")]
    out: Option<PathBuf>,
    /// Analyse this table: angle_deg,field_a_per_m,u_field_a_per_m (degrees, A/m);
    /// may have u_angle_deg, hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m and
    /// u_calibration_rel
    #[arg(long, value_name = "FILE", conflicts_with_all = ["port", "angles", "step"])]
    readings: Option<PathBuf>,
    #[command(flatten)]
    receiving: Receiving,
    /// From one angle to the next, degrees [default: 15]
    #[arg(long, value_name = "DEG", value_parser = above_zero)]
    step: Option<f64>,
    /// First angle, degrees [default: 0]
    #[arg(long, value_name = "DEG", allow_hyphen_values = true)]
    from: Option<f64>,
    /// Last angle, degrees; after a whole turn the first does not come again
    /// [default: a whole turn]
    #[arg(long, value_name = "DEG", allow_hyphen_values = true)]
    to: Option<f64>,
    /// Angles in degrees, in this order, in place of steps
    #[arg(long, value_name = "LIST", value_delimiter = ',', allow_hyphen_values = true)]
    #[arg(conflicts_with_all = ["step", "from", "to"])]
    angles: Vec<f64>,
    /// What is turned [default: unit]
    #[arg(long, value_name = "WHAT")]
    turned: Option<WhatTurns>,
    /// The law, where it is known; else that of the set-up, or the one that fits
    #[arg(long, value_name = "LAW", requires = "readings")]
    law: Option<StatedLaw>,
    /// Standard uncertainty of each angle, degrees [default: 1; of a table what it
    /// says, else 0]
    #[arg(long, value_name = "DEG", value_parser = zero_or_more)]
    u_angle: Option<f64>,
    /// Distance between the middles of unit and receiver, m, for the moment in A·m²
    #[arg(long, value_name = "M", value_parser = above_zero)]
    distance: Option<f64>,
    /// Standard uncertainty of the distance, m [default: 0.01]
    #[arg(long, value_name = "M", value_parser = zero_or_more, requires = "distance")]
    u_distance: Option<f64>,
    /// Show what the uncertainties are made of
    #[arg(long, requires = "readings")]
    budget: bool,
    /// Captures made before: a table capture,angle_deg, paths relative to it
    #[arg(long, value_name = "FILE")]
    #[arg(conflicts_with_all = ["port", "readings", "angles", "step", "from", "to"])]
    captures: Option<PathBuf>,
    /// Print one JSON document in place of the table
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Examples:
  coilrig survey angle --out unit-7-turned --port /dev/ttyACM0 \\
      --calibration CR-0001.toml --step 15 --distance 2
  coilrig survey angle --readings captures/angle-demo.csv --distance 2 --out turned";

/// Steps that are wide enough to be done and fine enough to see harmonics.
const STEP_DEG: f64 = 15.0;

#[derive(Clone, Copy, Debug, ValueEnum)]
enum WhatTurns {
    /// The unit, before a receiver that stays
    Unit,
    /// The receiver, in the field of a unit that stays
    Coil,
}

impl From<WhatTurns> for Turned {
    fn from(what: WhatTurns) -> Self {
        match what {
            WhatTurns::Unit => Self::Unit,
            WhatTurns::Coil => Self::Coil,
        }
    }
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum StatedLaw {
    /// |cos|, one axis
    Cosine,
    /// √(1 + 3 cos²), the magnitude over three axes of a unit that is turned
    Dipole,
}

impl From<StatedLaw> for Law {
    fn from(law: StatedLaw) -> Self {
        match law {
            StatedLaw::Cosine => Self::Cosine,
            StatedLaw::Dipole => Self::Dipole,
        }
    }
}

/// Run the command.
pub(super) fn run(args: &Angle) -> Result<Outcome> {
    match (&args.readings, &args.captures, &args.out) {
        (Some(table), ..) => from_table(args, table),
        (None, Some(list), Some(out)) => of_captures(args, list, out),
        (None, None, Some(out)) => from_receiver(args, out),
        (None, _, None) => Err(Error::usage("no --out is given", "name a folder for the survey")),
    }
}

fn from_table(args: &Angle, path: &Path) -> Result<Outcome> {
    let book = args.receiving.open_records()?;
    let mut table = angle_readings::read(path)?;
    if let Some(u_angle_deg) = args.u_angle {
        table.readings.iter_mut().for_each(|r| r.u_angle_deg = u_angle_deg);
    }
    let options = Options {
        turned: args.turned.map_or(Turned::Unit, Turned::from),
        law: args.law.map(Law::from),
        u_calibration_rel: common_u_rel(&table.u_calibration_rel),
        distance_m: distance_m(args),
    };
    let analysis = analyse(&table.readings, &options).map_err(|e| unusable(path, &table, &e))?;
    if let Some(folder) = &args.out {
        output::write_all(folder, &analysis)?;
        eprintln!("coilrig: wrote the picture and tables to {}", folder.display());
    }
    let budgets = budget::of_fit(args.budget, path, || budgets(&analysis))?;
    print(&match args.json {
        true => output::json(&analysis, budgets.as_deref())?,
        false => format!(
            "{}: {} readings\n{}{}",
            path.display(),
            table.readings.len(),
            output::lines(&analysis),
            budgets.as_deref().map_or(String::new(), budget::tables)
        ),
    })?;
    enter(args, book, &analysis, &[])?;
    Ok(Outcome::Done)
}

fn unusable(path: &Path, table: &Table, error: &AngleError) -> Error {
    let line = error.row().and_then(|row| table.lines.get(row - 1));
    let place = match line {
        Some(line) => format!("{}, line {line}", path.display()),
        None => path.display().to_string(),
    };
    let remedy = match error {
        AngleError::NotFinite { .. } | AngleError::NotPositive { .. } => "correct the row",
        AngleError::TooFew { .. } => "take more angles, best a whole turn in steps of 15°",
        AngleError::OneAngle(_) => "turn the unit or the receiver from reading to reading",
        AngleError::Radians { .. } => "give angles in degrees: a whole turn is 360",
        AngleError::TooNarrow { .. } => "turn farther, best a whole turn",
        AngleError::OtherUnit { .. } => "give all fields in A/m, not some in mA/m or µA/m",
        AngleError::Mixed { .. } => "give components in all rows, or in none",
        AngleError::OtherMagnitude { .. } => {
            "give the magnitude over the components as the field, all in A/m"
        }
        AngleError::NoCoupling => {
            "check what was turned: a receiver of three axes that is turned needs --turned coil"
        }
        AngleError::NoFit => "check angles, fields and their units",
        AngleError::Calibration(_) => "correct the column u_calibration_rel",
    };
    Error::file(place, error.to_string(), remedy)
}

fn of_captures(args: &Angle, list: &Path, out: &Path) -> Result<Outcome> {
    let listed = surveying::read_list::<survey::Angle>(list)?;
    let book = args.receiving.open_records()?;
    let taken = from_captures(out, &listed, kind(args), args.receiving.carrier)?;
    if out.is_dir()
        && let Ok(analysis) = taken.survey.analyse()
    {
        output::write_all(out, &analysis)?;
    }
    tell(&taken.survey, &taken.table, args.json)?;
    enter_survey(args, book, &taken.survey, Path::new(""))?;
    taken.outcome()
}

fn from_receiver(args: &Angle, out: &Path) -> Result<Outcome> {
    let book = args.receiving.open_records()?;
    let run = guided(
        Guidance {
            out,
            receiving: &args.receiving,
            needs: "give --port and --calibration, --captures, or a table by --readings",
        },
        |begun| check_agrees(args, out, begun),
        || setup(args),
    )?;
    if let Ok(analysis) = run.survey().analyse() {
        output::write_all(out, &analysis)?;
    }
    tell(run.survey(), &run.table_path(), args.json)?;
    enter_survey(args, book, run.survey(), out)?;
    Ok(Outcome::Done)
}

/// Enter a survey that is finished, whose captures are relative to `folder`.
fn enter_survey(
    args: &Angle,
    book: Option<Book>,
    survey: &Survey<survey::Angle>,
    folder: &Path,
) -> Result<()> {
    if book.is_none() || survey.next() != Step::Finished {
        return Ok(());
    }
    match survey.analyse() {
        Ok(analysis) => enter(args, book, &analysis, &captures_of(survey, folder)?),
        Err(why) => {
            eprintln!("coilrig: not entered: {why}");
            Ok(())
        }
    }
}

fn enter(
    args: &Angle,
    book: Option<Book>,
    analysis: &AngleAnalysis,
    captures: &[Capture],
) -> Result<()> {
    let (Some(mut book), Some(unit)) = (book, &args.receiving.unit) else { return Ok(()) };
    let entry = Measured {
        kind: MeasurementKind::Angle,
        captures: captures.iter().collect(),
        values: values::of_angle(analysis),
        document_json: output::json(analysis, None)?,
        at: None,
    };
    let calibration = args.receiving.calibration.as_ref();
    book.measured(Named::by_name(unit), calibration, &[entry])
}

fn distance_m(args: &Angle) -> Option<Reading> {
    args.distance.map(|value| Reading::new(value, args.u_distance.unwrap_or(U_DISTANCE_M)))
}

/// The plan that the command line states, if it states one.
fn stated_plan(args: &Angle) -> Result<Option<Plan<survey::Angle>>> {
    let states_steps = args.step.is_some() || args.from.is_some() || args.to.is_some();
    if states_steps || !args.angles.is_empty() { plan(args).map(Some) } else { Ok(None) }
}

fn plan(args: &Angle) -> Result<Plan<survey::Angle>> {
    let plan = if args.angles.is_empty() {
        let from_deg = args.from.unwrap_or(0.0);
        let to_deg = args.to.unwrap_or(from_deg + 360.0);
        Plan::steps(from_deg, to_deg, args.step.unwrap_or(STEP_DEG))
    } else {
        let bearing = |&angle_deg: &f64| Bearing { angle_deg };
        Plan::as_given(args.angles.iter().map(bearing).collect())
    };
    plan.map_err(|e| Error::usage(e.to_string(), "give --step 15, or --angles 0,15,30,45"))
}

fn kind(args: &Angle) -> survey::Angle {
    survey::Angle {
        turned: args.turned.map_or(Turned::Unit, Turned::from),
        u_angle_deg: args.u_angle.unwrap_or(U_ANGLE_DEG),
        distance_m: distance_m(args),
    }
}

fn setup(args: &Angle) -> Result<Setup<survey::Angle>> {
    Ok(Setup { plan: plan(args)?, kind: kind(args), carrier_hz: args.receiving.carrier })
}

/// What is stated again for a survey that has begun must be what it began with.
fn check_agrees(args: &Angle, out: &Path, begun: &Setup<survey::Angle>) -> Result<()> {
    let plan = stated_plan(args)?;
    let option = if args.angles.is_empty() { "--step" } else { "--angles" };
    check_stated(out, option, plan.as_ref(), &begun.plan, listed(&begun.plan))?;
    let survey::Angle { turned, u_angle_deg, distance_m: distance } = begun.kind;
    let word = match turned {
        Turned::Unit => "the unit",
        Turned::Coil => "the coil",
    };
    check_stated(out, "--turned", args.turned.map(Turned::from).as_ref(), &turned, word)?;
    check_stated(out, "--u-angle", args.u_angle.as_ref(), &u_angle_deg, u_angle_deg)?;
    let had = distance.map_or("none".into(), |d| format!("{} ± {} m", d.value, d.u));
    check_stated(out, "--distance", distance_m(args).map(Some).as_ref(), &distance, had)
}
