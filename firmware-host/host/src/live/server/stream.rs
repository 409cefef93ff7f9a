//! What is heard, to a viewer.
//!
//! Server-sent events and not a socket: all that a viewer has to say is that it is
//! there, so there is no message of theirs to get wrong, browsers come back by
//! themselves when the network did, and the operator's orders are ordinary requests with
//! all that protects these.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use tokio::sync::broadcast::{Receiver, error::RecvError};
use tokio::time::timeout;

use super::Shared;
use super::access::Role;
use super::guard::{Peer, refused};
use super::places::{Most, Place};
use crate::live::hub::event;

/// Viewers at once. The operator needs no place among them.
pub(super) const MOST_VIEWERS: Most = Most { here: 48, elsewhere: 64, each: 8 };
/// A line that says nothing is sent after so much silence, so that a viewer who
/// vanished is noticed.
const SILENCE: Duration = Duration::from_secs(10);

/// How soon a browser comes back whose connection broke.
const COME_BACK: &[u8] = b"retry: 1000\n\n";

struct Viewer {
    before: VecDeque<Bytes>,
    news: Receiver<Bytes>,
    /// Free again when this viewer goes; none of the operator.
    _place: Option<Place>,
}

pub(super) async fn stream(
    shared: State<Shared>,
    role: Extension<Role>,
    peer: Extension<Peer>,
) -> Response {
    let place = match role.0 {
        Role::Operator => None,
        Role::Viewer => match shared.0.0.viewers.take(peer.0.0.ip()) {
            Some(place) => Some(place),
            None => {
                let why = "as many are watching, or from your address, as this page can serve";
                return refused(StatusCode::SERVICE_UNAVAILABLE, why);
            }
        },
    };
    let (before, news) = shared.0.0.hub.join();
    let may_act = role.0 == Role::Operator && shared.0.0.orders.is_some();
    let mut before = VecDeque::from(before);
    before.push_front(event("you", &format!("{{\"may_act\":{may_act}}}")));
    before.push_front(Bytes::from_static(COME_BACK));
    let events = unfold(Viewer { before, news, _place: place }, |mut viewer| async move {
        let bytes = viewer.next().await?;
        Some((Ok::<_, Infallible>(bytes), viewer))
    });
    ([(CONTENT_TYPE, "text/event-stream")], Body::from_stream(events)).into_response()
}

impl Viewer {
    /// The next bytes; none when this viewer is too far behind and had better come anew.
    async fn next(&mut self) -> Option<Bytes> {
        if let Some(first) = self.before.pop_front() {
            return Some(first);
        }
        match timeout(SILENCE, self.news.recv()).await {
            Ok(Ok(event)) => Some(event),
            Ok(Err(RecvError::Lagged(_) | RecvError::Closed)) => None,
            Err(_) => Some(Bytes::from_static(b":\n\n")),
        }
    }
}
