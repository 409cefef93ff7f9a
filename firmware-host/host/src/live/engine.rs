//! From samples to what viewers are told.

use std::time::{Duration, Instant};

use coilrig_analysis::live::{Monitor, PulseHeard, Row, State, Update};
use jiff::Timestamp;
use num_complex::Complex32;
use serde::Serialize;

use super::hub::{Hub, Topic};

/// How often the state is told.
const EVERY: Duration = Duration::from_secs(1);

/// Runs a monitor and tells the hub.
pub struct Engine {
    monitor: Monitor,
    hub: Hub,
    updates: Vec<Update>,
    state_due: Instant,
}

/// Spectra and pulses of one push, and which moment of the stream is which by the clock.
#[derive(Serialize)]
struct Heard<'a> {
    /// True seconds of the stream up to which samples have come.
    to_s: f64,
    /// When they had come, Unix time in ms.
    at_ms: i64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    rows: Vec<&'a Row>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pulses: Vec<&'a PulseHeard>,
    /// Pulse and train.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    assigned: Vec<(u64, usize)>,
}

#[derive(Serialize)]
struct StateTold<'a> {
    #[serde(flatten)]
    state: &'a State,
    /// Whether nothing more will come.
    is_over: bool,
    /// Why it is over before its end.
    #[serde(skip_serializing_if = "Option::is_none")]
    broken_off: Option<&'a str>,
}

impl Engine {
    /// An engine that tells `hub`.
    pub fn new(monitor: Monitor, hub: Hub) -> Self {
        Self { monitor, hub, updates: Vec::new(), state_due: Instant::now() + EVERY }
    }

    /// Take samples, interleaved by axis, that came `at`.
    pub fn samples(&mut self, samples: &[Complex32], at: Timestamp) {
        let Self { monitor, updates, .. } = self;
        monitor.push(samples, &mut |update| updates.push(update));
        self.tell(at);
    }

    /// So many samples per axis are missing.
    pub fn gap(&mut self, missing: u64) {
        let Self { monitor, updates, .. } = self;
        monitor.gap(missing, &mut |update| updates.push(update));
    }

    /// Some samples clipped.
    pub fn clipped(&mut self) {
        self.monitor.note_clipped();
    }

    /// Nothing more will come; `broken_off` says why, where more was due.
    pub fn finish(&mut self, at: Timestamp, broken_off: Option<String>) {
        let Self { monitor, updates, .. } = self;
        monitor.finish(&mut |update| updates.push(update));
        self.tell(at);
        self.tell_state(true, broken_off.as_deref());
    }

    fn tell(&mut self, at: Timestamp) {
        let mut heard = Heard {
            to_s: self.monitor.now_s(),
            at_ms: at.as_millisecond(),
            rows: Vec::new(),
            pulses: Vec::new(),
            assigned: Vec::new(),
        };
        for update in &self.updates {
            match update {
                Update::Row(row) => heard.rows.push(row),
                Update::Pulse(pulse) => heard.pulses.push(pulse),
                Update::Assigned { pulse, train } => heard.assigned.push((*pulse, *train)),
            }
        }
        if !self.updates.is_empty() {
            self.hub.tell(Topic::Heard, &heard);
        }
        self.updates.clear();
        if Instant::now() >= self.state_due {
            self.tell_state(false, None);
            self.state_due = Instant::now() + EVERY;
        }
    }

    fn tell_state(&mut self, is_over: bool, broken_off: Option<&str>) {
        let state = &self.monitor.state();
        self.hub.tell(Topic::State, &StateTold { state, is_over, broken_off });
    }
}
