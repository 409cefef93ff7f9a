//! Conversations with the person who holds the receiver.
//!
//! Everything is asked on standard error, a line a question, and answered a line
//! an answer, so that a pipe can hold the conversation as well as a person.

use std::future::Future;
use std::io::{BufRead, IsTerminal};
use std::pin::Pin;

use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

use crate::error::{Error, Result};
use crate::recording::{Notice, other_temperature};

/// The lines of a person or a pipe.
pub struct Answers(UnboundedReceiver<String>);

impl Answers {
    /// The lines of `source`, read on a thread of its own.
    ///
    /// # Errors
    ///
    /// The system does not let the program start a thread.
    pub fn of(source: impl BufRead + Send + 'static) -> Result<Self> {
        let (lines, answers) = unbounded_channel();
        std::thread::Builder::new()
            .name("answers".into())
            .spawn(move || {
                // A line that cannot be read ends the answers, as their end does.
                for line in source.lines().map_while(std::result::Result::ok) {
                    if lines.send(line).is_err() {
                        return;
                    }
                }
            })
            .map_err(|e| {
                Error::file("answers", format!("cannot be read: {e}"), "close some programs")
            })?;
        Ok(Self(answers))
    }

    /// The next line; `None` at their end.
    pub async fn next(&mut self) -> Option<String> {
        self.0.recv().await
    }
}

/// Somebody to ask, until they want to stop.
pub struct Person<'a> {
    answers: Answers,
    /// Ready when nothing more is wanted, a question asked or not.
    pub stop: Pin<Box<dyn Future<Output = ()> + 'a>>,
    /// Whether nothing more is to be asked.
    pub is_stopped: bool,
}

impl<'a> Person<'a> {
    /// Who gives these answers, and stops when `stop` is ready.
    pub fn new(answers: Answers, stop: impl Future<Output = ()> + 'a) -> Self {
        Self { answers, stop: Box::pin(stop), is_stopped: false }
    }

    /// The next answer; the end of the answers, Ctrl-C and a closed terminal all
    /// mean to stop.
    pub async fn ask(&mut self, question: &str) -> Answer {
        eprintln!("{question}");
        let line = tokio::select! {
            biased;
            () = &mut self.stop => None,
            line = self.answers.next() => line,
        };
        let answer = line.map_or(Answer::Stop, |line| Answer::of(&line));
        self.is_stopped |= answer == Answer::Stop;
        answer
    }
}

/// What a person wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Enter alone.
    Yes,
    /// Take the point in question, or the one of that number, again.
    Repeat(Option<usize>),
    /// Drop the reading in hand, or that of the point of that number.
    Drop(Option<usize>),
    /// Leave it.
    Skip,
    /// Stop here; the same command goes on later.
    Stop,
    /// Something else.
    Unclear,
}

impl Answer {
    /// What the line means.
    pub fn of(line: &str) -> Self {
        let line = line.trim().to_lowercase();
        let (word, rest) = line.split_at(line.chars().next().map_or(0, char::len_utf8));
        let rest = rest.trim();
        let number = rest.parse().ok();
        match word {
            "" => Self::Yes,
            "r" if rest.is_empty() || number.is_some() => Self::Repeat(number),
            "d" if rest.is_empty() || number.is_some() => Self::Drop(number),
            "s" if rest.is_empty() => Self::Skip,
            "q" if rest.is_empty() => Self::Stop,
            _ => Self::Unclear,
        }
    }
}

/// Shows on standard error how a recording goes.
pub struct Recorded {
    duration_s: f64,
    is_terminal: bool,
}

impl Recorded {
    /// For a recording that is to last so long.
    pub fn new(duration_s: f64) -> Self {
        Self { duration_s, is_terminal: std::io::stderr().is_terminal() }
    }

    /// Show what happened.
    pub fn show(&mut self, notice: Notice) {
        match notice {
            Notice::Progress(progress) if self.is_terminal => {
                let overload = if progress.overload { "  OVERLOAD" } else { "" };
                // Back to the start of the line, and clear what the last one left.
                let (now, whole) = (progress.elapsed_s, self.duration_s);
                eprint!("\r  {now:.0} of {whole} s{overload}\x1b[K");
            }
            Notice::Progress(_) => {}
            Notice::Gap(gap) => eprintln!("  {} samples missing", gap.missing),
            Notice::Stalled => eprintln!("  the receiver sends nothing; told it to start again"),
            Notice::Lost(why) => eprintln!("  {why}; waiting for the receiver"),
            Notice::Back => eprintln!("  the receiver is back"),
            Notice::OtherTemperature { now_c, calibrated_c } => {
                eprintln!("  {}", other_temperature(now_c, calibrated_c));
            }
        }
    }

    /// The recording is over.
    pub fn end(self) {
        if self.is_terminal {
            eprintln!();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_a_letter_and_at_most_a_number() {
        for (line, answer) in [
            ("", Answer::Yes),
            ("  \r", Answer::Yes),
            ("r", Answer::Repeat(None)),
            ("R 3", Answer::Repeat(Some(3))),
            ("d12", Answer::Drop(Some(12))),
            ("d", Answer::Drop(None)),
            (" s ", Answer::Skip),
            ("Q", Answer::Stop),
            ("x", Answer::Unclear),
            ("r x", Answer::Unclear),
            ("stop", Answer::Unclear),
            ("é", Answer::Unclear),
        ] {
            assert_eq!(Answer::of(line), answer, "{line:?}");
        }
    }
}
