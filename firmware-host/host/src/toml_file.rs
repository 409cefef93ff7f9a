//! TOML files that people write, with the line where one goes wrong.

use std::path::Path;

use serde::de::DeserializeOwned;

use crate::error::{Error, Result};
use crate::files;

/// Read `path` as a `T`.
///
/// # Errors
///
/// A file that cannot be read, or that does not hold a `T`: then with the line
/// and, for whoever wrote the file, what to do.
pub fn load<T: DeserializeOwned>(path: &Path, remedy: &str) -> Result<T> {
    let text = files::read_text(path)?;
    toml::from_str(&text).map_err(|e| {
        let place = match e.span() {
            Some(span) => format!("{}, line {}", path.display(), line_of(&text, span.start)),
            None => path.display().to_string(),
        };
        Error::file(place, e.message().trim_end(), remedy)
    })
}

/// The line, counted from 1, that holds byte `at`.
pub(crate) fn line_of(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|&byte| byte == b'\n').count() + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Depths {
        depth_m: Vec<f64>,
    }

    #[test]
    fn errors_name_file_line_and_matter() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("depths.toml");
        for (text, line, matter) in [
            ("\n\ndepth_m = [1.0, \"two\"]\n", 3, "two"),
            ("depth_m = []\ndeph_m = []\n", 2, "deph_m"),
            ("depth_m = [\n1.0,\n", 2, "unclosed"),
        ] {
            std::fs::write(&path, text).unwrap();
            let error = load::<Depths>(&path, "mend it").unwrap_err().to_string();
            assert!(error.contains(&format!("depths.toml, line {line}: ")), "{error}");
            assert!(error.contains(matter) && error.ends_with("mend it"), "{error}");
        }
        std::fs::write(&path, "depth_m = [1.0]").unwrap();
        assert_eq!(load::<Depths>(&path, "mend it").unwrap().depth_m, [1.0]);
    }
}
