//! What each transmitter did over a long recording, or over several: rows of
//! means, drift, jumps, change with temperature, pictures.

use std::path::Path;

use coilrig_analysis::over_time::{Point, Row, TemperatureCourse, Trend, per_degree, trend};
use coilrig_analysis::picture::over_temperature::{OverTemperature, OverTemperatureLine};
use coilrig_analysis::picture::over_time::{OverTime, OverTimeLine};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;

use super::pictures;
use crate::capture::reader::shown;
use crate::error::{Error, Result};
use crate::files;
use crate::measuring::Measured;

/// One transmitter over all captures.
struct Line<'a> {
    label: String,
    rows: Vec<Placed<'a>>,
}

/// A row with its place among all captures.
struct Placed<'a> {
    capture: &'a Measured,
    /// From the start of the first capture, s.
    at_s: f64,
    temperature_c: Option<f64>,
    row: &'a Row,
}

/// One quantity of the rows.
struct Quantity {
    name: &'static str,
    /// Column, in SI units, and that unit.
    column: &'static str,
    si: &'static str,
    /// Unit of the picture, and how many of it an SI unit is.
    unit: &'static str,
    scale: f64,
    /// Decimals of the median in the legend.
    decimals: usize,
    of: fn(&Row) -> Reading,
}

const CARRIER: Quantity = Quantity {
    name: "carrier",
    column: "carrier_hz",
    si: "Hz",
    unit: "Hz",
    scale: 1.0,
    decimals: 2,
    of: |r| r.carrier_hz,
};
const PERIOD: Quantity = Quantity {
    name: "period",
    column: "period_s",
    si: "s",
    unit: "ms",
    scale: 1e3,
    decimals: 3,
    of: |r| r.period_s,
};
const ON_TIME: Quantity =
    Quantity { name: "on time", column: "on_time_s", decimals: 2, of: |r| r.on_time_s, ..PERIOD };
const FIELD: Quantity = Quantity {
    name: "field",
    column: "field_a_per_m",
    si: "A/m",
    unit: "nA/m",
    scale: 1e9,
    decimals: 2,
    of: |r| r.field,
};
const QUANTITIES: [Quantity; 4] = [CARRIER, PERIOD, ON_TIME, FIELD];

/// Write tables and pictures to `folder`; gives what to tell about the trends.
///
/// Temperatures are those of `course`, over the seconds from the start of the first
/// capture, or where there is none those that the captures state.
pub fn write(
    folder: &Path,
    all: &[Measured],
    course: Option<&TemperatureCourse>,
) -> Result<String> {
    files::make_folder(folder)?;
    let lines = lines(all, course);
    files::write_whole(&folder.join("rows.csv"), rows_csv(&lines)?.as_bytes())?;
    let mut trends = csv::Writer::from_writer(Vec::new());
    let bad = |e: csv::Error| Error::file("trends", e.to_string(), "report this");
    let header = ["label", "quantity", "kind", "at_s", "value", "u", "unit"];
    trends.write_record(header).map_err(bad)?;
    let mut told = String::new();
    for quantity in &QUANTITIES {
        let calibrated = all.iter().all(|m| m.capture.calibration.field_per_count.is_some());
        if quantity.name == "field" && !calibrated {
            continue;
        }
        let (mut drawn, mut by_temperature) = (Vec::new(), Vec::new());
        for line in &lines {
            let points = line.points(quantity);
            let Some(found) = trend(&points) else { continue };
            let per_hour = found.rate_per_s.scaled(3600.0);
            let si = quantity.si;
            let mut record = |kind: &str, at: String, r: Reading, unit: String| {
                let (value, u) = (r.value.to_string(), r.u.to_string());
                let fields = [&line.label, quantity.name, kind, &at, &value, &u, &unit];
                trends.write_record(fields).map_err(bad)
            };
            record("drift", String::new(), per_hour, format!("{si}/h"))?;
            for jump in &found.jumps {
                record("jump", jump.at_s.to_string(), jump.size, si.to_owned())?;
            }
            told += &tell(line, quantity, &found);
            let shown = |p: &Point| Point { value: p.value.scaled(quantity.scale), ..*p };
            let at_temperature = line.points_by_temperature(quantity);
            if let Some(per_degree) = per_degree(&at_temperature) {
                record("per °C", String::new(), per_degree, format!("{si}/°C"))?;
                let per_degree = per_degree.scaled(quantity.scale);
                told += &rate_in_words(line, quantity, per_degree, "per °C");
                by_temperature.push(OverTemperatureLine {
                    label: line.label.clone(),
                    points: at_temperature.iter().map(|(c, p)| (*c, shown(p))).collect(),
                });
            }
            let jumps = found.jumps.clone();
            drawn.push(OverTimeLine {
                label: line.label.clone(),
                points: points.iter().map(shown).collect(),
                jumps,
            });
        }
        if !drawn.is_empty() {
            let file = format!("{}-over-time", quantity.name.replace(' ', "-"));
            let Quantity { name, unit, decimals, .. } = *quantity;
            let chart = OverTime { quantity: name, unit, decimals, lines: drawn };
            pictures::write(folder, &file, &chart)?;
        }
        if !by_temperature.is_empty() {
            let file = format!("{}-over-temperature", quantity.name.replace(' ', "-"));
            let Quantity { name, unit, decimals, .. } = *quantity;
            let chart = OverTemperature { quantity: name, unit, decimals, lines: by_temperature };
            pictures::write(folder, &file, &chart)?;
        }
    }
    let bytes =
        trends.into_inner().map_err(|e| Error::file("trends", e.to_string(), "report this"))?;
    files::write_whole(&folder.join("trends.csv"), &bytes)?;
    let placed = || lines.iter().flat_map(|line| &line.rows);
    if course.is_some() && placed().all(|row| row.temperature_c.is_none()) {
        told += "no temperature: the log holds none from the time of the captures\n";
    }
    if told.is_empty() {
        told = "too few rows for a trend: record for longer, or ask for shorter rows\n".into();
    }
    Ok(told)
}

impl Placed<'_> {
    fn point(&self, quantity: &Quantity) -> Point {
        Point { at_s: self.at_s, value: (quantity.of)(self.row) }
    }
}

impl Line<'_> {
    fn points(&self, quantity: &Quantity) -> Vec<Point> {
        self.rows.iter().map(|p| p.point(quantity)).collect()
    }

    fn points_by_temperature(&self, quantity: &Quantity) -> Vec<(f64, Point)> {
        self.rows.iter().filter_map(|p| Some((p.temperature_c?, p.point(quantity)))).collect()
    }
}

/// When the first of the captures was begun, if they say so.
pub fn first_start(all: &[Measured]) -> Option<jiff::Timestamp> {
    all.iter().map(|m| m.capture.started()).min()?
}

/// Rows of each transmitter, joined over captures in order of their start.
fn lines<'a>(all: &'a [Measured], course: Option<&TemperatureCourse>) -> Vec<Line<'a>> {
    let mut captures: Vec<&Measured> = all.iter().collect();
    captures.sort_by_key(|m| m.capture.started());
    let first = first_start(all);
    let mut lines: Vec<Line<'_>> = Vec::new();
    for capture in captures {
        let offset_s = match (first, capture.capture.started()) {
            (Some(first), Some(start)) => start.duration_since(first).as_secs_f64(),
            _ => 0.0,
        };
        for t in &capture.measurement.transmitters {
            let own = capture.rows.iter().filter(|r| t.trains.contains(&r.train));
            let placed = |row: &'a Row| {
                let at_s = offset_s + row.at_s;
                let temperature_c = match course {
                    Some(course) => course.at(at_s),
                    None => capture.capture.meta.global.temperature_c,
                };
                Placed { capture, at_s, temperature_c, row }
            };
            let mut rows: Vec<Placed<'_>> = own.map(placed).collect();
            rows.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
            let Some(now) = rows.first() else { continue };
            let same = |line: &&mut Line<'_>| {
                let last = line.rows.last();
                last.is_some_and(|l| !std::ptr::eq(l.capture, capture) && l.row.goes_on_in(now.row))
            };
            if let Some(line) = lines.iter_mut().find(same) {
                line.rows.extend(rows);
                continue;
            }
            // The label of its capture, unless an earlier one gave it to another.
            let taken = |label: &String| lines.iter().any(|l| l.label == *label);
            let numbered = (lines.len() + 1..).map(|n| format!("T{n}"));
            let label = std::iter::once(t.label.clone()).chain(numbered).find(|l| !taken(l));
            lines.push(Line { label: label.unwrap_or_default(), rows });
        }
    }
    lines
}

fn rows_csv(lines: &[Line<'_>]) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let bad = |e: csv::Error| Error::file("rows", e.to_string(), "report this");
    let mut header: Vec<String> =
        ["capture", "label", "time_s", "temperature_c", "pulses"].map(String::from).to_vec();
    for q in &QUANTITIES {
        header.extend([q.column.to_owned(), format!("u_{}", q.column)]);
    }
    writer.write_record(&header).map_err(bad)?;
    for line in lines {
        for placed in &line.rows {
            let capture = placed.capture;
            let mut fields = vec![
                shown(&capture.path),
                line.label.clone(),
                format!("{:.3}", placed.at_s),
                placed.temperature_c.map(|t| format!("{t:.2}")).unwrap_or_default(),
                placed.row.pulses.to_string(),
            ];
            let calibrated = capture.capture.calibration.field_per_count.is_some();
            for q in &QUANTITIES {
                let reading = (q.of)(placed.row);
                // Counts are no field.
                let known = q.name != "field" || calibrated;
                let text = |v: f64| if known { v.to_string() } else { String::new() };
                fields.extend([text(reading.value), text(reading.u)]);
            }
            writer.write_record(&fields).map_err(bad)?;
        }
    }
    let bytes =
        writer.into_inner().map_err(|e| Error::file("rows", e.to_string(), "report this"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn rate_in_words(line: &Line<'_>, quantity: &Quantity, rate: Reading, per: &str) -> String {
    let verdict = if rate.value.abs() > 3.0 * rate.u { "" } else { " (nothing beyond chance)" };
    let rate = units::plus_minus(rate, &format!("{} {per}", quantity.unit));
    format!("{} {}: {rate}{verdict}\n", line.label, quantity.name)
}

/// Drift beyond its uncertainty, and all jumps, in words.
fn tell(line: &Line<'_>, quantity: &Quantity, found: &Trend) -> String {
    let Quantity { unit, scale, .. } = *quantity;
    let mut told = String::new();
    told += &rate_in_words(line, quantity, found.rate_per_s.scaled(3600.0 * scale), "per hour");
    for jump in &found.jumps {
        let size = units::plus_minus(jump.size.scaled(scale), unit);
        told +=
            &format!("{} {}: jump of {size} at {:.0} s\n", line.label, quantity.name, jump.at_s);
    }
    told
}
