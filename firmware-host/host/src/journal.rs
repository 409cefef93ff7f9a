//! A journal of work that may be broken off at any moment: JSON lines, the first
//! with what it was set up with, each further one with a step of it and when it
//! was made. Lines are only ever added.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::files;

/// A journal on the disk.
pub struct Journal {
    path: PathBuf,
    text: String,
}

/// What a journal told.
pub struct Told<Setup, Event> {
    /// What the work was set up with.
    pub setup: Setup,
    /// Its steps, each with the line it stands in.
    pub events: Vec<(usize, Event)>,
}

#[derive(Serialize, Deserialize)]
struct Head<Setup> {
    format: String,
    at: String,
    #[serde(flatten)]
    setup: Setup,
}

/// What of the head tells whether the rest can be read.
#[derive(Deserialize)]
struct Format {
    format: String,
}

#[derive(Serialize, Deserialize)]
struct Line<Event> {
    at: String,
    #[serde(flatten)]
    event: Event,
}

impl Journal {
    /// Begin a journal of that `format` at `path`, where none may be.
    ///
    /// # Errors
    ///
    /// There is one, or it cannot be written.
    pub fn begin<Setup: Serialize + Clone>(
        path: &Path,
        format: &str,
        setup: &Setup,
    ) -> Result<Self> {
        if path.exists() {
            return Err(Error::file(
                path.display(),
                "there is a journal already, which is never overwritten",
                "go on with it, or choose another folder",
            ));
        }
        let mut journal = Self { path: path.to_owned(), text: String::new() };
        journal.add(&Head { format: format.into(), at: now(), setup: setup.clone() })?;
        Ok(journal)
    }

    /// Read the journal of that `format` at `path`.
    ///
    /// # Errors
    ///
    /// It cannot be read, or is damaged, with the line.
    pub fn read<Setup: DeserializeOwned, Event: DeserializeOwned>(
        path: &Path,
        format: &str,
    ) -> Result<(Self, Told<Setup, Event>)> {
        let text = files::read_text(path)?;
        let of = format_of(path, &text)?;
        if of != format {
            return Err(damaged(path, 1, format!("format is \"{of}\", not \"{format}\"")));
        }
        let mut lines = (1..).zip(text.lines());
        let (_, first) = lines.next().ok_or_else(|| damaged(path, 1, "is empty"))?;
        let head: Head<Setup> = parse(path, 1, first)?;
        let events = lines
            .map(|(number, line)| {
                parse::<Line<Event>>(path, number, line).map(|l| (number, l.event))
            })
            .collect::<Result<Vec<_>>>()?;
        Ok((Self { path: path.to_owned(), text }, Told { setup: head.setup, events }))
    }

    /// Add a step.
    ///
    /// # Errors
    ///
    /// It cannot be written.
    pub fn append<Event: Serialize + Clone>(&mut self, event: &Event) -> Result<()> {
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

/// Format of the journal at `path`.
///
/// # Errors
///
/// It cannot be read, or its first line is damaged.
pub fn format_at(path: &Path) -> Result<String> {
    format_of(path, &files::read_text(path)?)
}

fn format_of(path: &Path, text: &str) -> Result<String> {
    let first = text.lines().next().ok_or_else(|| damaged(path, 1, "is empty"))?;
    parse::<Format>(path, 1, first).map(|of| of.format)
}

/// A journal that says what it cannot.
pub fn damaged(path: &Path, line: usize, what: impl Into<String>) -> Error {
    Error::file(
        format!("{}, line {line}", path.display()),
        what,
        "put the journal back as the program left it, or work in another folder",
    )
}

fn parse<T: DeserializeOwned>(path: &Path, number: usize, line: &str) -> Result<T> {
    serde_json::from_str(line).map_err(|e| damaged(path, number, e.to_string()))
}

fn now() -> String {
    format!("{:.3}", Timestamp::now())
}
