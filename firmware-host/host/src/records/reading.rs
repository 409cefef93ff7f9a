//! Looking things up. Only what is in force is shown, unless an entry is asked for by
//! its number; order is that of entering, or of what happened, never of the clock by
//! which it was entered.

use std::collections::HashMap;

use coilrig_analysis::reading::Reading;
use jiff::Timestamp;
use rusqlite::{Params, Row, params_from_iter};
use serde::Serialize;

use super::entries::{
    Calibration, Capture, Decision, EntryId, Event, Kind, MeasurementKind, Station, Unit,
    Verification, What,
};
use super::opening::Records;
use crate::error::Result;

/// An entry: what it says, and what all entries have.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Entry<T> {
    /// Its number.
    pub id: EntryId,
    /// When it happened.
    #[serde(serialize_with = "as_text")]
    pub at: Timestamp,
    /// When it was entered, by the clock of that computer.
    #[serde(serialize_with = "as_text")]
    pub entered_at: Timestamp,
    /// Who entered it.
    pub entered_by: String,
    /// The entry it takes the place of.
    pub corrects: Option<EntryId>,
    /// Anything else.
    pub note: Option<String>,
    /// What it says.
    #[serde(flatten)]
    pub what: T,
}

/// A unit in force.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KnownUnit {
    /// Its first entry, by which all others name it.
    pub unit: EntryId,
    /// What is known of it now.
    #[serde(flatten)]
    pub entry: Entry<Unit>,
}

/// Which numbers are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted<'a> {
    /// Of this unit alone, by its first entry.
    pub unit: Option<EntryId>,
    /// These quantities alone; none named: all.
    pub quantities: &'a [&'a str],
    /// From then on.
    pub from: Option<Timestamp>,
    /// Up to then.
    pub to: Option<Timestamp>,
}

/// A number of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point<'a> {
    /// First entry of the unit.
    pub unit: EntryId,
    /// The measurement it is of.
    pub measurement: EntryId,
    /// When it was measured.
    pub at: Timestamp,
    /// What was measured.
    pub kind: MeasurementKind,
    /// Entry of the station.
    pub station: Option<EntryId>,
    /// Entry of the capture.
    pub capture: Option<EntryId>,
    /// Of what, as JSON results have it.
    pub quantity: &'a str,
    /// How much.
    pub reading: Reading,
}

impl Records {
    /// All units in force, by name.
    ///
    /// # Errors
    ///
    /// A file that cannot be read, as everywhere here.
    pub fn units(&self) -> Result<Vec<KnownUnit>> {
        let first = self.first_entries()?;
        let mut units: Vec<KnownUnit> = self
            .in_force::<Unit>()?
            .into_iter()
            .map(|entry| KnownUnit { unit: first(entry.id), entry })
            .collect();
        units.sort_by(|a, b| a.entry.what.name.cmp(&b.entry.what.name));
        Ok(units)
    }

    /// All stations in force, each in all its states, in order of entering: the last
    /// one of a name is how it is now.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn stations(&self) -> Result<Vec<Entry<Station>>> {
        self.in_force()
    }

    /// What happened to a unit, or to all, in order of time.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn events(&self, unit: Option<EntryId>) -> Result<Vec<Entry<Event>>> {
        self.of_unit(unit)
    }

    /// All calibrations in force, in order of entering.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn calibrations(&self) -> Result<Vec<Entry<Calibration>>> {
        self.in_force()
    }

    /// All captures in force, in order of entering.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn captures(&self) -> Result<Vec<Entry<Capture>>> {
        self.in_force()
    }

    /// Verifications of a unit, or of all, in order of time.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn verifications(&self, unit: Option<EntryId>) -> Result<Vec<Entry<Verification>>> {
        self.of_unit(unit)
    }

    /// The captures that a verification rests on.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn captures_of(&self, verification: EntryId) -> Result<Vec<EntryId>> {
        let sql = "SELECT capture FROM verification_capture WHERE verification = ?1";
        self.rows(sql, [verification], |row| row.get(0))
    }

    /// Decisions on a unit, or on all, in order of time.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn decisions(&self, unit: Option<EntryId>) -> Result<Vec<Entry<Decision>>> {
        self.of_unit(unit)
    }

    /// All entries of a kind in force, in order of entering.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn in_force<T: What>(&self) -> Result<Vec<Entry<T>>> {
        let sql = format!("SELECT {} FROM {}_in_force ORDER BY id", columns::<T>(), T::KIND);
        self.rows(&sql, [], entry)
    }

    /// The entry of this number, in force or not, if it is of this kind.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn entry<T: What>(&self, id: EntryId) -> Result<Option<Entry<T>>> {
        let sql = format!("SELECT {} FROM {} WHERE id = ?1", columns::<T>(), T::KIND);
        Ok(self.rows(&sql, [id], entry)?.pop())
    }

    /// What kind of entry has this number.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn kind_of(&self, id: EntryId) -> Result<Option<Kind>> {
        let sql = "SELECT kind FROM entry WHERE id = ?1";
        Ok(self.rows(sql, [id], |row| row.get(0))?.pop())
    }

    /// The numbers of a measurement.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn values_of(&self, measurement: EntryId) -> Result<Vec<(String, Reading)>> {
        let sql = "SELECT quantity, value, u FROM value WHERE measurement = ?1";
        self.rows(sql, [measurement], |row| {
            Ok((row.get(0)?, Reading::new(row.get(1)?, row.get(2)?)))
        })
    }

    /// Give all numbers that are `wanted`, unit by unit, each in order of time and the
    /// numbers of one measurement together.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn each_value(&self, wanted: &Wanted<'_>, mut take: impl FnMut(Point<'_>)) -> Result<()> {
        let mut given = Vec::new();
        let mut given_as = |value: rusqlite::types::Value| {
            given.push(value);
            format!("?{}", given.len())
        };
        let mut sql = String::from(
            "SELECT m.unit, m.id, m.at, m.kind, m.station, m.capture, v.quantity, v.value, v.u \
             FROM measurement AS m INDEXED BY measurement_series \
             CROSS JOIN value AS v ON v.measurement = m.id \
             WHERE NOT EXISTS (SELECT 1 FROM measurement AS c WHERE c.corrects = m.id) \
             AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = m.id)",
        );
        if let Some(unit) = wanted.unit {
            sql += &format!(" AND m.unit = {}", given_as(unit.0.into()));
        }
        for (compared, bound) in [(">=", wanted.from), ("<=", wanted.to)] {
            if let Some(at) = bound {
                let at = given_as(super::entering::text(at).into());
                sql += &format!(" AND m.at {compared} {at}");
            }
        }
        if !wanted.quantities.is_empty() {
            let names: Vec<String> =
                wanted.quantities.iter().map(|name| given_as((*name).to_owned().into())).collect();
            sql += &format!(" AND v.quantity IN ({})", names.join(", "));
        }
        sql += " ORDER BY m.unit, m.at, m.id";
        let read = || -> rusqlite::Result<()> {
            let mut query = self.connection.prepare(&sql)?;
            let mut rows = query.query(params_from_iter(given))?;
            let mut of = None;
            while let Some(row) = rows.next()? {
                let measurement = row.get(1)?;
                let (at, kind) = match of {
                    Some((same, at, kind)) if same == measurement => (at, kind),
                    _ => (time(row, 2)?, row.get(3)?),
                };
                of = Some((measurement, at, kind));
                take(Point {
                    unit: row.get(0)?,
                    measurement,
                    at,
                    kind,
                    station: row.get(4)?,
                    capture: row.get(5)?,
                    quantity: row.get_ref(6)?.as_str()?,
                    reading: Reading::new(row.get(7)?, row.get(8)?),
                });
            }
            Ok(())
        };
        read().map_err(|e| self.explained("read", &e))
    }

    /// Temperatures of the unit by capture, for those that state one: of an entry that was
    /// corrected, by the entry in force.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn temperatures_c(&self) -> Result<HashMap<EntryId, f64>> {
        let sql = "WITH RECURSIVE line (first, id) AS (SELECT id, id FROM capture UNION ALL \
                   SELECT line.first, later.id FROM line JOIN capture AS later \
                   ON later.corrects = line.id) \
                   SELECT line.first, now.temperature_c FROM line \
                   JOIN capture_in_force AS now ON now.id = line.id \
                   WHERE now.temperature_c IS NOT NULL";
        let all = self.rows(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(all.into_iter().collect())
    }

    /// All that is read until the end of what this gives is of one state of the file,
    /// whatever others enter meanwhile.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units).
    pub fn snapshot(&self) -> Result<impl Sized + '_> {
        self.connection.unchecked_transaction().map_err(|e| self.explained("read", &e))
    }

    /// Give each row that `sql` asks for.
    ///
    /// # Errors
    ///
    /// See [`units`](Self::units), and what `take` refuses.
    pub fn each_row(&self, sql: &str, mut take: impl FnMut(&Row<'_>) -> Result<()>) -> Result<()> {
        let failed = |e| self.explained("read", &e);
        let mut query = self.connection.prepare(sql).map_err(failed)?;
        let mut rows = query.query([]).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            take(row)?;
        }
        Ok(())
    }

    /// Why something in a row cannot be read.
    pub fn unreadable(&self, error: &rusqlite::Error) -> crate::error::Error {
        self.explained("read", error)
    }

    /// The first entry of the unit that an entry is of.
    pub(super) fn first_entries(&self) -> Result<impl Fn(EntryId) -> EntryId + use<>> {
        let sql = "SELECT id, corrects FROM unit WHERE corrects IS NOT NULL";
        let corrected: HashMap<EntryId, EntryId> =
            self.rows(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?.into_iter().collect();
        Ok(move |mut id| {
            while let Some(&earlier) = corrected.get(&id) {
                id = earlier;
            }
            id
        })
    }

    fn of_unit<T: What>(&self, unit: Option<EntryId>) -> Result<Vec<Entry<T>>> {
        let of = if unit.is_some() { "unit = ?1" } else { "?1 IS NULL" };
        let sql = format!(
            "SELECT {} FROM {}_in_force WHERE {of} ORDER BY at, id",
            columns::<T>(),
            T::KIND
        );
        self.rows(&sql, [unit], entry)
    }

    pub(super) fn rows<T>(
        &self,
        sql: &str,
        given: impl Params,
        each: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        let read = || {
            self.connection.prepare(sql)?.query_map(given, each)?.collect::<rusqlite::Result<_>>()
        };
        read().map_err(|e| self.explained("read", &e))
    }
}

/// Columns of a whole entry.
pub(super) fn columns<T: What>() -> String {
    let own: String = T::COLUMNS.iter().flat_map(|name| [", ", name]).collect();
    format!("id, at, entered_at, entered_by, corrects, note{own}")
}

/// A row of [`columns`].
pub(super) fn entry<T: What>(row: &Row<'_>) -> rusqlite::Result<Entry<T>> {
    Ok(Entry {
        id: row.get(0)?,
        at: time(row, 1)?,
        entered_at: time(row, 2)?,
        entered_by: row.get(3)?,
        corrects: row.get(4)?,
        note: row.get(5)?,
        what: T::of_row(row)?,
    })
}

pub(super) fn time(row: &Row<'_>, column: usize) -> rusqlite::Result<Timestamp> {
    row.get_ref(column)?.as_str()?.parse().map_err(|e: jiff::Error| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, e.into())
    })
}

fn as_text<S: serde::Serializer>(at: &Timestamp, to: S) -> std::result::Result<S::Ok, S::Error> {
    to.serialize_str(&super::entering::text(*at))
}
