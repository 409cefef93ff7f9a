//! The conversation with the person who carries the receiver through a survey.

use std::future::Future;
use std::path::Path;

use coilrig_analysis::survey::{CARRIER_TOLERANCE_HZ, Event, PointState, Standing, Step, Survey};

use super::kind::Guided;
use super::run::{Attempt, Recording, SurveyRun};
use crate::dialogue::{Answer, Answers, Person, Recorded};
use crate::error::{Kind, Result};
use crate::link::Link;

/// Lead a person through what is left of the survey. Ends when they stop, when
/// the answers end, when `stop` is ready, or when there is nothing left to do.
///
/// # Errors
///
/// Those that trying again at the same place cannot mend; what was taken before
/// is kept.
pub async fn guide<K: Guided>(
    run: &mut SurveyRun<K>,
    port: &Path,
    how: &Recording,
    answers: Answers,
    stop: impl Future<Output = ()>,
) -> Result<()> {
    Guide { run, port, how, person: Person::new(answers, stop) }.lead().await
}

struct Guide<'a, K: Guided> {
    run: &'a mut SurveyRun<K>,
    port: &'a Path,
    how: &'a Recording,
    person: Person<'a>,
}

impl<K: Guided> Guide<'_, K> {
    async fn lead(&mut self) -> Result<()> {
        while !self.person.is_stopped {
            match self.run.survey().next() {
                Step::Place { number, point } => self.place(number, point).await?,
                Step::Decide(reading) => self.decide(reading).await?,
                Step::Finished => self.finish().await?,
            }
        }
        Ok(())
    }

    async fn place(&mut self, number: usize, point: K::Point) -> Result<()> {
        let count = self.run.survey().points().count();
        eprintln!("\npoint {number} of {count}: {point}");
        for line in self.run.survey().setup().kind.how_to_get_there(&point) {
            eprintln!("  {line}");
        }
        let question = format!(
            "Enter records for {} s, s skips the point, q stops; r N takes point N again, \
             d N drops its reading",
            self.how.duration_s
        );
        match self.person.ask(&question).await {
            Answer::Yes | Answer::Repeat(None) => self.record(number).await?,
            Answer::Skip | Answer::Drop(None) => {
                self.run.tell(&Event::Skipped { point: number })?
            }
            Answer::Repeat(Some(other)) => self.take_again(other)?,
            Answer::Drop(Some(other)) => self.drop_of(other)?,
            Answer::Stop => {}
            Answer::Unclear => eprintln!("  (one letter, then Enter)"),
        }
        Ok(())
    }

    async fn record(&mut self, number: usize) -> Result<()> {
        let attempt = match self.attempt(number).await {
            Ok(Some(attempt)) => attempt,
            Ok(None) => {
                self.person.is_stopped = true;
                eprintln!("  stopped; this point is still due");
                return Ok(());
            }
            // A cable can be put right on the spot.
            Err(error) if error.kind() == Kind::Receiver => {
                eprintln!("  {error}");
                return Ok(());
            }
            Err(error) => return Err(error),
        };
        for warning in &attempt.warnings {
            eprintln!("  note: {warning}");
        }
        match &attempt.reading {
            Ok(_) => self.say_what_else_was_heard(&attempt),
            Err(why) => {
                eprintln!("  no reading: {why}");
                eprintln!("  Check that the unit is on and sends, then record again.");
            }
        }
        Ok(())
    }

    async fn attempt(&mut self, number: usize) -> Result<Option<Attempt>> {
        let mut shown = Recorded::new(self.how.duration_s);
        // Opened anew for each point: between two, the cable may have been off.
        let link = tokio::select! {
            biased;
            () = &mut self.person.stop => return Ok(None),
            link = Link::open(self.port) => link,
        };
        let mut link = link?;
        let attempt = self
            .run
            .record_point(
                number,
                &mut link,
                self.how,
                |notice| shown.show(notice),
                &mut self.person.stop,
            )
            .await;
        shown.end();
        attempt
    }

    fn say_what_else_was_heard(&self, attempt: &Attempt) {
        if !attempt.others.is_empty() {
            let others: Vec<String> = attempt.others.iter().map(ToString::to_string).collect();
            eprintln!("  also heard: {}", others.join(", "));
        }
    }

    async fn decide(&mut self, reading: usize) -> Result<()> {
        for line in judgement(self.run.survey(), reading) {
            eprintln!("  {line}");
        }
        let question = "Enter keeps it, r takes the point again, d drops it and goes on, \
                        q keeps it and stops";
        match self.person.ask(question).await {
            Answer::Yes | Answer::Stop => self.run.tell(&Event::Kept { reading }),
            Answer::Repeat(None) => self.run.tell(&Event::Repeated { reading }),
            Answer::Drop(None) | Answer::Skip => self.run.tell(&Event::Dropped { reading }),
            Answer::Repeat(Some(_)) | Answer::Drop(Some(_)) => {
                eprintln!("  (this reading first)");
                Ok(())
            }
            Answer::Unclear => {
                eprintln!("  (one letter, then Enter)");
                Ok(())
            }
        }
    }

    async fn finish(&mut self) -> Result<()> {
        eprintln!("\nevery point is done or left");
        match self.person.ask("Enter ends; r N takes point N again, d N drops its reading").await {
            Answer::Yes | Answer::Skip | Answer::Stop => self.person.is_stopped = true,
            Answer::Repeat(Some(number)) => self.take_again(number)?,
            Answer::Drop(Some(number)) => self.drop_of(number)?,
            Answer::Repeat(None) | Answer::Drop(None) => eprintln!("  (say which: r 3, d 3)"),
            Answer::Unclear => eprintln!("  (one letter, then Enter)"),
        }
        Ok(())
    }

    fn take_again(&mut self, number: usize) -> Result<()> {
        match self.run.survey().point(number) {
            Some((_, PointState::Done(reading))) => self.run.tell(&Event::Repeated { reading }),
            Some((_, PointState::Left)) => self.run.tell(&Event::Reopened { point: number }),
            Some((_, PointState::Due)) => {
                eprintln!("  (point {number} is still to come)");
                Ok(())
            }
            None => {
                eprintln!("  (there is no point {number})");
                Ok(())
            }
        }
    }

    fn drop_of(&mut self, number: usize) -> Result<()> {
        match self.run.survey().point(number) {
            Some((_, PointState::Done(reading))) => self.run.tell(&Event::Dropped { reading }),
            _ => {
                eprintln!("  (point {number} has no reading)");
                Ok(())
            }
        }
    }
}

/// What there is to say of a reading before it is kept.
pub fn judgement<K: Guided>(survey: &Survey<K>, number: usize) -> Vec<String> {
    let Some(taken) = survey.reading(number) else { return Vec::new() };
    let mut lines = vec![format!("reading {number}: {taken}")];
    let is_first = !survey.readings().any(|(_, _, standing)| standing == Standing::Kept);
    if let Some(hz) = survey.setup().carrier_hz.filter(|_| is_first)
        && (taken.surveyed.carrier_hz - hz).abs() > CARRIER_TOLERANCE_HZ
    {
        lines.push(format!("no unit is closer to {hz} Hz: is this the one that is meant?"));
    }
    lines.extend(K::judgement(survey, number));
    lines
}
