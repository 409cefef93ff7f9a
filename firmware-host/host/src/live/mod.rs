//! The live page: what the rig hears, in a browser.
//!
//! ```text
//! receiver ──▶ feed ─▶ engine ─▶ hub ─▶ server ─▶ browsers
//!   link,      (never   monitor   last     access, stream,
//!   recording   waits)  of the    half     assets
//!      ▲                analysis  minute
//!      └────────────── orders ◀──────────── operator
//! replay ─────────────▶ engine
//! ```
//!
//! Each stage runs on a thread of its own and hands on without waiting for the next:
//! what the engine cannot take is missing on the page, and a viewer that cannot keep up
//! is let go; a recording loses nothing by either.

pub mod about;
pub mod engine;
pub mod feed;
pub mod hub;
pub mod invitation;
pub mod orders;
pub mod picture;
pub mod plan;
pub mod receiver;
pub mod replay;
pub mod server;
pub mod source;
pub mod survey;
