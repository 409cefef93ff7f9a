//! What a survey needs of its kind on the disk and in the conversation.

use std::path::Path;

use coilrig_analysis::survey::{Kind, Survey};

use crate::error::Result;
use crate::link::Link;

/// A kind of survey that can lead a person and keep a folder.
pub trait Guided: Kind {
    /// The kind in results.
    const NAME: &'static str;
    /// Format of its journal.
    const JOURNAL: &'static str;
    /// What to do about a list of captures that cannot be read.
    const LIST: &'static str;
    /// Title of the last column of its table for people, filled by [`Self::beside`].
    const BESIDE: &'static str;

    /// Whether a receiver can take such readings.
    ///
    /// # Errors
    ///
    /// It cannot.
    fn check_receiver(_link: &Link) -> Result<()> {
        Ok(())
    }

    /// A point as part of the name of its captures.
    fn in_file_name(point: &Self::Point) -> String;

    /// Write the table of the readings that count.
    ///
    /// # Errors
    ///
    /// It cannot be written.
    fn write_table(survey: &Survey<Self>, path: &Path) -> Result<()>;

    /// What to do to be at a point, in lines.
    fn how_to_get_there(&self, point: &Self::Point) -> Vec<String>;

    /// What there is to say of a reading before it is kept, in lines.
    fn judgement(survey: &Survey<Self>, reading: usize) -> Vec<String>;

    /// A reading beside the others, in a cell of a table; empty when there is
    /// nothing to say.
    fn beside(survey: &Survey<Self>, reading: usize) -> String;
}
