//! What entries say, one type a kind, as the columns of its table.

use std::fmt;

use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, Value, ValueRef};
use serde::Serialize;

/// The number of an entry: one sequence over all kinds, in the order of entering.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct EntryId(pub i64);

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl ToSql for EntryId {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        self.0.to_sql()
    }
}

impl FromSql for EntryId {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        i64::column_result(value).map(Self)
    }
}

/// An enum whose cases are words in the file, on the command line and in results.
macro_rules! words {
    ($(#[$about:meta])* $name:ident { $($(#[$of:meta])* $case:ident = $word:literal,)+ }) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, clap::ValueEnum)]
        pub enum $name {
            $($(#[$of])* #[serde(rename = $word)] #[value(name = $word)] $case,)+
        }

        impl $name {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$case),+];

            /// As the file has it.
            pub fn word(self) -> &'static str {
                match self { $(Self::$case => $word,)+ }
            }

            /// The one of that word.
            pub fn of_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|case| case.word() == word)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.word())
            }
        }

        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(self.word().into())
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                Self::of_word(value.as_str()?).ok_or(FromSqlError::InvalidType)
            }
        }
    };
}

words! {
    /// The kinds of entries, each with a table of this name.
    Kind {
        /// [`Unit`]
        Unit = "unit",
        /// [`Station`]
        Station = "station",
        /// [`Event`]
        Event = "event",
        /// [`Calibration`]
        Calibration = "calibration",
        /// [`Capture`]
        Capture = "capture",
        /// [`Measurement`]
        Measurement = "measurement",
        /// [`Verification`]
        Verification = "verification",
        /// [`Decision`]
        Decision = "decision",
        /// [`Withdrawal`]
        Withdrawal = "withdrawal",
    }
}

words! {
    /// What happens to units.
    EventKind {
        /// Its batteries were changed.
        Battery = "battery",
        /// It was buried or put up.
        Placed = "placed",
        /// It was put elsewhere, or otherwise.
        Moved = "moved",
        /// The maker or somebody else worked on it.
        Serviced = "serviced",
        /// It is not used any more.
        Retired = "retired",
    }
}

words! {
    /// What measurements are of.
    MeasurementKind {
        /// A capture: carrier, pulses, field where the receiver stood.
        Signal = "signal",
        /// Field over distance.
        Range = "range",
        /// Field over places.
        Location = "location",
        /// Field over angle.
        Angle = "angle",
    }
}

words! {
    /// What limits say of a unit.
    Judged {
        /// It keeps them.
        Conforms = "conforms",
        /// It breaks one.
        DoesNotConform = "does not conform",
        /// Neither is sure enough.
        Undecided = "undecided",
    }
}

words! {
    /// What a person decides about a unit.
    Decided {
        /// It may be used.
        InUse = "in-use",
        /// It may be used, and is to be looked at again.
        Watch = "watch",
        /// It is not to be used for now.
        OutOfUse = "out-of-use",
        /// It goes to be repaired.
        Repair = "repair",
        /// It is not to be used any more.
        Retire = "retire",
    }
}

/// What an entry of one kind says.
pub trait What: Sized {
    /// Its kind, which is its table.
    const KIND: Kind;
    /// Its columns besides those that all entries have.
    const COLUMNS: &'static [&'static str];

    /// Its columns' values.
    fn values(&self) -> rusqlite::Result<Vec<Value>>;

    /// Out of a row that has its columns by name.
    ///
    /// # Errors
    ///
    /// A row that holds something else.
    fn of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<Self>;
}

fn owned(value: &impl ToSql) -> rusqlite::Result<Value> {
    Ok(match value.to_sql()? {
        ToSqlOutput::Borrowed(value) => value
            .try_into()
            .map_err(|e: FromSqlError| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?,
        ToSqlOutput::Owned(value) => value,
        other => {
            let what = format!("{other:?} is nothing that an entry holds");
            return Err(rusqlite::Error::ToSqlConversionFailure(what.into()));
        }
    })
}

/// An entry's own columns as a struct.
macro_rules! entry {
    ($(#[$about:meta])* $name:ident { $($(#[$of:meta])* $column:ident: $type:ty,)* }) => {
        $(#[$about])*
        #[derive(Clone, Debug, PartialEq, Serialize)]
        pub struct $name {
            $($(#[$of])* pub $column: $type,)*
        }

        impl What for $name {
            const KIND: Kind = Kind::$name;
            const COLUMNS: &'static [&'static str] = &[$(stringify!($column)),*];

            fn values(&self) -> rusqlite::Result<Vec<Value>> {
                Ok(vec![$(owned(&self.$column)?),*])
            }

            fn of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<Self> {
                Ok(Self { $($column: row.get(stringify!($column))?,)* })
            }
        }
    };
}

entry! {
    /// A transceiver or practice transmitter.
    Unit {
        /// What people call it.
        name: String,
        /// The maker's serial number.
        serial: Option<String>,
        /// Maker and model.
        model: Option<String>,
    }
}

entry! {
    /// A station as its file described it.
    Station {
        /// Its name.
        name: String,
        /// The whole file.
        file_toml: String,
        /// Of the file.
        sha256: String,
    }
}

entry! {
    /// Something that happened to a unit.
    Event {
        /// First entry of the unit.
        unit: EntryId,
        /// What.
        kind: EventKind,
        /// More about it.
        detail: Option<String>,
    }
}

entry! {
    /// A calibration of a receiver.
    Calibration {
        /// Serial number of the receiver.
        receiver_serial: String,
        /// The whole calibration file.
        file_toml: String,
        /// Of the file.
        sha256: String,
        /// Last day on which it counts, ISO 8601.
        valid_until: Option<String>,
    }
}

entry! {
    /// A capture.
    Capture {
        /// Path of its .sigmf-meta file: relative to the folder of the records where it
        /// lies in or below it.
        path: String,
        /// Of the samples.
        sha256: String,
        /// Of the .sigmf-meta file.
        sha256_meta: String,
        /// When it was begun, as it states itself.
        recorded_at: Option<String>,
        /// Length, s.
        duration_s: f64,
        /// Serial number of the receiver.
        receiver_serial: Option<String>,
        /// Temperature of the unit, °C.
        temperature_c: Option<f64>,
    }
}

entry! {
    /// What was measured of a unit. Its numbers are read by
    /// [`Records::each_value`](super::Records::each_value).
    Measurement {
        /// First entry of the unit.
        unit: EntryId,
        /// Entry of the station.
        station: Option<EntryId>,
        /// Entry of the capture; none where a table of readings was analysed.
        capture: Option<EntryId>,
        /// Entry of the calibration that was given with the command.
        calibration: Option<EntryId>,
        /// Of what.
        kind: MeasurementKind,
        /// How many values it has.
        value_count: i64,
        /// The JSON that the command gives.
        document_json: String,
    }
}

entry! {
    /// A unit judged by a set of limits.
    Verification {
        /// First entry of the unit.
        unit: EntryId,
        /// Entry of the station.
        station: Option<EntryId>,
        /// Name of the limits.
        limits: String,
        /// What they say.
        decision: Judged,
        /// Probability to conform, at least.
        probability: Option<f64>,
        /// How many captures it rests on.
        capture_count: i64,
        /// The JSON that the command gives.
        document_json: String,
    }
}

entry! {
    /// What a person decided about a unit.
    Decision {
        /// First entry of the unit.
        unit: EntryId,
        /// The verification it was made because of.
        verification: Option<EntryId>,
        /// What.
        decision: Decided,
        /// Who decided.
        who: String,
        /// Why.
        reason: Option<String>,
    }
}

/// An entry that should never have been made; which one, and why, say what all entries
/// have: `corrects` and `note`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Withdrawal;

impl What for Withdrawal {
    const KIND: Kind = Kind::Withdrawal;
    const COLUMNS: &'static [&'static str] = &[];

    fn values(&self) -> rusqlite::Result<Vec<Value>> {
        Ok(Vec::new())
    }

    fn of_row(_: &rusqlite::Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self)
    }
}
