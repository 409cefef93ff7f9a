//! The report of the demo: one HTML file with everything in it.

use coilrig_analysis::angle::AngleAnalysis;
use coilrig_analysis::picture::coupling_over_angle::CouplingOverAngle;
use coilrig_analysis::picture::coupling_over_distance::CouplingOverDistance;
use coilrig_analysis::picture::field_over_distance::FieldOverDistance;
use coilrig_analysis::picture::pulse_timeline::PulseTimeline;
use coilrig_analysis::range::{FieldReading, RangeAnalysis};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::scenario::{Scenario, UnitTruth};
use coilrig_analysis::signal::{CARRIER_HZ, Measurement, Transmitter};
use coilrig_analysis::units;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::columns::align;
use super::measurement::residual;
use super::pictures::draw;
use super::plan::Planned;
use crate::commands::CAUTIONS;
use crate::error::Result;
use crate::measuring::Measured;

/// A measured quantity beside what the scenario says of it.
pub struct Agreement {
    /// Name of the unit in the scenario.
    pub unit: String,
    /// Label of the transmitter in the measurement.
    pub label: String,
    /// Name of the quantity.
    pub quantity: &'static str,
    /// As measured.
    pub measured: Reading,
    /// As the scenario has it.
    pub truth: f64,
    /// Factor to the unit shown, and that unit.
    shown: (f64, &'static str),
}

impl Agreement {
    /// Error over standard uncertainty.
    pub fn error_over_u(&self) -> f64 {
        (self.measured.value - self.truth) / self.measured.u
    }

    fn cells(&self) -> [String; 4] {
        let (factor, unit) = self.shown;
        // As many places as the measured value has.
        let u = self.measured.u * factor;
        let places = if u > 0.0 { (1.0 - u.log10().floor()).max(0.0) as usize } else { 3 };
        [
            self.quantity.to_owned(),
            units::plus_minus(self.measured.scaled(factor), unit),
            format!("{:.places$} {unit}", self.truth * factor),
            signed(self.error_over_u(), "").trim_end().to_owned(),
        ]
    }

    /// All of them as text in columns.
    pub fn table(all: &[Self]) -> String {
        let header = ["", "quantity", "measured", "scenario", "error / u"].map(String::from);
        let mut rows = vec![header.to_vec()];
        rows.extend(all.iter().map(|a| {
            let mut row = vec![format!("{} {}", a.label, a.unit)];
            row.extend(a.cells());
            row
        }));
        let within = all.iter().filter(|a| a.error_over_u().abs() <= 2.0).count();
        align(&rows)
            + &format!("{within} of {} within twice their standard uncertainty\n", all.len())
    }
}

/// Each unit of the scenario with the transmitter whose carrier is nearest.
pub fn agreements(truths: &[UnitTruth], measurement: &Measurement) -> Vec<Agreement> {
    let mut all = Vec::new();
    for truth in truths {
        let carrier_hz = truth.mean_carrier_hz(measurement.duration_s);
        let off = |t: &Transmitter| (t.carrier_hz.value - carrier_hz).abs();
        let nearest = measurement.transmitters.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        let Some(found) = nearest else { continue };
        let mut add = |quantity, measured: Reading, truth_value, shown| {
            all.push(Agreement {
                unit: truth.name.clone(),
                label: found.label.clone(),
                quantity,
                measured,
                truth: truth_value,
                shown,
            });
        };
        add("carrier", found.carrier_hz, carrier_hz, (1.0, "Hz"));
        add("period", found.period_s, truth.period_s, (1e3, "ms"));
        add("on time", found.on_time_s, truth.on_time_s, (1e3, "ms"));
        if let Some(field) = found.field_a_per_m {
            add("field", field, truth.field_a_per_m, (1e9, "nA/m"));
        }
        let residual = found.residual_carrier_ratio;
        add("residual carrier", residual, truth.residual_carrier_ratio, (100.0, "%"));
    }
    all
}

/// A number with its sign, one place: +1.2 or −0.4.
fn signed(value: f64, unit: &str) -> String {
    format!("{value:+.1} {unit}").replace('-', "−")
}

/// What goes into the report.
pub struct DemoReport<'a> {
    /// Date, ISO 8601.
    pub date: &'a str,
    /// The scenario.
    pub scenario: &'a Scenario,
    /// The capture of the station.
    pub measured: &'a Measured,
    /// Measured against scenario.
    pub agreements: &'a [Agreement],
    /// The pulses over time.
    pub timeline: &'a PulseTimeline,
    /// Name of the unit surveyed.
    pub surveyed: &'a str,
    /// Its moment by the scenario.
    pub surveyed_moment_a_m2: f64,
    /// Field over distance.
    pub readings: &'a [FieldReading],
    /// What follows from it.
    pub analysis: &'a RangeAnalysis,
    /// What follows from turning it.
    pub turned: &'a AngleAnalysis,
    /// Its moment in its case by the scenario.
    pub case_moment_a_m2: [f64; 3],
    /// A training field and what it will do.
    pub planned: &'a Planned<'a>,
}

/// A row of the table of transmitters: its name, and its text for one of them.
type Row = (&'static str, fn(&Transmitter) -> String);

const QUANTITIES: [Row; 8] = [
    ("carrier", |t| units::plus_minus(t.carrier_hz, "Hz")),
    ("carrier less 457 kHz", |t| signed(t.carrier_hz.value - CARRIER_HZ, "Hz")),
    ("period", |t| units::milliseconds(t.period_s)),
    ("time on", |t| units::milliseconds(t.on_time_s)),
    ("time off", |t| units::milliseconds(t.off_time_s)),
    ("RMS field", |t| t.field_a_per_m.map_or("not calibrated".into(), units::field_reading)),
    ("residual carrier", |t| residual(t.residual_carrier_ratio)),
    ("pulses", |t| {
        let pulses = t.pulses;
        format!("{} of {}, {} overlapped", pulses.found, pulses.expected, pulses.overlapped)
    }),
];

const STYLE: &str = include_str!("report.css");

impl DemoReport<'_> {
    /// The page.
    pub fn html(&self) -> Result<String> {
        let (readings, analysis) = (self.readings, self.analysis);
        let pulses = draw(self.timeline)?.svg;
        let field = draw(&FieldOverDistance { readings, analysis, over_ground: None })?.svg;
        let coupling = draw(&CouplingOverDistance { readings, analysis, over_ground: None })?.svg;
        let angle = draw(&CouplingOverAngle { analysis: self.turned })?.svg;
        let walk = draw(&self.planned.walk_picture(&self.planned.computed()))?.svg;
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { "coilrig demo: an invented practice station" }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    h1 { "Practice station, measured and surveyed" }
                    p.lead {
                        "Demo of " (self.date) ". Station, units and receiver are invented and "
                        "emulated; the numbers come from the same code that measures real ones."
                    }
                    p.caution { (CAUTIONS) }
                    (self.transmitters())
                    figure { (PreEscaped(pulses)) }
                    (self.agreement())
                    (self.survey(&field, &coupling))
                    (self.turn(&angle))
                    h2 { "Plan of “" (self.planned.station.name) "”, an invented training field" }
                    figure { (PreEscaped(walk)) }
                    (self.conditions())
                }
            }
        };
        Ok(page.into_string())
    }

    fn transmitters(&self) -> Markup {
        let all = &self.measured.measurement.transmitters;
        html! {
            h2 { "Transmitters heard" }
            table {
                thead { tr { th { "" } @for t in all { th { (t.label) } } } }
                tbody { @for (name, of) in QUANTITIES { tr {
                    th { (name) }
                    @for t in all { td { (of(t)) } }
                } } }
            }
            p.note {
                "± is the standard uncertainty (coverage factor 1). Times run between the "
                "half-amplitude points of the edges. The field is the magnitude over three axes "
                "while the carrier is keyed on."
            }
            @for t in all { @for note in &t.notes { p.note { (t.label) ": " (note) } } }
        }
    }

    fn agreement(&self) -> Markup {
        let within = self.agreements.iter().filter(|a| a.error_over_u().abs() <= 2.0).count();
        html! {
            h2 { "Against the scenario" }
            table {
                thead { tr {
                    th { "unit" } th { "quantity" } th { "measured" } th { "scenario" }
                    th { "error over u" }
                } }
                tbody { @for a in self.agreements { tr {
                    th { (a.label) " " (a.unit) }
                    @for cell in a.cells() { td { (cell) } }
                } } }
            }
            p.note {
                (within) " of " (self.agreements.len()) " lie within twice their standard "
                "uncertainty; 95 % are expected to."
            }
        }
    }

    fn survey(&self, field: &str, coupling: &str) -> Markup {
        let analysis = self.analysis;
        html! {
            h2 { "Field over distance of “" (self.surveyed) "”" }
            p { "The unit alone on a stand, " (self.readings.len()) " readings." }
            figure { (PreEscaped(field)) }
            table.results {
                tbody {
                    tr {
                        th { "magnetic moment" }
                        td {
                            (units::plus_minus(analysis.moment_a_m2.scaled(1e3), "mA·m²"))
                            " (scenario: "
                            (units::significant(self.surveyed_moment_a_m2 * 1e3, 4)) " mA·m²)"
                        }
                    }
                    tr {
                        th { "field at 10 m, coaxial" }
                        td {
                            (units::field_reading(analysis.field_at_10_m_a_per_m)) ", "
                            (units::field_level(analysis.field_at_10_m_a_per_m.value))
                        }
                    }
                    tr {
                        th { "slope (a dipole near by: −3)" }
                        td { (units::plus_minus(analysis.slope, "")) }
                    }
                    @for reach in &analysis.ranges { tr {
                        th {
                            "range at " (units::field(reach.threshold_a_per_m.value)) ", "
                            (reach.alignment)
                        }
                        td { (units::plus_minus(reach.range_m, "m")) }
                    } }
                }
            }
            p.note {
                "Ranges are those of a dipole in free space. Soil under the snow changes the field "
                "by several dB beyond some 10 m, so ranges on real ground differ."
            }
            @for note in &analysis.notes { p.note { (note) "." } }
            figure { (PreEscaped(coupling)) }
        }
    }

    fn turn(&self, angle: &str) -> Markup {
        let [x, y, z] = self.case_moment_a_m2;
        let azimuth_deg = y.atan2(x).to_degrees();
        let elevation_deg = z.atan2(x.hypot(y)).to_degrees();
        html! {
            h2 { "Coupling over angle of “" (self.surveyed) "”" }
            p {
                "The unit turned in its place on the stand, " (self.turned.fitted.len())
                " readings with three axes."
            }
            figure { (PreEscaped(angle)) }
            @if let Some(moment) = &self.turned.moment {
                table.results { tbody {
                    tr {
                        th { "moment in the case, from the mark" }
                        td {
                            (units::plus_minus(moment.azimuth_deg, "°"))
                            " (scenario: " (units::significant(azimuth_deg, 4)) "°)"
                        }
                    }
                    tr {
                        th { "out of the plane of turning" }
                        td {
                            (units::plus_minus(moment.elevation_deg, "°"))
                            " (scenario: " (units::significant(elevation_deg, 4)) "°)"
                        }
                    }
                } }
            }
            @for note in &self.turned.notes { p.note { (note) "." } }
        }
    }

    fn conditions(&self) -> Markup {
        let receiver = &self.scenario.receiver;
        let noise = self.measured.measurement.noise_a_per_m_rthz.as_deref().unwrap_or(&[]);
        let noise: Vec<String> = noise.iter().map(|n| format!("{:.2}", n * 1e9)).collect();
        html! {
            h2 { "Conditions" }
            table.results { tbody {
                tr { th { "receiver" } td { (receiver.serial) ", emulated, three axes" } }
                tr { th { "capture" } td {
                    (format!("{:.0} s", self.measured.measurement.duration_s)) " at "
                    (units::significant(self.measured.capture.format.sample_rate_hz / 1e3, 4))
                    " kS/s, gaps: " (self.measured.measurement.gaps)
                } }
                tr { th { "noise floor, axes x, y, z" } td { (noise.join(", ")) " nA/m/√Hz" } }
                tr { th { "calibration" } td {
                    "field " (units::significant(receiver.calibration_u_rel * 100.0, 2))
                    " %, clock " (units::significant(receiver.clock_offset_u_ppm, 2))
                    " ppm (standard uncertainties)"
                } }
                tr { th { "program" } td { "coilrig " (env!("CARGO_PKG_VERSION")) } }
            } }
        }
    }
}
