//! The loop that runs an emulated receiver.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError};
use std::time::{Duration, Instant};

use coilrig_analysis::scenario::{Change, Faults, ScenarioError, Spell};
use coilrig_wire::{Decoder, FromHost, MAX_PACKET_BYTES};

use super::cable::Cable;
use super::event::{Event, Happening, Watcher};
use super::rig::{PACKET_S, Rig};
use crate::error::Result;

/// Bytes that wait for a reader before a receiver at real-time pace drops
/// samples: ten seconds of three axes.
const MOST_WAITING: usize = 1 << 20;
/// Longest wait before controls are looked at again.
const PATIENCE: Duration = Duration::from_millis(10);

/// How fast an emulated receiver streams.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pace {
    /// A packet of 20 ms each 20 ms. When nobody reads, the receiver drops
    /// samples in the end, as a real one would.
    #[default]
    RealTime,
    /// As fast as the host reads. No samples are dropped.
    Full,
}

/// What the owner of an emulated receiver can do to it.
pub(super) enum Control {
    /// Change the scene, and say whether that made sense.
    Change(Change, SyncSender<std::result::Result<(), ScenarioError>>),
    /// Pull the cable for so long.
    Vanish(Duration),
    /// End.
    ShutDown,
}

/// An emulated receiver at work.
pub(super) struct Engine {
    rig: Rig,
    link: PathBuf,
    /// `None` while the port has vanished, until `back_at`.
    cable: Option<Cable>,
    back_at: Instant,
    decoder: Decoder<MAX_PACKET_BYTES>,
    controls: Receiver<Control>,
    pace: Pace,
    /// When the scenario began, for real-time pace.
    began: Instant,
    /// Vanishings to come, the next one last.
    vanishings: Vec<Spell>,
    stalls: Vec<Spell>,
    /// What is being held against the receiver now, to tell its watcher once.
    trouble: Option<Happening>,
    watcher: Watcher,
}

impl Engine {
    pub(super) fn new(
        rig: Rig,
        faults: &Faults,
        link: PathBuf,
        pace: Pace,
        controls: Receiver<Control>,
        watcher: Watcher,
    ) -> Result<Self> {
        let mut vanishings = faults.vanish.clone();
        vanishings.sort_by(|a, b| b.at_s.total_cmp(&a.at_s));
        let now = Instant::now();
        Ok(Self {
            rig,
            cable: Some(Cable::plug_in(&link)?),
            link,
            back_at: now,
            decoder: Decoder::new(),
            controls,
            pace,
            began: now,
            vanishings,
            stalls: faults.stall.clone(),
            trouble: None,
            watcher,
        })
    }

    /// Run until the owner ends it.
    pub(super) fn run(mut self) -> Result<()> {
        while self.obey_controls()? {
            self.keep_time();
            self.vanish_when_due()?;
            if self.cable.is_none() {
                self.come_back_when_due()?;
                continue;
            }
            self.obey_host()?;
            self.stream_when_due();
            self.send_and_wait()?;
        }
        Ok(())
    }

    /// Do what the owner wants; false when that is to end.
    fn obey_controls(&mut self) -> Result<bool> {
        // Without a cable there is nothing else to wait for.
        let mut control = if self.cable.is_none() {
            self.controls.recv_timeout(PATIENCE).map_err(|e| match e {
                RecvTimeoutError::Timeout => TryRecvError::Empty,
                RecvTimeoutError::Disconnected => TryRecvError::Disconnected,
            })
        } else {
            self.controls.try_recv()
        };
        loop {
            match control {
                Ok(Control::Change(change, answer)) => {
                    // An owner that no longer waits needs no answer.
                    let _ = answer.send(self.rig.change(&change));
                }
                Ok(Control::Vanish(for_time)) => self.vanish(for_time)?,
                Ok(Control::ShutDown) | Err(TryRecvError::Disconnected) => return Ok(false),
                Err(TryRecvError::Empty) => return Ok(true),
            }
            control = self.controls.try_recv();
        }
    }

    /// At real-time pace the scenario goes on while nobody listens.
    fn keep_time(&mut self) {
        if self.pace == Pace::RealTime && !self.rig.is_streaming() {
            self.rig.idle_until(self.began.elapsed().as_secs_f64());
        }
    }

    fn vanish_when_due(&mut self) -> Result<()> {
        let now_s = self.rig.time_s();
        match self.vanishings.pop_if(|spell| spell.at_s <= now_s) {
            Some(spell) => self.vanish(Duration::from_secs_f64(spell.for_s)),
            None => Ok(()),
        }
    }

    /// Pull the cable, which is also the receiver's supply.
    fn vanish(&mut self, for_time: Duration) -> Result<()> {
        self.cable = None;
        self.back_at = Instant::now() + for_time;
        self.decoder.reset();
        self.trouble = None;
        self.tell(Happening::Vanished);
        self.rig.reboot()
    }

    fn come_back_when_due(&mut self) -> Result<()> {
        if Instant::now() >= self.back_at {
            self.cable = Some(Cable::plug_in(&self.link)?);
            self.tell(Happening::Back);
        }
        Ok(())
    }

    fn obey_host(&mut self) -> Result<()> {
        let Some(cable) = &self.cable else { return Ok(()) };
        let mut buffer = [0; 256];
        let length = cable.read(&mut buffer)?;
        let mut input = &buffer[..length];
        while let Some(command) = self.decoder.next::<FromHost>(&mut input) {
            let happening = match command {
                Err(_) => Happening::NotUnderstood,
                Ok(command) if !self.rig.command(command) => Happening::Refused,
                Ok(FromHost::Identify) => Happening::Identified,
                Ok(FromHost::Start) => Happening::Started,
                Ok(FromHost::Stop) => Happening::Stopped,
                Ok(FromHost::SetGain(step)) => Happening::GainSet(step),
            };
            tell(&mut self.watcher, self.rig.time_s(), happening);
        }
        Ok(())
    }

    fn stream_when_due(&mut self) {
        if !self.rig.is_streaming() || !self.due_in().is_zero() {
            return;
        }
        let now_s = self.rig.time_s();
        let overrun = self.trouble == Some(Happening::Overrun);
        let most_waiting = if overrun { MOST_WAITING / 2 } else { MOST_WAITING };
        let trouble = if self.stalls.iter().any(|spell| spell.covers(now_s)) {
            Some(Happening::Stalled)
        } else if self.rig.outgoing.len() > most_waiting {
            Some(Happening::Overrun)
        } else {
            None
        };
        match trouble {
            Some(_) => self.rig.drop_samples(),
            None => self.rig.stream(),
        }
        if trouble != self.trouble {
            self.tell(trouble.clone().unwrap_or(Happening::Recovered));
            self.trouble = trouble;
        }
    }

    /// How long until the next packet's samples are all there.
    fn due_in(&self) -> Duration {
        match self.pace {
            Pace::RealTime => {
                let due = self.began + Duration::from_secs_f64(self.rig.time_s() + PACKET_S);
                due.saturating_duration_since(Instant::now())
            }
            // The reader sets the pace.
            Pace::Full if self.rig.outgoing.is_empty() => Duration::ZERO,
            Pace::Full => PATIENCE,
        }
    }

    fn send_and_wait(&mut self) -> Result<()> {
        let Some(cable) = &self.cable else { return Ok(()) };
        let sent = cable.write(&self.rig.outgoing)?;
        self.rig.outgoing.drain(..sent);
        if sent == 0 {
            cable.lift_stale_claim();
        }
        let at_most = if self.rig.is_streaming() { self.due_in().min(PATIENCE) } else { PATIENCE };
        if at_most.is_zero() {
            return Ok(());
        }
        cable.wait(!self.rig.outgoing.is_empty(), at_most)
    }

    fn tell(&mut self, happening: Happening) {
        tell(&mut self.watcher, self.rig.time_s(), happening);
    }
}

fn tell(watcher: &mut Watcher, time_s: f64, happening: Happening) {
    watcher(Event { time_s, happening });
}
