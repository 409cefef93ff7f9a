//! Captures of one part of a calibration, recorded one after the other, with a
//! journal on the disk: broken off, it goes on where it was.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::capture::meta::Paths;
use crate::error::{Error, Result};
use crate::files;
use crate::journal::{Journal, Told, damaged};

const JOURNAL: &str = "calibrate.jsonl";
const FORMAT: &str = "coilrig-calibrate-journal/1";

/// What a series of captures is set up with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Setup {
    /// Which part, as `loop-x`.
    pub part: String,
    /// Serial number of the receiver.
    pub receiver: String,
    /// Gain step.
    pub gain_step: u8,
    /// The reference that all captures are of, in words and numbers; empty where any
    /// will do.
    #[serde(default)]
    pub reference: String,
    /// Captures that were wanted at first; more may be taken later.
    pub count: usize,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "snake_case")]
enum Event {
    /// Recorded, and now in hand.
    Taken { capture: String },
    /// The one in hand counts.
    Kept,
    /// The one in hand does not count.
    Dropped,
    /// One that counted does not count any more; its number from 1.
    Removed { number: usize },
    /// The captures went into the calibration file: the series is over.
    Used,
}

/// A series with its folder.
pub struct Session {
    folder: PathBuf,
    journal: Journal,
    setup: Setup,
    /// Captures that are wanted now.
    count: usize,
    kept: Vec<String>,
    in_hand: Option<String>,
    is_used: bool,
}

impl Session {
    /// The series in `folder`, or the first of its name with a number behind it
    /// whose captures were not used yet; begun when there is none.
    ///
    /// # Errors
    ///
    /// A series of something else in that folder, a damaged journal, or a folder
    /// that cannot be written.
    pub fn open(folder: &Path, setup: Setup) -> Result<Self> {
        let later = (2..).map(|n| {
            let mut name = folder.as_os_str().to_owned();
            name.push(format!("-{n}"));
            PathBuf::from(name)
        });
        for folder in std::iter::once(folder.to_owned()).chain(later) {
            if !folder.join(JOURNAL).exists() {
                return Self::begin(&folder, setup);
            }
            let session = Self::resume(&folder)?;
            if !session.is_used {
                session.check_is_of(&setup)?;
                return Ok(Self { count: setup.count, ..session });
            }
        }
        // The numbers above do not end.
        Self::begin(folder, setup)
    }

    fn begin(folder: &Path, setup: Setup) -> Result<Self> {
        files::make_folder(folder)?;
        let journal = Journal::begin(&folder.join(JOURNAL), FORMAT, &setup)?;
        Ok(Self::at_its_beginning(folder, journal, setup))
    }

    fn at_its_beginning(folder: &Path, journal: Journal, setup: Setup) -> Self {
        Self {
            folder: folder.to_owned(),
            journal,
            count: setup.count,
            setup,
            kept: Vec::new(),
            in_hand: None,
            is_used: false,
        }
    }

    fn resume(folder: &Path) -> Result<Self> {
        let path = folder.join(JOURNAL);
        let (journal, told): (_, Told<Setup, Event>) = Journal::read(&path, FORMAT)?;
        let mut session = Self::at_its_beginning(folder, journal, told.setup);
        for (line, event) in told.events {
            session.apply(event).map_err(|what| damaged(&path, line, what))?;
        }
        Ok(session)
    }

    fn check_is_of(&self, setup: &Setup) -> Result<()> {
        let same = Setup { count: self.setup.count, ..setup.clone() };
        if self.setup == same {
            return Ok(());
        }
        let Setup { part, receiver, gain_step, reference, .. } = &self.setup;
        let reference = match reference.as_str() {
            "" => String::new(),
            reference => format!(", {reference}"),
        };
        Err(Error::usage(
            format!(
                "{} holds a series that was begun with {part}, receiver {receiver}, gain step \
                 {gain_step}{reference}",
                self.folder.display()
            ),
            "go on with the same options, or give another --folder",
        ))
    }

    /// Captures that count, and how many are wanted.
    pub fn progress(&self) -> (usize, usize) {
        (self.kept.len(), self.count)
    }

    /// Captures that count, in order of taking.
    pub fn kept(&self) -> Vec<PathBuf> {
        self.kept.iter().map(|name| self.folder.join(name)).collect()
    }

    /// The capture that awaits a verdict.
    pub fn in_hand(&self) -> Option<PathBuf> {
        self.in_hand.as_ref().map(|name| self.folder.join(name))
    }

    /// Where the series is kept.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Gain step.
    pub fn gain_step(&self) -> u8 {
        self.setup.gain_step
    }

    /// A name for the next capture that none has, even of a recording that was
    /// killed.
    pub fn next_name(&self) -> String {
        let is_free = |name: &String| {
            let paths = Paths::of(&self.folder.join(name));
            !paths.meta.exists() && !paths.data.exists()
        };
        let names = (1..).map(|n| format!("{}-{n:02}", self.setup.part));
        names.into_iter().find(is_free).unwrap_or_else(|| self.setup.part.clone())
    }

    /// The capture of that name is there.
    pub fn take(&mut self, capture: String) -> Result<()> {
        self.tell(Event::Taken { capture })
    }

    /// The one in hand counts.
    pub fn keep(&mut self) -> Result<()> {
        self.tell(Event::Kept)
    }

    /// The one in hand does not count.
    pub fn drop_it(&mut self) -> Result<()> {
        self.tell(Event::Dropped)
    }

    /// The capture of that number, from 1, does not count any more.
    ///
    /// # Errors
    ///
    /// There is none of that number, or the journal cannot be written.
    pub fn remove(&mut self, number: usize) -> Result<()> {
        if (1..=self.kept.len()).contains(&number) {
            return self.tell(Event::Removed { number });
        }
        let what = format!("there is no capture {number} among {}", self.kept.len());
        Err(Error::usage(what, "give the number of one that counts"))
    }

    /// The captures are in the calibration file.
    pub fn used(&mut self) -> Result<()> {
        self.tell(Event::Used)
    }

    fn tell(&mut self, event: Event) -> Result<()> {
        self.journal.append(&event)?;
        self.apply(event).map_err(|what| Error::usage(what, "choose another step"))
    }

    fn apply(&mut self, event: Event) -> std::result::Result<(), String> {
        match (event, self.in_hand.take()) {
            (Event::Taken { capture }, None) => self.in_hand = Some(capture),
            (Event::Kept, Some(capture)) => self.kept.push(capture),
            (Event::Dropped, Some(_)) => {}
            (Event::Removed { number }, None) if (1..=self.kept.len()).contains(&number) => {
                self.kept.remove(number - 1);
            }
            (Event::Used, None) => self.is_used = true,
            (event, _) => return Err(format!("{event:?} cannot come here")),
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setup() -> Setup {
        Setup {
            part: "loop-x".into(),
            receiver: "CR-1".into(),
            gain_step: 0,
            reference: "1 mA".into(),
            count: 2,
        }
    }

    #[test]
    fn a_series_goes_on_where_it_was_and_a_used_one_is_over() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("c-loop-x");
        let mut session = Session::open(&place, setup()).unwrap();
        for (name, keep) in [("a", true), ("b", false)] {
            session.take(name.into()).unwrap();
            if keep { session.keep().unwrap() } else { session.drop_it().unwrap() }
        }
        session.take("c".into()).unwrap();
        drop(session);
        let mut session = Session::open(&place, setup()).unwrap();
        assert_eq!(session.progress(), (1, 2));
        assert_eq!(session.in_hand(), Some(place.join("c")));
        session.keep().unwrap();
        assert!(session.remove(3).is_err());
        assert_eq!(session.kept(), [place.join("a"), place.join("c")]);
        session.used().unwrap();
        let next = Session::open(&place, setup()).unwrap();
        assert_eq!(next.folder(), folder.path().join("c-loop-x-2"));
        assert_eq!(next.progress(), (0, 2));
    }

    #[test]
    fn another_series_and_a_damaged_journal_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("s");
        Session::open(&place, setup()).unwrap();
        let other = Setup { gain_step: 1, ..setup() };
        let refused = Session::open(&place, other).err().unwrap().to_string();
        assert!(refused.contains("gain step 0, 1 mA"), "{refused}");
        let other = Setup { reference: "2 mA".into(), ..setup() };
        assert!(Session::open(&place, other).is_err(), "another current is another series");
        let path = place.join(JOURNAL);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, text + "{\"at\":\"x\",\"event\":\"kept\"}\n").unwrap();
        let refused = Session::open(&place, setup()).err().unwrap().to_string();
        assert!(refused.contains("calibrate.jsonl, line 2"), "{refused}");
    }
}
