//! The coilrig program: everything that touches the outside world.
//!
//! A command is one file in [`commands`]: it reads its input, calls
//! `coilrig-analysis`, writes its output. If it computes, the computation is
//! in the wrong crate.

mod analysing;
pub mod angle_readings;
pub mod calibrating;
pub mod calibration;
pub mod capture;
pub mod commands;
pub mod dialogue;
pub mod emulator;
pub mod error;
pub mod exporting;
pub mod files;
pub mod following;
pub mod ground_file;
pub mod journal;
pub mod limits_file;
pub mod link;
pub mod live;
mod measured_units;
pub mod measuring;
pub mod output;
pub mod placed_readings;
pub mod printing;
pub mod pulse_count;
pub mod readings;
pub mod recording;
pub mod records;
pub mod runtime;
mod station_file;
mod station_geojson;
pub mod surveying;
mod temperature_log;
pub mod toml_file;
pub mod verifying;
