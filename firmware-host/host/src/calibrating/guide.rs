//! Leads a person through the captures of one part of a calibration.

use std::future::Future;
use std::path::Path;

use super::session::Session;
use crate::dialogue::{Answer, Answers, Person, Recorded};
use crate::error::{Kind, Result};
use crate::link::Link;
use crate::recording::{self, Options};

/// What the person is to do, and what is to be said of it.
pub trait Task {
    /// What to do before capture `number` of `count` is recorded, in lines.
    fn before(&self, number: usize, count: usize) -> String;
    /// What a capture gave, in a line; its error when it cannot serve.
    fn heard(&self, capture: &Path) -> Result<String>;
    /// What is to be said of all that count so far, in lines.
    fn so_far(&self, kept: &[std::path::PathBuf]) -> Vec<String>;
}

/// How captures are recorded.
#[derive(Clone, Copy, Debug)]
pub struct How<'a> {
    /// Port of the receiver.
    pub port: &'a Path,
    /// How long each, s.
    pub duration_s: f64,
}

/// Lead a person through what is left of the series. Whether it is complete.
///
/// # Errors
///
/// Those that trying again cannot mend; what was taken before is kept.
pub async fn guide(
    session: &mut Session,
    how: How<'_>,
    task: &dyn Task,
    answers: Answers,
    stop: impl Future<Output = ()>,
) -> Result<bool> {
    Guide { session, how, task, person: Person::new(answers, stop) }.lead().await
}

struct Guide<'a> {
    session: &'a mut Session,
    how: How<'a>,
    task: &'a dyn Task,
    person: Person<'a>,
}

impl Guide<'_> {
    async fn lead(&mut self) -> Result<bool> {
        loop {
            if self.person.is_stopped {
                return Ok(false);
            }
            let (kept, wanted) = self.session.progress();
            match self.session.in_hand() {
                Some(capture) => self.decide(&capture).await?,
                None if kept < wanted => self.take(kept + 1, wanted).await?,
                None => {
                    if self.is_agreed(kept).await? {
                        return Ok(true);
                    }
                }
            }
        }
    }

    /// Whether the person is content with all captures.
    async fn is_agreed(&mut self, kept: usize) -> Result<bool> {
        eprintln!("\nall captures are there: {kept}");
        match self.person.ask("Enter makes the result, d N drops capture N, q stops").await {
            Answer::Yes => Ok(true),
            Answer::Drop(Some(number)) | Answer::Repeat(Some(number)) => {
                self.remove(number)?;
                Ok(false)
            }
            Answer::Stop => Ok(false),
            Answer::Skip | Answer::Drop(None) | Answer::Repeat(None) | Answer::Unclear => {
                eprintln!("  (Enter, d and a number, or q)");
                Ok(false)
            }
        }
    }

    fn remove(&mut self, number: usize) -> Result<()> {
        match self.session.remove(number) {
            Ok(()) => eprintln!("  dropped; one more is due"),
            Err(error) if error.kind() == Kind::Usage => eprintln!("  {error}"),
            Err(error) => return Err(error),
        }
        Ok(())
    }

    async fn take(&mut self, number: usize, wanted: usize) -> Result<()> {
        eprintln!("\n{number} of {wanted}: {}", self.task.before(number, wanted));
        let question = format!(
            "Enter records for {} s, d N drops kept capture N, q stops",
            self.how.duration_s
        );
        match self.person.ask(&question).await {
            Answer::Yes | Answer::Repeat(None) => self.record().await,
            Answer::Stop => Ok(()),
            Answer::Drop(Some(number)) => self.remove(number),
            Answer::Skip | Answer::Drop(None) | Answer::Repeat(Some(_)) | Answer::Unclear => {
                eprintln!("  (Enter, d and a number, or q)");
                Ok(())
            }
        }
    }

    async fn record(&mut self) -> Result<()> {
        let name = self.session.next_name();
        match self.recorded(&name).await {
            Ok(true) => self.session.take(name),
            Ok(false) => {
                self.person.is_stopped = true;
                eprintln!("  stopped; this one is still due");
                Ok(())
            }
            // A cable can be put right on the spot.
            Err(error) if error.kind() == Kind::Receiver => {
                eprintln!("  {error}");
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// Whether the capture is whole.
    async fn recorded(&mut self, name: &str) -> Result<bool> {
        // Opened anew each time: between two, the cable may have been off.
        let link = tokio::select! {
            biased;
            () = &mut self.person.stop => return Ok(false),
            link = Link::open(self.how.port) => link,
        };
        let mut link = link?;
        let options = Options {
            name: self.session.folder().join(name),
            duration_s: Some(self.how.duration_s),
            gain_step: self.session.gain_step(),
            note: Some(format!("calibration, {name}")),
            ..Options::default()
        };
        let mut stopped = false;
        let until = async {
            (&mut self.person.stop).await;
            stopped = true;
        };
        let mut shown = Recorded::new(self.how.duration_s);
        let recorded = recording::record(options, &mut link, |n| shown.show(n), until).await;
        shown.end();
        if stopped {
            return Ok(false);
        }
        recorded.map(|_| true)
    }

    async fn decide(&mut self, capture: &Path) -> Result<()> {
        match self.task.heard(capture) {
            Ok(line) => eprintln!("  {line}"),
            Err(error) => {
                eprintln!("  not usable: {error}");
                return self.session.drop_it();
            }
        }
        match self.person.ask("Enter keeps it, r takes it again, q keeps it and stops").await {
            Answer::Yes | Answer::Stop => {
                self.session.keep()?;
                for line in self.task.so_far(&self.session.kept()) {
                    eprintln!("  {line}");
                }
                Ok(())
            }
            Answer::Repeat(None) | Answer::Drop(None) | Answer::Skip => self.session.drop_it(),
            Answer::Repeat(Some(_)) | Answer::Drop(Some(_)) | Answer::Unclear => {
                eprintln!("  (one letter, then Enter)");
                Ok(())
            }
        }
    }
}
