//! `coilrig survey distance`: field over distance.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::range::Alignment;
use coilrig_analysis::survey::{self as survey, Order, Plan, Point, Setup, parse_point};

use super::common::{
    Guidance, Receiving, check_stated, from_captures, guided, listed, tell, zero_or_more,
};
use crate::commands::Outcome;
use crate::error::{Error, Result};
use crate::surveying::{self, Listed, U_DISTANCE_M};

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
pub(super) struct Distance {
    /// Folder of the survey; with captures also the name of a table, NAME.csv
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    #[command(flatten)]
    receiving: Receiving,
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
    /// Standard uncertainty of each distance, m [default: 0.01]
    #[arg(long, value_name = "M", value_parser = zero_or_more)]
    u_distance: Option<f64>,
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
pub(super) fn run(args: &Distance) -> Result<Outcome> {
    match (&args.captures, args.capture.is_empty()) {
        (Some(list), _) => of_captures(args, surveying::read_list::<survey::Distance>(list)?),
        (None, false) => of_captures(args, args.capture.clone()),
        (None, true) => from_receiver(args),
    }
}

fn of_captures(args: &Distance, mut listed: Vec<Listed>) -> Result<Outcome> {
    if order(args) == Order::NearestFirst {
        listed.sort_by(|a, b| a.point.by_nearness(&b.point));
    }
    let kind = survey::Distance { u_distance_m: args.u_distance.unwrap_or(U_DISTANCE_M) };
    let book = args.receiving.open_records()?;
    let taken = from_captures(&args.out, &listed, kind, args.receiving.carrier)?;
    tell(&taken.survey, &taken.table, args.json)?;
    let places = (Path::new(""), &*taken.table);
    args.receiving.enter_captures(book, &taken.survey, places, "range")?;
    taken.outcome()
}

fn from_receiver(args: &Distance) -> Result<Outcome> {
    let book = args.receiving.open_records()?;
    let run = guided(
        Guidance {
            out: &args.out,
            receiving: &args.receiving,
            needs: "give --port, --calibration and --distances, or captures",
        },
        |begun| check_agrees(args, begun),
        || setup(args),
    )?;
    tell(run.survey(), &run.table_path(), args.json)?;
    let places = (&*args.out, &*run.table_path());
    args.receiving.enter_captures(book, run.survey(), places, "range")?;
    Ok(Outcome::Done)
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
    let kind = survey::Distance { u_distance_m };
    Ok(Setup { plan, kind, carrier_hz: args.receiving.carrier })
}

/// What is stated again for a survey that has begun must be what it began with.
fn check_agrees(args: &Distance, begun: &Setup) -> Result<()> {
    let plan = stated_plan(args)?;
    let had = listed(&begun.plan);
    check_stated(&args.out, "--distances", plan.as_ref(), &begun.plan, had)?;
    let u_distance_m = begun.kind.u_distance_m;
    check_stated(&args.out, "--u-distance", args.u_distance.as_ref(), &u_distance_m, u_distance_m)
}
