//! Opening a file of records: to enter into it, to look things up in it, or anew.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, MAIN_DB, OpenFlags};
use tempfile::TempDir;

use super::schema::{self, APPLICATION_ID};
use super::trouble::explained;
use crate::error::{Error, Result};
use crate::files;

/// How long to wait for another program that is entering.
const PATIENCE: Duration = Duration::from_secs(10);
/// Files up to here are looked over when they are opened; larger ones take too long.
const LOOKED_OVER_BYTES: u64 = 16 << 20;
/// Pages kept while looking things up, in KiB below zero as SQLite has it: years of a
/// large park.
const CACHE_KIB: i32 = -65_536;
/// What every SQLite file begins with.
pub(super) const MAGIC: &[u8] = b"SQLite format 3\0";

/// An open file of records.
#[derive(Debug)]
pub struct Records {
    pub(super) connection: Connection,
    pub(super) path: PathBuf,
    /// Where the place cannot be written, or the file is of an older version, reading
    /// is done on a copy.
    _copy: Option<TempDir>,
}

impl Records {
    /// Make a new file of records at `path`, where none may be.
    ///
    /// # Errors
    ///
    /// There is something, or the place cannot be written.
    pub fn create(path: &Path) -> Result<Self> {
        make_whole(path, schema::STEPS, |_| Ok(()))?;
        Self::open(path)
    }

    /// Open the records at `path` to enter into them. An older version is brought up
    /// to date, after a copy of it is kept beside, which is said on standard error.
    ///
    /// # Errors
    ///
    /// No file, or none of records; one of a newer version, or damaged; a place that
    /// cannot be written.
    pub fn open(path: &Path) -> Result<Self> {
        Self::open_with(path, schema::STEPS)
    }

    pub(super) fn open_with(path: &Path, steps: &[&str]) -> Result<Self> {
        check_is_records(path)?;
        let failed = |e| explained(path, "open", &e);
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut connection = Connection::open_with_flags(path, flags).map_err(failed)?;
        if connection.is_readonly(MAIN_DB).map_err(failed)? {
            return Err(Error::file(
                path.display(),
                "these records are write-protected: nothing can be entered",
                "check who may write the file and its folder, or work on a copy elsewhere",
            ));
        }
        // Before anything is changed: it may be a database of something else.
        let version = known_version(path, &connection, steps)?;
        for_entering(&connection).map_err(failed)?;
        look_over(path, &connection)?;
        if version < steps.len() {
            keep_copy(path, &connection, version)?;
            schema::bring_up_to_date(&mut connection, steps).map_err(failed)?;
        }
        Ok(Self { connection, path: path.to_owned(), _copy: None })
    }

    /// Open the records at `path` to look things up. Nothing in them is changed, and
    /// they may lie where nothing can be written.
    ///
    /// # Errors
    ///
    /// No file, or none of records; one of a newer version, or damaged.
    pub fn open_to_read(path: &Path) -> Result<Self> {
        Self::open_to_read_with(path, schema::STEPS)
    }

    pub(super) fn open_to_read_with(path: &Path, steps: &[&str]) -> Result<Self> {
        check_is_records(path)?;
        let failed = |e| explained(path, "read", &e);
        let (connection, copy) = match as_it_stands(path, OpenFlags::empty()) {
            Ok(connection) => (connection, None),
            Err(e) if needs_no_writing(&e) => where_nothing_is_written(path)?,
            Err(e) => return Err(failed(e)),
        };
        look_over(path, &connection)?;
        if known_version(path, &connection, steps)? == steps.len() {
            return Ok(Self { connection, path: path.to_owned(), _copy: copy });
        }
        let folder = temporary_folder(path)?;
        let copied = folder.path().join("records.sqlite");
        copy_whole(&connection, &copied).map_err(failed)?;
        let mut connection = Connection::open(&copied).map_err(failed)?;
        schema::bring_up_to_date(&mut connection, steps).map_err(failed)?;
        Ok(Self { connection, path: path.to_owned(), _copy: Some(folder) })
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder that relative paths in the file count from.
    pub fn folder(&self) -> &Path {
        folder_of(&self.path)
    }

    pub(super) fn explained(&self, doing: &str, error: &rusqlite::Error) -> Error {
        explained(&self.path, doing, error)
    }
}

/// Make a file of records by `steps` at `path`, where none may be, with what `fill`
/// puts into it. It is made beside, then moved: nobody meets it half-made.
pub(super) fn make_whole(
    path: &Path,
    steps: &[&str],
    fill: impl FnOnce(&mut Connection) -> Result<()>,
) -> Result<()> {
    files::must_be_new(path)?;
    let folder = folder_of(path);
    let io = |e: std::io::Error| Error::io(path, "make the records", &e);
    let beside = tempfile::Builder::new().prefix(".coilrig-").tempdir_in(folder).map_err(io)?;
    let made = beside.path().join("records.sqlite");
    let failed = |e| explained(path, "make", &e);
    let mut connection = Connection::open(&made).map_err(failed)?;
    always(&connection).map_err(failed)?;
    // All of it goes straight into the file: what stands beside it is not moved with it.
    connection.pragma_update(None, "journal_mode", "MEMORY").map_err(failed)?;
    schema::bring_up_to_date(&mut connection, steps).map_err(failed)?;
    fill(&mut connection)?;
    connection.pragma_update(None, "journal_mode", "WAL").map_err(failed)?;
    connection.close().map_err(|(_, e)| failed(e))?;
    if let Err(e) = move_to_new(&made, path) {
        // Another program may have made it just now.
        files::must_be_new(path)?;
        return Err(io(e));
    }
    File::open(folder).and_then(|folder| folder.sync_all()).map_err(io)
}

/// Move a file to where none may be.
fn move_to_new(from: &Path, to: &Path) -> std::io::Result<()> {
    let from = tempfile::TempPath::try_from_path(from)?;
    from.persist_noclobber(to).map_err(|e| {
        // It would be taken away with the error, and may be wanted under another name.
        let kept = e.path.keep();
        kept.err().map_or(e.error, |e| e.error)
    })
}

/// The folder that holds `path`.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn temporary_folder(path: &Path) -> Result<TempDir> {
    tempfile::tempdir().map_err(|e| Error::io(path, "make a copy to read", &e))
}

/// Tell a file that is no SQLite file at all from a damaged one.
fn check_is_records(path: &Path) -> Result<()> {
    let io = |e: std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound => Error::file(
            path.display(),
            "there are no records here",
            "check the path, or begin records with: coilrig records new",
        ),
        _ => Error::io(path, "read", &e),
    };
    let mut head = Vec::new();
    File::open(path).map_err(io)?.take(MAGIC.len() as u64).read_to_end(&mut head).map_err(io)?;
    if head == MAGIC {
        return Ok(());
    }
    Err(Error::file(
        path.display(),
        "is no file of records, or its beginning is damaged",
        "check the path; if it was one, save what can be read: coilrig records salvage",
    ))
}

/// What holds for every connection that enters: nothing is told as entered before it
/// is on the disk, and references and triggers always count.
fn for_entering(connection: &Connection) -> rusqlite::Result<()> {
    always(connection)?;
    connection.pragma_update(None, "journal_mode", "WAL")
}

fn always(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "recursive_triggers", true)?;
    connection.pragma_update(None, "cell_size_check", true)
}

fn as_it_stands(path: &Path, more: OpenFlags) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX | more;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "cache_size", CACHE_KIB)?;
    // Nothing is read before it is asked for; only then it turns out whether it can be.
    connection.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
    Ok(connection)
}

/// Reading what others may be writing wants a file beside it. It cannot be made where
/// nothing can be written, or no space is left.
fn needs_no_writing(error: &rusqlite::Error) -> bool {
    use ErrorCode::*;
    matches!(
        error.sqlite_error_code(),
        Some(CannotOpen | ReadOnly | PermissionDenied | DiskFull | SystemIoFailure)
    )
}

/// Read the file where nothing can be written: as it is when all is in it, else with
/// the entries that still stand beside it, on a copy.
pub(super) fn where_nothing_is_written(path: &Path) -> Result<(Connection, Option<TempDir>)> {
    let beside = beside(path, "-wal");
    if std::fs::metadata(&beside).is_ok_and(|wal| wal.len() > 0) {
        let folder = temporary_folder(path)?;
        let copied = folder.path().join("records.sqlite");
        copy(path, &copied)?;
        copy(&beside, &self::beside(&copied, "-wal"))?;
        let connection = Connection::open(&copied).map_err(|e| explained(path, "read", &e))?;
        return Ok((connection, Some(folder)));
    }
    let uri = uri_of(path)?;
    let connection =
        as_it_stands(&uri, OpenFlags::SQLITE_OPEN_URI).map_err(|e| explained(path, "read", &e))?;
    Ok((connection, None))
}

pub(super) fn copy(from: &Path, to: &Path) -> Result<()> {
    // Without the permissions, which may keep a copy from being worked on.
    let mut source = File::open(from).map_err(|e| Error::io(from, "read", &e))?;
    File::create(to)
        .and_then(|mut to| std::io::copy(&mut source, &mut to))
        .map_err(|e| Error::io(to, "write", &e))?;
    Ok(())
}

/// The file that SQLite keeps beside `path`, or one named like it.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// The file as one that nobody writes to.
fn uri_of(path: &Path) -> Result<PathBuf> {
    let path = std::path::absolute(path).map_err(|e| Error::io(path, "find", &e))?;
    let text = path.to_str().ok_or_else(|| {
        Error::file(path.display(), "has a name that is no text", "rename the file or its folder")
    })?;
    let mut uri = String::from("file://");
    for part in text.chars() {
        match part {
            '%' => uri += "%25",
            '?' => uri += "%3f",
            '#' => uri += "%23",
            other => uri.push(other),
        }
    }
    Ok((uri + "?immutable=1").into())
}

/// Meet damage before anything rests on it, where that takes no time.
fn look_over(path: &Path, connection: &Connection) -> Result<()> {
    if std::fs::metadata(path).is_ok_and(|file| file.len() > LOOKED_OVER_BYTES) {
        return Ok(());
    }
    let said: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|e| explained(path, "read", &e))?;
    if said == "ok" {
        return Ok(());
    }
    Err(Error::file(
        path.display(),
        format!("the records are damaged ({})", said.replace('\n', ", ")),
        "leave the file as it is and save what can be read: coilrig records salvage",
    ))
}

/// The version of a file of records that this program knows.
fn known_version(path: &Path, connection: &Connection, steps: &[&str]) -> Result<usize> {
    let failed = |e| explained(path, "read", &e);
    let application: i32 =
        connection.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(failed)?;
    let version = schema::version(connection).map_err(failed)?;
    let version = usize::try_from(version).unwrap_or(0);
    if application != APPLICATION_ID || version == 0 {
        return Err(Error::file(
            path.display(),
            "is a database of something else, not records of coilrig",
            "check the path, or begin records with: coilrig records new",
        ));
    }
    if version > steps.len() {
        return Err(Error::file(
            path.display(),
            format!(
                "these records are of version {version}, this program knows up to {}; nothing \
                 was changed",
                steps.len()
            ),
            "update coilrig, or use the program that last wrote them",
        ));
    }
    Ok(version)
}

/// A copy of all that is in the file and beside it, even while others enter.
pub(super) fn copy_whole(connection: &Connection, to: &Path) -> rusqlite::Result<()> {
    connection.backup(MAIN_DB, to, None::<fn(rusqlite::backup::Progress)>)
}

/// Keep a copy of an older file before it is brought up to date.
fn keep_copy(path: &Path, connection: &Connection, version: usize) -> Result<()> {
    let io = |e: std::io::Error| Error::io(path, "keep a copy of the records", &e);
    let half =
        tempfile::Builder::new().prefix(".coilrig-").tempdir_in(folder_of(path)).map_err(io)?;
    let copied = half.path().join("records.sqlite");
    copy_whole(connection, &copied).map_err(|e| explained(path, "copy", &e))?;
    File::open(&copied).and_then(|file| file.sync_all()).map_err(io)?;
    let first = beside(path, &format!(".version-{version}"));
    let later = (2..).map(|number| beside(path, &format!(".version-{version}-{number}")));
    for kept in std::iter::once(first).chain(later) {
        // An earlier copy is never replaced.
        match move_to_new(&copied, &kept) {
            Ok(()) => {
                eprintln!(
                    "coilrig: {}: version {version} is brought up to date; the old file is kept \
                     as {}",
                    path.display(),
                    kept.display()
                );
                return Ok(());
            }
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(io(e)),
        }
    }
    Ok(())
}
