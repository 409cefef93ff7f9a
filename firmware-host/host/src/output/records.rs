//! Entries, checks and what was saved, for people and as JSON.

use std::collections::BTreeMap;
use std::path::Path;

use coilrig_analysis::reading::Reading;
use serde::Serialize;
use serde_json::Value;
use serde_json::value::RawValue;

use crate::error::{Error, Result};
use crate::measuring::counted;
use crate::records::checking::{CaptureState, Findings};
use crate::records::listing::Line;
use crate::records::salvage::Saved;
use crate::records::{EntryId, Kind};

/// Remarks of a salvage that are told one by one; there can be thousands.
const REMARKS_TOLD: usize = 20;

/// A line an entry.
pub fn list(lines: &[Line]) -> String {
    if lines.is_empty() {
        return "no entries\n".into();
    }
    let header = ["entry", "when", "kind", "unit", "what", "by"].map(String::from).to_vec();
    let mut rows = vec![header];
    rows.extend(lines.iter().map(|line| {
        let mut says = line.says.clone();
        if let Some(by) = line.corrected_by {
            says += &format!(" [until entry {by}]");
        }
        if let Some(id) = line.corrects.filter(|_| line.kind != Kind::Withdrawal) {
            says += &format!(" [in place of entry {id}]");
        }
        if let Some(note) = &line.note {
            says += &format!(" ({note})");
        }
        vec![
            line.id.to_string(),
            minutes(&line.at),
            line.kind.to_string(),
            line.unit.clone().unwrap_or_default(),
            says,
            line.entered_by.clone(),
        ]
    }));
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max();
    let widths: Vec<usize> = (0..5).map(|column| width(column).unwrap_or(0)).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(widths.iter().chain([&0]));
        let line: Vec<String> = cells.map(|(cell, width)| format!("{cell:width$}")).collect();
        line.join("  ").trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

/// A time to the minute, in UTC.
fn minutes(at: &str) -> String {
    let minute = at.get(..16).unwrap_or(at);
    format!("{}Z", minute.replace('T', " "))
}

/// `coilrig-entries/1`.
pub fn list_json(lines: &[Line]) -> Result<String> {
    #[derive(Serialize)]
    struct Document<'a> {
        format: &'static str,
        entries: &'a [Line],
    }
    document(&Document { format: "coilrig-entries/1", entries: lines })
}

/// An entry with all that it says.
pub struct Shown<'a> {
    /// In short.
    pub line: &'a Line,
    /// Its own columns.
    pub columns: &'a [(String, Value)],
    /// Its numbers.
    pub values: &'a [(String, Reading)],
    /// The captures it rests on.
    pub captures: &'a [EntryId],
}

impl Shown<'_> {
    /// For people.
    pub fn text(&self) -> String {
        let Line {
            id, kind, at, entered_at, entered_by, corrects, corrected_by, note, unit, ..
        } = self.line;
        let mut text = format!("entry {id}: {kind}\n");
        let mut rows = vec![
            vec!["when".to_owned(), at.clone()],
            vec!["entered".to_owned(), format!("{entered_at} by {entered_by}")],
        ];
        let mut add = |name: &str, value: Option<String>| {
            rows.extend(value.map(|value| vec![name.to_owned(), value]));
        };
        add("in place of", corrects.map(|id| format!("entry {id}")));
        add("in force until", corrected_by.map(|id| format!("entry {id}")));
        add("note", note.clone());
        for (name, value) in self.columns {
            let value = match (name.as_str(), unit, value) {
                ("unit", Some(unit), _) => unit.clone(),
                ("station" | "capture" | "calibration" | "verification", ..) => {
                    format!("entry {value}")
                }
                ("document_json", ..) => "shown by --json".into(),
                // A whole file stands below.
                ("file_toml", ..) => continue,
                (_, _, Value::String(text)) => text.clone(),
                _ => value.to_string(),
            };
            add(name, Some(value));
        }
        if !self.captures.is_empty() {
            let numbers: Vec<String> = self.captures.iter().map(ToString::to_string).collect();
            add("captures", Some(format!("entry {}", numbers.join(", "))));
        }
        text += &left(&rows);
        if !self.values.is_empty() {
            let numbers = self.values.iter().map(|(quantity, reading)| {
                vec![quantity.clone(), format!("{} ± {:.2e}", reading.value, reading.u)]
            });
            text += &format!("\n{}", left(&numbers.collect::<Vec<_>>()));
        }
        let file = self.columns.iter().find(|(name, _)| name == "file_toml");
        if let Some(file) = file.and_then(|(_, value)| value.as_str()) {
            text += &format!("\n{}\n", file.trim_end());
        }
        text
    }

    /// `coilrig-entry/1`.
    pub fn json(&self) -> Result<String> {
        let content = self.columns.iter().map(|(name, value)| {
            // As it was entered, to the last digit.
            let text = value.as_str().filter(|_| name == "document_json");
            let raw = text.and_then(|text| serde_json::from_str::<&RawValue>(text).ok());
            (name.as_str(), raw.map_or(Content::Column(value), Content::Document))
        });
        document(&EntryDocument {
            format: "coilrig-entry/1",
            entry: self.line,
            content: content.collect(),
            values: self.values.iter().map(|(quantity, r)| (quantity.as_str(), *r)).collect(),
            captures: self.captures,
        })
    }
}

#[derive(Serialize)]
struct EntryDocument<'a> {
    format: &'static str,
    entry: &'a Line,
    content: BTreeMap<&'a str, Content<'a>>,
    values: BTreeMap<&'a str, Reading>,
    captures: &'a [EntryId],
}

#[derive(Serialize)]
#[serde(untagged)]
enum Content<'a> {
    Column(&'a Value),
    Document(&'a RawValue),
}

/// Name and value, one line each, all from the left.
fn left(rows: &[Vec<String>]) -> String {
    let width = rows.iter().map(|row| row[0].chars().count()).max().unwrap_or(0);
    rows.iter().map(|row| format!("  {:width$}  {}\n", row[0], row[1])).collect()
}

/// What a check found.
pub fn findings(found: &Findings) -> String {
    let mut text = String::new();
    for damage in &found.damage {
        text += &format!("DAMAGE: {damage}\n");
    }
    for id in &found.in_part {
        text += &format!("entry {id} lacks some of its parts\n");
    }
    for (id, back_s) in &found.clock_back {
        let days = back_s / 86_400.0;
        text += &format!(
            "entry {id} was made when the clock was {} behind an earlier entry\n",
            if days >= 1.0 { format!("{days:.1} days") } else { format!("{back_s:.0} s") }
        );
    }
    for capture in &found.captures {
        let state = match &capture.state {
            CaptureState::SamplesChanged => "holds OTHER SAMPLES than were entered".to_owned(),
            CaptureState::MetadataChanged => {
                "same samples, but its .sigmf-meta file was changed".to_owned()
            }
            CaptureState::Moved(path) => format!(
                "is not there; its samples are at {0}: coilrig records correct {1} \"path={0}\"",
                path.display(),
                capture.id
            ),
            CaptureState::Missing => "is not there".to_owned(),
            CaptureState::Unreadable(why) => format!("cannot be read: {why}"),
        };
        text += &format!("entry {}: {} {state}\n", capture.id, capture.path.display());
    }
    if found.damage.is_empty() && found.in_part.is_empty() {
        text += "the file is whole\n";
    }
    let captures = counted(found.captures_checked as u64, "capture");
    match (found.captures_checked, found.captures.len()) {
        (0, _) => {}
        (_, 0) => text += &format!("{captures} as entered\n"),
        (_, changed) => text += &format!("{captures}, {changed} of them not as entered\n"),
    }
    text
}

/// `coilrig-records-check/1`.
pub fn findings_json(found: &Findings) -> Result<String> {
    document(&With { format: "coilrig-records-check/1", result: found })
}

/// What was saved.
pub fn saved(saved: &Saved, out: &Path) -> String {
    let kinds = saved.entries.iter().map(|(kind, count)| format!("{count} {kind}"));
    let mut text = format!(
        "{}: {} saved ({})\n",
        out.display(),
        entries(saved.count() as u64),
        kinds.collect::<Vec<_>>().join(", ")
    );
    if saved.lost.is_empty() {
        text += "nothing is lost\n";
    } else {
        let stretch = |(from, to): &(EntryId, EntryId)| match from == to {
            true => from.to_string(),
            false => format!("{from} to {to}"),
        };
        let all: Vec<String> = saved.lost.iter().map(stretch).collect();
        text += &format!("{} lost: {}\n", entries(saved.count_lost() as u64), all.join(", "));
        text += "What was lost may have corrected or withdrawn others, which then count again.\n";
    }
    for remark in saved.remarks.iter().take(REMARKS_TOLD) {
        text += &format!("{remark}\n");
    }
    if saved.remarks.len() > REMARKS_TOLD {
        let more = saved.remarks.len() - REMARKS_TOLD;
        text += &format!("and {more} more of the kind (--json tells all)\n");
    }
    text
}

fn entries(count: u64) -> String {
    format!("{count} {}", if count == 1 { "entry" } else { "entries" })
}

/// `coilrig-records-salvage/1`.
pub fn saved_json(saved: &Saved) -> Result<String> {
    document(&With { format: "coilrig-records-salvage/1", result: saved })
}

#[derive(Serialize)]
struct With<'a, T> {
    format: &'static str,
    #[serde(flatten)]
    result: &'a T,
}

fn document(value: &impl Serialize) -> Result<String> {
    serde_json::to_string_pretty(value)
        .map(|text| text + "\n")
        .map_err(|e| Error::file("results", format!("cannot be put as JSON: {e}"), "report this"))
}
