//! A command that measures, and the records it enters into by itself.

use std::path::{Path, PathBuf};

use coilrig_analysis::conformity;
use coilrig_analysis::limits::Quantity;
use coilrig_analysis::reading::Reading;
use jiff::Timestamp;

use super::entering::{Entering, Stamp, text};
use super::entries::{EntryId, Judged, Measurement, MeasurementKind, Verification};
use super::files::{CaptureFile, GivenStation};
use super::opening::Records;
use super::values::{self, Values};
use crate::capture::reader::Capture;
use crate::error::Result;
use crate::verifying::UnitVerified;

/// Records that a command enters into.
#[derive(Debug)]
pub struct Book {
    records: Records,
    by: String,
    station: Option<GivenStation>,
}

/// A unit as it is entered.
#[derive(Clone, Copy, Debug)]
pub struct Named<'a> {
    /// Its name.
    pub name: &'a str,
    /// The maker's serial number, where it is stated.
    pub serial: Option<&'a str>,
}

impl<'a> Named<'a> {
    /// A unit known by its name alone.
    pub fn by_name(name: &'a str) -> Self {
        Self { name, serial: None }
    }
}

/// What was measured of a unit.
#[derive(Debug)]
pub struct Measured<'a> {
    /// Of what.
    pub kind: MeasurementKind,
    /// The captures that it was measured from: one for a signal, those of a survey.
    pub captures: Vec<&'a Capture>,
    /// Its numbers.
    pub values: Values,
    /// The JSON that the command gives.
    pub document_json: String,
    /// When it was measured, where no capture says; now if it is not stated.
    pub at: Option<Timestamp>,
}

impl Book {
    /// The records at `path`, made where there are none, for what `by` does at
    /// `station`.
    ///
    /// # Errors
    ///
    /// Records that cannot be entered into, a station that is not known.
    pub fn open(path: &Path, by: String, station: Option<&str>) -> Result<Self> {
        let records = if path.exists() {
            Records::open(path)?
        } else {
            let made = Records::create(path);
            // Another program may have made them just now.
            let records =
                made.or_else(|e| if path.exists() { Records::open(path) } else { Err(e) })?;
            say(&format!("{} was made", path.display()));
            records
        };
        let station = station.map(|given| GivenStation::find(&records, given)).transpose()?;
        Ok(Self { records, by, station })
    }

    /// Refuse a unit that could not be entered, before anything is measured of it.
    ///
    /// # Errors
    ///
    /// A name nearly that of a known unit, another serial number than that has, or a
    /// unit that the station does not have.
    pub fn check(&self, unit: Named<'_>) -> Result<()> {
        if let Some(station) = &self.station {
            station.check_holds(unit.name)?;
        }
        let serial = serial_of(unit, self.station.as_ref());
        self.records.check_unit(unit.name, serial).map(drop)
    }

    /// Enter measurements of one unit, and the calibration file that was given.
    ///
    /// # Errors
    ///
    /// What cannot be entered: then nothing of it is.
    pub fn measured(
        &mut self,
        unit: Named<'_>,
        calibration: Option<&PathBuf>,
        all: &[Measured<'_>],
    ) -> Result<()> {
        let files = all.iter().map(|m| self.content(&m.captures)).collect::<Result<Vec<_>>>()?;
        let mut page = Page::begin(&mut self.records, &self.by, self.station.as_ref())?;
        let unit_id = page.unit(unit)?;
        let calibration = calibration.map(|path| page.entering.calibration(path)).transpose()?;
        for (measured, files) in all.iter().zip(&files) {
            let captures = page.captures(files)?;
            let what = Measurement {
                unit: unit_id,
                station: page.station,
                // A survey has many, which its document names.
                capture: captures.first().copied().filter(|_| captures.len() == 1),
                calibration,
                kind: measured.kind,
                value_count: 0,
                document_json: measured.document_json.clone(),
            };
            let stamp = measured.at.map_or_else(|| page.stamp(files), Stamp::at);
            page.measurement((&stamp, measured.at.is_some()), &what, &measured.values)?;
        }
        page.close(unit.name)
    }

    /// Enter a unit that was judged: its captures, what was measured in each, and what
    /// the limits say.
    ///
    /// # Errors
    ///
    /// What cannot be entered: then nothing of it is.
    pub fn verified(
        &mut self,
        judged: &UnitVerified,
        calibration: Option<&PathBuf>,
        limits: &str,
        document_json: &str,
    ) -> Result<()> {
        let name = judged.name();
        let captures: Vec<&Capture> = judged.captures.iter().map(|c| &c.measured.capture).collect();
        let files = self.content(&captures)?;
        let mut page = Page::begin(&mut self.records, &self.by, self.station.as_ref())?;
        let serial = judged.identity.serial.as_deref();
        let unit = page.unit(Named { name: &name, serial })?;
        let calibration = calibration.map(|path| page.entering.calibration(path)).transpose()?;
        let ids = page.captures(&files)?;
        for (place, ((examined, file), &capture)) in
            judged.captures.iter().zip(&files).zip(&ids).enumerate()
        {
            let transmitter = examined.transmitter();
            let mut values = values::of_signal(transmitter);
            values
                .extend(field_at_10_m(judged, place).map(|r| ("field_at_10_m_a_per_m".into(), r)));
            let what = Measurement {
                unit,
                station: page.station,
                capture: Some(capture),
                calibration,
                kind: MeasurementKind::Signal,
                value_count: 0,
                document_json: crate::output::measurement::of_one(&examined.measured, transmitter)?,
            };
            let stamp = file.stamp(page.entering.now());
            page.measurement((&stamp, false), &what, &values)?;
        }
        let probability = judged.verification.verdict.probability_of_conformity_at_least;
        let what = Verification {
            unit,
            station: page.station,
            limits: limits.to_owned(),
            decision: match judged.decision() {
                conformity::Decision::Conforms => Judged::Conforms,
                conformity::Decision::DoesNotConform => Judged::DoesNotConform,
                conformity::Decision::Undecided => Judged::Undecided,
            },
            probability: Some(probability).filter(|p| p.is_finite()),
            capture_count: 0,
            document_json: document_json.to_owned(),
        };
        let stamp = page.stamp(&files);
        let mut different = ids;
        different.sort_unstable();
        different.dedup();
        page.verification(&stamp, &what, &different)?;
        page.close(&name)
    }

    /// Enter a calibration file.
    ///
    /// # Errors
    ///
    /// What cannot be entered.
    pub fn calibrated(&mut self, path: &Path) -> Result<()> {
        let mut page = Page::begin(&mut self.records, &self.by, None)?;
        let id = page.entering.calibration(path)?;
        page.made.push(id);
        page.close(&path.display().to_string())
    }

    /// Enter captures of a unit that nothing was measured from yet.
    ///
    /// # Errors
    ///
    /// What cannot be entered: then nothing of it is.
    pub fn captured(&mut self, unit: Named<'_>, captures: &[Capture]) -> Result<()> {
        let files = self.content(&captures.iter().collect::<Vec<_>>())?;
        let mut page = Page::begin(&mut self.records, &self.by, self.station.as_ref())?;
        page.unit(unit)?;
        let entries = page.captures(&files)?;
        page.made.extend(entries);
        page.close(unit.name)
    }

    /// Captures with the content of their files.
    fn content(&self, captures: &[&Capture]) -> Result<Vec<CaptureFile>> {
        captures.iter().map(|capture| CaptureFile::of(&self.records, capture)).collect()
    }
}

/// Entries of one command being made.
struct Page<'a> {
    entering: Entering<'a>,
    at: Option<&'a GivenStation>,
    station: Option<EntryId>,
    /// What is told in the end.
    made: Vec<EntryId>,
}

impl<'a> Page<'a> {
    fn begin(records: &'a mut Records, by: &str, at: Option<&'a GivenStation>) -> Result<Self> {
        let mut entering = records.enter(by, say)?;
        let station = at.map(|given| entering.station(given, say)).transpose()?;
        Ok(Self { entering, at, station, made: Vec::new() })
    }

    fn unit(&mut self, unit: Named<'_>) -> Result<EntryId> {
        self.entering.unit(unit.name, serial_of(unit, self.at), say)
    }

    fn captures(&mut self, files: &[CaptureFile]) -> Result<Vec<EntryId>> {
        files.iter().map(|file| self.entering.capture(file)).collect()
    }

    /// When what the captures hold began; now where there are none.
    fn stamp(&self, files: &[CaptureFile]) -> Stamp {
        let now = self.entering.now();
        let all = files.iter().map(|file| file.stamp(now));
        all.min_by_key(|stamp| stamp.at).unwrap_or_else(|| Stamp::at(now))
    }

    /// Enter a measurement, unless the same is there already: the same command given
    /// twice measures nothing new. One that has more numbers of the same takes its place.
    /// So does one whose time is stated (`timed`) and another.
    fn measurement(
        &mut self,
        (stamp, timed): (&Stamp, bool),
        what: &Measurement,
        values: &Values,
    ) -> Result<()> {
        let sql = "SELECT id, value_count, at FROM measurement_in_force \
                   WHERE unit = ?1 AND kind = ?2 AND document_json = ?3 AND capture IS ?4";
        let same = (what.unit, what.kind, &what.document_json, what.capture);
        let known: Vec<(EntryId, usize, String)> =
            self.entering.records.rows(sql, same, |row| {
                Ok((row.get(0)?, row.get::<_, u32>(1)? as usize, row.get(2)?))
            })?;
        let another_time = |at: &str| timed && at != text(stamp.at);
        let (known, corrects) = match known.last() {
            Some((id, count, at)) if *count < values.len() || another_time(at) => (None, Some(*id)),
            known => (known.map(|(id, ..)| *id), None),
        };
        let stamp = Stamp { corrects, ..stamp.clone() };
        self.add(known, |entering| entering.add_measurement(&stamp, what, values))
    }

    /// Enter a verification, unless the same is there already.
    fn verification(
        &mut self,
        stamp: &Stamp,
        what: &Verification,
        captures: &[EntryId],
    ) -> Result<()> {
        let sql = "SELECT id FROM verification_in_force WHERE unit = ?1 AND document_json = ?2";
        let same = (what.unit, &what.document_json);
        let known = self.entering.records.rows(sql, same, |row| row.get(0))?.pop();
        self.add(known, |entering| entering.add_verification(stamp, what, captures))
    }

    fn add(
        &mut self,
        known: Option<EntryId>,
        add: impl FnOnce(&mut Entering<'a>) -> Result<EntryId>,
    ) -> Result<()> {
        match known {
            Some(known) => say(&format!("this was entered before, as entry {known}")),
            None => self.made.push(add(&mut self.entering)?),
        }
        Ok(())
    }

    fn close(self, of: &str) -> Result<()> {
        let path = self.entering.records.path();
        self.entering.commit()?;
        let numbers: Vec<String> = self.made.iter().map(ToString::to_string).collect();
        let word = if numbers.len() == 1 { "entry" } else { "entries" };
        if !numbers.is_empty() {
            say(&format!("{of}: {word} {} in {}", numbers.join(", "), path.display()));
        }
        Ok(())
    }
}

/// Serial number of a unit: as stated, else as the station has it.
fn serial_of<'a>(unit: Named<'a>, station: Option<&'a GivenStation>) -> Option<&'a str> {
    let planned = || station?.described().units.iter().find(|planned| planned.name == unit.name);
    unit.serial.or_else(|| planned()?.serial.as_deref())
}

/// The field at 10 m that a unit was judged by, where it is of this capture or of all
/// together; then it is kept with the first.
fn field_at_10_m(judged: &UnitVerified, place: usize) -> Option<Reading> {
    judged.verification.quantities.iter().find_map(|of| {
        let found = of.finding.as_ref().ok()?;
        let is_at_10_m = of.quantity == Quantity::Field { distance_m: 10.0 };
        (is_at_10_m && found.capture.unwrap_or(0) == place)
            .then(|| Reading::new(found.budget.value, found.budget.u))
    })
}

fn say(what: &str) {
    eprintln!("coilrig: {what}");
}
