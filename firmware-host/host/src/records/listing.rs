//! Entries in a line each, whatever their kind.

use rusqlite::params_from_iter;
use rusqlite::types::Value;
use serde::Serialize;

use super::entries::{EntryId, Kind};
use super::opening::Records;
use crate::error::Result;

/// An entry in short.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// Its number.
    pub id: EntryId,
    /// Its kind.
    pub kind: Kind,
    /// When it happened.
    pub at: String,
    /// When it was entered.
    pub entered_at: String,
    /// Who entered it.
    pub entered_by: String,
    /// The entry it takes the place of.
    pub corrects: Option<EntryId>,
    /// The entry that took its place.
    pub corrected_by: Option<EntryId>,
    /// Name of the unit it is of, as it is called now.
    pub unit: Option<String>,
    /// What it says.
    pub says: String,
    /// Anything else.
    pub note: Option<String>,
}

/// Which entries to list.
#[derive(Clone, Copy, Debug, Default)]
pub struct Listed {
    /// Of this unit alone, by its first entry.
    pub unit: Option<EntryId>,
    /// Of this kind alone.
    pub kind: Option<Kind>,
    /// Those as well that are not in force.
    pub all: bool,
    /// This one alone.
    pub only: Option<EntryId>,
    /// The last ones only.
    pub last: Option<u32>,
}

/// What an entry of a kind says, and the unit it is of, in SQL.
fn in_short(kind: Kind) -> (&'static str, &'static str) {
    match kind {
        Kind::Unit => {
            ("name || coalesce(', serial ' || serial, '') || coalesce(', ' || model, '')", "NULL")
        }
        Kind::Station => ("name", "NULL"),
        Kind::Event => ("kind || coalesce(': ' || detail, '')", "unit"),
        Kind::Calibration => {
            ("'receiver ' || receiver_serial || coalesce(', until ' || valid_until, '')", "NULL")
        }
        Kind::Capture => ("path || printf(', %.0f s', duration_s)", "NULL"),
        Kind::Measurement => (
            "kind || coalesce(', capture ' || capture, '') || printf(', %d values', value_count)",
            "unit",
        ),
        Kind::Verification => ("decision || ', ' || limits", "unit"),
        Kind::Decision => ("decision || ', by ' || who || coalesce(': ' || reason, '')", "unit"),
        Kind::Withdrawal => ("'entry ' || corrects", "NULL"),
    }
}

impl Records {
    /// Entries in short, in order of entering.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn listing(&self, listed: &Listed) -> Result<Vec<Line>> {
        let of_kind = Kind::ALL.iter().filter(|&&kind| listed.kind.is_none_or(|k| k == kind));
        let each: Vec<String> = of_kind
            .map(|&kind| {
                let (says, unit) = in_short(kind);
                let all = if listed.all { "" } else { "_in_force" };
                format!(
                    "SELECT id, '{kind}' AS entry_kind, at, entered_at, entered_by, corrects, \
                     note, {says} AS says, {unit} AS of_unit FROM {kind}{all}"
                )
            })
            .collect();
        let mut given = Vec::new();
        let mut sql = format!("SELECT * FROM ({})", each.join(" UNION ALL "));
        let mut narrowed = " WHERE";
        for (column, wanted) in [("of_unit", listed.unit), ("id", listed.only)] {
            if let Some(wanted) = wanted {
                given.push(Value::Integer(wanted.0));
                sql += &format!("{narrowed} {column} = ?{}", given.len());
                narrowed = " AND";
            }
        }
        sql += " ORDER BY id DESC";
        if let Some(last) = listed.last {
            sql += &format!(" LIMIT {last}");
        }
        let first = self.first_entries()?;
        let units = self.units()?;
        let name = |id: EntryId| {
            let known = units.iter().find(|unit| unit.unit == first(id));
            known.map_or_else(|| format!("unit {id}, withdrawn"), |u| u.entry.what.name.clone())
        };
        let mut lines = self.rows(&sql, params_from_iter(given), |row| {
            Ok(Line {
                id: row.get(0)?,
                kind: row.get(1)?,
                at: row.get(2)?,
                entered_at: row.get(3)?,
                entered_by: row.get(4)?,
                corrects: row.get(5)?,
                corrected_by: None,
                note: row.get(6)?,
                says: row.get(7)?,
                unit: row.get::<_, Option<EntryId>>(8)?.map(name),
            })
        })?;
        lines.reverse();
        if listed.all {
            for line in &mut lines {
                line.corrected_by = self.successor(line.id)?.map(|(by, _)| by);
            }
        }
        Ok(lines)
    }

    /// An entry in short, in force or not.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn line(&self, id: EntryId) -> Result<Option<Line>> {
        let Some(kind) = self.kind_of(id)? else { return Ok(None) };
        let listed = Listed { kind: Some(kind), only: Some(id), all: true, ..Listed::default() };
        Ok(self.listing(&listed)?.pop())
    }

    /// All columns of an entry besides those that all entries have.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn columns_of(&self, kind: Kind, id: EntryId) -> Result<Vec<(String, serde_json::Value)>> {
        let sql = format!("SELECT * FROM {kind} WHERE id = ?1");
        let all = self.rows(&sql, [id], |row| {
            let names: Vec<String> = row.as_ref().column_names().map(String::from).collect();
            let mut own = Vec::new();
            for (at, name) in names.into_iter().enumerate().skip(6) {
                let value = match row.get(at)? {
                    Value::Null => continue,
                    Value::Integer(value) => value.into(),
                    Value::Real(value) => value.into(),
                    Value::Text(value) => value.into(),
                    Value::Blob(value) => value.into(),
                };
                own.push((name, value));
            }
            Ok(own)
        })?;
        Ok(all.into_iter().next().unwrap_or_default())
    }
}
