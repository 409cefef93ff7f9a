//! `coilrig survey`: guided readings.

use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};
use coilrig_analysis::range::Alignment;
use coilrig_analysis::survey::{Order, Plan, Point, Setup, Step, Survey, parse_point};

use super::{CAUTIONS, Outcome, load_calibration};
use crate::error::{Error, Result};
use crate::link::Link;
use crate::output::survey as output;
use crate::surveying::{self, Answers, Listed, Recording, SurveyRun, TABLE};
use crate::{files, readings, runtime};

/// Take readings of a unit at known places
#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    kind: KindOfSurvey,
}

#[derive(Subcommand)]
enum KindOfSurvey {
    Distance(Distance),
}

/// Field over distance, with a receiver or from captures
///
/// With a receiver, each point is asked for in turn: place the receiver, press
/// Enter, see the reading beside the fit to the others, keep it or not. The
/// folder keeps the captures, a journal of every step and readings.csv. A survey
/// that was broken off goes on where it was when the same folder is given again.
///
/// The readings are for `coilrig range`.
#[derive(Args)]
#[command(after_long_help = EXAMPLE)]
struct Distance {
    /// Folder of the survey; with captures also the name of a table, NAME.csv
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    /// Port of the receiver; `coilrig ports` lists them
    #[arg(long, value_name = "PATH", requires = "calibration")]
    port: Option<PathBuf>,
    /// Distances between the coils in m, with an alignment where it is another:
    /// 2,3,5,5:coplanar,7
    #[arg(long, value_name = "LIST", value_delimiter = ',')]
    distances: Vec<String>,
    /// How the receiver stands to the unit: coaxial, straight ahead of its
    /// antenna, or coplanar, beside it [default: coaxial]
    #[arg(long, value_name = "WORD", requires = "distances")]
    alignment: Option<Aligned>,
    /// Take the points in the order given, not nearest first
    #[arg(long)]
    as_given: bool,
    /// Calibration file of the receiver
    #[arg(long, value_name = "FILE", requires = "port")]
    calibration: Option<PathBuf>,
    /// How long to record at each point, s
    #[arg(long, value_name = "S", default_value_t = 20.0, value_parser = above_zero)]
    seconds: f64,
    /// Gain step of the receiver
    #[arg(long, value_name = "STEP", default_value_t = 0)]
    gain: u8,
    /// Name of the surveyed unit, for the captures
    #[arg(long, value_name = "TEXT")]
    unit: Option<String>,
    /// Standard uncertainty of each distance, m [default: 0.01]
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_distance: Option<f64>,
    /// Survey the unit with the carrier nearest to this, Hz; else the strongest
    #[arg(long, value_name = "HZ", value_parser = above_zero)]
    carrier: Option<f64>,
    /// Captures made before: a table capture,distance_m,alignment, paths relative
    /// to it
    #[arg(long, value_name = "FILE", conflicts_with_all = ["port", "distances"])]
    captures: Option<PathBuf>,
    /// A capture made before and its place; may be repeated
    #[arg(long, value_name = "PATH@5m:coaxial", value_parser = surveying::parse_argument)]
    #[arg(conflicts_with_all = ["port", "distances", "captures"])]
    capture: Vec<Listed>,
    /// Print one JSON document in place of the table
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Examples:
  coilrig survey distance --out field-3 --port /dev/ttyACM0 \\
      --calibration CR-0001.toml --distances 2,3,5,7,10,14,20
  coilrig survey distance --out field-3.csv \\
      --capture near@3m --capture mid@6m --capture beside@6m:coplanar
  coilrig range field-3/readings.csv";

/// Standard uncertainty of a distance taken with a tape, m.
const U_DISTANCE_M: f64 = 0.01;

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Aligned {
    Coaxial,
    Coplanar,
}

impl From<Aligned> for Alignment {
    fn from(word: Aligned) -> Self {
        match word {
            Aligned::Coaxial => Self::Coaxial,
            Aligned::Coplanar => Self::Coplanar,
        }
    }
}

/// Run the command.
pub fn run(args: Arguments) -> Result<Outcome> {
    let KindOfSurvey::Distance(args) = args.kind;
    // Before anybody switches a unit on.
    eprintln!("{CAUTIONS}");
    match (&args.captures, args.capture.is_empty()) {
        (Some(list), _) => from_captures(&args, surveying::read_list(list)?),
        (None, false) => from_captures(&args, args.capture.clone()),
        (None, true) => guided(&args),
    }
}

fn from_captures(args: &Distance, listed: Vec<Listed>) -> Result<Outcome> {
    if SurveyRun::resume(&args.out)?.is_some() {
        return Err(Error::usage(
            format!("{} holds a guided survey, which is never overwritten", args.out.display()),
            "give another --out for the captures",
        ));
    }
    let u_distance_m = args.u_distance.unwrap_or(U_DISTANCE_M);
    let (survey, mut errors) =
        surveying::survey_of(listed, order(args), u_distance_m, args.carrier, |warning| {
            eprintln!("coilrig: {warning}");
        })?;
    let last = errors.pop();
    errors.iter().for_each(|e| eprintln!("coilrig: {e}"));
    if let Some(error) = last.as_ref().filter(|_| survey.kept().next().is_none()) {
        return Err(error.clone());
    }
    let table = if is_table(&args.out) {
        files::must_be_new(&args.out)?;
        args.out.clone()
    } else {
        files::make_folder(&args.out)?;
        args.out.join(TABLE)
    };
    readings::write(&table, survey.kept().map(|k| (&k.taken.reading, k.taken.u_calibration_rel)))?;
    tell(&survey, &table, args.json)?;
    last.map_or(Ok(Outcome::Done), Err)
}

fn guided(args: &Distance) -> Result<Outcome> {
    if is_table(&args.out) {
        return Err(Error::usage(
            format!("a guided survey needs a folder, not {}", args.out.display()),
            "give --out without .csv; the table will be readings.csv in it",
        ));
    }
    let begun = SurveyRun::resume(&args.out)?;
    if let Some(run) = &begun {
        check_agrees(args, run.survey().setup())?;
        say_what_is_there(&args.out, run.survey());
    }
    let how = match (&args.port, &args.calibration) {
        (Some(port), Some(path)) => Some((
            port,
            Recording {
                duration_s: args.seconds,
                gain_step: args.gain,
                calibration: (path.clone(), load_calibration(path)?),
                unit: args.unit.clone(),
            },
        )),
        _ => None,
    };
    let run = match (begun, how) {
        (Some(run), None) => run,
        (None, None) => {
            return Err(Error::usage(
                "there is nothing to survey with",
                "give --port, --calibration and --distances, or captures",
            ));
        }
        (begun, Some((port, how))) => {
            runtime::run(async {
                let stop = runtime::stop_signal()?;
                // A receiver that is not there is better known before a folder is.
                Link::open(port).await?;
                let mut run = match begun {
                    Some(run) => run,
                    None => SurveyRun::begin(&args.out, setup(args)?)?,
                };
                let answers = Answers::of(BufReader::new(std::io::stdin()))?;
                surveying::guide(&mut run, port, &how, answers, stop).await?;
                Ok(run)
            })?
        }
    };
    if run.survey().next() != Step::Finished {
        eprintln!("points are still due; the same command goes on with them");
    }
    tell(run.survey(), &run.table_path(), args.json)?;
    Ok(Outcome::Done)
}

fn is_table(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"))
}

fn order(args: &Distance) -> Order {
    if args.as_given { Order::AsGiven } else { Order::NearestFirst }
}

/// The plan that the command line states, if it states one.
fn stated_plan(args: &Distance) -> Result<Option<Plan>> {
    if args.distances.is_empty() {
        return Ok(None);
    }
    let alignment = args.alignment.map_or(Alignment::Coaxial, Alignment::from);
    let points = args.distances.iter().map(|text| parse_point(text, alignment));
    points
        .collect::<std::result::Result<Vec<Point>, _>>()
        .and_then(|points| Plan::new(points, order(args)))
        .map(Some)
        .map_err(|e| {
            Error::usage(format!("--distances: {e}"), "list metres, as 2,3,5,5:coplanar,7")
        })
}

fn setup(args: &Distance) -> Result<Setup> {
    let plan = stated_plan(args)?.ok_or_else(|| {
        Error::usage(
            format!("{} holds no survey, and no distances are given", args.out.display()),
            "give --distances, as 2,3,5,7,10,14,20",
        )
    })?;
    let u_distance_m = args.u_distance.unwrap_or(U_DISTANCE_M);
    Ok(Setup { plan, u_distance_m, carrier_hz: args.carrier })
}

/// What is stated again for a survey that has begun must be what it began with.
fn check_agrees(args: &Distance, begun: &Setup) -> Result<()> {
    let refuse = |option: &str, had: String| {
        Err(Error::usage(
            format!(
                "{option} is not that of the survey in {}, which has {had}",
                args.out.display()
            ),
            format!("leave {option} out to go on with it, or give another --out"),
        ))
    };
    let listed =
        |plan: &Plan| plan.points().iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    if stated_plan(args)?.is_some_and(|plan| plan != begun.plan) {
        return refuse("--distances", listed(&begun.plan));
    }
    if args.u_distance.is_some_and(|u| u != begun.u_distance_m) {
        return refuse("--u-distance", format!("{}", begun.u_distance_m));
    }
    if args.carrier.is_some() && args.carrier != begun.carrier_hz {
        return refuse(
            "--carrier",
            begun.carrier_hz.map_or("the strongest unit".into(), |hz| format!("{hz}")),
        );
    }
    Ok(())
}

fn say_what_is_there(folder: &Path, survey: &Survey) {
    let count = survey.points().count();
    eprintln!(
        "{}: a survey of {count} points, {} of them with a reading",
        folder.display(),
        survey.kept().count()
    );
    if let Step::Decide(number) = survey.next() {
        eprintln!("reading {number} was taken and not yet decided on");
    }
}

/// The summary on standard output, the path of the table last.
fn tell(survey: &Survey, table: &Path, json: bool) -> Result<()> {
    let text = match json {
        true => output::json(survey, table)?,
        false => format!("{}readings: {}\n", output::table(survey), table.display()),
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))
}

fn above_zero(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number above zero, as 20".into()),
    }
}

fn zero_or_more(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err("give a number, 0 or more, as 0.02".into()),
    }
}
