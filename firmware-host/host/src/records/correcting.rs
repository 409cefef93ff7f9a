//! Corrections: a new entry that takes the place of another, like it but for what was
//! wrong.

use jiff::Timestamp;
use rusqlite::params_from_iter;
use rusqlite::types::Value;

use super::digest;
use super::entering::{Entering, text};
use super::entries::{
    Calibration, Capture, Decision, EntryId, Event, Kind, Measurement, Station, Unit, Verification,
    What,
};
use super::opening::Records;
use crate::capture::meta::Paths;
use crate::error::{Error, Result};

/// What of an entry is to be another: column and value, both as typed.
pub type Change = (String, String);

/// What may be corrected of entries of a kind, besides `at`. All else would be another
/// entry, not a corrected one.
fn correctable(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Unit => &["name", "serial", "model"],
        Kind::Event => &["unit", "kind", "detail"],
        Kind::Calibration => &["receiver_serial", "valid_until"],
        Kind::Capture => &["path", "receiver_serial", "temperature_c"],
        Kind::Measurement | Kind::Verification => &["unit"],
        Kind::Decision => &["unit", "decision", "who", "reason"],
        Kind::Station | Kind::Withdrawal => &[],
    }
}

fn columns(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Unit => Unit::COLUMNS,
        Kind::Station => Station::COLUMNS,
        Kind::Event => Event::COLUMNS,
        Kind::Calibration => Calibration::COLUMNS,
        Kind::Capture => Capture::COLUMNS,
        Kind::Measurement => Measurement::COLUMNS,
        Kind::Verification => Verification::COLUMNS,
        Kind::Decision => Decision::COLUMNS,
        Kind::Withdrawal => &[],
    }
}

impl Records {
    /// The entry that corrects or withdraws this one.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn successor(&self, id: EntryId) -> Result<Option<(EntryId, Kind)>> {
        let sql = "SELECT id, kind FROM entry WHERE corrects = ?1 ORDER BY id DESC";
        Ok(self.rows(sql, [id], |row| Ok((row.get(0)?, row.get(1)?)))?.into_iter().next())
    }

    /// Refuse a verification that is none, or of another unit.
    ///
    /// # Errors
    ///
    /// It is.
    pub fn check_verification_of(&self, id: EntryId, unit: EntryId) -> Result<()> {
        let place = format!("{}, entry {id}", self.path().display());
        let remedy = "see the unit's verifications: coilrig records list --kind verification";
        match self.entry::<Verification>(id)? {
            Some(entry) if entry.what.unit == unit => self.kind_in_force(id).map(drop),
            Some(_) => Err(Error::file(place, "is a verification of another unit", remedy)),
            None => Err(Error::file(place, "is no verification", remedy)),
        }
    }

    /// The kind of the entry, which must be in force.
    ///
    /// # Errors
    ///
    /// There is none of this number, or another took its place.
    pub fn kind_in_force(&self, id: EntryId) -> Result<Kind> {
        let place = || format!("{}, entry {id}", self.path().display());
        let Some(kind) = self.kind_of(id)? else {
            return Err(Error::file(
                place(),
                "is not there",
                "see the numbers of all entries: coilrig records list",
            ));
        };
        match self.successor(id)? {
            None => Ok(kind),
            Some((by, Kind::Withdrawal)) => Err(Error::file(
                place(),
                format!("was withdrawn by entry {by}"),
                "enter anew what is right",
            )),
            Some((by, _)) => Err(Error::file(
                place(),
                format!("was corrected already, by entry {by}"),
                format!("correct or withdraw entry {by}"),
            )),
        }
    }
}

impl Entering<'_> {
    /// Let an entry take the place of `id`, like it but for `changes`, `at` among them.
    ///
    /// # Errors
    ///
    /// No such entry in force, a change that makes no sense, or one that does not hold:
    /// a capture's path must lead to the same samples.
    pub fn correct(
        &mut self,
        id: EntryId,
        changes: &[Change],
        why: Option<&str>,
    ) -> Result<EntryId> {
        let kind = self.records.kind_in_force(id)?;
        let mut given = vec![
            Value::Integer(id.0),
            Value::Text(self.by().to_owned()),
            why.map_or(Value::Null, |why| Value::Text(why.to_owned())),
        ];
        let mut chosen: Vec<String> =
            std::iter::once("at").chain(columns(kind).iter().copied()).map(String::from).collect();
        let known: Vec<String> = chosen.clone();
        for (column, value) in changes {
            let is_correctable = column == "at" || correctable(kind).contains(&column.as_str());
            let Some(place) = known.iter().position(|c| c == column).filter(|_| is_correctable)
            else {
                let all = ["at"].iter().chain(correctable(kind)).copied().collect::<Vec<_>>();
                return Err(Error::usage(
                    format!("of a {kind}, {column} cannot be corrected"),
                    format!("correct {}, or withdraw the entry", all.join(", ")),
                ));
            };
            given.push(self.checked(id, column, value)?);
            chosen[place] = format!("?{}", given.len());
        }
        let table = kind.word();
        let sql = format!(
            "INSERT INTO {table} (id, entered_at, entered_by, corrects, note, {}) \
             SELECT (SELECT id FROM next_entry), '{}', ?2, id, coalesce(?3, note), {} \
             FROM {table} WHERE id = ?1",
            known.join(", "),
            text(self.now()),
            chosen.join(", ")
        );
        let all = || {
            let new = self.within().prepare(&sql)?.insert(params_from_iter(given))?;
            let parts = match kind {
                Kind::Measurement => {
                    "INSERT INTO value SELECT ?1, quantity, value, u FROM value \
                     WHERE measurement = ?2"
                }
                Kind::Verification => {
                    "INSERT INTO verification_capture SELECT ?1, capture \
                     FROM verification_capture WHERE verification = ?2"
                }
                _ => return Ok(EntryId(new)),
            };
            self.within().execute(parts, (new, id))?;
            Ok(EntryId(new))
        };
        all().map_err(|e| self.failed(&e))
    }

    /// A change as the file has it.
    fn checked(&self, id: EntryId, column: &str, value: &str) -> Result<Value> {
        let value = value.trim();
        let wrong = |what: String, remedy: &str| Err(Error::usage(what, remedy));
        match column {
            "unit" => Ok(Value::Integer(self.records.known_unit(value)?.unit.0)),
            "at" => match value.parse::<Timestamp>() {
                Ok(at) => Ok(Value::Text(text(at))),
                Err(e) => wrong(format!("at={value}: {e}"), "give a time as 2026-04-01T08:00:00Z"),
            },
            "path" => self.same_samples(id, value),
            _ if value.is_empty() => Ok(Value::Null),
            "temperature_c" => match value.parse::<f64>() {
                Ok(number) if number.is_finite() => Ok(Value::Real(number)),
                _ => wrong(format!("temperature_c={value} is no number"), "give it in °C"),
            },
            _ => Ok(Value::Text(value.to_owned())),
        }
    }

    fn same_samples(&self, id: EntryId, path: &str) -> Result<Value> {
        let paths = Paths::of(path.as_ref());
        let entered = self.records.entry::<Capture>(id)?.map(|e| e.what.sha256);
        if entered != Some(digest::of_file(&paths.data)?) {
            return Err(Error::file(
                paths.data.display(),
                format!("holds other samples than the capture of entry {id}"),
                "give the path of that capture; another one is entered by measuring it",
            ));
        }
        self.records.as_kept(&paths.meta).map(Value::Text)
    }
}
