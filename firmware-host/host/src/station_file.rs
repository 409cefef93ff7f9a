//! Station files.

use std::path::Path;

use coilrig_analysis::station::Station;

use crate::error::{Error, Result};
use crate::files;

/// Read the station at `path`.
///
/// # Errors
///
/// A file that cannot be read or is no station, with the line and what to do.
pub fn load(path: &Path) -> Result<Station> {
    let text = files::read_text(path)?;
    Station::parse(&text).map_err(|e| {
        let place = match e.line {
            Some(line) => format!("{}, line {line}", path.display()),
            None => path.display().to_string(),
        };
        Error::file(place, e.what, e.remedy)
    })
}
