//! A survey over distance: where to stand, and how a reading lies to the dipole.

use std::path::Path;

use coilrig_analysis::range::{Alignment, RangeError};
use coilrig_analysis::survey::{Distance, Point, Survey};
use coilrig_analysis::units;

use super::kind::Guided;
use crate::error::Result;
use crate::readings;

/// Standard uncertainty of a distance taken with a tape, m.
pub const U_DISTANCE_M: f64 = 0.01;

impl Guided for Distance {
    const NAME: &'static str = "distance";
    const JOURNAL: &'static str = "coilrig-survey-journal/1";
    const LIST: &'static str = "give the columns capture,distance_m,alignment: a path, a number of metres \
                                 with a decimal point, and coaxial or coplanar";
    const BESIDE: &'static str = "beside the others";

    fn in_file_name(point: &Point) -> String {
        format!("{}-{}m", point.alignment, point.distance_m)
    }

    fn write_table(survey: &Survey<Self>, path: &Path) -> Result<()> {
        let kept = survey.kept().map(|k| (&k.taken.reading, k.taken.u_calibration_rel));
        readings::write(path, kept)
    }

    fn how_to_get_there(&self, point: &Point) -> Vec<String> {
        let first =
            format!("Place the receiver {} m from the unit, coil to coil,", point.distance_m);
        vec![first, where_that_is(point.alignment).into()]
    }

    fn judgement(survey: &Survey<Self>, number: usize) -> Vec<String> {
        let Some(comparison) = survey.compare(number) else {
            return match survey.fit() {
                Err(RangeError::TooFew { need, .. }) => {
                    vec![format!("no fit yet to compare with; it needs {need} readings")]
                }
                Err(why) => vec![format!("no fit to compare with: {why}")],
                Ok(_) => Vec::new(),
            };
        };
        let mut lines = vec![format!(
            "the fit so far expects {}: {} from it, {} times the uncertainty",
            units::field_reading(comparison.expected_a_per_m),
            units::plus_minus(comparison.difference_db, "dB"),
            units::significant(comparison.difference_u.abs(), 2),
        )];
        if comparison.is_surprising() {
            lines.push(
                "that is more than chance explains: check distance and alignment, and look for \
                 metal near by"
                    .into(),
            );
        }
        lines
    }

    fn beside(survey: &Survey<Self>, reading: usize) -> String {
        survey.compare(reading).map_or(String::new(), |c| units::plus_minus(c.difference_db, "dB"))
    }
}

fn where_that_is(alignment: Alignment) -> &'static str {
    match alignment {
        Alignment::Coaxial => {
            "coaxial: straight ahead of its antenna, on the line along which the antenna points."
        }
        Alignment::Coplanar => {
            "coplanar: beside it, square to the line along which its antenna points, at its height."
        }
    }
}
