//! What is entered by hand.

use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;

use super::super::into_records::{USUAL, when_done};
use super::{Writing, print, say};
use crate::error::Result;
use crate::records::{self, Decided, EntryId, EventKind, GivenStation, Records, Stamp};

/// Begin new records
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records new larch-meadow.sqlite")]
pub struct New {
    /// The file to make; it must not be there yet
    #[arg(value_name = "FILE", default_value = USUAL)]
    file: PathBuf,
}

/// Enter a unit: a transceiver or practice transmitter
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records unit \"rental 7\" --serial 4711")]
pub struct Unit {
    /// What it is called, unlike all other units
    #[arg(value_name = "NAME")]
    name: String,
    /// The maker's serial number
    #[arg(long, value_name = "TEXT")]
    serial: Option<String>,
    /// Maker and model
    #[arg(long, value_name = "TEXT")]
    model: Option<String>,
    #[command(flatten)]
    writing: Writing,
}

/// Enter a station as its file describes it now, and those of its units that are new
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records station meadow.toml")]
pub struct Station {
    /// Station file (TOML)
    #[arg(value_name = "STATION.toml")]
    file: String,
    #[command(flatten)]
    writing: Writing,
}

/// Enter a calibration file
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records calibration CR-0001.toml")]
pub struct Calibration {
    /// Calibration file (TOML)
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    writing: Writing,
}

/// Enter what happened to a unit
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilrig records event creek battery --at 2026-04-01")]
pub struct Event {
    /// The unit
    #[arg(value_name = "UNIT")]
    unit: String,
    /// What
    #[arg(value_enum, value_name = "WHAT")]
    kind: EventKind,
    /// More about it
    #[arg(long, value_name = "TEXT")]
    detail: Option<String>,
    /// When, as 2026-04-01 or 2026-04-01T08:00 [default: now]
    #[arg(long, value_name = "TIME", value_parser = when_done)]
    at: Option<Timestamp>,
    #[command(flatten)]
    writing: Writing,
}

/// Enter what a person decided about a unit
///
/// The rig decides nothing: the maker's service, local rules and licensed practice come
/// first, and a person answers for the decision.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  coilrig records decide \"rental 7\" out-of-use --who \"warden\" --verification 12"
)]
pub struct Decide {
    /// The unit
    #[arg(value_name = "UNIT")]
    unit: String,
    /// What
    #[arg(value_enum, value_name = "DECISION")]
    decision: Decided,
    /// Who decided [default: who enters it]
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Number of the verification that it rests on
    #[arg(long, value_name = "ENTRY")]
    verification: Option<i64>,
    /// When, as 2026-04-01 or 2026-04-01T08:00 [default: now]
    #[arg(long, value_name = "TIME", value_parser = when_done)]
    at: Option<Timestamp>,
    #[command(flatten)]
    writing: Writing,
}

pub fn new(args: &New) -> Result<()> {
    Records::create(&args.file)?;
    print(&format!("{}: new records, no entries yet\n", args.file.display()))
}

pub fn unit(args: &Unit) -> Result<()> {
    let Unit { name, serial, model, writing } = args;
    let what = records::Unit {
        name: name.trim().to_owned(),
        serial: serial.clone(),
        model: model.clone(),
    };
    entered(writing, None, |_| Ok(what))
}

pub fn station(args: &Station) -> Result<()> {
    let (mut records, by) = args.writing.open()?;
    let given = GivenStation::find(&records, &args.file)?;
    let mut entering = records.enter(&by, say)?;
    let id = entering.station(&given, |_| {})?;
    let mut told = format!("entry {id}: station \"{}\"\n", given.described().name);
    for unit in &given.described().units {
        let mut is_new = false;
        let unit_id = entering.unit(&unit.name, unit.serial.as_deref(), |_| is_new = true)?;
        if is_new {
            told += &format!("entry {unit_id}: unit \"{}\"\n", unit.name);
        }
    }
    entering.commit()?;
    print(&told)
}

pub fn calibration(args: &Calibration) -> Result<()> {
    let (mut records, by) = args.writing.open()?;
    let mut entering = records.enter(&by, say)?;
    let id = entering.calibration(&args.file)?;
    entering.commit()?;
    print(&format!("entry {id}: {}\n", args.file.display()))
}

pub fn event(args: &Event) -> Result<()> {
    entered(&args.writing, args.at, |records| {
        let unit = records.known_unit(&args.unit)?.unit;
        Ok(records::Event { unit, kind: args.kind, detail: args.detail.clone() })
    })
}

pub fn decide(args: &Decide) -> Result<()> {
    let by = super::into_records::by(args.writing.by.as_deref())?;
    entered(&args.writing, args.at, |records| {
        let unit = records.known_unit(&args.unit)?.unit;
        let verification = args.verification.map(EntryId);
        if let Some(id) = verification {
            records.check_verification_of(id, unit)?;
        }
        Ok(records::Decision {
            unit,
            verification,
            decision: args.decision,
            who: args.who.clone().unwrap_or(by),
            reason: args.reason.clone(),
        })
    })
}

/// Enter one thing and tell its number.
fn entered<T: records::entries::What>(
    writing: &Writing,
    at: Option<Timestamp>,
    what: impl FnOnce(&Records) -> Result<T>,
) -> Result<()> {
    let (mut records, by) = writing.open()?;
    let mut entering = records.enter(&by, say)?;
    let what = what(entering.records)?;
    let now = entering.now();
    let stamp = Stamp { note: writing.note.clone(), ..Stamp::at(at.unwrap_or(now)) };
    let id = entering.add(&stamp, &what)?;
    entering.commit()?;
    print(&format!("entry {id}\n"))
}
