//! Verified units as JSON, CSV and tables for people.

pub mod csv;
pub mod document;
pub mod table;
pub mod words;

use crate::commands::CAUTIONS;

/// What holds for every decision shown.
pub fn cautions() -> Vec<&'static str> {
    let mut all: Vec<&str> = CAUTIONS.lines().collect();
    all.push("A unit that conforms today can fail tomorrow.");
    all
}
