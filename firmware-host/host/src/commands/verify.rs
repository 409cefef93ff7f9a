//! `coilrig verify`: a unit against limits.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use coilrig_analysis::conformity::{DEFAULT_RISK, Decision, Rule};
use coilrig_analysis::verification::{Placement, Setup};

use super::into_records::{WhichRecords, check_stated, no_unit};
use super::{Outcome, load_for_captures};
use crate::error::{Error, Result};
use crate::output::{sheet, verification};
use crate::records::book::{Book, Named};
use crate::verifying::{self, Examined, Identity, Terms, UnitVerified, Unjudged};
use crate::{files, limits_file};

/// Judge a unit by a set of limits: conforms, does not conform, or undecided
///
/// All captures are of one unit; each is judged, and the worst counts (with --batch
/// each unit has its own). The field at the distance of the limit is taken from that
/// at --distance. Exit code 1 says that a unit does not conform.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Verify {
    /// SigMF recordings: the .sigmf-meta or .sigmf-data file, or the name of both
    #[arg(required = true, value_name = "CAPTURE")]
    captures: Vec<PathBuf>,
    /// Calibration file of the receiver, in place of what the captures state
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Limits: en-300-718-1, erc-70-03, ets-300-718, en-282, or a TOML file of your
    /// own [default: those of --built, or en-300-718-1]
    #[arg(long, value_name = "NAME|FILE")]
    limits: Option<String>,
    /// Year the unit was made in: judge it by the limits of its time, with the newer
    /// ones shown beside
    #[arg(long, value_name = "YEAR", conflicts_with = "limits")]
    built: Option<i32>,
    /// From the middle of the receiver's coils to the middle of the unit's antenna, in
    /// metres; without it the field is not judged
    #[arg(long, value_name = "METRES", requires = "alignment")]
    distance: Option<f64>,
    /// Standard uncertainty of the distance, in metres
    #[arg(long, value_name = "METRES", default_value_t = Setup::U_DISTANCE_M, requires = "distance")]
    u_distance: f64,
    /// How receiver and antenna stood
    #[arg(long, value_enum, value_name = "HOW", requires = "distance")]
    alignment: Option<Alignment>,
    /// Standard uncertainty of each tilt of an antenna, in degrees
    #[arg(long, value_name = "DEGREES", default_value_t = Setup::U_TILT_RAD.to_degrees(), requires = "distance")]
    u_orientation: f64,
    /// Standard uncertainty of the field for metal and wires near by, in per cent; the
    /// ground is counted in by the distance
    #[arg(long, value_name = "PERCENT", default_value_t = 100.0 * Setup::U_SURROUNDINGS_REL, requires = "distance")]
    u_surroundings: f64,
    /// Greatest risk of a wrong decision, in per cent
    #[arg(long, value_name = "PERCENT", default_value_t = 100.0 * DEFAULT_RISK)]
    risk: f64,
    /// Which transmitter is the unit, where a capture holds several: T1, T2, …
    #[arg(long, value_name = "LABEL")]
    transmitter: Option<String>,
    /// Judge a rack of units: captures of the same unit (as named when recording)
    /// belong together, all others are units of their own; worst first
    #[arg(long, conflicts_with_all = ["unit", "serial", "transmitter"])]
    batch: bool,
    /// Add what each uncertainty is made of
    #[arg(long)]
    budget: bool,
    /// Print one JSON document (an array with --batch)
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Print CSV, one row a quantity
    #[arg(long)]
    csv: bool,
    /// Write the sheet of the unit, or of all of a batch, as one HTML page to print
    #[arg(long, value_name = "FILE.html")]
    sheet: Option<PathBuf>,
    #[command(flatten)]
    identity: Identity,
    #[command(flatten)]
    records: WhichRecords,
}

const EXAMPLE: &str = "\
Example:
  coilrig verify unit-7 --distance 3 --alignment coaxial --sheet unit-7.html
  coilrig verify old --built 1995 --distance 2 --alignment coplanar --budget
  coilrig verify x y z --distance 2 --alignment unknown
  coilrig verify --batch rack/*.sigmf-meta --distance 3 --alignment coaxial --sheet rack.html";

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Alignment {
    /// Receiver on the axis of the unit's antenna
    Coaxial,
    /// Receiver beside the antenna, coils parallel to it
    Coplanar,
    /// Not known: three captures from directions square to each other, same distance
    Unknown,
}

impl From<Alignment> for Placement {
    fn from(alignment: Alignment) -> Self {
        match alignment {
            Alignment::Coaxial => Self::Coaxial,
            Alignment::Coplanar => Self::Coplanar,
            Alignment::Unknown => Self::ThreeDirections,
        }
    }
}

/// Run the command.
pub fn run(args: &Verify) -> Result<Outcome> {
    let terms = terms(args)?;
    let mut book = open_records(args)?;
    let (examined, unjudged) = examine_all(args)?;
    let warnings = examined.iter().flat_map(|e| &e.measured.warnings);
    warnings.for_each(|warning| eprintln!("coilrig: {warning}"));
    let mut units: Vec<UnitVerified> = grouped(examined, args.batch)
        .into_iter()
        .map(|captures| UnitVerified::new(args.identity.clone(), captures, &terms))
        .map(|unit| match unjudged.iter().any(|u| u.name == unit.name()) {
            true => unit.in_part(),
            false => unit,
        })
        .collect();
    units.sort_by(|a, b| {
        let least = |u: &UnitVerified| u.verification.verdict.probability_of_conformity_at_least;
        b.decision().cmp(&a.decision()).then(least(a).total_cmp(&least(b)))
    });
    if let Some(path) = &args.sheet {
        let page = sheet::html(&units, &unjudged, &terms, args.batch, args.budget)?;
        files::write_whole(path, page.as_bytes())?;
        eprintln!("coilrig: wrote {}", path.display());
    }
    let text = if args.json {
        verification::document::json(&units, &terms, args.batch, args.budget)?
    } else if args.csv {
        verification::csv::csv(&units, &terms)?
    } else if args.batch {
        verification::table::batch(&units, &unjudged, &terms)
    } else {
        units.iter().map(|u| verification::table::unit(u, &terms, args.budget)).collect()
    };
    std::io::stdout()
        .write_all(text.as_bytes())
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))?;
    let mut errors = unjudged.into_iter().map(|u| u.error).collect::<Vec<_>>();
    for unit in &units {
        let Some(book) = &mut book else { break };
        let document =
            verification::document::json(std::slice::from_ref(unit), &terms, false, args.budget)?;
        let entered = book.verified(unit, args.calibration.as_ref(), &terms.set.name, &document);
        // One unit that cannot be entered must not cost the entries of the others.
        errors.extend(entered.err());
    }
    if let Some(last) = errors.pop() {
        errors.iter().for_each(|error| eprintln!("coilrig: {error}"));
        return Err(last);
    }
    match units.iter().any(|u| u.decision() == Decision::DoesNotConform) {
        true => Ok(Outcome::NotConforming),
        false => Ok(Outcome::Done),
    }
}

/// The records to enter into. A unit whose name cannot be entered is better known
/// before it is measured.
fn open_records(args: &Verify) -> Result<Option<Book>> {
    let named = args.identity.unit.as_deref();
    if args.records.is_asked_for() && named.is_none() {
        let unit_of = |path: &PathBuf| Unjudged::unit_of(path);
        if let Some(nameless) = args.captures.iter().find(|path| unit_of(path).is_none()) {
            return Err(no_unit(nameless.display()));
        }
    }
    let book = args.records.open_for(named)?;
    if let (Some(book), Some(name)) = (&book, named) {
        book.check(Named { name, serial: args.identity.serial.as_deref() })?;
        for path in &args.captures {
            check_stated(path, Unjudged::unit_of(path).as_deref(), name)?;
        }
    }
    Ok(book)
}

fn terms(args: &Verify) -> Result<Terms> {
    let set = limits_file::find(args.limits.as_deref(), args.built)?;
    let rule = Rule::new(0.01 * args.risk).map_err(|_| {
        Error::usage(format!("--risk {} %", args.risk), "give a risk between 0.01 and 25 per cent")
    })?;
    let setup = match (args.distance, args.alignment) {
        (Some(distance_m), Some(alignment)) => Some(Setup {
            u_distance_m: args.u_distance,
            u_tilt_rad: args.u_orientation.to_radians(),
            u_surroundings_rel: 0.01 * args.u_surroundings,
            ..Setup::at(distance_m, alignment.into())
        }),
        _ => None,
    };
    if let Some(setup) = &setup {
        setup.check().map_err(|e| Error::usage(e.to_string(), "correct the option"))?;
        let several = setup.placement == Placement::ThreeDirections;
        if several && !args.batch && args.captures.len() != 3 {
            return Err(Error::usage(
                format!("--alignment unknown with {} captures", args.captures.len()),
                "give three captures from directions square to each other at the same distance, \
                 or find out how the antenna lies",
            ));
        }
    }
    Ok(Terms { set, rule, setup })
}

/// All captures, in order. In a batch one bad capture must not cost the results of
/// the others.
fn examine_all(args: &Verify) -> Result<(Vec<Examined>, Vec<Unjudged>)> {
    let (mut good, mut bad) = (Vec::new(), Vec::new());
    let calibration = load_for_captures(args.calibration.as_deref())?;
    for path in &args.captures {
        match verifying::examine(path, args.transmitter.as_deref(), calibration.as_ref()) {
            Ok(examined) => good.push(examined),
            Err(error) if !args.batch => return Err(error),
            Err(error) => bad.push(Unjudged::new(path, error)),
        }
    }
    match bad.pop() {
        Some(last) if good.is_empty() => {
            bad.iter().for_each(|unjudged| eprintln!("coilrig: {}", unjudged.error));
            Err(last.error)
        }
        last => {
            bad.extend(last);
            Ok((good, bad))
        }
    }
}

/// Captures by unit, in the order in which the units came.
fn grouped(examined: Vec<Examined>, batch: bool) -> Vec<Vec<Examined>> {
    if !batch {
        return vec![examined];
    }
    let mut groups: Vec<Vec<Examined>> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for capture in examined {
        let name = capture.measured.capture.meta.global.unit.clone();
        let place = name.and_then(|name| match places.get(&name) {
            Some(place) => Some(*place),
            None => {
                places.insert(name, groups.len());
                None
            }
        });
        match place {
            Some(place) => groups[place].push(capture),
            None => groups.push(vec![capture]),
        }
    }
    groups
}
