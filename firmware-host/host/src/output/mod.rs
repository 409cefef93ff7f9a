//! Results as documents, tables for machines and tables for people.

pub mod angle;
pub mod budget;
pub mod calibration;
pub mod columns;
pub mod demo_report;
pub mod history;
pub mod location;
pub mod measurement;
pub mod over_time;
pub mod pictures;
pub mod plan;
pub mod range;
pub mod records;
pub mod report;
pub mod sheet;
pub mod station;
pub mod survey;
pub mod verification;
