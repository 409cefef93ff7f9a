//! Versions of the file, and how one becomes the next.

use rusqlite::{Connection, TransactionBehavior};

/// "Coil" in ASCII: tells a file of records from other SQLite files.
pub const APPLICATION_ID: i32 = 0x436f_696c;

/// What makes each version out of the one before; the first, out of nothing.
pub const STEPS: &[&str] = &[include_str!("schema/0001_entries.sql")];

/// The version of the file that `connection` is to.
///
/// # Errors
///
/// A file that cannot be read.
pub fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// Take the file up to the last of `steps`, all of it or nothing. Another program may
/// be at the same: then this one finds its work done.
///
/// # Errors
///
/// What SQLite refuses.
pub fn bring_up_to_date(connection: &mut Connection, steps: &[&str]) -> rusqlite::Result<()> {
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let from = usize::try_from(version(&within)?).unwrap_or(0);
    for (version, sql) in (1_i64..).zip(steps).skip(from) {
        within.execute_batch(sql)?;
        within.pragma_update(None, "user_version", version)?;
    }
    within.pragma_update(None, "application_id", APPLICATION_ID)?;
    within.commit()
}
