//! A survey as JSON and as a table for people.

use std::path::Path;

use coilrig_analysis::angle::{AngleAnalysis, AngleError};
use coilrig_analysis::range::{RangeAnalysis, RangeError};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::survey::{Angle, Distance, Grid, PointState, Standing, Step, Survey, Taken};
use coilrig_analysis::units;
use serde::Serialize;

use super::columns::align;
use crate::error::{Error, Result};
use crate::surveying::Guided;

/// A survey whose results can be told.
pub trait Results: Guided {
    /// What follows from the readings, as fields of the document.
    fn document(survey: &Survey<Self>) -> impl Serialize;

    /// The same in lines for people.
    fn lines(survey: &Survey<Self>) -> String;
}

/// `coilrig-survey/1`, the document of a survey.
#[derive(Serialize)]
struct Document<'a, P, R> {
    format: &'static str,
    kind: &'static str,
    /// Path of the table of readings.
    table: String,
    /// Whether every point is done or left.
    finished: bool,
    points: Vec<PointEntry<P>>,
    readings: Vec<ReadingEntry<'a>>,
    #[serde(flatten)]
    results: R,
}

#[derive(Serialize)]
struct PointEntry<P> {
    point: usize,
    #[serde(flatten)]
    place: P,
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
pub fn json<K: Results>(survey: &Survey<K>, table: &Path) -> Result<String> {
    let document = Document {
        format: "coilrig-survey/1",
        kind: K::NAME,
        table: table.display().to_string(),
        finished: survey.next() == Step::Finished,
        points: survey.points().map(point_entry).collect(),
        readings: survey.readings().map(reading_entry).collect(),
        results: K::document(survey),
    };
    serde_json::to_string_pretty(&document)
        .map(|text| text + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}

fn point_entry<P>((point, place, state): (usize, P, PointState)) -> PointEntry<P> {
    let (state, reading) = match state {
        PointState::Due => ("due", None),
        PointState::Done(reading) => ("done", Some(reading)),
        PointState::Left => ("left", None),
    };
    PointEntry { point, place, state, reading }
}

fn reading_entry<K: Guided>(
    (reading, taken, standing): (usize, &Taken<K>, Standing),
) -> ReadingEntry<'_> {
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

/// A table for people: each point, its reading, and how it lies to the others;
/// then what follows from all.
pub fn table<K: Results>(survey: &Survey<K>) -> String {
    let header = ["point", "place", "field", K::BESIDE].map(String::from).to_vec();
    let mut rows = vec![header];
    for (number, point, state) in survey.points() {
        let (field, beside) = match state {
            PointState::Due => ("due".to_owned(), String::new()),
            PointState::Left => ("left".to_owned(), String::new()),
            PointState::Done(reading) => (
                survey.reading(reading).map_or(String::new(), |t| units::field_reading(t.field())),
                K::beside(survey, reading),
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
    text + &K::lines(survey)
}

#[derive(Serialize)]
struct OverDistance {
    #[serde(skip_serializing_if = "Option::is_none")]
    range: Option<RangeAnalysis>,
}

impl Results for Distance {
    fn document(survey: &Survey<Self>) -> impl Serialize {
        OverDistance { range: survey.analyse().ok() }
    }

    fn lines(survey: &Survey<Self>) -> String {
        match survey.analyse() {
            Ok(analysis) => results(&analysis),
            Err(RangeError::TooFew { .. } | RangeError::OneDistance) => {
                "too few readings for a fit: three are needed, two of them at different distances \
                 in one alignment\n"
                    .into()
            }
            Err(why) => format!("no fit: {why}\n"),
        }
    }
}

#[derive(Serialize)]
struct OverAngle {
    #[serde(skip_serializing_if = "Option::is_none")]
    angle: Option<AngleAnalysis>,
}

impl Results for Angle {
    fn document(survey: &Survey<Self>) -> impl Serialize {
        OverAngle { angle: survey.analyse().ok() }
    }

    fn lines(survey: &Survey<Self>) -> String {
        match survey.analyse() {
            Ok(analysis) => super::angle::lines(&analysis),
            Err(why @ (AngleError::TooFew { .. } | AngleError::TooNarrow { .. })) => {
                format!("no law yet: {why}\n")
            }
            Err(why) => format!("no law: {why}\n"),
        }
    }
}

#[derive(Serialize)]
struct OverPlaces {
    /// Point of the strongest reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    strongest_point: Option<usize>,
}

impl Results for Grid {
    fn document(survey: &Survey<Self>) -> impl Serialize {
        OverPlaces { strongest_point: survey.strongest().map(|(point, _)| point) }
    }

    fn lines(survey: &Survey<Self>) -> String {
        survey.strongest().map_or(String::new(), |(point, field)| {
            let place = survey.point(point).map_or(String::new(), |(place, _)| place.to_string());
            format!("strongest: {} at point {point}, {place}\n", units::field_reading(field))
        })
    }
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
