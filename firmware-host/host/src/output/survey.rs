//! A survey as JSON and as a table for people.

use std::path::Path;

use coilrig_analysis::range::{RangeAnalysis, RangeError};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::survey::{Point, PointState, Standing, Step, Survey, Taken};
use coilrig_analysis::units;
use serde::Serialize;

use super::columns::align;
use crate::error::{Error, Result};

/// `coilrig-survey/1`, the document of a survey of field over distance.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    kind: &'static str,
    /// Path of the table of readings.
    table: String,
    /// Whether every point is done or left.
    finished: bool,
    points: Vec<PointEntry>,
    readings: Vec<ReadingEntry<'a>>,
    /// What follows from the readings, once they suffice.
    #[serde(skip_serializing_if = "Option::is_none")]
    range: Option<RangeAnalysis>,
}

#[derive(Serialize)]
struct PointEntry {
    point: usize,
    #[serde(flatten)]
    place: Point,
    state: &'static str,
    /// The reading that counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    reading: Option<usize>,
}

#[derive(Serialize)]
struct ReadingEntry<'a> {
    reading: usize,
    point: usize,
    capture: &'a str,
    standing: &'static str,
    /// With the uncertainty that is the reading's own, the calibration not in it.
    field_a_per_m: Reading,
    u_calibration_rel: f64,
    carrier_hz: f64,
    period_s: f64,
}

/// The document.
///
/// # Errors
///
/// Numbers that JSON cannot hold.
pub fn json(survey: &Survey, table: &Path) -> Result<String> {
    let document = Document {
        format: "coilrig-survey/1",
        kind: "distance",
        table: table.display().to_string(),
        finished: survey.next() == Step::Finished,
        points: survey.points().map(point_entry).collect(),
        readings: survey.readings().map(reading_entry).collect(),
        range: survey.analyse().ok(),
    };
    serde_json::to_string_pretty(&document)
        .map(|text| text + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

fn point_entry((point, place, state): (usize, Point, PointState)) -> PointEntry {
    let (state, reading) = match state {
        PointState::Due => ("due", None),
        PointState::Done(reading) => ("done", Some(reading)),
        PointState::Left => ("left", None),
    };
    PointEntry { point, place, state, reading }
}

fn reading_entry((reading, taken, standing): (usize, &Taken, Standing)) -> ReadingEntry<'_> {
    ReadingEntry {
        reading,
        point: taken.point,
        capture: &taken.capture,
        standing: match standing {
            Standing::InHand => "in hand",
            Standing::Kept => "kept",
            Standing::Dropped => "dropped",
        },
        field_a_per_m: taken.field(),
        u_calibration_rel: taken.u_calibration_rel,
        carrier_hz: taken.surveyed.carrier_hz,
        period_s: taken.surveyed.period_s,
    }
}

/// A table for people: each point, its reading, and how it lies to the fit of the
/// others; then what follows from all.
pub fn table(survey: &Survey) -> String {
    let header = ["point", "place", "field", "beside the others"].map(String::from).to_vec();
    let mut rows = vec![header];
    for (number, point, state) in survey.points() {
        let (field, beside) = match state {
            PointState::Due => ("due".to_owned(), String::new()),
            PointState::Left => ("left".to_owned(), String::new()),
            PointState::Done(reading) => (
                survey.reading(reading).map_or(String::new(), |t| units::field_reading(t.field())),
                survey
                    .compare(reading)
                    .map_or(String::new(), |c| units::plus_minus(c.difference_db, "dB")),
            ),
        };
        rows.push(vec![number.to_string(), point.to_string(), field, beside]);
    }
    let mut text = align(&rows);
    let dropped = survey.readings().filter(|r| r.2 == Standing::Dropped).count();
    if dropped > 0 {
        text += &format!("dropped and still in the journal: {dropped}\n");
    }
    if let Some(of) = survey.followed() {
        text += &format!("unit: {of}\n");
    }
    match survey.analyse() {
        Ok(analysis) => text += &results(&analysis),
        Err(RangeError::TooFew { .. } | RangeError::OneDistance) => {
            text += "too few readings for a fit: three are needed, two of them at different \
                     distances in one alignment\n";
        }
        Err(why) => text += &format!("no fit: {why}\n"),
    }
    text
}

fn results(analysis: &RangeAnalysis) -> String {
    let at_10_m = analysis.field_at_10_m_a_per_m;
    let mut text = format!(
        "moment: {}\nfield at 10 m: {} coaxial\nslope: {}\n",
        units::plus_minus(analysis.moment_a_m2.scaled(1e3), "mA·m²"),
        units::field_reading(at_10_m),
        units::plus_minus(analysis.slope, ""),
    );
    if analysis.u_calibration_rel > 0.0 {
        let share = units::significant(100.0 * analysis.u_calibration_rel, 2);
        text +=
            &format!("calibration: {share} %, contained in the ± of moment and field at 10 m\n");
    }
    for note in &analysis.notes {
        text += &format!("note: {note}\n");
    }
    text
}
