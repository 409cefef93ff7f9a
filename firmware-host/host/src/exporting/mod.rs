//! All tables of the records as files for query engines: Parquet and CSV, with a page
//! that documents them.
//!
//! [`tables`] says what stands in each; [`rows`] are read some at a time, so that size
//! does not matter; [`parquet`] and [`csv`] write them.

mod csv;
mod parquet;
mod rows;
mod schema;
mod tables;

use std::path::Path;

use crate::error::Result;
use crate::files;
use crate::records::Records;

/// Write all tables of a park to `folder`; how many.
///
/// # Errors
///
/// Records that cannot be read, a folder that cannot be written.
pub fn export(records: &Records, park: &str, folder: &Path) -> Result<usize> {
    files::make_folder(folder)?;
    let _one_state = records.snapshot()?;
    for table in tables::TABLES {
        files::write_whole_by(&folder.join(format!("{}.parquet", table.name)), |file| {
            let mut writer = parquet::Writer::new(file, table)?;
            rows::each_batch(records, table, park, |batch| writer.write(batch))?;
            writer.finish()
        })?;
        files::write_whole_by(&folder.join(format!("{}.csv", table.name)), |file| {
            let mut writer = csv::Writer::new(file, table)?;
            rows::each_batch(records, table, park, |batch| writer.write(batch))?;
            writer.finish()
        })?;
    }
    files::write_whole(&folder.join("SCHEMA.md"), schema::page().as_bytes())?;
    Ok(tables::TABLES.len())
}
