//! A stream of samples that goes on through everything that can happen to a
//! cable.

use std::collections::VecDeque;
use std::future::Future;
use std::io;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::time::Duration;

use coilrig_wire::FromHost;
use tokio::time::{Instant, sleep, timeout, timeout_at};

use super::count::Count;
use super::identify::{NoReceiver, Receiver, open_line};
use super::line::{Line, Packet, RawSamples};
use super::{Event, Health, Samples};
use crate::error::{Error, Result};

/// How long a receiver may take to say who it is.
const IDENTIFY_PATIENCE: Duration = Duration::from_secs(3);
/// How long a receiver may take to answer a command, and how often it is asked.
const ANSWER_PATIENCE: Duration = Duration::from_secs(1);
const ASKED_TIMES: usize = 3;
/// How long a stream may be silent: a hundred packets.
const STALL_PATIENCE: Duration = Duration::from_secs(2);
/// Stalls in a row that end in opening the port anew.
const STALLS_TO_REOPEN: u32 = 3;
/// Waits between attempts to open a lost port: the first, doubled up to the last.
const FIRST_WAIT: Duration = Duration::from_millis(100);
const LAST_WAIT: Duration = Duration::from_secs(2);

/// A receiver on a port.
pub struct Link {
    path: PathBuf,
    receiver: Receiver,
    /// To be set again when the receiver comes back.
    gain_step: Option<u8>,
    state: State,
    count: Count,
    started_at: Instant,
    stalls_at: Instant,
    stalls_in_a_row: u32,
    events: VecDeque<Event>,
    health: Health,
}

enum State {
    Open(Box<Line>),
    Reopening(Pin<Box<dyn Future<Output = Result<Box<Line>>> + Send>>),
}

impl Link {
    /// Open the port and find the receiver on it.
    ///
    /// # Errors
    ///
    /// The port does not open, is silent, or something else answers; all say
    /// what to do.
    pub async fn open(path: &Path) -> Result<Self> {
        let (line, receiver) = open_line(path, IDENTIFY_PATIENCE).await.map_err(|e| e.on(path))?;
        Ok(Self {
            path: path.into(),
            count: Count::new(receiver.sample_rate_hz),
            receiver,
            gain_step: None,
            state: State::Open(Box::new(line)),
            started_at: Instant::now(),
            stalls_at: Instant::now(),
            stalls_in_a_row: 0,
            events: VecDeque::new(),
            health: Health::default(),
        })
    }

    /// The receiver's own words about itself.
    pub fn receiver(&self) -> &Receiver {
        &self.receiver
    }

    /// The port.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What the link went through since [`Self::start`].
    pub fn health(&self) -> Health {
        let now = match &self.state {
            State::Open(line) => line.corrupt_frames(),
            State::Reopening(_) => 0,
        };
        Health { corrupt_frames: self.health.corrupt_frames + now, ..self.health }
    }

    /// Set the gain; it is set again whenever the receiver comes back.
    pub async fn set_gain(&mut self, step: u8) -> Result<()> {
        self.receiver.check_gain_step(step)?;
        self.ask(FromHost::SetGain(step)).await?;
        self.gain_step = Some(step);
        Ok(())
    }

    /// Start the stream at sample 0. What an earlier stream left behind on the
    /// cable is dropped.
    pub async fn start(&mut self) -> Result<()> {
        self.ask(FromHost::Stop).await?;
        self.events.clear();
        self.health = Health::default();
        if let State::Open(line) = &mut self.state {
            line.forget();
        }
        self.ask(FromHost::Start).await?;
        self.count = Count::new(self.receiver.sample_rate_hz);
        self.started_at = Instant::now();
        self.expect_samples();
        Ok(())
    }

    /// Stop the stream. A receiver that is gone has stopped already.
    pub async fn stop(&mut self) {
        if let State::Open(line) = &mut self.state {
            // Whether it heard or not, nothing that it sends is wanted any more.
            let _ = ask(line, FromHost::Stop).await;
            line.forget();
        }
        self.events.clear();
    }

    /// What happened next on a started stream. May be dropped while it waits,
    /// as in `select!`; nothing is lost by that.
    ///
    /// # Errors
    ///
    /// Something is on the port that waiting cannot help: another receiver, or
    /// one with other settings or a newer format.
    pub async fn next(&mut self) -> Result<Event> {
        loop {
            if let Some(event) = self.events.pop_front() {
                return Ok(event);
            }
            match &mut self.state {
                State::Reopening(_) => {
                    self.wait_for_return().await?;
                    self.health.reconnects += 1;
                    self.expect_samples();
                    return Ok(Event::Back);
                }
                State::Open(line) => match timeout_at(self.stalls_at, line.receive()).await {
                    Ok(Ok(packet)) => self.take(packet)?,
                    Ok(Err(error)) => self.lose(what_broke(&error)),
                    Err(_) => self.restart_stalled().await,
                },
            }
        }
    }

    fn take(&mut self, packet: Packet) -> Result<()> {
        self.health.packets += 1;
        match packet {
            Packet::Samples(samples) => self.take_samples(samples),
            Packet::Status(status) => self.events.push_back(Event::Status(status)),
            Packet::FutureVersion(version) => {
                return Err(NoReceiver::FutureVersion(version).on(&self.path));
            }
            // Late answers to what was asked more than once.
            Packet::Hello(_) | Packet::Answer { .. } => {}
        }
        Ok(())
    }

    fn take_samples(&mut self, raw: RawSamples) {
        let axes = usize::from(self.receiver.axes);
        if raw.samples.is_empty() || !raw.samples.len().is_multiple_of(axes) {
            self.health.corrupt_frames += 1;
            return;
        }
        self.expect_samples();
        let length = (raw.samples.len() / axes) as u64;
        let at = self.started_at.elapsed();
        let (first_index, gap) = self.count.place(raw.sequence, raw.first_index, length, at);
        if let Some(gap) = gap {
            self.health.gaps += 1;
            self.health.samples_lost += gap.missing;
            self.events.push_back(Event::Gap(gap));
        }
        self.health.overloads += u64::from(raw.overload);
        self.events.push_back(Event::Samples(Samples {
            first_index,
            gain_step: raw.gain_step,
            overload: raw.overload,
            samples: raw.samples,
            received_at: raw.received_at,
        }));
    }

    fn expect_samples(&mut self) {
        self.stalls_at = Instant::now() + STALL_PATIENCE;
        self.stalls_in_a_row = 0;
    }

    /// Tell a silent receiver to start, once more; give its port up when that
    /// does not help.
    async fn restart_stalled(&mut self) {
        self.stalls_at = Instant::now() + STALL_PATIENCE;
        self.stalls_in_a_row += 1;
        if self.stalls_in_a_row >= STALLS_TO_REOPEN {
            self.lose("the receiver sends nothing".into());
            return;
        }
        self.health.stalls += 1;
        self.events.push_back(Event::Stalled);
        if let State::Open(line) = &mut self.state
            && let Ok(Err(error)) = timeout(ANSWER_PATIENCE, line.send(FromHost::Start)).await
        {
            self.lose(what_broke(&error));
        }
    }

    fn lose(&mut self, why: String) {
        self.health = self.health();
        self.events.push_back(Event::Lost(why));
        self.reopen();
    }

    fn reopen(&mut self) {
        self.state = State::Reopening(Box::pin(reopen(
            self.path.clone(),
            self.receiver.clone(),
            self.gain_step,
        )));
    }

    async fn wait_for_return(&mut self) -> Result<()> {
        let State::Reopening(reopened) = &mut self.state else { return Ok(()) };
        match reopened.await {
            Ok(line) => {
                self.state = State::Open(line);
                Ok(())
            }
            Err(error) => {
                self.reopen();
                Err(error)
            }
        }
    }

    async fn ask(&mut self, command: FromHost) -> Result<()> {
        self.wait_for_return().await?;
        let State::Open(line) = &mut self.state else { return Ok(()) };
        ask(line, command).await.map_err(|e| e.on(&self.path))
    }
}

/// Wait for the port and the same receiver, and start it.
async fn reopen(path: PathBuf, receiver: Receiver, gain_step: Option<u8>) -> Result<Box<Line>> {
    let mut wait = FIRST_WAIT;
    loop {
        sleep(wait).await;
        wait = (wait * 2).min(LAST_WAIT);
        let (mut line, found) = match open_line(&path, IDENTIFY_PATIENCE).await {
            Ok(opened) => opened,
            Err(e) if e.is_final() => return Err(e.on(&path)),
            Err(_) => continue,
        };
        check_same(&path, &receiver, &found)?;
        match resume(&mut line, gain_step).await {
            Ok(()) => return Ok(Box::new(line)),
            Err(refused @ Unanswered::Refused(..)) => return Err(refused.on(&path)),
            Err(_) => continue,
        }
    }
}

async fn resume(line: &mut Line, gain_step: Option<u8>) -> std::result::Result<(), Unanswered> {
    if let Some(step) = gain_step {
        ask(line, FromHost::SetGain(step)).await?;
    }
    ask(line, FromHost::Start).await
}

/// Samples of another receiver, or taken another way, are not this stream's.
fn check_same(path: &Path, receiver: &Receiver, found: &Receiver) -> Result<()> {
    if found.serial_number != receiver.serial_number {
        return Err(Error::receiver(
            path.display(),
            format!(
                "receiver {} answers where {} was",
                found.serial_number, receiver.serial_number
            ),
            "plug the same receiver in, or record anew with this one",
        ));
    }
    let settings = |r: &Receiver| (r.sample_rate_hz, r.axes, r.tuned_hz, r.full_scale_counts);
    if settings(found) != settings(receiver) {
        return Err(Error::receiver(
            path.display(),
            format!("receiver {} came back with other settings", receiver.serial_number),
            "record anew",
        ));
    }
    Ok(())
}

/// Why a command was not done.
enum Unanswered {
    Gone(io::Error),
    Refused(FromHost, String),
    Silent(FromHost),
}

impl Unanswered {
    fn on(&self, path: &Path) -> Error {
        let (what, remedy) = match self {
            Self::Gone(e) => (what_broke(e), "check the cable and plug the receiver in again"),
            Self::Refused(command, reason) => (
                format!("the receiver refuses to {}: {reason}", name_of(*command)),
                "ask for something it can do",
            ),
            Self::Silent(command) => (
                format!("the receiver does not answer when told to {}", name_of(*command)),
                "unplug the receiver and plug it in again",
            ),
        };
        Error::receiver(path.display(), what, remedy)
    }
}

fn name_of(command: FromHost) -> String {
    match command {
        FromHost::Start => "start".into(),
        FromHost::Stop => "stop".into(),
        FromHost::SetGain(step) => format!("set gain step {step}"),
        FromHost::Identify => "identify itself".into(),
    }
}

fn what_broke(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::UnexpectedEof => "the port went away".into(),
        _ => format!("the port went away: {error}"),
    }
}

/// Send a command until it is answered; a packet may get lost either way.
/// Whatever else arrives in the meantime is kept.
async fn ask(line: &mut Line, command: FromHost) -> std::result::Result<(), Unanswered> {
    let mut meanwhile = VecDeque::new();
    let mut outcome = Err(Unanswered::Silent(command));
    'asking: for _ in 0..ASKED_TIMES {
        let until = Instant::now() + ANSWER_PATIENCE;
        if let Ok(Err(e)) = timeout_at(until, line.send(command)).await {
            outcome = Err(Unanswered::Gone(e));
            break;
        }
        while let Ok(received) = timeout_at(until, line.receive()).await {
            match received {
                Ok(Packet::Answer { command: answered, refused }) if answered == command => {
                    outcome = match refused {
                        None => Ok(()),
                        Some(reason) => Err(Unanswered::Refused(command, reason)),
                    };
                    break 'asking;
                }
                Ok(other) => meanwhile.push_back(other),
                Err(e) => {
                    outcome = Err(Unanswered::Gone(e));
                    break 'asking;
                }
            }
        }
    }
    line.put_back(meanwhile);
    outcome
}
