//! Tools of the whole-program tests: they meet coilrig as its users do, by the
//! command line and by files, and never call into it.
//!
//! - [`program`] runs the program, [`emulator`] keeps an emulated receiver;
//! - [`capture`] makes SigMF recordings from the contract alone;
//! - [`live`] keeps a live page, and speaks to its server;
//! - [`python`] runs the scripts in `tests/outside` and `tests/browser`;
//! - [`json`] reads results.

pub mod capture;
pub mod emulator;
pub mod json;
pub mod live;
pub mod program;
pub mod python;

use std::path::{Path, PathBuf};

/// A file of the repository, by its path from the root.
pub fn repository_file(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(path)
}
