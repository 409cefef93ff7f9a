//! `coilrig record`: receiver → capture.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;

use clap::Args;

use super::{Outcome, load_calibration};
use crate::error::{Error, Result};
use crate::link::Link;
use crate::pulse_count::pulse_counter;
use crate::recording::{self, Notice, Options, Progress, Summary};
use crate::runtime;

/// Record a receiver into a capture
///
/// The capture is two files, NAME.sigmf-meta and NAME.sigmf-data, which any
/// SigMF tool reads. It is written through once a second: whatever happens to
/// the program, what was recorded up to then stays. When the cable comes off,
/// the recording waits and goes on; what is missing is marked in the capture.
/// Ctrl-C ends it.
#[derive(Args)]
#[command(after_long_help = "\
Example:
  coilrig record --port /dev/ttyACM0 --out unit-7 --duration 60 \\
      --calibration CR-0001.toml --unit \"hut 7\" --temperature -5")]
pub struct Record {
    /// Port of the receiver; `coilrig ports` lists them
    #[arg(long, value_name = "PATH")]
    port: PathBuf,
    /// Name of the capture; one that is there is never overwritten
    #[arg(long, value_name = "NAME")]
    out: PathBuf,
    /// How long, in seconds; without it until Ctrl-C
    #[arg(long, value_name = "S", value_parser = seconds)]
    duration: Option<f64>,
    /// Gain step of the receiver
    #[arg(long, value_name = "STEP", default_value_t = 0)]
    gain: u8,
    /// Calibration file of the receiver; without it the capture holds no field
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Name of the unit under test
    #[arg(long, value_name = "TEXT")]
    unit: Option<String>,
    /// Free text to keep with the capture
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Temperature of the unit under test, °C
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = celsius)]
    temperature: Option<f64>,
    /// Print the summary as JSON
    #[arg(long)]
    json: bool,
}

/// Run the command.
pub fn run(args: Record) -> Result<Outcome> {
    let calibration = match args.calibration {
        Some(path) => Some((path.clone(), load_calibration(&path)?)),
        None => {
            eprintln!("no --calibration: the capture will hold no field values");
            None
        }
    };
    let mut options = Options {
        name: args.out,
        duration_s: args.duration,
        gain_step: args.gain,
        calibration,
        unit: args.unit,
        note: args.note,
        temperature_c: args.temperature,
        pulse_counter: None,
    };
    let summary = runtime::run(async {
        let stop = runtime::stop_signal()?;
        let mut link = Link::open(&args.port).await?;
        let receiver = link.receiver();
        eprintln!(
            "receiver {}, {} {}, {} axes; Ctrl-C ends the recording",
            receiver.serial_number, receiver.firmware, receiver.firmware_version, receiver.axes
        );
        match pulse_counter(receiver) {
            Ok(counter) => options.pulse_counter = Some(counter),
            Err(e) => eprintln!("pulses are not counted: the receiver {e}"),
        }
        let mut display = Display::new();
        let summary =
            recording::record(options, &mut link, |notice| display.show(notice), stop).await;
        display.end_line();
        summary
    })?;
    print(&summary, args.json)?;
    Ok(Outcome::Done)
}

fn print(summary: &Summary, json: bool) -> Result<()> {
    let text = if json {
        serde_json::to_string_pretty(summary).map_err(|e| {
            Error::file("summary", format!("cannot be told as JSON: {e}"), "leave --json out")
        })?
    } else {
        let mut text = format!(
            "{}: {:.1} s of receiver {}",
            summary.capture.display(),
            summary.duration_s,
            summary.receiver
        );
        if summary.link.samples_lost > 0 {
            let (lost, gaps) = (summary.link.samples_lost, summary.link.gaps);
            text += &format!(", {lost} samples missing in {gaps} gaps");
        }
        if summary.link.overloads > 0 {
            text += ", clipped in places (marked as overload)";
        }
        text
    };
    writeln!(std::io::stdout(), "{text}")
        .map_err(|e| Error::io("standard output".as_ref(), "write to", &e))
}

/// Progress on standard error: one line that is written over on a terminal, a
/// line every ten seconds elsewhere.
struct Display {
    is_terminal: bool,
    /// Whether the cursor stands behind a progress line.
    is_line_open: bool,
    ticks: u64,
}

/// Plain progress lines are this many ticks apart.
const TICKS_A_LINE: u64 = 10;

impl Display {
    fn new() -> Self {
        Self { is_terminal: std::io::stderr().is_terminal(), is_line_open: false, ticks: 0 }
    }

    fn show(&mut self, notice: Notice) {
        match notice {
            Notice::Progress(progress) => self.show_progress(&progress),
            Notice::Gap(gap) => self
                .say(&format!("{} samples missing from sample {} on", gap.missing, gap.from_index)),
            Notice::Stalled => self.say("the receiver sends nothing; told it to start again"),
            Notice::Lost(why) => self.say(&format!("{why}; waiting for the receiver")),
            Notice::Back => self.say("the receiver is back, recording goes on"),
            Notice::OtherTemperature { now_c, calibrated_c } => {
                self.say(&recording::other_temperature(now_c, calibrated_c));
            }
        }
    }

    fn show_progress(&mut self, progress: &Progress) {
        self.ticks += 1;
        if self.is_terminal {
            // Back to the start of the line, and clear what the last one left.
            eprint!("\r{}\x1b[K", line(progress));
            self.is_line_open = true;
        } else if self.ticks.is_multiple_of(TICKS_A_LINE) {
            eprintln!("{}", line(progress));
        }
    }

    fn say(&mut self, text: &str) {
        self.end_line();
        eprintln!("{text}");
    }

    fn end_line(&mut self) {
        if std::mem::take(&mut self.is_line_open) {
            eprintln!();
        }
    }
}

fn line(progress: &Progress) -> String {
    let mut line = format!("{:6.0} s ", progress.elapsed_s);
    let names = if progress.level_dbfs.len() == 1 { &[""][..] } else { &["x", "y", "z"] };
    for (name, level) in names.iter().zip(&progress.level_dbfs) {
        if level.is_finite() {
            line += &format!(" {name} {level:5.1}");
        } else {
            line += &format!(" {name}    –");
        }
    }
    line += " dBFS";
    if let Some(pulses) = progress.pulses {
        line += &format!("  {pulses} pulses");
    }
    line += &format!("  lost {}", progress.samples_lost);
    if progress.overload {
        line += "  OVERLOAD: take a lower gain step or more distance";
    }
    line
}

fn seconds(text: &str) -> std::result::Result<f64, String> {
    let number = text.strip_suffix('s').unwrap_or(text).trim_end();
    match number.parse::<f64>() {
        Ok(seconds) if seconds.is_finite() && seconds > 0.0 => Ok(seconds),
        _ => Err("give a number of seconds above zero, as 60".into()),
    }
}

pub(super) fn celsius(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(celsius) if celsius.is_finite() => Ok(celsius),
        _ => Err("give degrees Celsius, as -5".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_tells_what_there_is_and_nothing_else() {
        let progress = Progress {
            elapsed_s: 12.0,
            level_dbfs: vec![-23.14, f64::NEG_INFINITY, -40.0],
            samples_lost: 160,
            overload: false,
            pulses: None,
        };
        assert_eq!(line(&progress), "    12 s  x -23.1 y    – z -40.0 dBFS  lost 160");
        let progress = Progress { pulses: Some(7), level_dbfs: vec![-1.0], ..progress };
        assert_eq!(line(&progress), "    12 s    -1.0 dBFS  7 pulses  lost 160");
    }

    #[test]
    fn seconds_are_numbers_above_zero() {
        assert_eq!(seconds("60"), Ok(60.0));
        assert_eq!(seconds("1.5 s"), Ok(1.5));
        for wrong in ["0", "-1", "inf", "NaN", "", "s", "1 min"] {
            assert!(seconds(wrong).is_err(), "{wrong}");
        }
    }
}
