//! What SQLite says, for people.

use std::path::Path;

use rusqlite::ErrorCode;

use crate::error::Error;

/// Extended codes of SQLite (https://sqlite.org/rescode.html).
const IOERR_FSYNC: i32 = 1034;
const IOERR_DIR_FSYNC: i32 = 1290;

/// An error about the records at `path`, met while `doing` something ("enter into",
/// "read").
pub fn explained(path: &Path, doing: &str, error: &rusqlite::Error) -> Error {
    let at = path.display();
    let (code, extended, said) = match error {
        rusqlite::Error::SqliteFailure(e, said) => {
            (e.code, e.extended_code, said.clone().unwrap_or_else(|| e.to_string()))
        }
        other => {
            let what = format!("cannot {doing} the records: {other}");
            return Error::file(at, what, "see whether the file is whole: coilrig records check");
        }
    };
    let (what, remedy) = match code {
        ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => (
            "another program keeps the records to itself; nothing was entered".to_owned(),
            "close the other program, or wait for it, and give the command again",
        ),
        ErrorCode::DiskFull => (
            format!("cannot {doing} the records: the disk is full; nothing was entered"),
            "free some space and give the command again; all earlier entries are safe",
        ),
        ErrorCode::ReadOnly | ErrorCode::PermissionDenied => (
            format!("cannot {doing} the records: they cannot be written here ({said})"),
            "check who may write the file and its folder, or work on a copy elsewhere",
        ),
        ErrorCode::SystemIoFailure if matches!(extended, IOERR_FSYNC | IOERR_DIR_FSYNC) => (
            format!("the disk did not confirm that it wrote ({said}): the entry may be lost"),
            "check the disk, then see whether the entry is there: coilrig records list",
        ),
        ErrorCode::SystemIoFailure => (
            format!(
                "cannot {doing} the records: the system refuses ({said}: no space, a limit of \
                 size, or a disk that fails); nothing was entered"
            ),
            "check space and disk and give the command again; all earlier entries are safe",
        ),
        ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => (
            format!("the records are damaged ({said})"),
            "leave the file as it is and save what can be read: coilrig records salvage",
        ),
        ErrorCode::CannotOpen => (
            format!("cannot open the records ({said})"),
            "check the path, and who may read the file and write in its folder",
        ),
        ErrorCode::ConstraintViolation => {
            (format!("cannot {doing} the records: {said}"), "correct what was to be entered")
        }
        _ => (
            format!("cannot {doing} the records: {said}"),
            "see whether the file is whole: coilrig records check",
        ),
    };
    Error::file(at, what, remedy)
}
