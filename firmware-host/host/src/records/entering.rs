//! Making entries: all of one command, or none.

use coilrig_analysis::reading::Reading;
use jiff::{SignedDuration, Timestamp};
use rusqlite::types::Value;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params_from_iter};

use super::entries::{EntryId, Kind, Measurement, Unit, Verification, What, Withdrawal};
use super::opening::Records;
use crate::error::{Error, Result};

/// The latest time among the last entries: one alone may be of a wrong clock too.
const NEWEST: &str = "\
    SELECT entered_at, id FROM (SELECT entered_at, id FROM entry ORDER BY id DESC LIMIT 200) \
    ORDER BY entered_at DESC LIMIT 1";
/// Clocks of two computers may differ by so much without a word.
pub(super) const CLOCKS_DIFFER: SignedDuration = SignedDuration::from_secs(60);

/// When something happened, and what else all entries have.
#[derive(Clone, Debug)]
pub struct Stamp {
    /// When it happened.
    pub at: Timestamp,
    /// The entry it takes the place of.
    pub corrects: Option<EntryId>,
    /// Anything else.
    pub note: Option<String>,
}

impl Stamp {
    /// For something that happened at `at`.
    pub fn at(at: Timestamp) -> Self {
        Self { at, corrects: None, note: None }
    }
}

/// Entries being made. They are in the file after [`commit`](Self::commit); without
/// it, none of them is.
#[derive(Debug)]
pub struct Entering<'a> {
    /// To look things up, the entries made so far among them.
    pub records: &'a Records,
    within: Transaction<'a>,
    by: String,
    now: Timestamp,
}

impl Records {
    /// Begin to enter, as `by`. No other program can meanwhile. The clock of the
    /// computer is held against the newest entry; `warn` is told where it went back.
    ///
    /// # Errors
    ///
    /// Another program does not end, or the file cannot be written.
    pub fn enter(&mut self, by: &str, warn: impl FnOnce(&str)) -> Result<Entering<'_>> {
        self.enter_at(by, None, warn)
    }

    pub(super) fn enter_at(
        &mut self,
        by: &str,
        now: Option<Timestamp>,
        warn: impl FnOnce(&str),
    ) -> Result<Entering<'_>> {
        let records: &Records = self;
        let failed = |e| records.explained("enter into", &e);
        if by.trim().is_empty() {
            let what = "nobody is named who enters this";
            return Err(Error::usage(what, "give --by with a name"));
        }
        // Nothing else holds these records while they are lent to be changed.
        let within =
            Transaction::new_unchecked(&records.connection, TransactionBehavior::Immediate)
                .map_err(failed)?;
        // Only now, since another program may have entered while this one waited.
        let now = now.unwrap_or_else(Timestamp::now);
        let newest = within
            .query_row(NEWEST, [], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()
            .map_err(failed)?;
        let tolerated = text(now.saturating_add(CLOCKS_DIFFER).unwrap_or(now));
        if let Some((newest_at, id)) =
            newest.filter(|(newest_at, _): &(String, EntryId)| *newest_at > tolerated)
        {
            warn(&format!(
                "{}: the clock of this computer says {}, but entry {id} was made at {newest_at}: \
                 one of the two is wrong. It is entered all the same; set the clock, and mend \
                 what is wrong with: coilrig records correct",
                records.path().display(),
                text(now)
            ));
        }
        Ok(Entering { records, within, by: by.trim().to_owned(), now })
    }
}

impl Entering<'_> {
    /// The time by the clock of the computer.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    pub(super) fn by(&self) -> &str {
        &self.by
    }

    pub(super) fn within(&self) -> &rusqlite::Connection {
        &self.within
    }

    /// Make an entry.
    ///
    /// # Errors
    ///
    /// One that contradicts others, or a file that cannot be written.
    pub fn add<T: What>(&mut self, stamp: &Stamp, what: &T) -> Result<EntryId> {
        self.insert(stamp, what).map_err(|e| self.failed(&e))
    }

    /// Enter a measurement with its numbers; how many is counted here.
    ///
    /// # Errors
    ///
    /// Those of [`add`](Self::add).
    pub fn add_measurement(
        &mut self,
        stamp: &Stamp,
        what: &Measurement,
        values: &[(String, Reading)],
    ) -> Result<EntryId> {
        let what = Measurement { value_count: values.len() as i64, ..what.clone() };
        let mut all = || {
            let id = self.insert(stamp, &what)?;
            let mut insert = self.within.prepare_cached(
                "INSERT INTO value (measurement, quantity, value, u) VALUES (?1, ?2, ?3, ?4)",
            )?;
            for (quantity, reading) in values {
                insert.execute((id, quantity, reading.value, reading.u))?;
            }
            Ok(id)
        };
        all().map_err(|e| self.failed(&e))
    }

    /// Enter a verification with the captures it rests on; how many is counted here.
    ///
    /// # Errors
    ///
    /// Those of [`add`](Self::add).
    pub fn add_verification(
        &mut self,
        stamp: &Stamp,
        what: &Verification,
        captures: &[EntryId],
    ) -> Result<EntryId> {
        let what = Verification { capture_count: captures.len() as i64, ..what.clone() };
        let mut all = || {
            let id = self.insert(stamp, &what)?;
            let mut insert =
                self.within.prepare_cached("INSERT INTO verification_capture VALUES (?1, ?2)")?;
            for capture in captures {
                insert.execute((id, capture))?;
            }
            Ok(id)
        };
        all().map_err(|e| self.failed(&e))
    }

    /// Withdraw an entry that should never have been made.
    ///
    /// # Errors
    ///
    /// No such entry, or one that is withdrawn already.
    pub fn withdraw(&mut self, entry: EntryId, why: &str) -> Result<EntryId> {
        if why.trim().is_empty() {
            let what = format!("nothing says why entry {entry} is withdrawn");
            return Err(Error::usage(what, "give --note with the reason"));
        }
        if self.records.kind_in_force(entry)? == Kind::Withdrawal {
            let what = format!("entry {entry} is a withdrawal, which stays");
            return Err(Error::usage(what, "enter anew what was withdrawn"));
        }
        self.check_withdrawable(entry)?;
        let stamp =
            Stamp { at: self.now, corrects: Some(entry), note: Some(why.trim().to_owned()) };
        self.add(&stamp, &Withdrawal)
    }

    /// Other entries are of a unit, by its first entry: a unit is not withdrawn from under
    /// them, nor by its newest name.
    fn check_withdrawable(&self, entry: EntryId) -> Result<()> {
        let records = self.records;
        let Some(unit) = records.entry::<Unit>(entry)? else { return Ok(()) };
        let place = format!("{}, entry {entry}", records.path().display());
        if let Some(earlier) = unit.corrects {
            let what = format!("takes the place of entry {earlier}, which would be lost with it");
            let remedy = format!("correct it back: coilrig records correct {entry}");
            return Err(Error::file(place, what, remedy));
        }
        let sql = "SELECT count(*) FROM (SELECT unit FROM event_in_force UNION ALL \
                   SELECT unit FROM measurement_in_force UNION ALL \
                   SELECT unit FROM verification_in_force UNION ALL \
                   SELECT unit FROM decision_in_force) WHERE unit = ?1";
        let of_it: i64 = records.rows(sql, [entry], |row| row.get::<_, i64>(0))?.into_iter().sum();
        if of_it > 0 {
            let what = format!("is a unit that entries in force are of: {of_it}");
            let remedy = "withdraw those first, or give them to another unit: \
                          coilrig records correct N unit=NAME";
            return Err(Error::file(place, what, remedy));
        }
        Ok(())
    }

    /// All entries are made: into the file with them.
    ///
    /// # Errors
    ///
    /// A file that cannot be written: then none of them is in it.
    pub fn commit(self) -> Result<()> {
        let records = self.records;
        self.within.commit().map_err(|e| records.explained("enter into", &e))
    }

    fn insert<T: What>(&mut self, stamp: &Stamp, what: &T) -> rusqlite::Result<EntryId> {
        let table = T::KIND.word();
        let columns: String = T::COLUMNS.iter().flat_map(|name| [", ", name]).collect();
        let places: String = (5..).take(T::COLUMNS.len()).map(|n| format!(", ?{n}")).collect();
        let sql = format!(
            "INSERT INTO {table} (id, at, entered_at, entered_by, corrects, note{columns}) \
             VALUES ((SELECT id FROM next_entry), ?1, '{}', ?2, ?3, ?4{places})",
            text(self.now)
        );
        let stamped = [
            Value::Text(text(stamp.at)),
            Value::Text(self.by.clone()),
            stamp.corrects.map_or(Value::Null, |id| Value::Integer(id.0)),
            stamp.note.clone().map_or(Value::Null, Value::Text),
        ];
        let values = stamped.into_iter().chain(what.values()?);
        self.within.prepare_cached(&sql)?.insert(params_from_iter(values)).map(EntryId)
    }

    pub(super) fn failed(&self, error: &rusqlite::Error) -> Error {
        self.records.explained("enter into", error)
    }
}

/// A time as entries have it.
pub fn text(at: Timestamp) -> String {
    format!("{at:.3}")
}
