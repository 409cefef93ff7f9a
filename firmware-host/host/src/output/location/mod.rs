//! A buried unit found: document, text, pictures and tables.

mod tables;
mod text;

use std::path::Path;

use coilrig_analysis::locate::{Location, Options, PlacedReading, as_taken};
use serde::Serialize;

use crate::error::{Error, Result};
use crate::files;

pub use text::for_people;

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    location: &'a Location,
}

/// The JSON document of the contract.
pub fn json(location: &Location) -> Result<String> {
    let document = Document { format: "coilrig-locate/1", location };
    let text = serde_json::to_string_pretty(&document).map_err(|e| {
        Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

/// Write everything that follows from the readings to `folder`: locate.json, the
/// pictures, and what they show as CSV.
pub fn write_all(
    folder: &Path,
    readings: &[PlacedReading],
    options: &Options<'_>,
    location: &Location,
    json: &str,
) -> Result<()> {
    files::make_folder(folder)?;
    let write = |name: &str, text: &str| files::write_whole(&folder.join(name), text.as_bytes());
    let readings = as_taken(readings, options);
    write("locate.json", json)?;
    write("residuals.csv", &tables::residuals(&readings, location))
}
