//! Captures made before, with the places they were recorded at.

use std::path::{Path, PathBuf};

use coilrig_analysis::range::Alignment;
use coilrig_analysis::survey::{
    Event, NotTaken, Plan, PlanError, Point, Refused, Setup, Survey, TakeError, parse_point,
};
use serde::Deserialize;

use super::kind::Guided;
use super::run::notes;
use crate::error::{Error, Result};
use crate::measuring::Keep;
use crate::readings::line_from;
use crate::{files, measuring};

/// A capture and where the receiver stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed<P = Point> {
    /// The capture.
    pub path: PathBuf,
    /// The place.
    pub point: P,
}

/// `PATH@5m:coaxial`; the alignment is coaxial when none is named.
///
/// # Errors
///
/// Text of another form, in words.
pub fn parse_argument(text: &str) -> std::result::Result<Listed, String> {
    let (path, place) = text
        .rsplit_once('@')
        .filter(|(path, _)| !path.is_empty())
        .ok_or("name the capture and its place, as monday@5m:coaxial")?;
    let point = parse_point(place, Alignment::Coaxial).map_err(|e| e.to_string())?;
    Ok(Listed { path: path.into(), point })
}

/// What a row of the list has besides the place.
#[derive(Deserialize)]
struct Row {
    capture: PathBuf,
}

/// Read a list of captures: CSV with the column `capture`, paths relative to the
/// list, and those of the kind's points.
///
/// # Errors
///
/// A list that cannot be read, with the line.
pub fn read_list<K: Guided>(path: &Path) -> Result<Vec<Listed<K::Point>>> {
    let text = files::read_text(path)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let mut rows = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let folder = path.parent().unwrap_or(Path::new(""));
    let header = rows.headers().map_err(|e| unreadable(path, &e, K::LIST))?.clone();
    let mut listed = Vec::new();
    for row in rows.records() {
        let row = row.map_err(|e| unreadable(path, &e, K::LIST))?;
        let line = row.position().map_or(0, |at| line_from(text, at.byte() as usize));
        let place = format!("{}, line {line}", path.display());
        let refuse = |what: String| Error::file(&place, what, K::LIST);
        let Row { capture } = row.deserialize(Some(&header)).map_err(|e| refuse(in_words(&e)))?;
        let point: K::Point = row.deserialize(Some(&header)).map_err(|e| refuse(in_words(&e)))?;
        K::check_point(&point).map_err(|e| refuse(e.to_string()))?;
        listed.push(Listed { path: folder.join(capture), point });
    }
    Ok(listed)
}

fn unreadable(path: &Path, error: &csv::Error, remedy: &str) -> Error {
    Error::file(path.display(), format!("is no list of captures: {}", in_words(error)), remedy)
}

fn in_words(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Deserialize { err, .. } => err.to_string(),
        _ => error.to_string(),
    }
}

/// The survey that captures make: measured in their order, each that holds the unit
/// kept. Captures that do not are left out and named in the errors, so that one bad
/// capture does not cost the others. `warn` is told what a person should know.
///
/// # Errors
///
/// No capture, a senseless place, or a senseless option.
pub fn survey_of<K: Guided>(
    listed: &[Listed<K::Point>],
    kind: K,
    carrier_hz: Option<f64>,
    mut warn: impl FnMut(&str),
) -> Result<(Survey<K>, Vec<Error>)> {
    let points = listed.iter().map(|l| l.point).collect();
    let senseless = |e: PlanError| Error::usage(e.to_string(), "name captures and their places");
    let plan = Plan::as_given(points).map_err(senseless)?;
    let refused = |e: Refused| Error::usage(e.to_string(), "correct the options of the survey");
    let mut survey = Survey::new(Setup { plan, kind, carrier_hz }).map_err(refused)?;
    let mut errors = Vec::new();
    for (number, listed) in (1..).zip(listed) {
        match measured(&survey, number, &listed.path, &mut warn) {
            Ok(taken) => {
                survey.apply(&taken).map_err(refused)?;
                let reading = survey.readings().count();
                survey.apply(&Event::Kept { reading }).map_err(refused)?;
            }
            Err(error) => {
                errors.push(error);
                survey.apply(&Event::Skipped { point: number }).map_err(refused)?;
            }
        }
    }
    Ok((survey, errors))
}

fn measured<K: Guided>(
    survey: &Survey<K>,
    number: usize,
    path: &Path,
    warn: &mut impl FnMut(&str),
) -> Result<Event<K>> {
    let measured = measuring::measure(path, Keep::default())?;
    if measured.overdriven {
        return Err(Error::file(
            path.display(),
            NotTaken::Overdriven.to_string(),
            "record again with a lower gain or from farther away",
        ));
    }
    let event = survey.take(number, &measured.measurement, &path.display().to_string());
    match event {
        Ok(event) => {
            measured.warnings.iter().for_each(|warning| warn(warning));
            if let Event::Taken(taken) = &event {
                for note in notes(&measured.measurement, taken) {
                    warn(&format!("{}: {note}", path.display()));
                }
            }
            Ok(event)
        }
        Err(TakeError::NotTaken(why @ NotTaken::NotCalibrated)) => Err(not_calibrated(path, &why)),
        Err(TakeError::NotTaken(why @ NotTaken::OneAxis)) => Err(Error::file(
            path.display(),
            why.to_string(),
            "survey places with a receiver of three axes",
        )),
        Err(why) => Err(Error::file(
            path.display(),
            why.to_string(),
            "leave the capture out, or name the unit by --carrier",
        )),
    }
}

/// A capture that holds no field.
pub(super) fn not_calibrated(path: &Path, why: &NotTaken) -> Error {
    Error::file(
        path.display(),
        why.to_string(),
        "record with --calibration, or add coilrig:field_per_count to the metadata",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use coilrig_analysis::survey::{Distance, Grid};

    #[test]
    fn captures_are_named_with_their_place() {
        let listed = parse_argument("a@b/c@2.5m:coplanar").unwrap();
        assert_eq!(listed.path, Path::new("a@b/c"));
        assert_eq!(listed.point, Point { distance_m: 2.5, alignment: Alignment::Coplanar });
        for wrong in ["a", "@5m", "a@", "a@x", "a@5:axial"] {
            assert!(parse_argument(wrong).is_err(), "{wrong}");
        }
    }

    fn list(text: &str) -> Result<Vec<Listed>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("list.csv");
        std::fs::write(&path, text).unwrap();
        read_list::<Distance>(&path).map(|listed| {
            let inside = |l: Listed| Listed {
                path: l.path.strip_prefix(folder.path()).unwrap().to_owned(),
                ..l
            };
            listed.into_iter().map(inside).collect()
        })
    }

    #[test]
    fn a_list_is_read_by_its_columns() {
        let text = "# lower field\ndistance_m,capture,alignment\n\n5, near/a ,coaxial\n";
        let listed = list(text).unwrap();
        assert_eq!(listed.len(), 1);
        assert_eq!(listed[0].path, Path::new("near/a"));
        assert_eq!(listed[0].point.distance_m, 5.0);
    }

    #[test]
    fn a_list_at_fault_is_refused_with_its_line() {
        let header = "capture,distance_m,alignment\n";
        for (row, matter) in [
            ("a,x,coaxial", "invalid float"),
            ("a,5,axial", "axial"),
            ("a,-5,coaxial", "over zero"),
        ] {
            let error = list(&format!("{header}# note\n{row}\n")).unwrap_err().to_string();
            assert!(error.contains("list.csv, line 3") && error.contains(matter), "{error}");
        }
        assert!(
            list("capture,alignment\na,coaxial\n").unwrap_err().to_string().contains("distance_m")
        );
    }

    #[test]
    fn each_kind_has_its_columns() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("list.csv");
        std::fs::write(&path, "capture,z_m,x_m,y_m\na,0.5,-1,2\n").unwrap();
        let listed = read_list::<Grid>(&path).unwrap();
        assert_eq!(listed[0].point.position_m(), [-1.0, 2.0, 0.5]);
        let error = read_list::<Distance>(&path).unwrap_err().to_string();
        assert!(error.contains("list.csv, line 2") && error.contains("distance_m"), "{error}");
    }
}
