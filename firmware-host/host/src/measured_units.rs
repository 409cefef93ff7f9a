//! What was measured of a station's units, from the documents of other commands.

use std::path::{Path, PathBuf};

use coilrig_analysis::plan::Measured;
use coilrig_analysis::reading::Reading;
use serde::Deserialize;
use serde_json::Value;

use crate::error::{Error, Result};
use crate::files;

/// A document about a unit, as named on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    unit: String,
    path: PathBuf,
    /// Which transmitter of a capture is the unit.
    label: Option<String>,
}

/// `UNIT=FILE` or `UNIT=FILE#LABEL`.
pub fn parse(text: &str) -> std::result::Result<Given, String> {
    let parts = text.split_once('=').filter(|(unit, file)| !unit.is_empty() && !file.is_empty());
    let (unit, file) =
        parts.ok_or("give a unit and its file, such as post=post.json or post=meadow.json#T2")?;
    let whole = Given { unit: unit.to_owned(), path: file.into(), label: None };
    // A file may have a # in its name.
    Ok(match file.rsplit_once('#') {
        Some((path, label)) if !whole.path.exists() => {
            Given { path: path.into(), label: Some(label.to_owned()), ..whole }
        }
        _ => whole,
    })
}

/// Read them all.
///
/// # Errors
///
/// A file that is no document of `measure`, `range` or `locate`, or that leaves open
/// which transmitter is the unit or where it lies.
pub fn read(all: &[Given]) -> Result<Vec<Measured>> {
    all.iter().map(measured).collect()
}

#[derive(Deserialize)]
struct Measurement {
    transmitters: Vec<Transmitter>,
}

#[derive(Deserialize)]
struct Transmitter {
    label: String,
    period_s: Reading,
    on_time_s: Reading,
}

#[derive(Deserialize)]
struct Range {
    field_at_10_m_a_per_m: Reading,
}

#[derive(Deserialize)]
struct Located {
    position_m: [Reading; 3],
    moment_a_m2: [Reading; 3],
    covariance: [[f64; 6]; 6],
    ambiguous: bool,
    field_at_10_m_a_per_m: Reading,
    depth_vertical_m: Reading,
}

fn measured(given: &Given) -> Result<Measured> {
    let refused = |what: String, remedy: &str| Error::file(given.path.display(), what, remedy);
    let text = files::read_text(&given.path)?;
    let remedy = "give what measure, range or locate print with --json";
    let document: Value =
        serde_json::from_str(&text).map_err(|e| refused(format!("is no JSON: {e}"), remedy))?;
    let documents = match document {
        Value::Array(documents) => documents,
        one => vec![one],
    };
    let format = documents.first().and_then(|d| d["format"].as_str()).unwrap_or_default();
    let found = Measured {
        unit: given.unit.clone(),
        source: given.path.display().to_string(),
        ..Measured::default()
    };
    if given.label.is_some() && format != "coilrig-measurement/1" {
        return Err(refused(
            "has no transmitters with labels".into(),
            "leave out # and what follows, or give a document of measure",
        ));
    }
    match format {
        "coilrig-measurement/1" => {
            let all = documents.into_iter().map(|d| typed::<Measurement>(d, &given.path));
            let all = all.collect::<Result<Vec<_>>>()?;
            let transmitter = chosen(given, all.into_iter().flat_map(|m| m.transmitters))?;
            let (period_s, on_time_s) = (Some(transmitter.period_s), Some(transmitter.on_time_s));
            Ok(Measured { period_s, on_time_s, ..found })
        }
        "coilrig-range/1" => {
            let range: Range = typed(one(documents), &given.path)?;
            Ok(Measured { field_at_10_m_a_per_m: Some(range.field_at_10_m_a_per_m), ..found })
        }
        "coilrig-locate/1" => {
            let located: Located = typed(one(documents), &given.path)?;
            if located.ambiguous {
                return Err(refused(
                    "allows two places for the unit".into(),
                    "measure on until locate finds one, or leave it out",
                ));
            }
            let [x, y, _] = located.position_m;
            let moment = located.moment_a_m2.map(|c| c.value);
            let covariance =
                std::array::from_fn(|i| std::array::from_fn(|j| located.covariance[i + 3][j + 3]));
            Ok(Measured {
                place_m: Some([x, y]),
                depth_m: Some(located.depth_vertical_m),
                field_at_10_m_a_per_m: Some(located.field_at_10_m_a_per_m),
                moment_a_m2: Some((moment, covariance)),
                ..found
            })
        }
        "" => Err(refused("does not say what it is (\"format\")".into(), remedy)),
        other => Err(refused(format!("is of format \"{other}\""), remedy)),
    }
}

fn one(documents: Vec<Value>) -> Value {
    documents.into_iter().next().unwrap_or_default()
}

fn typed<T: serde::de::DeserializeOwned>(document: Value, path: &Path) -> Result<T> {
    serde_json::from_value(document).map_err(|e| {
        let remedy = "give what measure, range or locate print with --json, unchanged";
        Error::file(path.display(), format!("is not whole: {e}"), remedy)
    })
}

/// The transmitter that is the unit.
fn chosen(given: &Given, all: impl Iterator<Item = Transmitter>) -> Result<Transmitter> {
    let mut all: Vec<Transmitter> = all.collect();
    let labels = all.iter().map(|t| t.label.as_str()).collect::<Vec<_>>().join(", ");
    let refused = |what: String, remedy: &str| Err(Error::file(given.path.display(), what, remedy));
    if let Some(label) = &given.label {
        all.retain(|t| t.label == *label);
    }
    match (all.len(), &given.label) {
        (1, _) => Ok(all.remove(0)),
        (0, None) => {
            refused("holds no transmitter".into(), "measure a capture that holds the unit")
        }
        (0, Some(label)) => {
            refused(format!("has no transmitter {label}, only {labels}"), "name one of these")
        }
        _ => refused(
            format!("holds several transmitters: {labels}"),
            "say which is the unit, with # and its label behind the file",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_and_files_are_told_apart() {
        let given = parse("post=a/b.json#T2").unwrap();
        assert_eq!((given.unit.as_str(), given.label.as_deref()), ("post", Some("T2")));
        assert_eq!(given.path, PathBuf::from("a/b.json"));
        assert_eq!(parse("old post=b.json").unwrap().label, None);
        for wrong in ["", "post", "=b.json", "post="] {
            assert!(parse(wrong).is_err(), "{wrong}");
        }
    }
}
