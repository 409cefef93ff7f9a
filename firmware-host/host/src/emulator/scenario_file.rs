//! Scenario files.

use std::path::Path;

use coilrig_analysis::scenario::Scenario;

use crate::error::{Error, Result};
use crate::toml_file;

/// Read a scenario and check that it makes sense.
///
/// # Errors
///
/// A file that cannot be read, is no scenario (with the line), or holds a
/// number that makes no sense (with the field).
pub fn load(path: &Path) -> Result<Scenario> {
    let scenario: Scenario =
        toml_file::load(path, "mend the line; captures/demo.toml shows every part of a scenario")?;
    scenario
        .validate()
        .map_err(|e| Error::file(format!("{}, {}", path.display(), e.field), e.what, e.remedy))?;
    Ok(scenario)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Kind;

    fn refused(text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s.toml");
        std::fs::write(&path, text).unwrap();
        let error = load(&path).unwrap_err();
        assert_eq!(error.kind(), Kind::File);
        error.to_string()
    }

    #[test]
    fn nonsense_is_refused_with_its_place() {
        let error = refused("seed = 1\n[receiver]\nnoise = 3\n");
        assert!(error.contains("s.toml, line 3: ") && error.contains("`noise`"), "{error}");
        let error = refused("receiver.gain_step = 9");
        assert!(error.contains("s.toml, receiver.gain_step: is 9 of 2 steps"), "{error}");
        assert!(error.contains("to do: count from 0"), "{error}");
    }
}
