//! `coilrig survey grid`: the field vector at places on a grid or along lines.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::survey::{self as survey, Place, Plan, PlanError, Rectangle, Setup, Way};

use super::common::{Guidance, Receiving, check_stated, from_captures, guided, tell, zero_or_more};
use crate::commands::Outcome;
use crate::error::{Error, Result};
use crate::surveying::{self, U_PLACING_REL};

/// Field vectors over a rectangle or along lines, with a receiver of three axes
///
/// Each place is asked for in turn, as in a survey over distance, and goes on in the
/// same way. Hold the receiver with its axes along those of the station: x along x,
/// z up. The folder keeps the captures, a journal of every step and readings.csv,
/// with the field along x, y, z at each place; the sign of the three together is
/// unknown. A receiver of one axis is refused: it tells neither direction nor
/// magnitude.
///
/// The readings are for `coilrig locate`.
#[derive(Args)]
#[command(after_long_help = EXAMPLE)]
pub(super) struct Grid {
    /// Folder of the survey; with captures also the name of a table, NAME.csv
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    #[command(flatten)]
    receiving: Receiving,
    /// Extent of the rectangle along x and y, m: 8x8, or 8x0 for a line
    #[arg(long, value_name = "XxY", value_parser = by_x, requires = "spacing")]
    size: Option<Pair>,
    /// Greatest distance from place to place, m; one number, or 1x2 along x and y
    #[arg(long, value_name = "M", value_parser = one_or_two)]
    spacing: Option<Pair>,
    /// Corner of least x and y, m: X,Y or X,Y,Z; Z is the height of all places
    /// [default: 0,0,0]
    #[arg(long, value_name = "X,Y,Z", value_parser = position, allow_hyphen_values = true)]
    #[arg(requires = "size")]
    origin: Option<Position>,
    /// A line of places from one point to another, m, in place of a rectangle; may be
    /// repeated
    #[arg(long, value_name = "X,Y,Z:X,Y,Z", value_parser = line, allow_hyphen_values = true)]
    #[arg(conflicts_with = "size", requires = "spacing")]
    line: Vec<Line>,
    /// Way over the rectangle [default: serpentine]
    #[arg(long, value_name = "WAY", requires = "size")]
    way: Option<StatedWay>,
    /// What placing and holding the receiver adds to the standard uncertainty of each
    /// component, as a share of the field [default: 0.03, as 1 cm does at 1 m from
    /// the unit, or 2° of tilt]
    #[arg(long, value_name = "SHARE", value_parser = zero_or_more)]
    u_placing: Option<f64>,
    /// Captures made before: a table capture,x_m,y_m,z_m, paths relative to it
    #[arg(long, value_name = "FILE", conflicts_with_all = ["port", "size", "line"])]
    captures: Option<PathBuf>,
    /// Print one JSON document in place of the table
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Examples:
  coilrig survey grid --out field-3 --port /dev/ttyACM0 \\
      --calibration CR-0001.toml --size 8x8 --spacing 2
  coilrig survey grid --out field-4 --port /dev/ttyACM0 \\
      --calibration CR-0001.toml --spacing 1 --line 0,0,0:8,0,2 --line 0,4,0:8,4,2";

#[derive(Clone, Copy, Debug, ValueEnum)]
enum StatedWay {
    /// To and fro
    Serpentine,
    /// Each row from the same side
    Rows,
}

impl From<StatedWay> for Way {
    fn from(way: StatedWay) -> Self {
        match way {
            StatedWay::Serpentine => Self::Serpentine,
            StatedWay::Rows => Self::Rows,
        }
    }
}

type Pair = [f64; 2];
type Position = [f64; 3];

/// A line from one point to another, m.
#[derive(Clone, Copy, Debug)]
struct Line {
    from_m: Position,
    to_m: Position,
}

fn by_x(text: &str) -> std::result::Result<Pair, String> {
    let wrong = || "give two numbers, as 8x8".to_owned();
    let (x, y) = text.split_once('x').ok_or_else(wrong)?;
    let number = |text: &str| text.trim().parse::<f64>().map_err(|_| wrong());
    Ok([number(x)?, number(y)?])
}

fn one_or_two(text: &str) -> std::result::Result<Pair, String> {
    match text.parse::<f64>() {
        Ok(both) => Ok([both, both]),
        Err(_) => by_x(text).map_err(|_| "give a number, as 1, or two, as 1x2".into()),
    }
}

/// Two or three numbers; the height is 0 where it is left out.
fn position(text: &str) -> std::result::Result<Position, String> {
    let numbers: std::result::Result<Vec<f64>, _> =
        text.split(',').map(|part| part.trim().parse()).collect();
    match numbers.as_deref() {
        Ok(&[x, y]) => Ok([x, y, 0.0]),
        Ok(&[x, y, z]) => Ok([x, y, z]),
        _ => Err("give two or three numbers with commas, as 0,4 or 0,4,1.5".into()),
    }
}

fn line(text: &str) -> std::result::Result<Line, String> {
    let (from, to) = text.split_once(':').ok_or("give two points, as 0,0,0:8,0,0")?;
    Ok(Line { from_m: position(from)?, to_m: position(to)? })
}

/// Run the command.
pub(super) fn run(args: &Grid) -> Result<Outcome> {
    if let Some(list) = &args.captures {
        let listed = surveying::read_list::<survey::Grid>(list)?;
        let book = args.receiving.open_records()?;
        let taken = from_captures(&args.out, &listed, kind(args), args.receiving.carrier)?;
        tell(&taken.survey, &taken.table, args.json)?;
        let places = (Path::new(""), &*taken.table);
        args.receiving.enter_captures(book, &taken.survey, places, "locate")?;
        return taken.outcome();
    }
    let book = args.receiving.open_records()?;
    let run = guided(
        Guidance {
            out: &args.out,
            receiving: &args.receiving,
            needs: "give --port, --calibration, --spacing, and --size or --line, or --captures",
        },
        |begun| check_agrees(args, &args.out, begun),
        || setup(args),
    )?;
    tell(run.survey(), &run.table_path(), args.json)?;
    let places = (&*args.out, &*run.table_path());
    args.receiving.enter_captures(book, run.survey(), places, "locate")?;
    Ok(Outcome::Done)
}

/// The plan that the command line states, if it states one.
fn stated_plan(args: &Grid) -> Result<Option<Plan<survey::Grid>>> {
    let Some(spacing_m) = args.spacing else { return Ok(None) };
    let places = match args.size {
        Some(size_m) => {
            let corner_m = args.origin.unwrap_or_default();
            let way = args.way.map_or(Way::Serpentine, Way::from);
            Rectangle { corner_m, size_m, spacing_m, way }.places()
        }
        None => along_lines(&args.line, spacing_m[0]),
    };
    places
        .and_then(Plan::as_given)
        .map(Some)
        .map_err(|e| Error::usage(e.to_string(), "give --spacing 2 --size 8x8, in m"))
}

fn along_lines(lines: &[Line], spacing_m: f64) -> std::result::Result<Vec<Place>, PlanError> {
    let mut places = Vec::new();
    for Line { from_m, to_m } in lines {
        places.extend(survey::line(*from_m, *to_m, spacing_m)?);
    }
    Ok(places)
}

fn setup(args: &Grid) -> Result<Setup<survey::Grid>> {
    let plan = stated_plan(args)?.ok_or_else(|| {
        Error::usage(
            format!("{} holds no survey, and no places are given", args.out.display()),
            "give --spacing, and --size or --line",
        )
    })?;
    Ok(Setup { plan, kind: kind(args), carrier_hz: args.receiving.carrier })
}

fn kind(args: &Grid) -> survey::Grid {
    survey::Grid { u_placing_rel: args.u_placing.unwrap_or(U_PLACING_REL) }
}

/// What is stated again for a survey that has begun must be what it began with.
fn check_agrees(args: &Grid, out: &Path, begun: &Setup<survey::Grid>) -> Result<()> {
    let plan = stated_plan(args)?;
    let points = begun.plan.points();
    let had = format!("{} places from {} on", points.len(), points[0]);
    check_stated(out, "--spacing with --size or --line", plan.as_ref(), &begun.plan, had)?;
    let u_placing_rel = begun.kind.u_placing_rel;
    check_stated(out, "--u-placing", args.u_placing.as_ref(), &u_placing_rel, u_placing_rel)
}
