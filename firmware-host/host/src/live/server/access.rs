//! Who may look, and who may act.
//!
//! A run has two keys of 128 random bits. The operator's link works from this computer
//! alone and lets its browser act; that of viewers lets them look. Opening a link puts
//! its key into a cookie and leads to the page, so that no key stays in sight. A new run
//! has new keys: links of an old one are worth nothing.

use std::fmt;
use std::net::SocketAddr;

use axum::extract::{Extension, Path, Request, State};
use axum::http::header::{COOKIE, LOCATION, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Shared;
use super::guard::{Peer, refused};
use crate::error::{Error, Result};

/// 128 random bits.
#[derive(Clone, Copy)]
pub struct Key(u128);

impl Key {
    fn random() -> Result<Self> {
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes).map_err(|e| {
            let what = format!("the system gives no random numbers: {e}");
            Error::receiver("this computer", what, "start the program anew")
        })?;
        Ok(Self(u128::from_le_bytes(bytes)))
    }

    /// The key that `text` is.
    fn parse(text: &str) -> Option<Self> {
        let is_hex = text.len() == 32 && text.bytes().all(|b| b.is_ascii_hexdigit());
        is_hex.then(|| u128::from_str_radix(text, 16).ok().map(Self)).flatten()
    }

    /// Compared as one number: nothing is learned from how long it takes.
    fn is(self, other: Self) -> bool {
        self.0 ^ other.0 == 0
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:032x}", self.0)
    }
}

/// The keys of a run.
pub struct Keys {
    /// Of who may act.
    pub operator: Key,
    /// Of who may look; none where the page is not shared.
    pub viewer: Option<Key>,
    /// Browsers keep cookies of a host together, whatever the port.
    cookie: String,
}

/// What somebody may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Operator,
    Viewer,
}

impl Keys {
    /// New keys for a page at `address`.
    ///
    /// # Errors
    ///
    /// The system gives no random numbers.
    pub fn random(address: SocketAddr, shared: bool) -> Result<Self> {
        Ok(Self {
            operator: Key::random()?,
            viewer: if shared { Some(Key::random()?) } else { None },
            cookie: format!("coilrig-{}", address.port()),
        })
    }

    /// What the holder of `key` may do who calls from `peer`.
    fn role(&self, key: Key, peer: SocketAddr) -> Option<Role> {
        if key.is(self.operator) && peer.ip().to_canonical().is_loopback() {
            return Some(Role::Operator);
        }
        self.viewer.filter(|viewer| key.is(*viewer)).map(|_| Role::Viewer)
    }

    fn in_cookie(&self, headers: &HeaderMap) -> Option<Key> {
        let all = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let pairs = all.flat_map(|value| value.split(';')).filter_map(|pair| pair.split_once('='));
        let mut own = pairs.filter(|(name, _)| name.trim() == self.cookie);
        own.find_map(|(_, value)| Key::parse(value.trim()))
    }
}

pub(super) async fn operate(
    shared: State<Shared>,
    peer: Extension<Peer>,
    key: Path<String>,
) -> Response {
    let keys = &shared.0.0.keys;
    match Key::parse(&key).map(|key| keys.role(key, peer.0.0)) {
        // No other site leads here with the right to act.
        Some(Some(Role::Operator)) => let_in(&keys.cookie, keys.operator, "Strict"),
        _ => wrong_link(&shared),
    }
}

pub(super) async fn view(
    shared: State<Shared>,
    peer: Extension<Peer>,
    key: Path<String>,
) -> Response {
    let keys = &shared.0.0.keys;
    match Key::parse(&key).and_then(|key| keys.role(key, peer.0.0).map(|role| (key, role))) {
        // A link may come in a message, and looking does no harm.
        Some((key, Role::Viewer)) => let_in(&keys.cookie, key, "Lax"),
        _ => wrong_link(&shared),
    }
}

fn let_in(cookie: &str, key: Key, same_site: &str) -> Response {
    let cookie = format!("{cookie}={key}; Path=/; HttpOnly; SameSite={same_site}");
    (StatusCode::SEE_OTHER, [(LOCATION, "/".to_owned()), (SET_COOKIE, cookie)]).into_response()
}

fn wrong_link(shared: &Shared) -> Response {
    if !shared.0.rates.may_try_a_link() {
        return refused(StatusCode::TOO_MANY_REQUESTS, "too many wrong links; wait a minute");
    }
    refused(StatusCode::FORBIDDEN, ASK)
}

const ASK: &str = "this link is not one of the running page: open the link, or scan the code, \
                   that its terminal shows";

/// Everything but the links themselves is for those who have opened one.
pub(super) async fn must_be_let_in(
    shared: State<Shared>,
    peer: Extension<Peer>,
    mut request: Request,
    next: Next,
) -> Response {
    let keys = &shared.0.0.keys;
    let role = keys.in_cookie(request.headers()).and_then(|key| keys.role(key, peer.0.0));
    let Some(role) = role else { return refused(StatusCode::FORBIDDEN, ASK) };
    request.extensions_mut().insert(role);
    next.run(request).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_operators_key_is_worth_nothing_from_elsewhere() {
        let cookie = "coilrig-1".to_owned();
        let keys = Keys { operator: Key(1), viewer: Some(Key(2)), cookie };
        let role = |key: u128, peer: &str| keys.role(Key(key), peer.parse().unwrap());
        for here in ["127.0.0.1:9", "127.8.0.1:9", "[::1]:9", "[::ffff:127.0.0.1]:9"] {
            assert_eq!(role(1, here), Some(Role::Operator), "{here}");
            assert_eq!(role(2, here), Some(Role::Viewer), "{here}");
            assert_eq!(role(3, here), None, "{here}");
        }
        for elsewhere in ["192.168.0.7:9", "10.0.0.1:9", "[fe80::1]:9", "[::ffff:10.0.0.1]:9"] {
            assert_eq!(role(1, elsewhere), None, "{elsewhere}");
            assert_eq!(role(2, elsewhere), Some(Role::Viewer), "{elsewhere}");
        }
        let alone = Keys { viewer: None, ..keys };
        assert_eq!(alone.role(Key(2), "192.168.0.7:9".parse().unwrap()), None);
    }
}
