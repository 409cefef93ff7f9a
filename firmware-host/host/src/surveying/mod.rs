//! A survey in a folder: receiver or captures → readings.
//!
//! ```text
//! plan ─▶ record ─▶ measure ─▶ journal ─▶ readings.csv
//! ```
//!
//! A folder holds the captures, `survey.jsonl` (every step so far, see
//! [`crate::journal`]) and `readings.csv` (the readings that count, made anew from the
//! journal at each step). All of it is written so that the program may be killed
//! at any moment: at most the point being recorded is lost.
//!
//! What a survey is, and what may come next in it, stands in
//! `coilrig_analysis::survey`; what differs between distance, angle and grid in
//! [`Guided`].

mod angle;
mod dialogue;
mod distance;
mod grid;
mod kind;
mod listed;
mod run;

pub use crate::dialogue::Answers;
pub use angle::U_ANGLE_DEG;
pub use dialogue::{guide, judgement};
pub use distance::U_DISTANCE_M;
pub use grid::U_PLACING_REL;
pub use kind::Guided;
pub use listed::{Listed, parse_argument, read_list, survey_of};
pub use run::{Attempt, Recording, SurveyRun, TABLE, is_in, kind_in};
