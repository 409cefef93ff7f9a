//! Commands, formats and exit codes as users and other programs rely on them,
//! written from their description alone.

mod calibrate;
mod commands;
mod live_receiver;
mod locate;
mod measurement;
mod range;
mod truth;
mod unusable_captures;
mod verify;
