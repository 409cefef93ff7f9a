//! Coupling over angle as JSON, as a table for machines and as lines for people,
//! and everything of it in a folder.

use std::path::Path;

use coilrig_analysis::angle::{AngleAnalysis, CaseMoment, Law};
use coilrig_analysis::picture::coupling_over_angle::CouplingOverAngle;
use coilrig_analysis::units;
use serde::Serialize;

use super::budget::NamedBudget;
use super::pictures;
use crate::error::{Error, Result};
use crate::files;

/// Name of the picture and the tables in a folder.
const NAME: &str = "coupling_over_angle";

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    analysis: &'a AngleAnalysis,
    #[serde(skip_serializing_if = "Option::is_none")]
    budgets: Option<&'a [NamedBudget]>,
}

/// The document `coilrig-angle/1`, with budgets where there are some.
///
/// # Errors
///
/// Numbers that JSON cannot hold.
pub fn json(analysis: &AngleAnalysis, budgets: Option<&[NamedBudget]>) -> Result<String> {
    let document = Document { format: "coilrig-angle/1", analysis, budgets };
    serde_json::to_string_pretty(&document)
        .map(|text| text + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

/// Write the document, the picture, the readings beside the law, and the law
/// degree by degree to `folder`.
///
/// # Errors
///
/// The folder cannot be written.
pub fn write_all(folder: &Path, analysis: &AngleAnalysis) -> Result<()> {
    files::make_folder(folder)?;
    files::write_whole(&folder.join("angle.json"), json(analysis, None)?.as_bytes())?;
    files::write_whole(&folder.join(format!("{NAME}.csv")), readings(analysis).as_bytes())?;
    files::write_whole(&folder.join("law_over_angle.csv"), law(analysis).as_bytes())?;
    pictures::write(folder, NAME, &CouplingOverAngle { analysis })
}

fn readings(analysis: &AngleAnalysis) -> String {
    let mut text =
        String::from("angle_deg,field_a_per_m,u_field_a_per_m,law_a_per_m,u_law_a_per_m\n");
    for (reading, u) in analysis.fitted.iter().zip(&analysis.fit.u_readings_a_per_m) {
        let law = analysis.fit.field_at(reading.angle_deg);
        text += &format!(
            "{},{:e},{u:e},{:e},{:e}\n",
            reading.angle_deg, reading.field_a_per_m, law.value, law.u
        );
    }
    text
}

fn law(analysis: &AngleAnalysis) -> String {
    let mut text = String::from("angle_deg,law_a_per_m,u_law_a_per_m\n");
    for angle_deg in -180..=180 {
        let law = analysis.fit.field_at(f64::from(angle_deg));
        text += &format!("{angle_deg},{:e},{:e}\n", law.value, law.u);
    }
    text
}

/// Results in lines for people.
pub fn lines(analysis: &AngleAnalysis) -> String {
    let mut text = format!(
        "coupling: {} by the {} law, {}\n",
        analysis.coupling.name(),
        analysis.law,
        analysis.law.formula()
    );
    text += &format!("misalignment: {}\n", units::plus_minus(analysis.misalignment_deg, "°"));
    text += &format!("greatest field: {}\n", units::field_reading(analysis.peak_a_per_m));
    text += &leakage(analysis);
    text += &match (analysis.depth_db, analysis.law) {
        (Some(depth), Law::Dipole) => format!(
            "least over greatest field: {} (a dipole in free space: −6.02 dB)\n",
            units::plus_minus(depth, "dB")
        ),
        (Some(depth), Law::Cosine) => {
            format!("depth of the nulls: {}\n", units::plus_minus(depth, "dB"))
        }
        (None, _) => format!(
            "nulls: no end seen; the weakest reading is {} dB below the greatest field\n",
            units::significant(-analysis.weakest_reading_db, 3)
        ),
    };
    text += &format!(
        "fit: χ² {} for {} degrees of freedom, as large by chance in {} %\n",
        units::significant(analysis.chi_squared, 3),
        analysis.degrees_of_freedom,
        units::significant(100.0 * analysis.chance, 2)
    );
    for harmonic in &analysis.harmonics {
        text += &format!(
            "harmonic {}: {} of the greatest square, {} by the law\n",
            harmonic.order,
            units::plus_minus(harmonic.amplitude.scaled(100.0), "%"),
            units::significant(100.0 * harmonic.by_law, 3) + " %"
        );
    }
    if let Some(moment) = &analysis.moment {
        text += &moment_lines(moment);
    }
    if let Some(moment) = analysis.moment_a_m2 {
        text += &format!("moment: {}\n", units::plus_minus(moment.scaled(1e3), "mA·m²"));
    }
    for note in &analysis.notes {
        text += &format!("note: {note}\n");
    }
    text
}

fn leakage(analysis: &AngleAnalysis) -> String {
    let percent = |r: coilrig_analysis::reading::Reading| units::plus_minus(r.scaled(100.0), "%");
    let quadrature = analysis.leak_in_quadrature.map_or("none seen".to_owned(), percent);
    let mut text = format!("cross-axis leakage: {}", percent(analysis.leakage_ratio));
    if analysis.law == Law::Cosine {
        text +=
            &format!(" (in phase {}, in quadrature {quadrature})", percent(analysis.leak_in_phase));
    }
    text + "\n"
}

fn moment_lines(moment: &CaseMoment) -> String {
    let [x, y, z] = moment.direction.map(|d| units::plus_minus(d, ""));
    format!(
        "moment in the case: {} from the mark, {} out of the plane of turning\n  along the mark {x}, \
         across {y}, along the axis of turning {z}; sign of all three free\n",
        units::plus_minus(moment.azimuth_deg, "°"),
        units::plus_minus(moment.elevation_deg, "°"),
    )
}
