//! The demo's surveys over angle and over a grid.

use std::path::{Path, PathBuf};

use coilrig_analysis::angle::{AngleAnalysis, Turned};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::scenario::Scenario;
use coilrig_analysis::survey::{Angle, Bearing, Grid, Place, Plan, Rectangle, Setup, Way};

use super::{SURVEYED, emulate, say, unit_on_a_stand};
use crate::calibration::Calibration;
use crate::error::{Error, Result};
use crate::link::Link;
use crate::output::angle;
use crate::runtime;
use crate::surveying::{Guided, Recording, SurveyRun};

const POINT_S: f64 = 8.0;
const STEP_DEG: f64 = 15.0;
const U_ANGLE_DEG: f64 = 0.5;
const DISTANCE_M: f64 = 4.0;
const U_DISTANCE_M: f64 = 0.01;
/// The field over the buried unit, high enough not to fill the receiver's ADC.
const OVER_M: Rectangle = Rectangle {
    corner_m: [-1.0, 6.0, 1.4],
    size_m: [6.0, 6.0],
    spacing_m: [1.5, 1.5],
    way: Way::Serpentine,
};
const U_PLACING_REL: f64 = 0.01;

/// Turn the unit on its stand, its case as it lay in the ground, and write what
/// follows to the folder "turned".
pub(super) fn turn(
    folder: &Path,
    scenario: &Scenario,
    calibration: &(PathBuf, Calibration),
) -> Result<AngleAnalysis> {
    let mut stand = unit_on_a_stand(scenario)?;
    stand.receiver.position_m = stand.units[0].position_m;
    stand.receiver.position_m[0] += DISTANCE_M;
    let emulator = emulate(&stand)?;
    let case_moment = buried_moment(scenario)?;
    let kind = Angle {
        turned: Turned::Unit,
        u_angle_deg: U_ANGLE_DEG,
        distance_m: Some(Reading::new(DISTANCE_M, U_DISTANCE_M)),
    };
    let plan = Plan::steps(0.0, 360.0, STEP_DEG).map_err(of_the_demo)?;
    say(&format!("turning \"{SURVEYED}\" on its stand"));
    let place = |point: Bearing| {
        let (sin, cos) = point.angle_deg.to_radians().sin_cos();
        let [x, y, z] = case_moment;
        emulator.lay(SURVEYED, [x * cos - y * sin, x * sin + y * cos, z])
    };
    let folder = folder.join("turned");
    let setup = Setup { plan, kind, carrier_hz: None };
    let run = survey(&folder, setup, calibration, emulator.device(), place)?;
    let analysis = run.survey().analyse().map_err(of_the_demo)?;
    angle::write_all(&folder, &analysis)?;
    Ok(analysis)
}

/// Carry the receiver over the unit as it lies in the ground, into the folder
/// "grid".
pub(super) fn grid(
    folder: &Path,
    scenario: &Scenario,
    calibration: &(PathBuf, Calibration),
) -> Result<()> {
    let mut alone = scenario.clone();
    alone.units.retain(|unit| unit.name == SURVEYED);
    let emulator = emulate(&alone)?;
    let plan = OVER_M.places().and_then(Plan::as_given).map_err(of_the_demo)?;
    let kind = Grid { u_placing_rel: U_PLACING_REL };
    say(&format!("carrying the receiver over \"{SURVEYED}\""));
    let place = |point: Place| emulator.place(point.position_m());
    let setup = Setup { plan, kind, carrier_hz: None };
    survey(&folder.join("grid"), setup, calibration, emulator.device(), place).map(|_| ())
}

/// Moment of the unit as it lies in the ground.
pub(super) fn buried_moment(scenario: &Scenario) -> Result<[f64; 3]> {
    let unit = scenario.units.iter().find(|unit| unit.name == SURVEYED);
    unit.map(|unit| unit.moment_a_m2).ok_or_else(|| of_the_demo(format!("no unit \"{SURVEYED}\"")))
}

fn survey<K: Guided>(
    folder: &Path,
    setup: Setup<K>,
    calibration: &(PathBuf, Calibration),
    device: &Path,
    mut place: impl FnMut(K::Point) -> Result<()>,
) -> Result<SurveyRun<K>> {
    let mut run = SurveyRun::begin(folder, setup)?;
    let how = Recording {
        duration_s: POINT_S,
        gain_step: 0,
        calibration: calibration.clone(),
        unit: Some(SURVEYED.into()),
    };
    let attempts = runtime::run(async {
        let mut link = Link::open(device).await?;
        run.record_all(&mut link, &how, |_, point| place(point), |_| ()).await
    })?;
    attempts.iter().flat_map(|(_, attempt)| &attempt.warnings).for_each(|w| say(w));
    let kept = run.survey().kept().count();
    say(&format!("{kept} of {} points recorded and measured", attempts.len()));
    Ok(run)
}

fn of_the_demo(what: impl std::fmt::Display) -> Error {
    Error::file("scenario.toml", what.to_string(), "report this: it is the demo's")
}
