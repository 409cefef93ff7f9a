//! What is wrong with a station, and where.

use std::ops::Range;

/// Why a station file is not usable.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct StationError {
    /// Line of the file, from 1, where there is one to point at.
    pub line: Option<usize>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

/// The same, at bytes of the text.
#[derive(Debug)]
pub(super) struct Fault {
    pub place: Option<Range<usize>>,
    pub what: String,
    pub remedy: String,
}

impl Fault {
    pub(super) fn new(place: Range<usize>, what: impl Into<String>, remedy: &str) -> Self {
        Self { place: Some(place), what: what.into(), remedy: remedy.into() }
    }

    /// With the line of `text` in place of its bytes.
    pub(super) fn in_text(self, text: &str) -> StationError {
        let line = self.place.map(|p| line_of(text, p.start));
        StationError { line, what: self.what, remedy: self.remedy }
    }
}

/// Line, from 1, of the byte at `at`.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|&b| b == b'\n').count() + 1
}
