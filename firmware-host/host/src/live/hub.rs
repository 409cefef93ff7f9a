//! What viewers are told: the last half minute for those who come, and everything new
//! for those who are there.
//!
//! Messages are put into the text of server-sent events once and shared by all viewers.
//! Nobody who tells waits for anybody who listens: a viewer that is behind by more than
//! [`WAITING`] messages loses its place and begins anew with the last half minute.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::body::Bytes;
use serde::Serialize;
use tokio::sync::broadcast;

/// Messages that may wait for a slow viewer, some ten seconds.
const WAITING: usize = 256;
/// Rows and pulses kept for those who come.
const KEPT: usize = 600;

/// What kind of message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Topic {
    /// What does not change: source, receiver, band.
    About,
    /// Link, overload, recording.
    Link,
    /// Units, level, noise.
    State,
    /// The survey.
    Survey,
    /// Spectra and pulses.
    Heard,
}

impl Topic {
    fn name(self) -> &'static str {
        match self {
            Self::About => "about",
            Self::Link => "link",
            Self::State => "state",
            Self::Survey => "survey",
            Self::Heard => "heard",
        }
    }
}

/// Where messages go, and what of them is kept.
#[derive(Clone)]
pub struct Hub(Arc<Inner>);

struct Inner {
    kept: Mutex<Kept>,
    news: broadcast::Sender<Bytes>,
}

#[derive(Default)]
struct Kept {
    /// The newest message of each topic that replaces the one before.
    newest: Vec<(Topic, Bytes)>,
    heard: VecDeque<Bytes>,
    /// Of the survey, SVG.
    picture: Bytes,
}

impl Default for Hub {
    fn default() -> Self {
        let (news, _) = broadcast::channel(WAITING);
        Self(Arc::new(Inner { kept: Mutex::default(), news }))
    }
}

impl Hub {
    /// Tell all viewers.
    pub fn tell(&self, topic: Topic, message: &impl Serialize) {
        // Types of this program that are told hold nothing that JSON cannot.
        let Ok(json) = serde_json::to_string(message) else { return };
        let event = event(topic.name(), &json);
        let mut kept = self.kept();
        if topic == Topic::Heard {
            if kept.heard.len() == KEPT {
                kept.heard.pop_front();
            }
            kept.heard.push_back(event.clone());
        } else {
            kept.newest.retain(|(of, _)| *of != topic);
            kept.newest.push((topic, event.clone()));
        }
        // Under the lock, so that nobody who comes misses it or hears it twice. Nobody
        // may be listening.
        let _ = self.0.news.send(event);
    }

    /// What a viewer who comes needs, and all that comes after it.
    pub fn join(&self) -> (Vec<Bytes>, broadcast::Receiver<Bytes>) {
        let kept = self.kept();
        let newest = kept.newest.iter().map(|(_, event)| event);
        (newest.chain(&kept.heard).cloned().collect(), self.0.news.subscribe())
    }

    /// Keep the picture of the survey; empty for none.
    pub fn show(&self, svg: String) {
        self.kept().picture = svg.into();
    }

    /// The picture of the survey, empty when there is none.
    pub fn picture(&self) -> Bytes {
        self.kept().picture.clone()
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.0.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A server-sent event; JSON has no line breaks that could end it early.
pub fn event(name: &str, json: &str) -> Bytes {
    Bytes::from(format!("event: {name}\ndata: {json}\n\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_comes_late_gets_the_newest_and_then_all() {
        let hub = Hub::default();
        hub.tell(Topic::About, &"x\ny");
        hub.tell(Topic::State, &1);
        hub.tell(Topic::Heard, &2);
        hub.tell(Topic::State, &3);
        let (before, mut after) = hub.join();
        let text = |all: &[Bytes]| String::from_utf8(all.concat()).unwrap();
        assert_eq!(
            text(&before),
            "event: about\ndata: \"x\\ny\"\n\nevent: state\ndata: 3\n\nevent: heard\ndata: 2\n\n"
        );
        hub.tell(Topic::Heard, &4);
        assert_eq!(after.try_recv().unwrap(), event("heard", "4"));
    }

    #[test]
    fn nobody_is_waited_for_and_memory_is_bounded() {
        let hub = Hub::default();
        let (_, mut slow) = hub.join();
        (0..10 * KEPT).for_each(|n| hub.tell(Topic::Heard, &n));
        assert!(matches!(slow.try_recv(), Err(broadcast::error::TryRecvError::Lagged(_))));
        assert_eq!(hub.join().0.len(), KEPT);
    }
}
