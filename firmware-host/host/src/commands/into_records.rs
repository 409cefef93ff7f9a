//! Options of commands that enter what they measured into records by themselves.

use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use crate::error::{Error, Result};
use crate::records::book::{Book, Named};

/// Name of the records where none is given.
pub(super) const USUAL: &str = "records.sqlite";
/// The variable that names the records.
const VARIABLE: &str = "COILRIG_RECORDS";

/// Which unit, and which of the transmitters in a capture it is.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct IntoRecords {
    /// Enter what was measured into the records, as of the unit of this name
    #[arg(long, value_name = "NAME", help_heading = "Records")]
    pub unit: Option<String>,
    #[command(flatten)]
    pub records: WhichRecords,
}

/// Where to enter.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct WhichRecords {
    /// The records to enter into; made where there are none [default: $COILRIG_RECORDS,
    /// or records.sqlite in this folder if it is there]
    #[arg(long, value_name = "FILE", help_heading = "Records")]
    pub records: Option<PathBuf>,
    /// The station it was measured at: its file, or its name in the records
    #[arg(long, value_name = "FILE|NAME", help_heading = "Records")]
    pub station: Option<String>,
    /// Who enters this [default: the user of this computer]
    #[arg(long, value_name = "NAME", help_heading = "Records")]
    pub by: Option<String>,
}

impl IntoRecords {
    /// The records to enter into, ready and with the unit checked; `None` when nothing
    /// is to be entered.
    pub fn open(&self) -> Result<Option<Book>> {
        let Some(unit) = &self.unit else {
            let asked = self.records.is_asked_for();
            return if asked { Err(no_unit("this")) } else { Ok(None) };
        };
        let book = self.records.open()?;
        book.check(Named::by_name(unit))?;
        Ok(Some(book))
    }
}

impl WhichRecords {
    /// Whether something is said here that only makes sense for entering.
    pub fn is_asked_for(&self) -> bool {
        self.records.is_some() || self.station.is_some()
    }

    /// The records, which there must be or can be made.
    pub fn open(&self) -> Result<Book> {
        let path = self.path().ok_or_else(|| {
            Error::usage(
                format!("there are no records to enter into: no {USUAL} in this folder"),
                format!("name them by --records or {VARIABLE}, or begin some: coilrig records new"),
            )
        })?;
        Book::open(&path, by(self.by.as_deref())?, self.station.as_deref())
    }

    /// The records for a command whose `--unit` is there for other reasons as well: where
    /// there are none, that is said and nothing else.
    pub fn open_for(&self, unit: Option<&str>) -> Result<Option<Book>> {
        match unit {
            _ if self.is_asked_for() => self.open().map(Some),
            Some(_) if self.path().is_some() => self.open().map(Some),
            Some(_) => {
                eprintln!("coilrig: not entered anywhere: there is no {USUAL} here (--records)");
                Ok(None)
            }
            None => Ok(None),
        }
    }

    /// Where the records are, or are to be made.
    pub fn path(&self) -> Option<PathBuf> {
        path(self.records.as_deref())
    }
}

/// A time on the command line: with its offset, or of the clock on the wall here; a day
/// alone is its noon.
pub(super) fn when(text: &str) -> std::result::Result<Timestamp, String> {
    let here = |time: DateTime| TimeZone::system().to_timestamp(time);
    text.parse::<Timestamp>()
        .or_else(|_| text.parse::<Date>().and_then(|day| here(day.at(12, 0, 0, 0))))
        .or_else(|_| text.parse::<DateTime>().and_then(here))
        .map_err(|_| "give a day as 2026-04-01, or a time as 2026-04-01T08:00".into())
}

/// The same of something that was done: a time to come is mistyped.
pub(super) fn when_done(text: &str) -> std::result::Result<Timestamp, String> {
    let at = when(text)?;
    // Clocks differ, and a day alone is its noon.
    let latest = Timestamp::now() + jiff::SignedDuration::from_hours(13);
    if at > latest { Err("lies in the future".into()) } else { Ok(at) }
}

/// Refuse to enter a capture of one unit as another's.
pub(super) fn check_stated(path: &Path, stated: Option<&str>, unit: &str) -> Result<()> {
    match stated {
        Some(stated) if stated != unit => Err(Error::file(
            path.display(),
            format!("states that it is of unit \"{stated}\", not \"{unit}\""),
            format!("give --unit \"{stated}\", or correct coilrig:unit in the capture's metadata"),
        )),
        _ => Ok(()),
    }
}

/// Refuse to enter what belongs to no unit.
pub(super) fn no_unit(what: impl std::fmt::Display) -> Error {
    Error::usage(
        format!("nobody says of which unit {what} is"),
        "give --unit with its name, or record it with --unit; or leave --records and --station out",
    )
}

/// The records that are named, or those that are meant when none are.
pub(super) fn path(named: Option<&Path>) -> Option<PathBuf> {
    let usual = || Some(PathBuf::from(USUAL)).filter(|path| path.exists());
    let by_variable = || std::env::var_os(VARIABLE).filter(|name| !name.is_empty());
    named.map(Path::to_owned).or_else(|| by_variable().map(PathBuf::from)).or_else(usual)
}

/// Who enters: as stated, else the user of this computer.
pub(super) fn by(stated: Option<&str>) -> Result<String> {
    let of_system = || {
        let variable = |name: &&str| std::env::var(name).ok().filter(|by| !by.trim().is_empty());
        ["USER", "LOGNAME"].iter().find_map(variable).or_else(user_of_system)
    };
    let by = stated.map(str::to_owned).or_else(of_system).unwrap_or_default();
    if by.trim().is_empty() {
        return Err(Error::usage("nobody is named who enters this", "give --by with a name"));
    }
    Ok(by)
}

/// The name that the system has for whoever runs the program.
fn user_of_system() -> Option<String> {
    let own = rustix::process::getuid().as_raw().to_string();
    let users = std::fs::read_to_string("/etc/passwd").ok()?;
    users.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1) == Some(own.as_str())).then(|| name.to_owned())
    })
}
