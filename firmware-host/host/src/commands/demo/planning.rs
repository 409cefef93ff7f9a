//! The demo's plan of a training field.

use std::path::Path;

use coilrig_analysis::plan::{Options, Plan};
use coilrig_analysis::station::Station;

use super::say;
use crate::error::{Error, Result};
use crate::output::plan::{self as output, Planned};
use crate::{files, station_file};

const STATION: &str = include_str!("../../../../../captures/station.toml");

/// Plan the invented training field and write what follows to the folder "plan".
pub(super) fn plan(folder: &Path) -> Result<(Station, Plan)> {
    let path = folder.join("training-field.toml");
    files::write_whole(&path, STATION.as_bytes())?;
    let station = station_file::load(&path)?;
    say(&format!("planning \"{}\", {} units", station.name, station.units.len()));
    let plan = Plan::of(&station, Options::usual(&station))
        .map_err(|e| Error::file(path.display(), e.to_string(), "report this: it is the demo's"))?;
    let planned = Planned { station: &station, replaced: &[], plan: &plan };
    output::write_all(&folder.join("plan"), &planned, &output::json(&planned)?)?;
    Ok((station, plan))
}
