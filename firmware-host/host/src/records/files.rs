//! Files that entries are of: captures, calibrations, stations.

use std::path::{Path, PathBuf};

use coilrig_analysis::station::Station as Described;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::digest;
use super::entering::{Entering, Stamp, text};
use super::entries::{Calibration, Capture, EntryId, Station};
use super::opening::Records;
use crate::capture::reader;
use crate::error::{Error, Result};
use crate::{calibration, files, station_file};

/// A capture with the content of its files, not yet entered.
#[derive(Clone, Debug)]
pub struct CaptureFile {
    what: Capture,
    started: Option<Timestamp>,
}

impl CaptureFile {
    /// The content of a capture. Long ones take a while, so this comes before
    /// entering.
    ///
    /// # Errors
    ///
    /// Files that cannot be read.
    pub fn of(records: &Records, capture: &reader::Capture) -> Result<Self> {
        let started = capture.started();
        let global = &capture.meta.global;
        let what = Capture {
            path: records.as_kept(&capture.paths.meta)?,
            sha256: digest::of_file(&capture.paths.data)?,
            sha256_meta: digest::of_file(&capture.paths.meta)?,
            recorded_at: started.map(text),
            duration_s: capture.frames() as f64 / capture.format.sample_rate_hz,
            receiver_serial: global.receiver.clone(),
            temperature_c: global.temperature_c,
        };
        Ok(Self { what, started })
    }

    /// When what it holds happened: as it states, else now, which is then said.
    pub fn stamp(&self, now: Timestamp) -> Stamp {
        match self.started {
            Some(started) => Stamp::at(started),
            None => Stamp {
                note: Some("the capture does not state when it was begun".into()),
                ..Stamp::at(now)
            },
        }
    }
}

/// A station named on the command line: a file, or one that is entered already.
#[derive(Clone, Debug)]
pub struct GivenStation {
    described: Described,
    text: String,
    known: Option<EntryId>,
}

impl GivenStation {
    /// The station that `given` names, as a file or as an entry of `records`.
    ///
    /// # Errors
    ///
    /// A file that is no station, or a name that is not known.
    pub fn find(records: &Records, given: &str) -> Result<Self> {
        let path = Path::new(given);
        let stations = records.stations()?;
        if path.is_file() {
            let described = station_file::load(path)?;
            let text = files::read_text(path)?;
            let sha256 = digest::of_bytes(text.as_bytes());
            let newest = stations.iter().rev().find(|s| s.what.name == described.name);
            let known = newest.filter(|s| s.what.sha256 == sha256).map(|s| s.id);
            return Ok(Self { described, text, known });
        }
        let Some(entry) = stations.iter().rev().find(|s| s.what.name == given) else {
            let mut names: Vec<String> =
                stations.iter().map(|s| format!("\"{}\"", s.what.name)).collect();
            names.dedup();
            let known = if names.is_empty() { "none".into() } else { names.join(", ") };
            return Err(Error::usage(
                format!(
                    "--station {given} is no file, and no station in {} (there: {known})",
                    records.path().display()
                ),
                "give the station file, or the name of a station that was entered",
            ));
        };
        let described = Described::parse(&entry.what.file_toml).map_err(|e| {
            let place = format!("{}, entry {}", records.path().display(), entry.id);
            Error::file(place, e.what, "enter the mended file: coilrig records station")
        })?;
        Ok(Self { described, text: entry.what.file_toml.clone(), known: Some(entry.id) })
    }

    /// What it says.
    pub fn described(&self) -> &Described {
        &self.described
    }

    /// Refuse a unit that the station does not have.
    ///
    /// # Errors
    ///
    /// It does not, with the units that it has.
    pub fn check_holds(&self, unit: &str) -> Result<()> {
        if self.described.units.iter().any(|planned| planned.name == unit) {
            return Ok(());
        }
        let names: Vec<String> =
            self.described.units.iter().map(|u| format!("\"{}\"", u.name)).collect();
        Err(Error::usage(
            format!(
                "station \"{}\" has no unit \"{unit}\", but {}",
                self.described.name,
                names.join(", ")
            ),
            "give one of these, or add the unit to the station file",
        ))
    }
}

impl Records {
    /// A path as entries keep it.
    ///
    /// # Errors
    ///
    /// A path that is not there.
    pub fn as_kept(&self, path: &Path) -> Result<String> {
        let whole = |path: &Path| path.canonicalize().map_err(|e| Error::io(path, "find", &e));
        let path = whole(path)?;
        let kept = path.strip_prefix(whole(self.folder())?).unwrap_or(&path);
        kept.to_str().map(str::to_owned).ok_or_else(|| {
            let what = "has a name that is no text, which cannot be entered";
            Error::file(path.display(), what, "rename the file or its folder")
        })
    }

    /// Where a path kept in an entry leads.
    pub fn whole_path(&self, kept: &str) -> PathBuf {
        self.folder().join(kept)
    }
}

impl Entering<'_> {
    /// The entry of a capture: that of an earlier one of the same content at the same
    /// place, else a new one.
    ///
    /// # Errors
    ///
    /// A file that cannot be read or written.
    pub fn capture(&mut self, file: &CaptureFile) -> Result<EntryId> {
        let sql = "SELECT id FROM capture_in_force \
                   WHERE sha256 = ?1 AND sha256_meta = ?2 AND path = ?3";
        let what = &file.what;
        let known: Vec<EntryId> =
            self.records.rows(sql, (&what.sha256, &what.sha256_meta, &what.path), |r| r.get(0))?;
        match known.last() {
            Some(known) => Ok(*known),
            None => self.add(&file.stamp(self.now()), what),
        }
    }

    /// The entry of the calibration file at `path`: that of an earlier one of the same
    /// content, else a new one.
    ///
    /// # Errors
    ///
    /// A file that is no calibration, or a file that cannot be written.
    pub fn calibration(&mut self, path: &Path) -> Result<EntryId> {
        let read = calibration::Calibration::load(path)?;
        let file_toml = files::read_text(path)?;
        let sha256 = digest::of_bytes(file_toml.as_bytes());
        let sql = "SELECT id FROM calibration_in_force WHERE sha256 = ?1";
        if let Some(known) = self.records.rows(sql, [&sha256], |row| row.get(0))?.pop() {
            return Ok(known);
        }
        let day = read.date.parse::<Date>().ok();
        let noon = day.and_then(|day| TimeZone::UTC.to_timestamp(day.at(12, 0, 0, 0)).ok());
        let at = noon.unwrap_or(self.now());
        let what = Calibration {
            receiver_serial: read.receiver,
            file_toml,
            sha256,
            valid_until: read.expires,
        };
        self.add(&Stamp::at(at.min(self.now())), &what)
    }

    /// The entry of a station as it is now: that of before where nothing changed in its
    /// file, else a new one; `warn` is told so.
    ///
    /// # Errors
    ///
    /// A file that cannot be written.
    pub fn station(&mut self, given: &GivenStation, warn: impl FnOnce(&str)) -> Result<EntryId> {
        if let Some(known) = given.known {
            return Ok(known);
        }
        let what = Station {
            name: given.described.name.clone(),
            file_toml: given.text.clone(),
            sha256: digest::of_bytes(given.text.as_bytes()),
        };
        let id = self.add(&Stamp::at(self.now()), &what)?;
        warn(&format!("station \"{}\" as its file has it now is entry {id}", what.name));
        Ok(id)
    }
}
