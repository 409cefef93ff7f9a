//! The journal of a survey: JSON lines, the first with its plan, each further one
//! with a step of it and when it was made. Lines are only ever added.

use std::path::{Path, PathBuf};

use coilrig_analysis::survey::{Event, Setup};
use jiff::Timestamp;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::files;

const FORMAT: &str = "coilrig-survey-journal/1";

/// A journal on the disk.
pub(super) struct Journal {
    path: PathBuf,
    text: String,
}

/// What a journal told.
pub(super) struct Told {
    /// What the survey was set up with.
    pub setup: Setup,
    /// Its steps, each with the line it stands in.
    pub events: Vec<(usize, Event)>,
}

#[derive(Serialize, Deserialize)]
struct Head {
    format: String,
    at: String,
    #[serde(flatten)]
    setup: Setup,
}

#[derive(Serialize, Deserialize)]
struct Line {
    at: String,
    #[serde(flatten)]
    event: Event,
}

impl Journal {
    /// Begin a journal at `path`, where none may be.
    pub fn begin(path: &Path, setup: &Setup) -> Result<Self> {
        if path.exists() {
            return Err(Error::file(
                path.display(),
                "there is a survey already, which is never overwritten",
                "go on with it, or choose another folder",
            ));
        }
        let mut journal = Self { path: path.to_owned(), text: String::new() };
        journal.add(&Head { format: FORMAT.into(), at: now(), setup: setup.clone() })?;
        Ok(journal)
    }

    /// Read the journal at `path`.
    pub fn read(path: &Path) -> Result<(Self, Told)> {
        let text = files::read_text(path)?;
        let mut lines = (1..).zip(text.lines());
        let (_, first) = lines.next().ok_or_else(|| damaged(path, 1, "is empty"))?;
        let head: Head = parse(path, 1, first)?;
        if head.format != FORMAT {
            let what = format!("format is \"{}\", not \"{FORMAT}\"", head.format);
            return Err(damaged(path, 1, what));
        }
        let events = lines
            .map(|(number, line)| parse::<Line>(path, number, line).map(|l| (number, l.event)))
            .collect::<Result<Vec<_>>>()?;
        Ok((Self { path: path.to_owned(), text }, Told { setup: head.setup, events }))
    }

    /// Add a step.
    pub fn append(&mut self, event: &Event) -> Result<()> {
        self.add(&Line { at: now(), event: event.clone() })
    }

    fn add(&mut self, line: &impl Serialize) -> Result<()> {
        let line = serde_json::to_string(line).map_err(|e| {
            Error::file(self.path.display(), format!("cannot take the step: {e}"), "report this")
        })?;
        let text = format!("{}{line}\n", self.text);
        files::write_whole(&self.path, text.as_bytes())?;
        self.text = text;
        Ok(())
    }
}

/// A journal that says what it cannot.
pub(super) fn damaged(path: &Path, line: usize, what: impl Into<String>) -> Error {
    Error::file(
        format!("{}, line {line}", path.display()),
        what,
        "put the journal back as the program left it, or survey into another folder",
    )
}

fn parse<T: DeserializeOwned>(path: &Path, number: usize, line: &str) -> Result<T> {
    serde_json::from_str(line).map_err(|e| damaged(path, number, e.to_string()))
}

fn now() -> String {
    format!("{:.3}", Timestamp::now())
}
