//! Files that are never left half-written.

use std::io::Write;
use std::path::Path;

use crate::error::{Error, Result};

/// Write `bytes` to `path` in one step: beside it, synced, then renamed onto it.
/// A reader sees the old content or the new, never a part.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    write_whole_by(path, |file| file.write_all(bytes).map_err(|e| Error::io(path, "write", &e)))
}

/// The same for what is written part by part.
pub fn write_whole_by(
    path: &Path,
    write: impl FnOnce(&mut std::fs::File) -> Result<()>,
) -> Result<()> {
    let place = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let failed = |e: std::io::Error| Error::io(path, "write", &e);
    let mut beside = tempfile::Builder::new()
        .prefix(".coilrig-")
        .permissions(shared_permissions())
        .tempfile_in(place)
        .map_err(failed)?;
    write(beside.as_file_mut())?;
    beside.as_file().sync_all().map_err(failed)?;
    beside.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
}

/// Results are for others to read too; the temporary file's private mode is not.
fn shared_permissions() -> std::fs::Permissions {
    use std::os::unix::fs::PermissionsExt;
    std::fs::Permissions::from_mode(0o644)
}

/// Refuse a path at which there is something already: results that a person
/// may have worked on are never overwritten.
pub fn must_be_new(path: &Path) -> Result<()> {
    if !path.exists() {
        return Ok(());
    }
    let what = "is there already, and nothing is overwritten";
    Err(Error::file(path.display(), what, "choose another name, or move the old one away"))
}

/// Make a folder and those above it.
pub fn make_folder(path: &Path) -> Result<()> {
    std::fs::create_dir_all(path).map_err(|e| Error::io(path, "make the folder", &e))
}

/// Read a whole text file.
pub fn read_text(path: &Path) -> Result<String> {
    let bytes = std::fs::read(path).map_err(|e| Error::io(path, "read", &e))?;
    String::from_utf8(bytes).map_err(|e| {
        Error::file(
            format!("{}, byte {}", path.display(), e.utf8_error().valid_up_to()),
            "is not UTF-8 text",
            "give the text file itself, saved as UTF-8",
        )
    })
}
