//! `coilrig demo`: the whole job with no hardware.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use coilrig_analysis::picture::pulse_timeline::{Bar, PulseTimeline};
use coilrig_analysis::range::{Alignment, Options};
use coilrig_analysis::scenario::{Scenario, truth};
use coilrig_analysis::survey::{Distance, Order, Plan, Point, Setup};
use jiff::Timestamp;

mod places;
mod planning;

use super::{CAUTIONS, Outcome};
use crate::calibration::Calibration;
use crate::emulator::{self, EmulatorHandle, Pace};
use crate::error::{Error, Result};
use crate::link::Link;
use crate::measuring::{self, Keep, Measured};
use crate::output::demo_report::{Agreement, DemoReport, agreements};
use crate::output::plan::Planned;
use crate::output::range::Findings;
use crate::output::{angle, measurement, pictures};
use crate::surveying::{Recording, SurveyRun};
use crate::{files, readings, recording, runtime};

/// Do the whole job once with an emulated receiver
///
/// An invented station of three buried transmitters is heard by an emulated
/// receiver on a pseudo-terminal, through the same code as a real one on a
/// serial port: recorded, measured, compared with what the scenario says; then
/// one unit is surveyed over distance and over angle and compared with dipole
/// theory, and the receiver carried over it where it is buried; a training field is
/// planned. Ends with a report. Needs no hardware and no network.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Demo {
    /// Folder for the results; it must be new or empty [default: coilrig-demo,
    /// or the first of coilrig-demo-2, coilrig-demo-3, … that is free]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

const EXAMPLE: &str = "\
Example:
  coilrig demo
  coilrig demo --out first-look";

const SCENARIO: &str = include_str!("../../../../captures/demo.toml");
const CAPTURE_S: f64 = 60.0;
/// The stretch of the capture that the pulse chart shows.
const SHOWN_S: f64 = 12.0;
/// Unit that is surveyed, on a stand, before it is buried.
const SURVEYED: &str = "north";
const POINT_S: f64 = 15.0;
const U_DISTANCE_M: f64 = 0.01;
const COAXIAL_M: [f64; 7] = [4.0, 5.0, 7.0, 10.0, 14.0, 20.0, 28.0];
const COPLANAR_M: [f64; 4] = [4.0, 7.0, 12.0, 20.0];
/// Height of the stand and of the receiver beside it.
const STAND_M: f64 = 1.5;

/// Chance to find a unit that search strips are given for.
const STRIP_PROBABILITY: f64 = 0.95;

/// Run the command.
pub fn run(args: &Demo) -> Result<Outcome> {
    let folder = folder(args.out.as_deref())?;
    let scenario_path = folder.join("scenario.toml");
    files::write_whole(&scenario_path, SCENARIO.as_bytes())?;
    let scenario = emulator::load(&scenario_path)?;
    let date = Timestamp::now().strftime("%Y-%m-%d").to_string();
    let calibration_path = folder.join("calibration.toml");
    emulator::calibration(&scenario, &date).save(&calibration_path)?;
    let calibration = (calibration_path.clone(), Calibration::load(&calibration_path)?);

    let measured = record_station(&folder, &scenario, &calibration)?;
    print(&measurement::table(&measured))?;
    let agreements = agreements(&truth(&scenario), &measured.measurement);
    print(&Agreement::table(&agreements))?;
    let timeline = timeline(&measured);
    pictures::write(&folder, "pulses", &timeline)?;

    let survey = survey(&folder, &scenario, &calibration)?;
    let table = readings::read(&survey.table_path())?;
    let analysis = survey.survey().analyse().map_err(|e| {
        Error::file(survey.table_path().display(), e.to_string(), "report this: it is the demo's")
    })?;
    let range_folder = folder.join("range");
    let findings = Findings::new(analysis, None, &Options::default(), STRIP_PROBABILITY)
        .map_err(|e| Error::file(range_folder.display(), e.to_string(), "report this"))?;
    findings.write_all(&range_folder, &table.readings)?;
    print(&findings.text(&survey.table_path(), &table.readings))?;

    let turned = places::turn(&folder, &scenario, &calibration)?;
    print(&angle::lines(&turned))?;
    places::grid(&folder, &scenario, &calibration)?;
    let (station, plan) = planning::plan(&folder)?;

    let surveyed = unit_on_a_stand(&scenario)?;
    let report = DemoReport {
        date: &date,
        scenario: &scenario,
        measured: &measured,
        agreements: &agreements,
        timeline: &timeline,
        surveyed: SURVEYED,
        surveyed_moment_a_m2: norm(surveyed.units[0].moment_a_m2),
        readings: &table.readings,
        analysis: &findings.analysis,
        turned: &turned,
        case_moment_a_m2: places::buried_moment(&scenario)?,
        planned: &Planned { station: &station, replaced: &[], plan: &plan },
    };
    let report_path = folder.join("report.html");
    files::write_whole(&report_path, report.html()?.as_bytes())?;
    print(&format!(
        "\nResults in {}:\n\
         \x20 report.html                      the report, one file\n\
         \x20 station.sigmf-meta, -data        the capture, {CAPTURE_S} s of three axes, pulses annotated\n\
         \x20 station.json, station.csv        the transmitters found\n\
         \x20 survey/                          the capture of every point, readings.csv, the journal\n\
         \x20 range/                           dipole fit as JSON, coupling as CSV, charts\n\
         \x20 turned/                          coupling over angle: captures, readings, polar picture\n\
         \x20 grid/                            field vectors over the buried unit: captures, readings\n\
         \x20 plan/, training-field.toml       what a training field will do: maps, tables\n\
         \x20 pulses.svg, pulses.png           the pulses over time\n\
         \x20 scenario.toml, calibration.toml  what was emulated, and the rig's calibration\n",
        folder.display()
    ))?;
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
}

fn say(text: &str) {
    eprintln!("demo: {text}");
}

fn print(text: &str) -> Result<()> {
    writeln!(std::io::stdout(), "{text}")
        .map_err(|e| Error::io(Path::new("standard output"), "write to", &e))
}

/// The folder asked for, or the first free one of the default names.
fn folder(asked: Option<&Path>) -> Result<PathBuf> {
    let is_free = |path: &Path| {
        std::fs::read_dir(path).map_or(!path.exists(), |mut entries| entries.next().is_none())
    };
    let folder = match asked {
        Some(path) if !is_free(path) => {
            let what = "is there already and not empty; nothing is overwritten";
            return Err(Error::file(path.display(), what, "name a new folder with --out"));
        }
        Some(path) => path.to_owned(),
        None => std::iter::once(PathBuf::from("coilrig-demo"))
            .chain((2..).map(|n| PathBuf::from(format!("coilrig-demo-{n}"))))
            .find(|path| is_free(path))
            .unwrap_or_default(),
    };
    files::make_folder(&folder)?;
    Ok(folder)
}

fn emulate(scenario: &Scenario) -> Result<EmulatorHandle> {
    let options = emulator::Options { pace: Pace::Full, ..emulator::Options::default() };
    emulator::spawn(scenario, options)
}

fn record_station(
    folder: &Path,
    scenario: &Scenario,
    calibration: &(PathBuf, Calibration),
) -> Result<Measured> {
    let emulator = emulate(scenario)?;
    say(&format!(
        "an emulated receiver with {} transmitters around it is on {}",
        scenario.units.len(),
        emulator.device().display()
    ));
    let options = recording::Options {
        name: folder.join("station"),
        duration_s: Some(CAPTURE_S),
        calibration: Some(calibration.clone()),
        note: Some("demo: emulated receiver, invented station".into()),
        ..recording::Options::default()
    };
    let summary = runtime::run(async {
        let stop = runtime::stop_signal()?;
        let mut link = Link::open(emulator.device()).await?;
        recording::record(options, &mut link, |_| (), stop).await
    })?;
    say(&format!("recorded {:.0} s into {}", summary.duration_s, summary.capture.display()));
    let measured = measuring::measure(&summary.capture, Keep { pulses: true, ..Keep::default() })?;
    measured.warnings.iter().for_each(|w| say(w));
    measuring::annotate(&measured)?;
    let all = std::slice::from_ref(&measured);
    files::write_whole(&folder.join("station.json"), measurement::json(all, false)?.as_bytes())?;
    files::write_whole(&folder.join("station.csv"), measurement::csv(all)?.as_bytes())?;
    say(&format!("found {} transmitters", measured.measurement.transmitters.len()));
    Ok(measured)
}

fn timeline(measured: &Measured) -> PulseTimeline {
    let rows = measured.measurement.transmitters.iter().map(|t| {
        let own = measured.pulses.iter().filter(|p| p.1.is_some_and(|n| t.trains.contains(&n)));
        let bars = own.map(|(p, _)| Bar { on_s: p.on_s, off_s: p.off_s, overlapped: p.overlapped });
        (t.label.clone(), bars.collect())
    });
    PulseTimeline { rows: rows.collect(), from_s: 0.0, until_s: SHOWN_S }
}

/// The surveyed unit alone, on a stand, its axis along x.
fn unit_on_a_stand(scenario: &Scenario) -> Result<Scenario> {
    let mut stand = scenario.clone();
    stand.units.retain(|unit| unit.name == SURVEYED);
    let unit = stand.units.first_mut().ok_or_else(|| {
        Error::file("scenario.toml", format!("has no unit \"{SURVEYED}\""), "report this")
    })?;
    unit.position_m = [0.0, 0.0, STAND_M];
    unit.moment_a_m2 = [norm(unit.moment_a_m2), 0.0, 0.0];
    stand.receiver.position_m = [COAXIAL_M[0], 0.0, STAND_M];
    Ok(stand)
}

fn norm(v: [f64; 3]) -> f64 {
    v.iter().map(|c| c * c).sum::<f64>().sqrt()
}

fn survey(
    folder: &Path,
    scenario: &Scenario,
    calibration: &(PathBuf, Calibration),
) -> Result<SurveyRun> {
    let emulator = emulate(&unit_on_a_stand(scenario)?)?;
    let point = |alignment| move |distance_m| Point { distance_m, alignment };
    let points = COAXIAL_M.map(point(Alignment::Coaxial)).into_iter();
    let points = points.chain(COPLANAR_M.map(point(Alignment::Coplanar))).collect();
    let plan = Plan::new(points, Order::NearestFirst)
        .map_err(|e| Error::usage(e.to_string(), "report this: the plan is the demo's"))?;
    let kind = Distance { u_distance_m: U_DISTANCE_M };
    let setup = Setup { plan, kind, carrier_hz: None };
    let mut run = SurveyRun::begin(&folder.join("survey"), setup)?;
    let how = Recording {
        duration_s: POINT_S,
        gain_step: 0,
        calibration: calibration.clone(),
        unit: Some(SURVEYED.into()),
    };
    say(&format!("surveying \"{SURVEYED}\" on a stand"));
    let place = |_: usize, point: Point| {
        let along = match point.alignment {
            Alignment::Coaxial => [point.distance_m, 0.0, STAND_M],
            Alignment::Coplanar => [0.0, point.distance_m, STAND_M],
        };
        emulator.place(along)
    };
    let attempts = runtime::run(async {
        let mut link = Link::open(emulator.device()).await?;
        run.record_all(&mut link, &how, place, |_| ()).await
    })?;
    say(&format!("{} points recorded and measured", attempts.len()));
    for warning in attempts.iter().flat_map(|(_, attempt)| &attempt.warnings) {
        say(warning);
    }
    Ok(run)
}
