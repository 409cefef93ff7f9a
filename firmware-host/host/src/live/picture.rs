//! The picture of a survey that grows as readings come in.

use coilrig_analysis::locate::section::Section;
use coilrig_analysis::locate::{self, Measured, PlacedReading};
use coilrig_analysis::picture::coupling_over_angle::CouplingOverAngle;
use coilrig_analysis::picture::field_over_distance::FieldOverDistance;
use coilrig_analysis::picture::field_sections::LevelSection;
use coilrig_analysis::picture::{Picture, svg};
use coilrig_analysis::range::{FieldReading, common_u_rel};
use coilrig_analysis::survey::{Angle, Distance, Grid, Survey};

use crate::surveying::Guided;

/// A kind of survey whose readings make a picture.
pub trait Pictured: Guided {
    /// The readings beside theory, as SVG; none while they are too few.
    fn picture(survey: &Survey<Self>) -> Option<String>;
}

/// What cannot be drawn is left out: the table of the points is there all the same.
fn drawn(picture: &impl Picture) -> Option<String> {
    svg(picture).ok()
}

impl Pictured for Distance {
    fn picture(survey: &Survey<Self>) -> Option<String> {
        let analysis = survey.analyse().ok()?;
        let readings: Vec<FieldReading> = survey.kept().map(|kept| kept.taken.reading).collect();
        drawn(&FieldOverDistance { readings: &readings, analysis: &analysis, over_ground: None })
    }
}

impl Pictured for Angle {
    fn picture(survey: &Survey<Self>) -> Option<String> {
        drawn(&CouplingOverAngle { analysis: &survey.analyse().ok()? })
    }
}

impl Pictured for Grid {
    /// Measured vectors over the field lines of the unit found so far.
    fn picture(survey: &Survey<Self>) -> Option<String> {
        let readings: Vec<PlacedReading> = survey
            .kept()
            .map(|kept| PlacedReading {
                place_m: kept.taken.reading.place.position_m(),
                field: Measured::Vector(kept.taken.reading.h_a_per_m),
                u_a_per_m: kept.taken.reading.u_a_per_m,
            })
            .collect();
        let u_calibration_rel = common_u_rel(&survey.u_calibration_rel());
        let options = locate::Options { u_calibration_rel, ..locate::Options::default() };
        let location = locate::analyse(&readings, &options).ok()?;
        let section = Section::level(&readings, &location);
        drawn(&LevelSection { section: &section, location: &location })
    }
}
