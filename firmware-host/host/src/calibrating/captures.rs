//! Captures that a receiver is calibrated from.

use std::path::{Path, PathBuf};

use coilrig_analysis::calibration::noise::{self, NoNoise, Noise};
use coilrig_analysis::calibration::signal::{Ear, Kind, ReferenceSignal};
use coilrig_analysis::calibration::slow::Slow;

use super::apply::in_use;
use crate::calibration::records::RawReading;
use crate::capture::reader::{Capture, Piece, shown};
use crate::capture::writer::OVERLOAD;
use crate::error::{Error, Result};

/// The receiver that captures are of. What a capture states counts; what none
/// states must be told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// Serial number.
    pub receiver: Option<String>,
    /// Gain step.
    pub gain_step: Option<u8>,
    /// Channels, once a capture was opened.
    pub channels: Option<usize>,
}

impl Origin {
    /// Take in what `capture` states.
    ///
    /// # Errors
    ///
    /// It states something else than what was told or other captures state.
    fn agree(&mut self, capture: &Capture) -> Result<()> {
        let used = in_use(capture);
        let place = capture.paths.meta.display();
        let refuse = |what: String| {
            let remedy = "give captures of one receiver at one gain step, and no other \
                          --receiver or --gain";
            Err(Error::file(&place, what, remedy))
        };
        if let (Some(stated), Some(known)) = (&used.receiver, &self.receiver)
            && stated != known
        {
            return refuse(format!("is of receiver {stated}, the others are of {known}"));
        }
        if let (Some(stated), Some(known)) = (used.gain_step, self.gain_step)
            && stated != known
        {
            return refuse(format!("is of gain step {stated}, the others are of {known}"));
        }
        if let Some(known) = self.channels.filter(|known| *known != used.channels) {
            return refuse(format!("has {} channels, the others have {known}", used.channels));
        }
        self.receiver = self.receiver.take().or(used.receiver);
        self.gain_step = self.gain_step.or(used.gain_step);
        self.channels = Some(used.channels);
        Ok(())
    }
}

/// A capture and the reference signal in it.
#[derive(Clone, Debug)]
pub struct Listened {
    /// The capture, as given.
    pub path: PathBuf,
    /// The signal.
    pub signal: ReferenceSignal,
    /// Channels of the capture.
    pub channels: usize,
    /// Things a person should know.
    pub warnings: Vec<String>,
}

impl Listened {
    /// What goes into the calibration file.
    pub fn raw(&self) -> RawReading {
        let signal = &self.signal;
        RawReading {
            capture: shown(&self.path),
            counts: signal.counts[..self.channels].to_vec(),
            u_counts: signal.u_counts[..self.channels].to_vec(),
            seen_hz: signal.seen_hz.value,
            u_seen_hz: signal.seen_hz.u,
            energy_db: signal.energy_db,
        }
    }
}

/// Listen to `captures` for their reference signal, each for itself.
///
/// # Errors
///
/// No capture, one given twice, captures of different receivers or gain steps, and
/// signals that clip, are too weak, or not steady.
pub fn listen(captures: &[PathBuf], origin: &mut Origin) -> Result<Vec<Listened>> {
    each_once(captures)?;
    captures.iter().map(|path| listen_to(path, origin)).collect()
}

fn listen_to(path: &Path, origin: &mut Origin) -> Result<Listened> {
    let capture = open(path, origin)?;
    let place = capture.paths.meta.display().to_string();
    let unusable = |e: coilrig_analysis::signal::FormatError| {
        Error::file(&place, e.to_string(), "record anew")
    };
    let mut ear = Ear::new(capture.format, capture.quantum()).map_err(unusable)?;
    let streamed = capture.stream(|piece| match piece {
        Piece::Samples(samples) => ear.push(samples),
        Piece::Gap(missing) => ear.gap(missing),
    })?;
    check_level(&capture, streamed.clipped)?;
    let (signal, measurement) = ear.finish();
    let signal = signal.map_err(|e| Error::file(&place, e.to_string(), e.remedy()))?;
    let mut warnings = capture.warnings.clone();
    if signal.kind == Kind::Pulses {
        let carrier_hz = measurement.transmitters.first().map_or(0.0, |t| t.carrier_hz.value);
        warnings.push(format!("{place}: measured by the pulses at {carrier_hz:.1} Hz"));
    }
    Ok(Listened { path: path.to_owned(), signal, channels: capture.format.axes, warnings })
}

/// Noise of all `captures` together, and what a person should know.
///
/// # Errors
///
/// No capture, captures of different receivers or gain steps, and captures with
/// anything but noise in them.
pub fn noise(captures: &[PathBuf], origin: &mut Origin) -> Result<(Noise, Vec<String>)> {
    each_once(captures)?;
    let mut slow: Option<Slow> = None;
    let mut warnings = Vec::new();
    let mut names = Vec::new();
    for path in captures {
        let capture = open(path, origin)?;
        let place = capture.paths.meta.display().to_string();
        let slow = slow.get_or_insert_with(|| Slow::new(capture.format));
        let mut analyser = coilrig_analysis::signal::Analyser::new(
            capture.format,
            coilrig_analysis::signal::Calibration::default(),
        )
        .map_err(|e| Error::file(&place, e.to_string(), "record anew"))?;
        if let Some(step) = capture.quantum() {
            analyser = analyser.quantised(step);
        }
        let streamed = capture.stream(|piece| match piece {
            Piece::Samples(samples) => {
                slow.push(samples);
                analyser.push(samples, &mut |_| ());
            }
            Piece::Gap(missing) => {
                slow.gap(missing);
                analyser.gap(missing, &mut |_| ());
            }
        })?;
        slow.gap(0);
        check_level(&capture, streamed.clipped)?;
        let measurement = analyser.finish(&mut |_| ());
        if let Some(unit) = measurement.transmitters.first() {
            let what = format!("a transmitter is heard at {:.1} Hz", unit.carrier_hz.value);
            return Err(Error::file(place, what, SWITCH_OFF));
        }
        if let Some(steady) = measurement.steady_carriers.first() {
            let what = format!("a steady carrier is heard at {:.1} Hz", steady.carrier_hz);
            return Err(Error::file(place, what, SWITCH_OFF));
        }
        warnings.extend(capture.warnings.clone());
        names.push(place);
    }
    let Some(slow) = slow else { return Err(no_capture()) };
    let refuse = |e: NoNoise| {
        let remedy = match e {
            NoNoise::Short { .. } => "record a minute with nothing on",
            NoNoise::Dead { .. } => "check the coil and its cable, or take a higher gain step",
            _ => SWITCH_OFF,
        };
        Error::file(names.join(", "), e.to_string(), remedy)
    };
    Ok((noise::measure(&slow).map_err(refuse)?, warnings))
}

const SWITCH_OFF: &str = "switch off everything that sends, go away from computers, chargers and \
                          power lines, and record anew";

fn open(path: &Path, origin: &mut Origin) -> Result<Capture> {
    let capture = Capture::open(path)?;
    origin.agree(&capture)?;
    Ok(capture)
}

/// A signal that clips is read too low.
fn check_level(capture: &Capture, clipped: u64) -> Result<()> {
    let overload = |a: &crate::capture::meta::Annotation| a.label.as_deref() == Some(OVERLOAD);
    let overloads = capture.meta.annotations.iter().any(overload);
    if clipped == 0 && !overloads {
        return Ok(());
    }
    let what = match clipped {
        0 => "is marked as overload: the receiver's converter clipped".to_owned(),
        clipped => format!("{clipped} samples are at full scale: the signal clips"),
    };
    Err(Error::file(
        capture.paths.meta.display(),
        what,
        "lower the current of the source, take more distance or a lower gain step, and record anew",
    ))
}

/// The same capture twice would pass for a repeat.
fn each_once(captures: &[PathBuf]) -> Result<()> {
    if captures.is_empty() {
        return Err(no_capture());
    }
    let names: Vec<String> = captures.iter().map(|path| shown(path)).collect();
    match (1..names.len()).find(|i| names[..*i].contains(&names[*i])) {
        None => Ok(()),
        Some(i) => Err(Error::usage(
            format!("{} is given twice", names[i]),
            "give each capture once: a repeat is a recording of its own",
        )),
    }
}

fn no_capture() -> Error {
    Error::usage("no capture given", "name captures by --capture, or a receiver by --port")
}
