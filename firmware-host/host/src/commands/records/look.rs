//! What stands in the records.

use clap::Args;

use super::{Which, print};
use crate::error::{Error, Result};
use crate::output::records as output;
use crate::records::listing::Listed;
use crate::records::{EntryId, Kind};

/// List entries, a line each
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records list --unit creek --kind event")]
pub struct List {
    /// Of this unit alone
    #[arg(long, value_name = "NAME")]
    unit: Option<String>,
    /// Of this kind alone
    #[arg(long, value_enum, value_name = "KIND")]
    kind: Option<Kind>,
    /// Those as well that were corrected or withdrawn
    #[arg(long)]
    all: bool,
    /// The last ones only; 0 for no end
    #[arg(long, value_name = "COUNT", default_value_t = 50)]
    last: u32,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    which: Which,
}

/// Show an entry with all that it says
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records show 17")]
pub struct Show {
    /// Its number
    #[arg(value_name = "ENTRY")]
    entry: i64,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    which: Which,
}

pub fn list(args: &List) -> Result<()> {
    let records = args.which.open_to_read()?;
    let unit = args.unit.as_deref().map(|name| records.known_unit(name)).transpose()?;
    let listed = Listed {
        unit: unit.map(|unit| unit.unit),
        kind: args.kind,
        all: args.all,
        only: None,
        last: Some(args.last).filter(|&last| last > 0),
    };
    let lines = records.listing(&listed)?;
    print(&if args.json { output::list_json(&lines)? } else { output::list(&lines) })
}

pub fn show(args: &Show) -> Result<()> {
    let records = args.which.open_to_read()?;
    let id = EntryId(args.entry);
    let Some(line) = records.line(id)? else {
        return Err(Error::file(
            format!("{}, entry {id}", records.path().display()),
            "is not there",
            "see the numbers of all entries: coilrig records list",
        ));
    };
    let columns = records.columns_of(line.kind, id)?;
    let values = records.values_of(id)?;
    let captures = records.captures_of(id)?;
    let shown =
        output::Shown { line: &line, columns: &columns, values: &values, captures: &captures };
    print(&if args.json { shown.json()? } else { shown.text() })
}
