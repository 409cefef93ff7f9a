//! Whether the records are whole, and what to do when they are not.

use std::path::PathBuf;

use clap::Args;

use super::{Which, print};
use crate::error::{Error, Result};
use crate::output::records as output;
use crate::records::salvage as saving;

/// Look over the whole file, and hold all captures against their entries
///
/// Exit code 3 says that something is not as it was entered.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records check --search /media/archive")]
pub struct Check {
    /// Leave the captures alone, which takes a while where there are many
    #[arg(long, conflicts_with = "search")]
    no_captures: bool,
    /// Look for captures that are not in their place in this folder and below
    #[arg(long, value_name = "FOLDER")]
    search: Option<PathBuf>,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    which: Which,
}

/// Save what can be read of damaged records into a new file
///
/// The damaged file stays as it is. What is saved and what is lost is told entry by
/// entry.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records salvage records.sqlite --out saved.sqlite")]
pub struct Salvage {
    /// The damaged records
    #[arg(value_name = "DAMAGED")]
    damaged: PathBuf,
    /// The new file; it must not be there yet
    #[arg(long, value_name = "NEW")]
    out: PathBuf,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
}

pub fn check(args: &Check) -> Result<()> {
    let records = args.which.open_to_read()?;
    let mut found = records.check()?;
    if !args.no_captures && found.damage.is_empty() {
        (found.captures_checked, found.captures) =
            records.check_captures(args.search.as_deref())?;
    }
    print(&if args.json { output::findings_json(&found)? } else { output::findings(&found) })?;
    if !found.damage.is_empty() {
        return Err(Error::file(
            records.path().display(),
            "the records are damaged",
            "leave the file as it is and save what can be read: coilrig records salvage",
        ));
    }
    match found.captures.len() + found.in_part.len() {
        0 => Ok(()),
        _ => Err(Error::file(
            records.path().display(),
            "not everything is as it was entered",
            "put captures back, or tell where they are: coilrig records correct ENTRY path=…",
        )),
    }
}

pub fn salvage(args: &Salvage) -> Result<()> {
    let saved = saving::salvage(&args.damaged, &args.out)?;
    print(&if args.json { output::saved_json(&saved)? } else { output::saved(&saved, &args.out) })
}
