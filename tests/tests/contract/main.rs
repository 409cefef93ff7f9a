//! Commands, formats and exit codes as users and other programs rely on them,
//! written from their description alone.

mod angle;
mod calibrate;
mod commands;
mod live_receiver;
mod locate;
mod measurement;
mod over_time;
mod plan;
mod range;
mod station;
mod survey;
mod truth;
mod unusable_captures;
mod verify;
