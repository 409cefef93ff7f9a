//! What was entered wrongly.

use clap::Args;

use super::{Writing, print, say};
use crate::error::Result;
use crate::records::EntryId;
use crate::records::correcting::Change;

/// Correct an entry: a new one takes its place
///
/// Of all entries `at` can be corrected; of a unit name, serial, model; of an event unit,
/// kind, detail; of a measurement or verification unit; of a decision unit, decision,
/// who, reason; of a capture that was moved path, receiver_serial, temperature_c; of a
/// calibration receiver_serial, valid_until. All else was not wrong in the entry but in
/// what was entered: withdraw it, and enter anew what is right.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  coilrig records correct 17 unit=hut --note \"mixed up with creek\""
)]
pub struct Correct {
    /// Number of the entry
    #[arg(value_name = "ENTRY")]
    entry: i64,
    /// What is to be another, as unit=hut; empty for none
    #[arg(required = true, value_name = "WHAT=VALUE", value_parser = change)]
    changes: Vec<Change>,
    #[command(flatten)]
    writing: Writing,
}

/// Withdraw an entry that should never have been made
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records withdraw 18 --note \"the unit was off\"")]
pub struct Withdraw {
    /// Number of the entry
    #[arg(value_name = "ENTRY")]
    entry: i64,
    #[command(flatten)]
    writing: Writing,
}

fn change(text: &str) -> std::result::Result<Change, String> {
    let (column, value) = text.split_once('=').ok_or("give what and its value, as unit=hut")?;
    Ok((column.trim().to_owned(), value.trim().to_owned()))
}

pub fn correct(args: &Correct) -> Result<()> {
    let (mut records, by) = args.writing.open()?;
    let mut entering = records.enter(&by, say)?;
    let id = entering.correct(EntryId(args.entry), &args.changes, args.writing.note.as_deref())?;
    entering.commit()?;
    print(&format!("entry {id} takes the place of entry {}\n", args.entry))
}

pub fn withdraw(args: &Withdraw) -> Result<()> {
    let (mut records, by) = args.writing.open()?;
    let mut entering = records.enter(&by, say)?;
    let why = args.writing.note.as_deref();
    let id = entering.withdraw(EntryId(args.entry), why.unwrap_or_default())?;
    entering.commit()?;
    print(&format!("entry {id} withdraws entry {}\n", args.entry))
}
