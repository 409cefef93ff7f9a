//! A buried unit found: document, text, pictures and tables.

mod tables;
mod text;

use std::path::Path;

use coilrig_analysis::locate::section::{Section, SurfaceMap};
use coilrig_analysis::locate::{Location, Options, PlacedReading, as_taken};
use coilrig_analysis::picture::field_on_surface::FieldOnSurface;
use coilrig_analysis::picture::field_sections::{LevelSection, UprightSection};
use coilrig_analysis::picture::location_residuals::LocationResiduals;
use serde::Serialize;

use crate::error::{Error, Result};
use crate::files;
use crate::output::budget::NamedBudget;
use crate::output::pictures;

pub use text::for_people;

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    location: &'a Location,
    #[serde(skip_serializing_if = "Option::is_none")]
    budgets: Option<&'a [NamedBudget]>,
}

/// The JSON document of the contract, with budgets where there are some.
pub fn json(location: &Location, budgets: Option<&[NamedBudget]>) -> Result<String> {
    let document = Document { format: "coilrig-locate/1", location, budgets };
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
    write("residuals.csv", &tables::residuals(&readings, location))?;
    let upright = Section::upright(&readings, location);
    write("section_upright.csv", &tables::upright_lines(&upright))?;
    let picture = UprightSection { section: &upright, location };
    pictures::write(folder, "section_upright", &picture)?;
    let level = Section::level(&readings, location);
    write("section_level.csv", &tables::level_lines(&level))?;
    pictures::write(folder, "section_level", &LevelSection { section: &level, location })?;
    let map = SurfaceMap::of(&readings, location);
    write("field_on_surface.csv", &tables::map(&map, location))?;
    let picture = FieldOnSurface { map: &map, readings: &readings, location };
    pictures::write(folder, "field_on_surface", &picture)?;
    pictures::write(folder, "residuals", &LocationResiduals { readings: &readings, location })
}
