//! Whether the file is whole, and whether captures are what they were.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::digest;
use super::entering::CLOCKS_DIFFER;
use super::entries::{Capture, EntryId};
use super::opening::Records;
use super::reading::Entry;
use crate::capture::meta::Paths;
use crate::error::{Error, Result};

/// What is not as it should be.
#[derive(Debug, Default, Serialize)]
pub struct Findings {
    /// Damage of the file, in SQLite's words.
    pub damage: Vec<String>,
    /// Entries that lack parts.
    pub in_part: Vec<EntryId>,
    /// Entries that were made when the clock had gone back, and by how much, s.
    pub clock_back: Vec<(EntryId, f64)>,
    /// Captures that are not what they were.
    pub captures: Vec<CaptureFinding>,
    /// How many captures were looked at.
    pub captures_checked: usize,
}

/// A capture that is not what it was.
#[derive(Debug, Serialize)]
pub struct CaptureFinding {
    /// Its entry.
    pub id: EntryId,
    /// Where it was.
    pub path: PathBuf,
    /// What became of it.
    pub state: CaptureState,
}

/// What became of a capture.
#[derive(Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CaptureState {
    /// The samples are other ones: what rests on it cannot be measured again.
    SamplesChanged,
    /// Same samples, another .sigmf-meta file: annotations, calibration.
    MetadataChanged,
    /// Not there, but its samples are at this place.
    Moved(PathBuf),
    /// Not there.
    Missing,
    /// There, and not readable.
    Unreadable(String),
}

impl Records {
    /// Look at every page and every entry of the file.
    ///
    /// # Errors
    ///
    /// A file that cannot be read at all.
    pub fn check(&self) -> Result<Findings> {
        let mut found = Findings {
            damage: self.rows("PRAGMA integrity_check(100)", [], |row| row.get(0))?,
            ..Findings::default()
        };
        found.damage.retain(|said| said != "ok");
        if !found.damage.is_empty() {
            return Ok(found);
        }
        found.damage = self.rows("PRAGMA foreign_key_check", [], |row| {
            let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
            Ok(format!("an entry of {table} is of a {parent} that is not there"))
        })?;
        found.in_part = self.rows(
            "SELECT id FROM measurement WHERE value_count <> \
                 (SELECT count(*) FROM value WHERE measurement = measurement.id) \
             UNION ALL SELECT id FROM verification WHERE capture_count <> \
                 (SELECT count(*) FROM verification_capture \
                  WHERE verification = verification.id)",
            [],
            |row| row.get(0),
        )?;
        let mut latest: Option<Timestamp> = None;
        self.rows("SELECT id, entered_at FROM entry ORDER BY id", [], |row| {
            let (id, at) = (row.get(0)?, super::reading::time(row, 1)?);
            let back = latest.map_or(SignedDuration::ZERO, |latest| latest.duration_since(at));
            if back > CLOCKS_DIFFER {
                found.clock_back.push((id, back.as_secs_f64()));
            }
            latest = latest.max(Some(at));
            Ok(())
        })?;
        Ok(found)
    }

    /// Hold all captures against their entries; those that are not there are looked for
    /// in the folder `search` and all below it.
    ///
    /// # Errors
    ///
    /// Records or a folder that cannot be read.
    pub fn check_captures(&self, search: Option<&Path>) -> Result<(usize, Vec<CaptureFinding>)> {
        let captures = self.captures()?;
        let mut found = Vec::new();
        let mut elsewhere = None;
        for Entry { id, what, .. } in &captures {
            let path = self.whole_path(&what.path);
            let state = match state_of(what, &path) {
                None => continue,
                Some(CaptureState::Missing) => {
                    let known = match (&mut elsewhere, search) {
                        (None, None) => None,
                        (None, Some(folder)) => {
                            elsewhere.insert(captures_below(folder)?).get(&what.sha256)
                        }
                        (Some(known), _) => known.get(&what.sha256),
                    };
                    known.map_or(CaptureState::Missing, |path| CaptureState::Moved(path.clone()))
                }
                Some(other) => other,
            };
            found.push(CaptureFinding { id: *id, path, state });
        }
        Ok((captures.len(), found))
    }
}

/// What became of a capture that was at `path`; nothing, mostly.
fn state_of(entered: &Capture, path: &Path) -> Option<CaptureState> {
    let paths = Paths::of(path);
    if !paths.data.exists() {
        return Some(CaptureState::Missing);
    }
    match digest::of_file(&paths.data) {
        Err(e) => return Some(CaptureState::Unreadable(e.what().to_owned())),
        Ok(samples) if samples != entered.sha256 => return Some(CaptureState::SamplesChanged),
        Ok(_) => {}
    }
    match digest::of_file(&paths.meta) {
        Err(e) => Some(CaptureState::Unreadable(e.what().to_owned())),
        Ok(meta) if meta != entered.sha256_meta => Some(CaptureState::MetadataChanged),
        Ok(_) => None,
    }
}

/// The .sigmf-meta files in a folder and below by the content of their samples.
fn captures_below(folder: &Path) -> Result<HashMap<String, PathBuf>> {
    let mut known = HashMap::new();
    let mut due = vec![folder.to_owned()];
    while let Some(folder) = due.pop() {
        let failed = |e: std::io::Error| Error::io(&folder, "read the folder", &e);
        for entry in std::fs::read_dir(&folder).map_err(failed)? {
            let entry = entry.map_err(failed)?;
            let (path, kind) = (entry.path(), entry.file_type().map_err(failed)?);
            if kind.is_dir() {
                due.push(path);
            } else if path.extension().is_some_and(|e| e == "sigmf-data") {
                known.insert(digest::of_file(&path)?, Paths::of(&path).meta);
            }
        }
    }
    Ok(known)
}
