//! What stands in each table.

/// Type of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Type {
    Text,
    Number,
    Whole,
    /// A time in UTC.
    Time,
    Truth,
    /// Text: the name that the unit of this first entry has now.
    UnitName,
}

/// A column.
#[derive(Debug)]
pub(super) struct Column {
    pub(super) name: &'static str,
    /// What gives it in SQL.
    pub(super) sql: &'static str,
    pub(super) kind: Type,
    /// Whether it may be empty.
    pub(super) optional: bool,
    pub(super) about: &'static str,
}

/// A table.
#[derive(Debug)]
pub(super) struct Table {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    /// What it is read from in SQL, with its order.
    pub(super) from: &'static str,
    /// Columns after `park` and, of an entry, after [`ENTRY`].
    pub(super) columns: &'static [Column],
    /// Whether its rows are entries.
    pub(super) entry: bool,
}

impl Table {
    /// All columns after `park`.
    pub(super) fn all(&self) -> impl Iterator<Item = &'static Column> + use<> {
        let common: &[Column] = if self.entry { ENTRY } else { &[] };
        common.iter().chain(self.columns)
    }
}

const fn column(
    name: &'static str,
    sql: &'static str,
    kind: Type,
    optional: bool,
    about: &'static str,
) -> Column {
    Column { name, sql, kind, optional, about }
}

const fn text(name: &'static str, about: &'static str) -> Column {
    column(name, name, Type::Text, false, about)
}

const fn maybe(name: &'static str, kind: Type, about: &'static str) -> Column {
    column(name, name, kind, true, about)
}

const fn whole(name: &'static str, about: &'static str) -> Column {
    column(name, name, Type::Whole, false, about)
}

/// Whether the entry of a table t is in force; TABLE is its name.
const IN_FORCE: &str = "EXISTS (SELECT 1 FROM TABLE_in_force AS f WHERE f.id = t.id)";

/// What all entries have.
const ENTRY: &[Column] = &[
    column(
        "id",
        "t.id",
        Type::Whole,
        false,
        "number of the entry: one sequence over all kinds of a park, later entries have greater ones",
    ),
    column("happened_at", "t.at", Type::Time, false, "when it happened"),
    column(
        "entered_at",
        "t.entered_at",
        Type::Time,
        false,
        "when it was entered, by the clock of the computer",
    ),
    column("entered_by", "t.entered_by", Type::Text, false, "who entered it"),
    column("corrects", "t.corrects", Type::Whole, true, "the entry it takes the place of"),
    column("note", "t.note", Type::Text, true, "anything else"),
    column(
        "in_force",
        IN_FORCE,
        Type::Truth,
        false,
        "false: corrected or withdrawn by a later entry",
    ),
];

/// The first of the entries that were corrected to that of a unit t.
const FIRST: &str = "(WITH RECURSIVE back (id, corrects) AS (SELECT t.id, t.corrects UNION ALL \
                     SELECT u.id, u.corrects FROM unit AS u JOIN back ON u.id = back.corrects) \
                     SELECT id FROM back WHERE corrects IS NULL)";

const UNIT: Column = column(
    "unit",
    "t.unit",
    Type::Whole,
    false,
    "first entry of the unit: `unit` of the table unit",
);
const UNIT_NAME: Column =
    column("unit_name", "t.unit", Type::UnitName, true, "its name now; empty for a withdrawn unit");
const STATION: Column = maybe("station", Type::Whole, "entry of the station");
const DOCUMENT: Column = text("document_json", "the JSON that the command gave");
const SHA256: Column = text("sha256", "SHA-256 of the file, hexadecimal");

/// All tables.
pub(super) const TABLES: &[Table] = &[
    Table {
        name: "unit",
        about: "Transceivers and practice transmitters.",
        from: "unit AS t ORDER BY t.id",
        entry: true,
        columns: &[
            column(
                "unit",
                FIRST,
                Type::Whole,
                false,
                "first entry of the unit, by which other tables name it",
            ),
            text("name", "what people call it"),
            maybe("serial", Type::Text, "the maker's serial number"),
            maybe("model", Type::Text, "maker and model"),
        ],
    },
    Table {
        name: "station",
        about: "Training fields as their files described them on a day; a changed layout is a new entry.",
        from: "station AS t ORDER BY t.id",
        entry: true,
        columns: &[text("name", "its name"), text("file_toml", "the whole station file"), SHA256],
    },
    Table {
        name: "event",
        about: "What happened to units.",
        from: "event AS t ORDER BY t.id",
        entry: true,
        columns: &[
            UNIT,
            UNIT_NAME,
            text("kind", "battery, placed, moved, serviced or retired"),
            maybe("detail", Type::Text, "more about it"),
        ],
    },
    Table {
        name: "calibration",
        about: "Calibrations of receivers.",
        from: "calibration AS t ORDER BY t.id",
        entry: true,
        columns: &[
            text("receiver_serial", "serial number of the receiver"),
            text("file_toml", "the whole calibration file"),
            SHA256,
            maybe("valid_until", Type::Text, "last day on which it counts, ISO 8601"),
        ],
    },
    Table {
        name: "capture",
        about: "Recordings that measurements were made from.",
        from: "capture AS t ORDER BY t.id",
        entry: true,
        columns: &[
            text("path", "of the .sigmf-meta file, from the folder of the records"),
            text("sha256", "SHA-256 of the samples, hexadecimal"),
            text("sha256_meta", "of the .sigmf-meta file"),
            maybe("recorded_at", Type::Text, "begin of the recording, as it states itself"),
            column("duration_s", "duration_s", Type::Number, false, "length, s"),
            maybe("receiver_serial", Type::Text, "serial number of the receiver"),
            maybe("temperature_c", Type::Number, "temperature of the unit, °C"),
        ],
    },
    Table {
        name: "measurement",
        about: "What was measured of a unit; its numbers stand in the table value.",
        from: "measurement AS t ORDER BY t.id",
        entry: true,
        columns: &[
            UNIT,
            UNIT_NAME,
            STATION,
            maybe(
                "capture",
                Type::Whole,
                "entry of the capture; empty where a table of readings was analysed",
            ),
            maybe("calibration", Type::Whole, "entry of the calibration given with the command"),
            text("kind", "signal, range, location or angle"),
            DOCUMENT,
        ],
    },
    Table {
        name: "value",
        about: "The numbers of measurements, a row each, in the SI unit that the quantity's name ends \
                with; _ratio is a plain ratio.",
        from: "value AS t JOIN measurement AS m ON m.id = t.measurement \
               ORDER BY t.measurement, t.quantity",
        entry: false,
        columns: &[
            column("measurement", "t.measurement", Type::Whole, false, "entry of the measurement"),
            column("measured_at", "m.at", Type::Time, false, "when it was measured"),
            column("unit", "m.unit", Type::Whole, false, "first entry of the unit"),
            column(
                "unit_name",
                "m.unit",
                Type::UnitName,
                true,
                "its name now; empty for a withdrawn unit",
            ),
            column("kind", "m.kind", Type::Text, false, "signal, range, location or angle"),
            column("quantity", "t.quantity", Type::Text, false, "which quantity"),
            column("value", "t.value", Type::Number, false, "its value"),
            column("u", "t.u", Type::Number, false, "its standard uncertainty, coverage factor 1"),
            column(
                "in_force",
                "EXISTS (SELECT 1 FROM measurement_in_force AS f WHERE f.id = m.id)",
                Type::Truth,
                false,
                "false: the measurement was corrected or withdrawn",
            ),
        ],
    },
    Table {
        name: "verification",
        about: "Units judged by limits.",
        from: "verification AS t ORDER BY t.id",
        entry: true,
        columns: &[
            UNIT,
            UNIT_NAME,
            STATION,
            text("limits", "name of the set of limits"),
            text("decision", "conforms, does not conform or undecided"),
            maybe("probability", Type::Number, "probability to conform, at least"),
            DOCUMENT,
        ],
    },
    Table {
        name: "verification_capture",
        about: "The captures that each verification rests on.",
        from: "verification_capture AS t ORDER BY t.verification, t.capture",
        entry: false,
        columns: &[
            whole("verification", "entry of the verification"),
            whole("capture", "entry of the capture"),
        ],
    },
    Table {
        name: "decision",
        about: "What people decided about units.",
        from: "decision AS t ORDER BY t.id",
        entry: true,
        columns: &[
            UNIT,
            UNIT_NAME,
            maybe("verification", Type::Whole, "the verification it was made because of"),
            text("decision", "what was decided"),
            text("who", "who decided"),
            maybe("reason", Type::Text, "why"),
        ],
    },
    Table {
        name: "withdrawal",
        about: "Entries that should never have been made: `corrects` is that entry, of any kind, and \
                the note says why.",
        from: "withdrawal AS t ORDER BY t.id",
        entry: true,
        columns: &[],
    },
];
