//! `coilrig emulate`: an emulated receiver on a pseudo-terminal.

use std::io::{BufReader, Write};
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use tokio::signal::unix::{SignalKind, signal};

use coilrig_analysis::scenario::Scenario;

use super::Outcome;
use crate::dialogue::Answers;
use crate::emulator::{self, EmulatorHandle, Options, Pace};
use crate::error::{Error, Result};
use crate::files;
use crate::measuring::counted;

/// Run an emulated receiver on a pseudo-terminal
///
/// The first line on standard output is the device to open, as with
/// `coilrig record --port DEVICE`. What the receiver does is told on standard
/// error. Ctrl-C ends it.
///
/// Lines on standard input carry it about, as a survey wants: "place 2 0 1.5" (m),
/// "turn 30" (the receiver, degrees from rest), "turn north 30" (a unit, degrees from
/// how the scenario has it), "off north", "on north".
#[derive(Args)]
#[command(after_help = "\
Example:
  coilrig emulate captures/demo.toml --link /tmp/receiver
  coilrig emulate captures/demo.toml --fast --write-calibration demo-calibration.toml")]
pub struct Emulate {
    /// What the receiver hears and what goes wrong
    scenario: PathBuf,
    /// Stream as fast as the host reads; the scenario's time stands still
    /// while nobody streams
    #[arg(long)]
    fast: bool,
    /// Where the device is to be found; else in a folder of its own
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,
    /// Write down what a faultless laboratory would know of the receiver
    #[arg(long, value_name = "FILE")]
    write_calibration: Option<PathBuf>,
    /// End after so many seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    duration: Option<Duration>,
}

/// Run the command.
pub fn run(args: &Emulate) -> Result<Outcome> {
    let scenario = emulator::load(&args.scenario)?;
    if let Some(path) = &args.write_calibration {
        files::must_be_new(path)?;
        let today = jiff::ZonedDateTime::now().date().to_string();
        emulator::calibration(&scenario, &today).save(path)?;
        eprintln!("calibration written to {}", path.display());
    }
    let options = Options {
        pace: if args.fast { Pace::Full } else { Pace::RealTime },
        link: args.link.clone(),
        watcher: Some(Box::new(|event| eprintln!("{event}"))),
    };
    let emulator = emulator::spawn(&scenario, options)?;
    let mut out = std::io::stdout();
    writeln!(out, "{}", emulator.device().display())
        .and_then(|()| out.flush())
        .map_err(|e| Error::io("standard output".as_ref(), "write to", &e))?;
    eprintln!(
        "receiver {} with {}; Ctrl-C ends it",
        scenario.receiver.serial,
        counted(scenario.units.len() as u64, "unit")
    );
    wait_for_end(&emulator, &scenario, args.duration)?;
    emulator.shutdown()?;
    Ok(Outcome::Done)
}

/// Do what the lines of standard input say, one after the other, for as long as there
/// are any; then nothing more.
async fn obey(emulator: &EmulatorHandle, scenario: &Scenario, mut lines: Answers) {
    while let Some(line) = lines.next().await {
        let done = emulator::instruction(&line, scenario)
            .and_then(|change| emulator.change(change).map_err(|e| e.to_string()));
        match done {
            Ok(()) => eprintln!("done: {}", line.trim()),
            Err(why) => eprintln!("coilrig: {why}"),
        }
    }
    std::future::pending().await
}

/// Wait for Ctrl-C, a request to terminate, the end of `duration`, or trouble.
fn wait_for_end(
    emulator: &EmulatorHandle,
    scenario: &Scenario,
    duration: Option<Duration>,
) -> Result<()> {
    let lines = Answers::of(BufReader::new(std::io::stdin()))?;
    let no_runtime = |e: std::io::Error| {
        Error::receiver("emulator", format!("cannot wait for signals: {e}"), "start it again")
    };
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(no_runtime)?;
    runtime.block_on(async {
        let mut terminate = signal(SignalKind::terminate()).map_err(no_runtime)?;
        let lasts = async {
            match duration {
                Some(duration) => tokio::time::sleep(duration).await,
                None => std::future::pending().await,
            }
        };
        let trouble = async {
            while !emulator.has_ended() {
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        };
        tokio::select! {
            result = tokio::signal::ctrl_c() => result.map_err(no_runtime),
            _ = terminate.recv() => Ok(()),
            () = lasts => Ok(()),
            () = trouble => Ok(()),
            () = obey(emulator, scenario, lines) => Ok(()),
        }
    })
}

fn seconds(text: &str) -> std::result::Result<Duration, String> {
    let seconds: f64 = text.parse().map_err(|_| "give a number of seconds, as 12.5".to_owned())?;
    Duration::try_from_secs_f64(seconds).map_err(|e| e.to_string())
}
