//! A plan as a document, as a text, as pictures and tables.

mod document;
mod tables;
mod text;

use std::path::Path;

use coilrig_analysis::picture::field_over_station::FieldOverStation;
use coilrig_analysis::picture::first_heard::FirstHeardMap;
use coilrig_analysis::picture::masking_matrix::MaskingMatrix;
use coilrig_analysis::picture::maxima_above::MaximaAbove;
use coilrig_analysis::picture::station_map::StationMap;
use coilrig_analysis::picture::strongest_unit::StrongestUnit;
use coilrig_analysis::plan::{Plan, Replaced, Space};
use coilrig_analysis::station::Station;
use coilrig_analysis::units;

use crate::error::Result;
use crate::files;
use crate::output::pictures;

pub use document::json;
pub use text::for_people;

/// A station and what it will do.
pub struct Planned<'a> {
    /// The station, measured values in place of planned ones.
    pub station: &'a Station,
    /// Which those are.
    pub replaced: &'a [Replaced],
    /// What it will do.
    pub plan: &'a Plan,
}

impl Planned<'_> {
    /// The map of the walk.
    pub fn walk_picture<'b>(&'b self, computed: &'b str) -> FirstHeardMap<'b> {
        FirstHeardMap { on: self.on(computed), field: &self.plan.field, walk: &self.plan.walk }
    }

    /// How the field was computed.
    pub fn computed(&self) -> String {
        let height = units::significant(self.plan.options.height_m, 3);
        let space = match self.plan.options.space {
            Space::Free => "free space: snow and soil are left out".to_owned(),
            Space::SnowOverSoil { snow_depth_m, soil_resistivity_ohm_m } => {
                let snow = units::significant(snow_depth_m, 3);
                let soil = units::significant(soil_resistivity_ohm_m, 3);
                format!("{snow} m of snow over soil of {soil} Ω·m, laid along the slope")
            }
        };
        format!("Receiver {height} m over the snow; {space}.")
    }

    fn on<'b>(&'b self, computed: &'b str) -> StationMap<'b> {
        StationMap {
            station: self.station,
            bounds: self.plan.bounds,
            threshold_a_per_m: self.plan.options.threshold_a_per_m,
            computed,
        }
    }
}

/// Write the plan to `folder`: plan.json, a picture for each question, and what they show
/// as CSV.
pub fn write_all(folder: &Path, planned: &Planned<'_>, json: &str) -> Result<()> {
    files::make_folder(folder)?;
    let write = |name: &str, text: &str| files::write_whole(&folder.join(name), text.as_bytes());
    let Planned { station, plan, .. } = planned;
    let computed = planned.computed();
    write("plan.json", json)?;
    write("masking.csv", &tables::masking(&plan.masking)?)?;
    let matrix = MaskingMatrix { station: &station.name, masking: &plan.masking };
    pictures::write(folder, "masking", &matrix)?;
    write("field_map.csv", &tables::field_map(planned)?)?;
    let on = planned.on(&computed);
    pictures::write(folder, "field_map", &FieldOverStation { on, map: &plan.map })?;
    write("strongest_unit.csv", &tables::shares(planned)?)?;
    let strongest = StrongestUnit { on, map: &plan.map, shares: &plan.shares };
    pictures::write(folder, "strongest_unit", &strongest)?;
    write("first_heard.csv", &tables::first_heard(planned)?)?;
    write("search_paths.csv", &tables::search_paths(planned)?)?;
    pictures::write(folder, "first_heard", &planned.walk_picture(&computed))?;
    write("maxima.csv", &tables::maxima(planned)?)?;
    let maxima = MaximaAbove { station, field: &plan.on_the_snow, units: &plan.above };
    pictures::write(folder, "maxima", &maxima)
}
