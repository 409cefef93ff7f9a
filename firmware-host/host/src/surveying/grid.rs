//! A survey over places: where to stand, how to hold the receiver, and its table.

use std::path::Path;

use coilrig_analysis::survey::{Grid, Kind, Place, Survey};
use coilrig_analysis::units;

use super::kind::Guided;
use crate::error::{Error, Result};
use crate::files;
use crate::link::Link;
use crate::readings::CALIBRATION_COLUMN;

/// Columns of the table, with [`CALIBRATION_COLUMN`] behind them.
const COLUMNS: &str = "x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m";

/// What placing and holding the receiver adds, as a share of the field: 1 cm at 1 m in a
/// field that falls with the cube; common practice, no source.
pub const U_PLACING_REL: f64 = 0.03;

impl Guided for Grid {
    const NAME: &'static str = "grid";
    const JOURNAL: &'static str = "coilrig-grid-survey-journal/1";
    const LIST: &'static str = "give the columns capture,x_m,y_m,z_m: a path, and three numbers of metres with \
                                 decimal points";
    const BESIDE: &'static str = "along x, y, z";

    fn check_receiver(link: &Link) -> Result<()> {
        if link.receiver().axes == 3 {
            return Ok(());
        }
        Err(Error::receiver(
            link.path().display(),
            "the receiver has one axis, and one axis tells neither the direction nor the \
             magnitude of a field",
            "survey places with a receiver of three axes",
        ))
    }

    fn in_file_name(point: &Place) -> String {
        format!("x{}-y{}-z{}", point.x_m, point.y_m, point.z_m)
    }

    fn write_table(survey: &Survey<Self>, path: &Path) -> Result<()> {
        let mut text = format!("{COLUMNS},{CALIBRATION_COLUMN}\n");
        for kept in survey.kept() {
            let r = &kept.taken.reading;
            let [x, y, z] = r.h_a_per_m;
            text += &format!(
                "{},{},{},{x:e},{y:e},{z:e},{:e},{}\n",
                r.place.x_m, r.place.y_m, r.place.z_m, r.u_a_per_m, kept.taken.u_calibration_rel
            );
        }
        files::write_whole(path, text.as_bytes())
    }

    fn how_to_get_there(&self, point: &Place) -> Vec<String> {
        vec![
            format!("Put the middle of the receiver's coils at {point},"),
            "its x axis along the station's x, its y axis along y, its z axis up.".into(),
        ]
    }

    fn judgement(survey: &Survey<Self>, number: usize) -> Vec<String> {
        let mut lines = vec![format!("along x, y, z: {}", Self::beside(survey, number))];
        let field = survey.reading(number).map(|taken| Self::field_a_per_m(&taken.reading).value);
        lines.push(match (survey.strongest(), field) {
            (Some((_, most)), Some(field)) if field > most.value => "the strongest so far".into(),
            (Some((point, most)), _) => {
                format!("the strongest so far is {} at point {point}", units::field(most.value))
            }
            (None, _) => "the first".into(),
        });
        lines
    }

    fn beside(survey: &Survey<Self>, reading: usize) -> String {
        survey
            .reading(reading)
            .map_or(String::new(), |taken| taken.reading.h_a_per_m.map(units::field).join(", "))
    }
}
