//! `coilrig ports`: serial ports, and what answers on them.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use serde::Serialize;
use tokio::task::JoinSet;

use super::Outcome;
use crate::error::{Error, Result};
use crate::link::port::{self, Port};
use crate::link::{NoReceiver, Receiver, identify};
use crate::runtime;

/// How long a port has to answer; all are asked at the same time.
const PATIENCE: Duration = Duration::from_millis(1200);

/// List serial ports and what answers on them
///
/// Every port is asked who is there. A device that is no receiver gets some
/// bytes that it will not understand.
#[derive(Args)]
#[command(after_long_help = "\
Example:
  coilrig ports
  coilrig ports --port /tmp/receiver --json")]
pub struct Ports {
    /// Ask on this port too; pseudo-terminals are not listed by the system
    #[arg(long, value_name = "PATH")]
    port: Vec<PathBuf>,
    /// Print the list as JSON
    #[arg(long)]
    json: bool,
}

/// One line of the list.
#[derive(Serialize)]
struct Entry {
    port: String,
    /// What the system knows about the device.
    #[serde(skip_serializing_if = "String::is_empty")]
    description: String,
    #[serde(flatten)]
    answer: Answer,
}

/// What answers on a port.
#[derive(Serialize)]
#[serde(rename_all = "snake_case")]
enum Answer {
    Receiver(Receiver),
    NoReceiver(String),
}

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    ports: &'a [Entry],
}

/// Run the command.
pub fn run(args: &Ports) -> Result<Outcome> {
    let mut ports = port::list().map_err(|e| {
        Error::receiver(
            "serial ports",
            format!("cannot be listed: {e}"),
            "give the port with --port PATH",
        )
    })?;
    for path in &args.port {
        let path = path.display().to_string();
        if ports.iter().all(|port| port.path != path) {
            ports.push(Port { path, description: String::new() });
        }
    }
    let entries = runtime::run(ask_all(ports))?;
    let text = if args.json { as_json(&entries)? } else { as_text(&entries) };
    writeln!(std::io::stdout(), "{text}")
        .map_err(|e| Error::io("standard output".as_ref(), "write to", &e))?;
    Ok(Outcome::Done)
}

/// Ask on all ports at once; the answers in the order of the ports.
async fn ask_all(ports: Vec<Port>) -> Result<Vec<Entry>> {
    let mut asked = JoinSet::new();
    for (place, port) in ports.into_iter().enumerate() {
        asked.spawn(async move {
            let answer = match identify(Path::new(&port.path), PATIENCE).await {
                Ok(receiver) => Answer::Receiver(receiver),
                Err(none) => Answer::NoReceiver(describe(&none)),
            };
            (place, Entry { port: port.path, description: port.description, answer })
        });
    }
    let mut entries = asked.join_all().await;
    entries.sort_by_key(|(place, _)| *place);
    Ok(entries.into_iter().map(|(_, entry)| entry).collect())
}

fn describe(none: &NoReceiver) -> String {
    match none {
        NoReceiver::Silent => "silent".into(),
        NoReceiver::Other(_) => "another device".into(),
        other => other.to_string(),
    }
}

fn as_json(entries: &[Entry]) -> Result<String> {
    let document = Document { format: "coilrig-ports/1", ports: entries };
    serde_json::to_string_pretty(&document).map_err(|e| {
        Error::receiver("serial ports", format!("cannot be told as JSON: {e}"), "leave --json out")
    })
}

fn as_text(entries: &[Entry]) -> String {
    if entries.is_empty() {
        return "no serial ports".into();
    }
    let lines = entries.iter().map(|entry| {
        let answer = match &entry.answer {
            Answer::Receiver(receiver) => format!(
                "receiver {}, {} {}, {} {}",
                receiver.serial_number,
                receiver.firmware,
                receiver.firmware_version,
                receiver.axes,
                if receiver.axes == 1 { "axis" } else { "axes" },
            ),
            Answer::NoReceiver(why) => why.clone(),
        };
        let description = match entry.description.as_str() {
            "" => String::new(),
            known => format!("  [{known}]"),
        };
        format!("{}  {answer}{description}", entry.port)
    });
    lines.collect::<Vec<_>>().join("\n")
}
