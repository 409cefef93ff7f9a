//! Results as documents, tables for machines and tables for people.

pub mod columns;
pub mod measurement;
