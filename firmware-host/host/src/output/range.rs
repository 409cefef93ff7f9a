//! Field over distance as a document, a text, tables and pictures.

use std::path::Path;

use coilrig_analysis::limits::RECEIVER_THRESHOLD;
use coilrig_analysis::picture::coupling_over_distance::CouplingOverDistance;
use coilrig_analysis::picture::field_over_distance::FieldOverDistance;
use coilrig_analysis::picture::range_rose::RangeRose;
use coilrig_analysis::picture::residuals::Residuals;
use coilrig_analysis::range::noise::NoiseThreshold;
use coilrig_analysis::range::rose::{Rose, rose};
use coilrig_analysis::range::{
    Alignment, DipoleFit, FieldReading, Fitted, GroundAnalysis, Hearing, Options, Outlier,
    RangeAnalysis, RangeError, Reach, hearing,
};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;
use serde::Serialize;

use super::budget::{self, NamedBudget};
use super::columns::align;
use super::pictures;
use crate::error::{Error, Result};
use crate::files;

/// All that `range` has found.
pub struct Findings {
    /// By free space.
    pub analysis: RangeAnalysis,
    /// With the ground counted in.
    pub over_ground: Option<GroundAnalysis>,
    /// A threshold that comes from the site's noise.
    pub noise_threshold: Option<NoiseThreshold>,
    /// What the results are made of, over the ground where one was given, if asked for.
    pub budgets: Option<Vec<NamedBudget>>,
    /// Ranges and strips when nobody knows how the unit lies.
    pub hearing: Vec<Hearing>,
    /// Carrier, Hz.
    frequency_hz: f64,
}

/// The JSON document.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    #[serde(flatten)]
    analysis: &'a RangeAnalysis,
    #[serde(skip_serializing_if = "Option::is_none")]
    over_ground: Option<&'a GroundAnalysis>,
    #[serde(skip_serializing_if = "Option::is_none")]
    noise_threshold: Option<NoiseThreshold>,
    hearing: &'a [Hearing],
    #[serde(skip_serializing_if = "Option::is_none")]
    budgets: Option<&'a [NamedBudget]>,
}

impl Findings {
    /// What was analysed by `options`, and from it the ranges and strips for units
    /// of unknown orientation; a strip finds a unit with `probability`.
    ///
    /// # Errors
    ///
    /// A probability that is none.
    pub fn new(
        analysis: RangeAnalysis,
        over_ground: Option<GroundAnalysis>,
        options: &Options,
        probability: f64,
    ) -> std::result::Result<Self, RangeError> {
        let thresholds = &options.thresholds_a_per_m;
        let frequency_hz = options.frequency_hz;
        let hearing = hearing(&analysis.fit, frequency_hz, thresholds, probability)?;
        let (noise_threshold, budgets) = (None, None);
        Ok(Self { analysis, over_ground, noise_threshold, budgets, hearing, frequency_hz })
    }

    /// The JSON document of the contract.
    ///
    /// # Errors
    ///
    /// Numbers that JSON cannot hold.
    pub fn json(&self) -> Result<String> {
        let document = Document {
            format: "coilrig-range/1",
            analysis: &self.analysis,
            over_ground: self.over_ground.as_ref(),
            noise_threshold: self.noise_threshold,
            hearing: &self.hearing,
            budgets: self.budgets.as_deref(),
        };
        let text = serde_json::to_string_pretty(&document).map_err(|e| {
            Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
        })?;
        Ok(text + "\n")
    }

    /// Write everything that follows from the readings to `folder`: range.json, the
    /// charts, and what they show as CSV.
    ///
    /// # Errors
    ///
    /// A folder that cannot be written.
    pub fn write_all(&self, folder: &Path, readings: &[FieldReading]) -> Result<()> {
        let Self { analysis, .. } = self;
        let over_ground = self.over_ground.as_ref();
        let rose = self.rose();
        files::make_folder(folder)?;
        let write =
            |name: &str, text: String| files::write_whole(&folder.join(name), text.as_bytes());
        write("range.json", self.json()?)?;
        write("coupling.csv", coupling_csv(readings, analysis))?;
        write("theory.csv", self.theory_csv(readings))?;
        write("range_rose.csv", rose_csv(&rose))?;
        let field = FieldOverDistance { readings, analysis, over_ground };
        pictures::write(folder, "field_over_distance", &field)?;
        let coupling = CouplingOverDistance { readings, analysis, over_ground };
        pictures::write(folder, "coupling_over_distance", &coupling)?;
        pictures::write(folder, "range_rose", &RangeRose { rose: &rose })?;
        let residuals = match over_ground {
            Some(ground) => Residuals {
                readings,
                fit: &ground.best_fit,
                outliers: &ground.outliers,
                theory: "the ground given",
                fitted: if ground.outliers.is_empty() {
                    "all readings"
                } else {
                    "all but outliers"
                },
            },
            None => Residuals {
                readings,
                fit: &analysis.fit,
                outliers: &analysis.outliers,
                theory: "free space",
                fitted: "all readings",
            },
        };
        write("residuals.csv", residuals_csv(&residuals))?;
        pictures::write(folder, "residuals", &residuals)
    }

    /// For the first threshold.
    fn rose(&self) -> Rose {
        let threshold = self.hearing.first().map(|h| h.threshold_a_per_m.value);
        let ground = self.over_ground.as_ref().map(|ground| &ground.best_fit);
        let threshold = threshold.unwrap_or(RECEIVER_THRESHOLD.field_a_per_m);
        rose(&self.analysis.fit, self.frequency_hz, ground, threshold)
    }

    /// The curves of the theory, at true distances.
    fn theory_csv(&self, readings: &[FieldReading]) -> String {
        let farthest = readings.iter().map(|r| r.distance_m).fold(0.0, f64::max);
        let nearest = readings.iter().map(|r| r.distance_m).fold(f64::INFINITY, f64::min);
        let count = 100;
        let mut text = String::from("theory,alignment,distance_m,field_a_per_m,u_field_a_per_m\n");
        let mut curves = |theory: &str, fit: &DipoleFit| {
            for alignment in Alignment::ALL {
                for i in 0..count {
                    let share = f64::from(i) / f64::from(count - 1);
                    let distance_m = nearest * (2.0 * farthest / nearest).powf(share);
                    let field = fit.field_at(alignment, distance_m);
                    if field.value.is_finite() {
                        let Reading { value, u } = field;
                        text += &format!("{theory},{alignment},{distance_m:.5},{value:e},{u:e}\n");
                    }
                }
            }
        };
        curves("free space", &self.analysis.fit);
        if let Some(ground) = &self.over_ground {
            curves("over ground", &ground.best_fit);
        }
        text
    }

    /// The results as a text; `path` is that of the table.
    pub fn text(&self, path: &Path, readings: &[FieldReading]) -> String {
        let mut lines =
            vec![format!("{}: {} readings", path.display(), readings.len()), String::new()];
        self.free_space(&mut lines);
        self.table_of_readings(readings, &mut lines);
        named_outliers("free space", &self.analysis.outliers, &mut lines);
        without("free space", self.analysis.without_outliers.as_ref(), &mut lines);
        if let Some(ground) = &self.over_ground {
            self.with_ground(ground, &mut lines);
        }
        self.orientation(&mut lines);
        let ground_notes = self.over_ground.iter().flat_map(|ground| &ground.notes);
        for note in self.analysis.notes.iter().chain(ground_notes) {
            lines.push(String::new());
            lines.push(format!("Note: {note}."));
        }
        let budgets = self.budgets.as_deref().map_or(String::new(), budget::tables);
        lines.join("\n") + "\n" + &budgets
    }

    fn free_space(&self, lines: &mut Vec<String>) {
        let analysis = &self.analysis;
        let mut row = |name: &str, text: String| lines.push(format!("{name:<18}{text}"));
        row("moment", units::plus_minus(analysis.moment_a_m2.scaled(1e3), "mA·m²"));
        let at_10_m = analysis.field_at_10_m_a_per_m;
        let level = units::field_level(at_10_m.value);
        row("field at 10 m", format!("{} coaxial, {level}", units::field_reading(at_10_m)));
        row("slope", format!("{} (a dipole near by: −3)", units::plus_minus(analysis.slope, "")));
        row("distance offset", offset(analysis.distance_offset_m));
        row("fit", chi_squared(analysis.chi_squared, analysis.degrees_of_freedom));
        if analysis.u_calibration_rel > 0.0 {
            let share = units::significant(100.0 * analysis.u_calibration_rel, 2);
            row("calibration", format!("{share} % of field and moment, contained in their ±"));
        }
        lines.push(String::new());
        lines.extend(analysis.ranges.iter().map(range_line));
        let standard = RECEIVER_THRESHOLD.field_a_per_m;
        if analysis.ranges.iter().any(|r| r.threshold_a_per_m.value == standard) {
            let memory = if RECEIVER_THRESHOLD.from_memory { ", quoted from memory" } else { "" };
            lines.push(format!(
                "({} is the {} of {}{memory})",
                units::field(standard),
                RECEIVER_THRESHOLD.name,
                RECEIVER_THRESHOLD.source
            ));
        }
        if let Some(noise) = &self.noise_threshold {
            lines.push(format!(
                "({} stands {} dB over noise of {} in 1 Hz, in a bandwidth of {} Hz)",
                units::field(noise.threshold_a_per_m),
                units::significant(noise.over_noise_db, 3),
                units::field(noise.noise_a_per_m_rthz),
                units::significant(noise.bandwidth_hz, 3)
            ));
        }
        lines.push(String::new());
    }

    fn table_of_readings(&self, readings: &[FieldReading], lines: &mut Vec<String>) {
        let ground = self.over_ground.as_ref();
        let over = if ground.is_some() { "over free space" } else { "over theory" };
        let mut header =
            format!("{:>3}  {:>9}  {:<9}  {:<24}{over}", "row", "distance", "", "measured");
        if ground.is_some() {
            header += "     over ground";
        }
        lines.push(header);
        for ((number, r), db) in (1..).zip(readings).zip(&self.analysis.residuals_db) {
            let distance = format!("{} m", units::significant(r.distance_m, 4));
            let field = units::field_reading(Reading::new(r.field_a_per_m, r.u_field_a_per_m));
            let coupling = units::plus_minus(*db, "dB");
            let alignment = r.alignment.name();
            let mut line = format!("{number:>3}  {distance:>9}  {alignment:<9}  {field:<24}");
            line += &match ground.and_then(|ground| ground.residuals_db.get(number - 1)) {
                Some(db) => format!("{coupling:<20}{}", units::plus_minus(*db, "dB")),
                None => coupling,
            };
            lines.push(line);
        }
    }

    fn with_ground(&self, ground: &GroundAnalysis, lines: &mut Vec<String>) {
        let deep = units::significant(ground.heights.unit_depth_m, 3);
        let high = units::significant(ground.heights.coil_height_m, 3);
        let coplanar = match ground.coplanar {
            coilrig_analysis::range::Coplanar::Level => "level",
            coilrig_analysis::range::Coplanar::Upright => "upright",
        };
        lines.push(String::new());
        lines.push(format!(
            "over the ground given, unit {deep} m deep, coil {high} m high, coplanar axes {coplanar}"
        ));
        let mut row = |name: &str, text: String| lines.push(format!("{name:<18}{text}"));
        row("moment", units::plus_minus(ground.fitted.moment_a_m2.scaled(1e3), "mA·m²"));
        row("distance offset", offset(ground.fitted.distance_offset_m));
        let stated = ground.stated_soil_resistivity_ohm_m;
        let stated = stated
            .map_or("an insulator".into(), |ohm_m| format!("{} Ω·m", units::significant(ohm_m, 3)));
        let soil = match ground.fitted.soil_resistivity_ohm_m {
            Some(fitted) => {
                format!("{} by the readings, stated {stated}", units::plus_minus(fitted, "Ω·m"))
            }
            None => format!("{stated}, as stated"),
        };
        row("soil", soil);
        row("fit", chi_squared(ground.fitted.chi_squared, ground.fitted.degrees_of_freedom));
        lines.extend(ground.fitted.ranges.iter().map(range_line));
        named_outliers("the ground given", &ground.outliers, lines);
        without("the ground given", ground.without_outliers.as_ref(), lines);
    }

    fn orientation(&self, lines: &mut Vec<String>) {
        let Some(first) = self.hearing.first() else { return };
        let found = units::significant(100.0 * first.strip_probability, 3);
        lines.push(String::new());
        lines.push("However the unit lies (free space, receiver held level):".into());
        let strip = format!("strip to find {found} %");
        let header =
            ["field", "receiver", "95 % heard at", "half heard at", "5 % heard at", &strip];
        let mut rows = vec![header.map(String::from).to_vec()];
        for h in &self.hearing {
            let axes = if h.axes == 1 { "1 axis".into() } else { format!("{} axes", h.axes) };
            let metres = |reading: Reading| units::plus_minus(reading, "m");
            rows.push(vec![
                units::field(h.threshold_a_per_m.value),
                axes,
                metres(h.range_5_percent_m),
                metres(h.median_range_m),
                metres(h.range_95_percent_m),
                metres(h.strip_width_m),
            ]);
        }
        lines.extend(align(&rows).lines().map(String::from));
        lines.push(
            "Strip: walked along its middle, the unit anywhere across it in any direction, every \
             signal\nover the threshold heard. Common practice, no source: 40 m with three axes, 20 m \
             for any receiver."
                .into(),
        );
    }
}

fn offset(offset: Option<Reading>) -> String {
    offset.map_or("none fitted".into(), |offset| units::plus_minus(offset, "m"))
}

fn chi_squared(chi_squared: f64, freedom: usize) -> String {
    let chi_squared = units::significant(chi_squared, 3);
    format!("chi squared {chi_squared} for {freedom} degrees of freedom")
}

fn range_line(reach: &Reach) -> String {
    let threshold = units::field(reach.threshold_a_per_m.value);
    format!("{threshold} at {} {}", units::plus_minus(reach.range_m, "m"), reach.alignment)
}

fn named_outliers(theory: &str, outliers: &[Outlier], lines: &mut Vec<String>) {
    for outlier in outliers {
        lines.push(String::new());
        lines.push(format!(
            "OUTLIER by {theory}: row {} is {} dB, {} standard uncertainties off the others \
             (limit {}): {}",
            outlier.row,
            units::significant(outlier.residual_db, 3),
            units::significant(outlier.standard_deviations.abs(), 3),
            units::significant(outlier.limit, 3),
            outlier.why
        ));
    }
}

fn without(theory: &str, fitted: Option<&Fitted>, lines: &mut Vec<String>) {
    let Some(fitted) = fitted else { return };
    let mut results =
        vec![format!("moment {}", units::plus_minus(fitted.moment_a_m2.scaled(1e3), "mA·m²"))];
    let offset = |offset| format!("distance offset {}", units::plus_minus(offset, "m"));
    results.extend(fitted.distance_offset_m.map(offset));
    let soil = |soil| format!("soil {}", units::plus_minus(soil, "Ω·m"));
    results.extend(fitted.soil_resistivity_ohm_m.map(soil));
    results.push(chi_squared(fitted.chi_squared, fitted.degrees_of_freedom));
    lines.push(format!("without outliers, by {theory}: {}", results.join(", ")));
    lines.extend(fitted.ranges.iter().map(|reach| format!("  {}", range_line(reach))));
}

fn coupling_csv(readings: &[FieldReading], analysis: &RangeAnalysis) -> String {
    let mut text = String::from("distance_m,alignment,field_a_per_m,coupling_db,u_coupling_db\n");
    for (r, db) in readings.iter().zip(&analysis.residuals_db) {
        text += &format!(
            "{},{},{:e},{:.4},{:.4}\n",
            r.distance_m, r.alignment, r.field_a_per_m, db.value, db.u
        );
    }
    text
}

fn residuals_csv(residuals: &Residuals<'_>) -> String {
    let mut text = String::from("row,distance_m,alignment,residual_over_u,outlier\n");
    for ((row, r), value) in (1..).zip(residuals.readings).zip(residuals.values()) {
        let outlier = residuals.outliers.iter().any(|outlier| outlier.row == row);
        text += &format!("{row},{},{},{value:.4},{outlier}\n", r.distance_m, r.alignment);
    }
    text
}

fn rose_csv(rose: &Rose) -> String {
    let mut text = String::from("angle_deg,three_axes_m,along_m,across_m,over_ground_m\n");
    for ray in &rose.rays {
        let over_ground = ray.over_ground_m.map_or(String::new(), |r| format!("{r:.3}"));
        text += &format!(
            "{},{:.3},{:.3},{:.3},{over_ground}\n",
            ray.angle_deg, ray.three_axes_m, ray.along_m, ray.across_m
        );
    }
    text
}
