//! Histories as text, JSON, CSV and pictures.

pub mod csv;
pub mod document;
pub mod pictures;
pub mod text;
pub mod words;
