//! What the operator asks of the receiver.

use serde::Deserialize;
use tokio::sync::{mpsc, oneshot};

use super::plan::Begun;
use super::survey::Pressed;
use crate::error::{Error, Result};

/// Orders that may wait.
const WAITING: usize = 8;
/// Longest name of a recording.
const LONGEST: usize = 60;

/// One thing to do.
#[derive(Debug, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Order {
    /// Record until told to stop.
    Record {
        /// Name of the capture in the folder of the page; made of the time when absent.
        #[serde(default)]
        name: Option<String>,
        /// Name of the unit under test.
        #[serde(default)]
        unit: Option<String>,
    },
    /// Stop recording, also a point of a survey.
    StopRecording,
    /// Begin a survey in a folder of the page's.
    BeginSurvey {
        /// Name of the folder.
        name: String,
        /// Of which kind, and where.
        plan: Begun,
    },
    /// Go on with the survey in a folder, wherever it was begun.
    OpenSurvey {
        /// Name of the folder.
        name: String,
    },
    /// Leave the survey; it can be opened again.
    LeaveSurvey,
    /// Record the point that is due.
    TakePoint {
        /// For how long, s.
        seconds: f64,
    },
    /// Any other step of the survey.
    Press(Pressed),
}

/// An order and where its answer goes.
pub struct Asked {
    /// What to do.
    pub order: Order,
    /// What came of it.
    pub answer: oneshot::Sender<Result<()>>,
}

impl Asked {
    /// Answer it. Who asked may have gone.
    pub fn answer(self, result: Result<()>) {
        let _ = self.answer.send(result);
    }
}

/// Where orders are given.
#[derive(Clone)]
pub struct Orders(mpsc::Sender<Asked>);

/// Orders, and where they arrive.
pub fn orders() -> (Orders, mpsc::Receiver<Asked>) {
    let (to, from) = mpsc::channel(WAITING);
    (Orders(to), from)
}

impl Orders {
    /// Give an order and wait for what comes of it.
    ///
    /// # Errors
    ///
    /// It cannot be done, with the reason.
    pub async fn give(&self, order: Order) -> Result<()> {
        let (answer, answered) = oneshot::channel();
        let busy = || Error::usage("the receiver is busy", "try again in a moment");
        self.0.try_send(Asked { order, answer }).map_err(|_| busy())?;
        answered.await.map_err(|_| busy())?
    }
}

/// A name that a file may have which somebody named on a page: letters, digits, and - _
/// between them.
///
/// # Errors
///
/// Another name.
pub fn checked(name: &str) -> Result<&str> {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    let begins = name.starts_with(|c: char| c.is_ascii_alphanumeric());
    if begins && name.len() <= LONGEST && name.chars().all(plain) {
        return Ok(name);
    }
    Err(Error::usage(
        format!("\"{}\" is no name for a recording or survey", name.escape_debug()),
        format!("give up to {LONGEST} letters, digits, - and _, a letter or digit first"),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_leads_out_of_the_folder() {
        for good in ["a", "field-3", "2026_01_15", "Hut7"] {
            assert_eq!(checked(good).unwrap(), good);
        }
        let long = "a".repeat(LONGEST + 1);
        for bad in ["", ".", "..", "../a", "a/b", "/etc", "a.b", "-rf", "a b", "a\0", "ä", &long] {
            assert!(checked(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn orders_are_read_strictly() {
        let read = |text: &str| serde_json::from_str::<Order>(text);
        assert!(matches!(read(r#"{"do":"stop_recording"}"#), Ok(Order::StopRecording)));
        assert!(matches!(read(r#"{"do":"record","unit":"hut"}"#), Ok(Order::Record { .. })));
        for bad in ["", "{}", "[]", r#"{"do":"format"}"#, r#"{"do":"record","path":"/"}"#] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
