//! A survey over angle: how to turn, and how a reading lies to the law.

use std::path::Path;

use coilrig_analysis::angle::{AngleError, Turned};
use coilrig_analysis::survey::{Angle, Bearing, Survey};
use coilrig_analysis::units;

use super::kind::Guided;
use crate::angle_readings;
use crate::error::Result;

/// Standard uncertainty of an angle set by a disc with marks, degrees.
pub const U_ANGLE_DEG: f64 = 1.0;

impl Guided for Angle {
    const NAME: &'static str = "angle";
    const JOURNAL: &'static str = "coilrig-angle-survey-journal/1";
    const LIST: &'static str = "give the columns capture,angle_deg: a path, and a number of degrees with a \
                                 decimal point";
    const BESIDE: &'static str = "beside the others (u)";

    fn in_file_name(point: &Bearing) -> String {
        format!("{}deg", point.angle_deg)
    }

    fn write_table(survey: &Survey<Self>, path: &Path) -> Result<()> {
        let kept = survey.kept().map(|k| (k.taken.reading, k.taken.u_calibration_rel));
        angle_readings::write(path, &kept.collect::<Vec<_>>())
    }

    fn how_to_get_there(&self, point: &Bearing) -> Vec<String> {
        let what = match self.turned {
            Turned::Unit => "the unit",
            Turned::Coil => "the receiver",
        };
        let mut lines = vec![format!(
            "Turn {what} to {point}, counter-clockwise seen from above, about its own middle;"
        )];
        lines.push(match self.turned {
            Turned::Unit => {
                "the receiver stays: level with the unit, its x axis away from the unit.".into()
            }
            Turned::Coil => "the unit stays where and as it is.".into(),
        });
        if point.angle_deg == 0.0 {
            lines.push(match self.turned {
                Turned::Unit => "At 0° the mark on its case faces the receiver.".into(),
                Turned::Coil => "At 0° the receiver's x axis points to the unit.".into(),
            });
            lines
                .push("Where one axis has its null, nothing may be heard: skip that angle.".into());
        }
        lines
    }

    fn judgement(survey: &Survey<Self>, number: usize) -> Vec<String> {
        let Some(beside) = survey.beside_law(number) else {
            return match survey.analyse() {
                Err(AngleError::TooFew { .. } | AngleError::TooNarrow { .. }) => {
                    vec!["no law yet to compare with; it needs six angles over 150°".into()]
                }
                Err(why) => vec![format!("no law to compare with: {why}")],
                Ok(_) => Vec::new(),
            };
        };
        let mut lines = vec![format!(
            "the others lead to expect {}: {} times the uncertainty from it",
            units::field_reading(beside.expected_a_per_m),
            units::significant(beside.difference_u.abs(), 2),
        )];
        if beside.is_surprising() {
            lines.push(
                "that is more than chance explains: check the angle, and that nothing else moved"
                    .into(),
            );
        }
        lines
    }

    fn beside(survey: &Survey<Self>, reading: usize) -> String {
        let signed = |b: coilrig_analysis::survey::BesideLaw| units::significant(b.difference_u, 2);
        survey.beside_law(reading).map_or(String::new(), signed)
    }
}
