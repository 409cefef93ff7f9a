//! One capture, and the unit in it.

use std::path::{Path, PathBuf};

use coilrig_analysis::over_time::Row;
use coilrig_analysis::signal::{Envelope, EnvelopeCollector, Pulse, Transmitter};
use coilrig_analysis::verification::Heard;
use coilrig_analysis::verification::behaviour::{Behaviour, behaviour};

use crate::calibrating;
use crate::calibration::Calibration;
use crate::capture::reader::{Capture, Piece, shown};
use crate::error::{Error, Result};
use crate::measuring::{self, Keep, Measured};

/// Others weaker than this share of the strongest (−20 dB) do not disturb it, and
/// do not leave open which one is meant.
const FAINT: f64 = 0.1;
/// Means over the capture for trends and pictures, and the least length of each, s.
const ROWS: f64 = 12.0;
const LEAST_ROW_S: f64 = 5.0;

/// A capture with the unit that is meant in it.
#[derive(Debug)]
pub struct Examined {
    /// The capture and all that was found.
    pub measured: Measured,
    /// Which of the transmitters is the unit.
    chosen: usize,
    /// How it behaved.
    pub behaviour: Behaviour,
}

/// Measure the capture at `path`, with a calibration out of the file named where one
/// is given, and pick the unit in it: the transmitter of the label `asked`, or else
/// the only one, or one far stronger than all others.
///
/// # Errors
///
/// A capture that cannot be measured, without a transmitter, without the one asked
/// for, or with several that could be meant.
pub fn examine(
    path: &Path,
    asked: Option<&str>,
    calibration: Option<&(PathBuf, Calibration)>,
) -> Result<Examined> {
    let capture = Capture::open(path)?;
    let duration_s = capture.frames() as f64 / capture.format.sample_rate_hz;
    let rows_s = Some((duration_s / ROWS).max(LEAST_ROW_S));
    let keep = Keep { pulses: true, rows_s, ..Keep::default() };
    let measured = measuring::measure_with(path, keep, calibration)?;
    let (chosen, note) = choose(&measured, asked)?;
    let heard = measured.heard(&measured.measurement.transmitters[chosen]);
    let mut behaviour = behaviour(&heard, &rows_of(&measured, chosen));
    behaviour.notes.extend(note);
    // A decision that rests on such a calibration must not be read without it.
    behaviour.notes.extend(calibrating::age_concerns(&measured.capture));
    Ok(Examined { chosen, behaviour, measured })
}

impl Examined {
    /// The unit as this capture has it.
    pub fn heard(&self) -> Heard<'_> {
        self.measured.heard(self.transmitter())
    }

    /// The unit as measured.
    pub fn transmitter(&self) -> &Transmitter {
        &self.measured.measurement.transmitters[self.chosen]
    }

    /// Its means over stretches of the capture.
    pub fn rows(&self) -> Vec<Row> {
        rows_of(&self.measured, self.chosen)
    }

    /// Path of the capture as results show it.
    pub fn name(&self) -> String {
        shown(&self.measured.path)
    }

    /// Temperature of the unit, °C, if the capture states it.
    pub fn temperature_c(&self) -> Option<f64> {
        self.measured.capture.meta.global.temperature_c
    }

    /// The mean shape of its pulses, from a second pass over the samples.
    ///
    /// # Errors
    ///
    /// A capture that can no longer be read.
    pub fn envelope(&self) -> Result<Option<Envelope>> {
        let capture = &self.measured.capture;
        let trains = &self.transmitter().trains;
        let own = |(pulse, train): &'_ (Pulse, Option<usize>)| {
            train.is_some_and(|t| trains.contains(&t)).then(|| pulse.clone())
        };
        let pulses: Vec<Pulse> = self.measured.pulses.iter().filter_map(own).collect();
        let mut collector = EnvelopeCollector::new(capture.format, &capture.calibration, &pulses);
        capture.stream(|piece| match piece {
            Piece::Samples(samples) => collector.push(samples),
            Piece::Gap(missing) => collector.gap(missing),
        })?;
        Ok(collector.finish())
    }
}

fn rows_of(measured: &Measured, chosen: usize) -> Vec<Row> {
    let trains = &measured.measurement.transmitters[chosen].trains;
    measured.rows.iter().filter(|row| trains.contains(&row.train)).cloned().collect()
}

/// The unit's place among the transmitters, and a note where others were heard: the one
/// of the label `asked`, or else the only one, or one far stronger than all others.
///
/// # Errors
///
/// None, not the one asked for, or several that could be meant.
pub fn choose(measured: &Measured, asked: Option<&str>) -> Result<(usize, Option<String>)> {
    let all = &measured.measurement.transmitters;
    let place = measured.capture.paths.meta.display();
    let labels = || all.iter().map(|t| t.label.as_str()).collect::<Vec<_>>().join(", ");
    if let Some(label) = asked {
        let found = all.iter().position(|t| t.label.eq_ignore_ascii_case(label));
        return found.map(|place| (place, None)).ok_or_else(|| {
            let what = format!("holds no transmitter {label}, but {}", labels());
            Error::file(place, what, "see them all with: coilrig measure")
        });
    }
    let Some(strongest) = all.first() else {
        let what = "holds no transmitter: there is nothing to judge or to enter";
        let remedy = "check that the unit was on and sending, and that the receiver was close; \
                      a unit that does not send does not conform";
        return Err(Error::file(place, what, remedy));
    };
    let next = all.get(1).map_or(0.0, |t| t.amplitude.value / strongest.amplitude.value);
    if next > FAINT {
        let db = 20.0 * next.log10();
        let what = format!(
            "holds {} transmitters ({}), the second only {:.0} dB below the first",
            all.len(),
            labels(),
            -db
        );
        return Err(Error::file(
            place,
            what,
            "say which one is meant with --transmitter, or switch the others off and record again",
        ));
    }
    let note = (next > 0.0).then(|| {
        format!(
            "other transmitters were heard, {:.0} dB or more below this one: {} was taken",
            -20.0 * next.log10(),
            strongest.label
        )
    });
    Ok((0, note))
}
