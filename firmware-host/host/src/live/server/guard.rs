//! What every request is held to, whoever sends it.

use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Extension, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use tokio::time::timeout;

use super::Shared;

/// Who calls.
#[derive(Clone, Copy)]
pub(super) struct Peer(pub SocketAddr);

/// How long a request may take until it is answered.
const PATIENCE: Duration = Duration::from_secs(20);
/// Requests a second that an address may send, and how many at once after a rest: a page
/// with all its parts is twenty.
const RATE: f64 = 20.0;
const BURST: f64 = 120.0;
/// Wrong links a second, of all the world.
const LINK_RATE: f64 = 1.0;
const LINK_BURST: f64 = 20.0;
/// Addresses that are remembered.
const MOST_PEERS: usize = 512;

/// The page may load its own parts and talk to its own server, no more.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
                      img-src 'self' data:; connect-src 'self'; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";

const CROSS_ORIGIN_RESOURCE_POLICY: HeaderName =
    HeaderName::from_static("cross-origin-resource-policy");
const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// An answer in words.
pub(super) fn refused(status: StatusCode, why: &str) -> Response {
    (status, format!("{why}\n")).into_response()
}

pub(super) async fn nothing_here() -> Response {
    refused(StatusCode::NOT_FOUND, "there is nothing of this name")
}

/// Hosts, origins and rates; and headers on everything that goes out.
pub(super) async fn guard(
    shared: State<Shared>,
    peer: Extension<Peer>,
    request: Request,
    next: Next,
) -> Response {
    let mut response = match objection(&shared, peer.0.0, &request) {
        Some(objection) => objection,
        // A body that trickles in holds nobody up for longer.
        None => timeout(PATIENCE, next.run(request)).await.unwrap_or_else(|_| {
            refused(StatusCode::REQUEST_TIMEOUT, "the request took too long to come")
        }),
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (REFERRER_POLICY, "no-referrer"),
        (CROSS_ORIGIN_RESOURCE_POLICY, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

fn objection(shared: &Shared, peer: SocketAddr, request: &Request) -> Option<Response> {
    if !shared.0.rates.may_ask(peer.ip()) {
        return Some(refused(StatusCode::TOO_MANY_REQUESTS, "too many requests; wait a moment"));
    }
    let text = |name: &HeaderName| request.headers().get(name).and_then(|v| v.to_str().ok());
    let host = text(&HOST).unwrap_or_default();
    if !is_address(host) {
        // A name that somebody else's server answers for could be made to lead here.
        let why = "give this computer's address in numbers, as the terminal shows it";
        return Some(refused(StatusCode::MISDIRECTED_REQUEST, why));
    }
    let own = format!("http://{host}");
    let is_foreign = request.headers().contains_key(ORIGIN) && text(&ORIGIN) != Some(&own);
    let is_reading = matches!(*request.method(), Method::GET | Method::HEAD);
    let lacks_origin = !is_reading && !request.headers().contains_key(ORIGIN);
    // A link may be followed from anywhere; nothing else is asked for by other sites.
    let is_link = ["/view/", "/operate/"].iter().any(|p| request.uri().path().starts_with(p));
    let from = text(&SEC_FETCH_SITE);
    let led_here = is_link || request.uri().path() == "/";
    let is_embedded = !led_here && from.is_some_and(|f| !matches!(f, "same-origin" | "none"));
    if is_foreign || lacks_origin || is_embedded {
        return Some(refused(StatusCode::FORBIDDEN, "another site may not ask for this"));
    }
    None
}

/// Whether a Host header is an address in numbers or this computer's own name for itself.
fn is_address(host: &str) -> bool {
    let without_port = || host.rsplit_once(':').map_or(host, |(name, _)| name);
    host.parse::<SocketAddr>().is_ok()
        || host.parse::<IpAddr>().is_ok()
        || without_port().eq_ignore_ascii_case("localhost")
}

/// A bucket that fills with time.
struct Bucket {
    left: f64,
    at: Instant,
}

impl Bucket {
    fn full(burst: f64) -> Self {
        Self { left: burst, at: Instant::now() }
    }

    fn take(&mut self, rate: f64, burst: f64) -> bool {
        let now = Instant::now();
        self.left = burst.min(self.left + rate * (now - self.at).as_secs_f64());
        self.at = now;
        let may = self.left >= 1.0;
        if may {
            self.left -= 1.0;
        }
        may
    }
}

/// How much everybody has asked lately.
pub(super) struct Rates {
    peers: Mutex<HashMap<IpAddr, Bucket>>,
    links: Mutex<Bucket>,
}

impl Default for Rates {
    fn default() -> Self {
        Self { peers: Mutex::default(), links: Mutex::new(Bucket::full(LINK_BURST)) }
    }
}

impl Rates {
    fn may_ask(&self, peer: IpAddr) -> bool {
        let mut peers = self.peers.lock().unwrap_or_else(PoisonError::into_inner);
        if peers.len() >= MOST_PEERS && !peers.contains_key(&peer) {
            // Those who have rested are as good as new; if there are none, start over.
            peers.retain(|_, b| b.left + RATE * b.at.elapsed().as_secs_f64() < BURST);
            if peers.len() >= MOST_PEERS {
                peers.clear();
            }
        }
        peers.entry(peer).or_insert_with(|| Bucket::full(BURST)).take(RATE, BURST)
    }

    /// Whether one more wrong link is answered.
    pub(super) fn may_try_a_link(&self) -> bool {
        let mut links = self.links.lock().unwrap_or_else(PoisonError::into_inner);
        links.take(LINK_RATE, LINK_BURST)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hosts_are_addresses() {
        for good in ["127.0.0.1:4570", "192.168.0.7:80", "10.0.0.1", "[::1]:4570", "localhost:1"] {
            assert!(is_address(good), "{good}");
        }
        for bad in ["", "evil.example", "evil.example:4570", "127.0.0.1.evil.example", ":4570"] {
            assert!(!is_address(bad), "{bad}");
        }
    }

    #[test]
    fn a_bucket_is_empty_after_its_burst_and_the_world_is_bounded() {
        let rates = Rates::default();
        let peer = |n: u32| IpAddr::from(n.to_be_bytes());
        assert!((0..BURST as u32).all(|_| rates.may_ask(peer(1))));
        let more = (0..50).filter(|_| rates.may_ask(peer(1))).count();
        assert!(more < 10, "{more}");
        assert!((0..5000).all(|n| rates.may_ask(peer(1000 + n))));
        assert!(rates.peers.lock().unwrap().len() <= MOST_PEERS);
    }
}
