//! Saving what can be read of a damaged file into a new one.
//!
//! SQLite reaches a row through a tree of pages, so that a broken page hides the rows
//! below it and no others. Entries are asked for one by one, by their numbers, which
//! have no gaps: each is there, or lost. Where the first pages are broken, which say
//! where everything begins, those of a new file are put in their place: a file of the
//! same version begins the same way.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use rusqlite::types::Value;
use rusqlite::{Connection, ErrorCode, params_from_iter};
use serde::Serialize;

use super::entries::{EntryId, Kind};
use super::opening::{beside, copy, folder_of, make_whole};
use super::schema;
use super::trouble::explained;
use crate::error::{Error, Result};

/// Entries may end in a stretch that cannot be read; they are looked for so far beyond
/// the last that could, or as far as so many of the least length would fit the file.
const LOOKED_BEYOND: i64 = 100_000;
const LEAST_ENTRY_BYTES: u64 = 64;

/// What came of it.
#[derive(Debug, Default, Serialize)]
pub struct Saved {
    /// Entries by kind.
    pub entries: BTreeMap<Kind, usize>,
    /// Numbers of the entries that were lost, each stretch from and to.
    pub lost: Vec<(EntryId, EntryId)>,
    /// What else is not as it was.
    pub remarks: Vec<String>,
}

impl Saved {
    /// How many were saved.
    pub fn count(&self) -> usize {
        self.entries.values().sum()
    }

    /// How many were lost.
    pub fn count_lost(&self) -> i64 {
        self.lost.iter().map(|(from, to)| to.0 - from.0 + 1).sum()
    }

    fn lose(&mut self, id: i64) {
        match self.lost.last_mut() {
            Some((_, to)) if to.0 + 1 == id => *to = EntryId(id),
            _ => self.lost.push((EntryId(id), EntryId(id))),
        }
    }
}

/// Save what can be read of the records at `damaged`, which stay as they are, into a
/// new file at `out`.
///
/// # Errors
///
/// Nothing can be read, or the new file cannot be written.
pub fn salvage(damaged: &Path, out: &Path) -> Result<Saved> {
    crate::files::must_be_new(out)?;
    // Work on a copy: opening alone may change what is left of a file.
    let folder = tempfile::Builder::new()
        .prefix(".coilrig-")
        .tempdir_in(folder_of(out))
        .map_err(|e| Error::io(out, "make a copy beside", &e))?;
    let copied = folder.path().join("damaged.sqlite");
    copy(damaged, &copied)?;
    let wal = beside(damaged, "-wal");
    if wal.exists() {
        copy(&wal, &beside(&copied, "-wal"))?;
    }
    let mut saved = Saved::default();
    let version = match readable_version(&copied) {
        Some(version) => version,
        None => {
            renew_beginning(damaged, &copied, folder.path())?;
            saved.remarks.push("the beginning of the file was put back from a new one".into());
            readable_version(&copied).ok_or_else(|| nothing(damaged))?
        }
    };
    let steps = &schema::STEPS[..version];
    let source = Connection::open(&copied).map_err(|e| explained(damaged, "read", &e))?;
    let bytes = [&copied, &beside(&copied, "-wal")]
        .iter()
        .filter_map(|path| std::fs::metadata(path).ok())
        .fold(0, |sum, file| sum + file.len());
    let beyond = LOOKED_BEYOND.min((bytes / LEAST_ENTRY_BYTES) as i64);
    make_whole(out, steps, |target| {
        save_all(&source, target, beyond, &mut saved).map_err(|e| explained(out, "write", &e))?;
        if saved.count() == 0 {
            return Err(nothing(damaged));
        }
        schema::bring_up_to_date(target, schema::STEPS).map_err(|e| explained(out, "write", &e))
    })?;
    Ok(saved)
}

fn nothing(damaged: &Path) -> Error {
    Error::file(
        damaged.display(),
        "nothing can be read of it any more: no entry could be saved",
        "look for a copy: a backup, or a file that ends in .version-N beside it",
    )
}

/// The version of the file, where it says what tables it has.
fn readable_version(path: &Path) -> Option<usize> {
    let connection = Connection::open(path).ok()?;
    let version = usize::try_from(schema::version(&connection).ok()?).ok()?;
    let tables = Kind::ALL.iter().map(|kind| kind.word()).chain(["value", "verification_capture"]);
    for table in tables {
        connection.prepare(&format!("SELECT * FROM {table}")).ok()?;
    }
    (1..=schema::STEPS.len()).contains(&version).then_some(version)
}

/// Put the pages that say what tables there are, and where, in from a new file.
fn renew_beginning(damaged: &Path, copied: &Path, folder: &Path) -> Result<()> {
    let failed = |e| explained(damaged, "read", &e);
    let new = folder.join("new.sqlite");
    make_whole(&new, schema::STEPS, |_| Ok(()))?;
    let connection = Connection::open(&new).map_err(failed)?;
    let pages: Vec<u32> = connection
        .prepare("SELECT pageno FROM dbstat WHERE name = 'sqlite_schema'")
        .and_then(|mut query| query.query_map([], |row| row.get(0))?.collect())
        .map_err(failed)?;
    let page_bytes: u32 =
        connection.pragma_query_value(None, "page_size", |row| row.get(0)).map_err(failed)?;
    connection.close().map_err(|(_, e)| failed(e))?;
    let page_bytes = u64::from(page_bytes);
    let put = || -> std::io::Result<()> {
        let mut from = File::open(&new)?;
        let mut to = OpenOptions::new().read(true).write(true).open(copied)?;
        let count = to.metadata()?.len().div_ceil(page_bytes);
        let mut page = vec![0; page_bytes as usize];
        for number in pages {
            let at = SeekFrom::Start((u64::from(number) - 1) * page_bytes);
            from.seek(at)?;
            from.read_exact(&mut page)?;
            if number == 1 {
                // The file's length in pages (https://sqlite.org/fileformat2.html, 1.3).
                page[28..32].copy_from_slice(&(count as u32).to_be_bytes());
            }
            to.seek(at)?;
            to.write_all(&page)?;
        }
        Ok(())
    };
    put().map_err(|e| Error::io(copied, "mend a copy", &e))
}

/// Where the highest number of an entry shows besides its own table.
const ALSO_NUMBERED: [&str; 3] = [
    "SELECT max(id) FROM measurement INDEXED BY measurement_series WHERE unit > 0",
    "SELECT max(measurement) FROM value",
    "SELECT max(verification) FROM verification_capture",
];

fn single(source: &Connection, sql: &str) -> Option<i64> {
    source.query_row(sql, [], |row| row.get(0)).ok().flatten()
}

fn save_all(
    source: &Connection,
    target: &mut Connection,
    looked_beyond: i64,
    saved: &mut Saved,
) -> rusqlite::Result<()> {
    let within = target.transaction()?;
    let tables = Kind::ALL.iter().map(|&kind| Table::of(&within, kind));
    let tables = tables.collect::<rusqlite::Result<Vec<Table>>>()?;
    let entry = |id: i64| tables.iter().find_map(|table| Some((table, table.read(source, id)?)));
    let told = tables.iter().filter_map(|table| table.last(source));
    let elsewhere = ALSO_NUMBERED.iter().filter_map(|sql| single(source, sql));
    let mut last = told.chain(elsewhere).max().unwrap_or(0);
    // Of which units there is something, with the first entry that is of each.
    let mut units: BTreeMap<i64, i64> = BTreeMap::new();
    let mut id = 0;
    while id < last + looked_beyond {
        id += 1;
        let Some((table, row)) = entry(id) else { continue };
        last = last.max(id);
        if let Some(Value::Integer(unit)) = table.value(&row, "unit") {
            units.entry(*unit).or_insert(id);
        }
    }
    let mut saving = Saving { source, target: &within, there: BTreeSet::new(), saved };
    for id in 1..=last {
        let is_kept = match entry(id) {
            Some((table, row)) => saving.keep(table, id, row)?,
            None => false,
        };
        if is_kept {
            saving.there.insert(id);
            continue;
        }
        saving.saved.lose(id);
        if let Some((table, row)) = units.get(&id).and_then(|&first| entry(first)) {
            saving.put_unit_in_place(id, table, &row)?;
            saving.there.insert(id);
        }
    }
    within.commit()
}

/// A row as it was read.
type Row = Vec<Value>;

/// A table of entries.
struct Table {
    kind: Kind,
    columns: Vec<String>,
    select: String,
    insert: String,
}

impl Table {
    fn of(target: &Connection, kind: Kind) -> rusqlite::Result<Self> {
        let query = target.prepare(&format!("SELECT * FROM {kind}"))?;
        let columns: Vec<String> = query.column_names().map(String::from).collect();
        let places = vec!["?"; columns.len()].join(", ");
        let names = columns.join(", ");
        let select = format!("SELECT {names} FROM {kind} NOT INDEXED WHERE id = ?1");
        let insert = format!("INSERT INTO {kind} ({names}) VALUES ({places})");
        Ok(Self { kind, columns, select, insert })
    }

    /// The highest number, as far as it can be read.
    fn last(&self, source: &Connection) -> Option<i64> {
        single(source, &format!("SELECT max(id) FROM {}", self.kind))
    }

    /// The entry of this number, if it is of this kind and can be read.
    fn read(&self, source: &Connection, id: i64) -> Option<Row> {
        let all = |row: &rusqlite::Row<'_>| (0..self.columns.len()).map(|i| row.get(i)).collect();
        source.prepare_cached(&self.select).ok()?.query_row([id], all).ok()
    }

    fn place(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|name| name == column)
    }

    fn value<'a>(&self, row: &'a Row, column: &str) -> Option<&'a Value> {
        row.get(self.place(column)?)
    }
}

/// A new file being filled.
struct Saving<'a> {
    source: &'a Connection,
    target: &'a Connection,
    /// Entries that are in it.
    there: BTreeSet<i64>,
    saved: &'a mut Saved,
}

impl Saving<'_> {
    /// Put an entry into the new file; whether it could be.
    fn keep(&mut self, table: &Table, id: i64, mut row: Row) -> rusqlite::Result<bool> {
        for column in ["corrects", "unit", "station", "capture", "calibration", "verification"] {
            let Some(place) = table.place(column) else { continue };
            let Value::Integer(of) = row[place] else { continue };
            if self.there.contains(&of) {
                continue;
            }
            let was = if column == "corrects" { "in place of entry" } else { column };
            self.saved.remarks.push(format!("entry {id}: {was} {of}, which is lost"));
            if table.kind == Kind::Withdrawal {
                return Ok(false);
            }
            row[place] = Value::Null;
        }
        let mut parts = self.parts(table.kind, id);
        if let Some(parts) = parts.as_mut().filter(|parts| parts.table == "value") {
            let made_sense = parts.rows.len();
            parts.rows.retain(is_number);
            if parts.rows.len() < made_sense {
                let of = format!("entry {id}: {} of its numbers", made_sense - parts.rows.len());
                self.saved.remarks.push(format!("{of} make no sense any more"));
            }
        }
        if let Some(parts) = &parts
            && let Some(place) = table.place(parts.counted_in)
        {
            let has = parts.rows.len() as i64;
            if let Value::Integer(had) = row[place]
                && had != has
            {
                let of = format!("entry {id}: {} of its {had} rows of {}", had - has, parts.table);
                self.saved.remarks.push(format!("{of} are lost"));
                row[place] = Value::Integer(has);
            }
        }
        match self.target.prepare_cached(&table.insert)?.execute(params_from_iter(&row)) {
            Ok(_) => {}
            Err(e) if e.sqlite_error_code() == Some(ErrorCode::ConstraintViolation) => {
                self.saved.remarks.push(format!("entry {id} makes no sense any more: {e}"));
                return Ok(false);
            }
            Err(e) => return Err(e),
        }
        for part in parts.iter().flat_map(|parts| &parts.rows) {
            let table = parts.as_ref().map_or("", |parts| parts.table);
            let places = vec!["?"; part.len()].join(", ");
            let sql = format!("INSERT INTO {table} VALUES ({places})");
            self.target.prepare_cached(&sql)?.execute(params_from_iter(part))?;
        }
        *self.saved.entries.entry(table.kind).or_default() += 1;
        Ok(true)
    }

    /// What of an entry stands in another table, as far as it can be read.
    fn parts(&self, kind: Kind, id: i64) -> Option<Parts> {
        let (table, counted_in) = match kind {
            Kind::Measurement => ("value", "value_count"),
            Kind::Verification => ("verification_capture", "capture_count"),
            _ => return None,
        };
        let mut rows = Vec::new();
        let mut read = || -> rusqlite::Result<()> {
            let sql = format!("SELECT * FROM {table} WHERE {kind} = ?1");
            let mut query = self.source.prepare_cached(&sql)?;
            let width = query.column_count();
            let mut found = query.query([id])?;
            while let Some(row) = found.next()? {
                let all = (0..width).map(|i| row.get(i)).collect::<rusqlite::Result<Row>>()?;
                let capture = all.last().filter(|_| kind == Kind::Verification);
                match capture {
                    Some(Value::Integer(capture)) if !self.there.contains(capture) => {}
                    _ => rows.push(all),
                }
            }
            Ok(())
        };
        // What comes before the broken place is kept; the count tells of the rest.
        let _ = read();
        Some(Parts { table, counted_in, rows })
    }

    /// A unit in place of one that is lost, so that what was entered of it keeps
    /// together. `row` is such an entry.
    fn put_unit_in_place(&mut self, id: i64, table: &Table, row: &Row) -> rusqlite::Result<()> {
        let name = format!("unit {id} (name lost)");
        let of = |column| table.value(row, column).cloned().unwrap_or(Value::Null);
        self.target.execute(
            "INSERT INTO unit (id, at, entered_at, entered_by, note, name) \
             VALUES (?1, ?2, ?3, ?4, 'put in place of an entry that was lost', ?5)",
            (id, of("at"), of("entered_at"), of("entered_by"), &name),
        )?;
        self.saved.remarks.push(format!(
            "what unit {id} is called is lost: it is \"{name}\" until it is corrected"
        ));
        Ok(())
    }
}

/// What of an entry stands in another table.
struct Parts {
    table: &'static str,
    counted_in: &'static str,
    rows: Vec<Row>,
}

/// Whether a row of `value` is one that could have been entered: a name, a number and an
/// uncertainty of zero or more.
fn is_number(row: &Row) -> bool {
    let finite = |value: &Value| matches!(value, Value::Real(x) if x.is_finite());
    let above = |value: &Value| matches!(value, Value::Real(u) if *u >= 0.0);
    matches!(row.as_slice(), [_, Value::Text(_), value, u] if finite(value) && above(u))
}
