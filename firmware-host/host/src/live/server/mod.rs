//! The server of the page.
//!
//! It serves what is built into the program and nothing else: no path leads to the
//! disk. Whoever asks must have opened one of the two links of this run, which put a key
//! into a cookie (`access`); requests are held to hosts, origins, sizes and rates
//! (`guard`); connections are few and must speak up (`connections`). What is heard goes
//! to viewers as server-sent events (`stream`), what the operator wants comes as
//! small JSON documents (`actions`).

mod access;
mod actions;
mod assets;
mod class;
mod connections;
mod guard;
mod places;
mod stream;

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};

pub use access::{Key, Keys};
pub use class::Class;
pub use connections::serve;

use super::hub::Hub;
use super::orders::Orders;
use guard::Rates;
use places::Places;

/// Longest body of a request, bytes.
const LONGEST_BODY: usize = 4096;

/// What all requests share.
#[derive(Clone)]
pub struct Shared(Arc<Parts>);

struct Parts {
    hub: Hub,
    keys: Keys,
    /// None where there is nothing to give orders to.
    orders: Option<Orders>,
    class: Class,
    rates: Rates,
    /// For viewers' streams.
    viewers: Places,
}

impl Shared {
    /// A server of `hub` that lets those in who have one of `keys`.
    pub fn new(hub: Hub, keys: Keys, orders: Option<Orders>, class: Class) -> Self {
        let (rates, viewers) = (Rates::default(), Places::new(stream::MOST_VIEWERS));
        Self(Arc::new(Parts { hub, keys, orders, class, rates, viewers }))
    }
}

/// All routes.
pub fn router(shared: &Shared) -> Router {
    let inside = Router::new()
        .route("/", get(assets::page))
        .route("/page/{name}", get(assets::part))
        .route("/stream", get(stream::stream))
        .route("/survey", get(assets::picture))
        .route("/lesson", get(class::lines))
        .route("/orders", post(actions::order))
        .layer(DefaultBodyLimit::max(LONGEST_BODY))
        .layer(middleware::from_fn_with_state(shared.clone(), access::must_be_let_in));
    Router::new()
        .route("/operate/{key}", get(access::operate))
        .route("/view/{key}", get(access::view))
        .merge(inside)
        .fallback(guard::nothing_here)
        .layer(middleware::from_fn_with_state(shared.clone(), guard::guard))
        .with_state(shared.clone())
}
