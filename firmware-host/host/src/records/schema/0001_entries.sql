-- The records of a park or club, version 1.
--
-- What a park knows of its units stands here as entries. An entry is written once
-- and never changed or deleted (triggers see to it): a correction is a new entry of
-- the same kind that names the one it takes the place of (`corrects`), and what
-- should never have been entered is withdrawn by an entry of its own. An entry is in
-- force while no other corrects or withdraws it; the views named so, and all readers,
-- show those only, and everything else stays to be looked up.
--
-- What all entries have:
--   id          number of the entry. One sequence over all kinds: a higher number was
--               entered later, whatever the clock of the computer said.
--   at          when it happened: the capture was begun, the battery changed
--   entered_at  when it was entered, by the clock of the computer
--   entered_by  who entered it
--   corrects    the entry it takes the place of; each has one successor at most
--   note        anything else
--
-- Times are RFC 3339 in UTC with milliseconds, so that they sort as text. Quantities
-- are in SI units, which stand in their names; u is the standard uncertainty. `unit`
-- is the first entry of a unit, also after a correction of its name or serial. Paths
-- are relative to the folder of this file where they lie in or below it, absolute
-- elsewhere. sha256 is in hexadecimal digits, lower case.

-- A unit: a transceiver or practice transmitter.
CREATE TABLE unit (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES unit (id),
    note TEXT,
    name TEXT NOT NULL CHECK (trim(name) <> ''),  -- what people call it
    serial TEXT,                                  -- the maker's serial number
    model TEXT                                    -- maker and model
) STRICT;

-- A station as its file (TOML) described it on a day. A changed layout is a new entry
-- of the same name, no correction.
CREATE TABLE station (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES station (id),
    note TEXT,
    name TEXT NOT NULL CHECK (trim(name) <> ''),
    file_toml TEXT NOT NULL,                      -- the whole file
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64)
) STRICT;

-- Something that happened to a unit.
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES event (id),
    note TEXT,
    unit INTEGER NOT NULL REFERENCES unit (id),
    kind TEXT NOT NULL CHECK (kind IN ('battery', 'placed', 'moved', 'serviced', 'retired')),
    detail TEXT
) STRICT;

-- A calibration of a receiver.
CREATE TABLE calibration (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES calibration (id),
    note TEXT,
    receiver_serial TEXT NOT NULL,
    file_toml TEXT NOT NULL,                      -- the whole calibration file
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    valid_until TEXT                              -- last day, ISO 8601; NULL: not stated
) STRICT;

-- A capture: its files stay where they are, and are known again by their content.
CREATE TABLE capture (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES capture (id),
    note TEXT,
    path TEXT NOT NULL,                           -- of the .sigmf-meta file
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),            -- of the samples
    sha256_meta TEXT NOT NULL CHECK (length(sha256_meta) = 64),  -- of the .sigmf-meta file
    recorded_at TEXT,                             -- as the capture states; NULL: it does not
    duration_s REAL NOT NULL,
    receiver_serial TEXT,
    temperature_c REAL                            -- of the unit, as the capture states
) STRICT;

-- What was measured of a unit. Its document is the JSON that the command gives.
CREATE TABLE measurement (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES measurement (id),
    note TEXT,
    unit INTEGER NOT NULL REFERENCES unit (id),
    station INTEGER REFERENCES station (id),
    capture INTEGER REFERENCES capture (id),      -- NULL: from a table of readings
    calibration INTEGER REFERENCES calibration (id),  -- that given with the command
    kind TEXT NOT NULL CHECK (kind IN ('signal', 'range', 'location', 'angle')),
    value_count INTEGER NOT NULL CHECK (value_count >= 0),  -- rows of `value` it has
    document_json TEXT NOT NULL CHECK (json_valid(document_json))
) STRICT;

-- The numbers of a measurement, one row a quantity, by the names that JSON results
-- have: carrier_hz, period_s, on_time_s, off_time_s, field_a_per_m,
-- field_at_10_m_a_per_m, residual_carrier_ratio, moment_a_m2, depth_m, x_m, y_m, …
CREATE TABLE value (
    measurement INTEGER NOT NULL REFERENCES measurement (id),
    quantity TEXT NOT NULL,
    value REAL NOT NULL,
    u REAL NOT NULL CHECK (u >= 0),
    PRIMARY KEY (measurement, quantity)
) STRICT, WITHOUT ROWID;

-- A unit judged by a set of limits.
CREATE TABLE verification (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES verification (id),
    note TEXT,
    unit INTEGER NOT NULL REFERENCES unit (id),
    station INTEGER REFERENCES station (id),
    limits TEXT NOT NULL,                         -- name of the set
    decision TEXT NOT NULL CHECK (decision IN ('conforms', 'does not conform', 'undecided')),
    probability REAL,                             -- to conform, at least
    capture_count INTEGER NOT NULL CHECK (capture_count >= 0),  -- rows of `verification_capture`
    document_json TEXT NOT NULL CHECK (json_valid(document_json))
) STRICT;

-- The captures that a verification rests on.
CREATE TABLE verification_capture (
    verification INTEGER NOT NULL REFERENCES verification (id),
    capture INTEGER NOT NULL REFERENCES capture (id),
    PRIMARY KEY (verification, capture)
) STRICT, WITHOUT ROWID;

-- What a person decided about a unit.
CREATE TABLE decision (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER REFERENCES decision (id),
    note TEXT,
    unit INTEGER NOT NULL REFERENCES unit (id),
    verification INTEGER REFERENCES verification (id),  -- NULL: not because of one
    decision TEXT NOT NULL
        CHECK (decision IN ('in-use', 'watch', 'out-of-use', 'repair', 'retire')),
    who TEXT NOT NULL CHECK (trim(who) <> ''),    -- who decided, not who typed it
    reason TEXT
) STRICT;

-- An entry that should never have been made: `corrects` is that entry, of any kind, and
-- the note says why.
CREATE TABLE withdrawal (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
    entered_at TEXT NOT NULL CHECK (entered_at GLOB '????-??-??T??:??:??.???Z'),
    entered_by TEXT NOT NULL CHECK (trim(entered_by) <> ''),
    corrects INTEGER NOT NULL UNIQUE,
    note TEXT NOT NULL CHECK (trim(note) <> '')
) STRICT;

CREATE UNIQUE INDEX unit_corrects ON unit (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX station_corrects ON station (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX event_corrects ON event (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX calibration_corrects ON calibration (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX capture_corrects ON capture (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX measurement_corrects ON measurement (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX verification_corrects ON verification (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX decision_corrects ON decision (corrects) WHERE corrects IS NOT NULL;

CREATE INDEX event_of_unit ON event (unit, at);
CREATE INDEX calibration_content ON calibration (sha256);
CREATE INDEX capture_content ON capture (sha256);
CREATE INDEX verification_of_unit ON verification (unit, at);
CREATE INDEX decision_of_unit ON decision (unit, at);
-- Holds all that a series over time needs, so that none reads the documents.
CREATE INDEX measurement_series ON measurement (unit, at, id, kind, station, capture);

-- The number that the next entry gets.
CREATE VIEW next_entry (id) AS SELECT 1 + max(
    coalesce((SELECT max(id) FROM unit), 0),
    coalesce((SELECT max(id) FROM station), 0),
    coalesce((SELECT max(id) FROM event), 0),
    coalesce((SELECT max(id) FROM calibration), 0),
    coalesce((SELECT max(id) FROM capture), 0),
    coalesce((SELECT max(id) FROM measurement), 0),
    coalesce((SELECT max(id) FROM verification), 0),
    coalesce((SELECT max(id) FROM decision), 0),
    coalesce((SELECT max(id) FROM withdrawal), 0));

-- All entries of all kinds.
CREATE VIEW entry (id, kind, at, entered_at, entered_by, corrects, note) AS
    SELECT id, 'unit', at, entered_at, entered_by, corrects, note FROM unit
UNION ALL
    SELECT id, 'station', at, entered_at, entered_by, corrects, note FROM station
UNION ALL
    SELECT id, 'event', at, entered_at, entered_by, corrects, note FROM event
UNION ALL
    SELECT id, 'calibration', at, entered_at, entered_by, corrects, note FROM calibration
UNION ALL
    SELECT id, 'capture', at, entered_at, entered_by, corrects, note FROM capture
UNION ALL
    SELECT id, 'measurement', at, entered_at, entered_by, corrects, note FROM measurement
UNION ALL
    SELECT id, 'verification', at, entered_at, entered_by, corrects, note FROM verification
UNION ALL
    SELECT id, 'decision', at, entered_at, entered_by, corrects, note FROM decision
UNION ALL
    SELECT id, 'withdrawal', at, entered_at, entered_by, corrects, note FROM withdrawal;

-- What is in force.
CREATE VIEW unit_in_force AS SELECT * FROM unit AS e
    WHERE NOT EXISTS (SELECT 1 FROM unit AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW station_in_force AS SELECT * FROM station AS e
    WHERE NOT EXISTS (SELECT 1 FROM station AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW event_in_force AS SELECT * FROM event AS e
    WHERE NOT EXISTS (SELECT 1 FROM event AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW calibration_in_force AS SELECT * FROM calibration AS e
    WHERE NOT EXISTS (SELECT 1 FROM calibration AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW capture_in_force AS SELECT * FROM capture AS e
    WHERE NOT EXISTS (SELECT 1 FROM capture AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW measurement_in_force AS SELECT * FROM measurement AS e
    WHERE NOT EXISTS (SELECT 1 FROM measurement AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW verification_in_force AS SELECT * FROM verification AS e
    WHERE NOT EXISTS (SELECT 1 FROM verification AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW decision_in_force AS SELECT * FROM decision AS e
    WHERE NOT EXISTS (SELECT 1 FROM decision AS c WHERE c.corrects = e.id)
    AND NOT EXISTS (SELECT 1 FROM withdrawal AS w WHERE w.corrects = e.id);
CREATE VIEW withdrawal_in_force AS SELECT * FROM withdrawal;

-- Entries are written once, in the order of their numbers.
CREATE TRIGGER unit_number BEFORE INSERT ON unit WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER unit_changed BEFORE UPDATE ON unit
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER unit_deleted BEFORE DELETE ON unit
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER station_number BEFORE INSERT ON station WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER station_changed BEFORE UPDATE ON station
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER station_deleted BEFORE DELETE ON station
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER event_number BEFORE INSERT ON event WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER event_changed BEFORE UPDATE ON event
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER event_deleted BEFORE DELETE ON event
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER calibration_number BEFORE INSERT ON calibration WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER calibration_changed BEFORE UPDATE ON calibration
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER calibration_deleted BEFORE DELETE ON calibration
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER capture_number BEFORE INSERT ON capture WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER capture_changed BEFORE UPDATE ON capture
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER capture_deleted BEFORE DELETE ON capture
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER measurement_number BEFORE INSERT ON measurement WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER measurement_changed BEFORE UPDATE ON measurement
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER measurement_deleted BEFORE DELETE ON measurement
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER verification_number BEFORE INSERT ON verification WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER verification_changed BEFORE UPDATE ON verification
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER verification_deleted BEFORE DELETE ON verification
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER decision_number BEFORE INSERT ON decision WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER decision_changed BEFORE UPDATE ON decision
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER decision_deleted BEFORE DELETE ON decision
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER withdrawal_number BEFORE INSERT ON withdrawal WHEN NEW.id < (SELECT id FROM next_entry)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered in the order they are made'); END;
CREATE TRIGGER withdrawal_changed BEFORE UPDATE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER withdrawal_deleted BEFORE DELETE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER value_changed BEFORE UPDATE ON value
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER value_deleted BEFORE DELETE ON value
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;
CREATE TRIGGER verification_capture_changed BEFORE UPDATE ON verification_capture
    BEGIN SELECT RAISE(ABORT, 'entries are never changed: enter a correction'); END;
CREATE TRIGGER verification_capture_deleted BEFORE DELETE ON verification_capture
    BEGIN SELECT RAISE(ABORT, 'entries are never deleted: withdraw them'); END;

-- A measurement or verification gets no further parts once it has all its own.
CREATE TRIGGER value_whole BEFORE INSERT ON value
    WHEN (SELECT count(*) FROM value WHERE measurement = NEW.measurement)
        >= (SELECT value_count FROM measurement WHERE id = NEW.measurement)
    BEGIN SELECT RAISE(ABORT, 'the measurement has all its values already'); END;
CREATE TRIGGER verification_capture_whole BEFORE INSERT ON verification_capture
    WHEN (SELECT count(*) FROM verification_capture WHERE verification = NEW.verification)
        >= (SELECT capture_count FROM verification WHERE id = NEW.verification)
    BEGIN SELECT RAISE(ABORT, 'the verification has all its captures already'); END;

-- What is withdrawn is there; what is withdrawn or corrected is so once.
CREATE TRIGGER withdrawal_of_something BEFORE INSERT ON withdrawal
    WHEN NOT EXISTS (SELECT 1 FROM entry WHERE id = NEW.corrects AND kind <> 'withdrawal')
    BEGIN SELECT RAISE(ABORT, 'there is no entry of this number to withdraw'); END;

-- No two units in force have the same name or the same serial number.
CREATE TRIGGER unit_name BEFORE INSERT ON unit
    WHEN EXISTS (SELECT 1 FROM unit_in_force
                 WHERE name = NEW.name AND id IS NOT NEW.corrects)
    BEGIN SELECT RAISE(ABORT, 'there is a unit of this name already'); END;
CREATE TRIGGER unit_serial BEFORE INSERT ON unit
    WHEN EXISTS (SELECT 1 FROM unit_in_force
                 WHERE serial = NEW.serial AND id IS NOT NEW.corrects)
    BEGIN SELECT RAISE(ABORT, 'there is a unit of this serial number already'); END;
