//! Limits by name, by year, or from a user's own file.

use std::path::Path;

use coilrig_analysis::limits::{LimitSet, published};

use crate::error::{Error, Result};
use crate::files;

/// The set to judge by: `asked` is a published name or the path of a file, `built`
/// the year a unit was made in. With neither, the current set.
///
/// # Errors
///
/// A name that is neither, a file that cannot be used, a year before all sets.
pub fn find(asked: Option<&str>, built: Option<i32>) -> Result<LimitSet> {
    match (asked, built) {
        (Some(asked), _) => named_or_file(asked),
        (None, Some(year)) => of_year(year),
        (None, None) => named_or_file(published::CURRENT),
    }
}

fn named_or_file(asked: &str) -> Result<LimitSet> {
    if let Some(set) = published::named(asked) {
        return Ok(set);
    }
    let path = Path::new(asked);
    if path.exists() || path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
        return load(path);
    }
    let names: Vec<String> = published::all().into_iter().map(|set| set.name).collect();
    Err(Error::usage(
        format!("--limits {asked}: no published set has this name, and no file either"),
        format!("give one of {}, or the path of a TOML file", names.join(", ")),
    ))
}

fn of_year(year: i32) -> Result<LimitSet> {
    published::of_year(year).ok_or_else(|| {
        let sets = published::all();
        let earliest = sets.iter().filter(|s| s.valid_from.is_some()).min_by_key(|s| s.valid_from);
        let remedy = earliest.map_or_else(String::new, |set| {
            let from = set.valid_from.unwrap_or_default();
            format!("the earliest is {} of {from}: give --limits {}", set.name, set.name)
        });
        Error::usage(format!("--built {year}: no set of limits of that time is held"), remedy)
    })
}

fn load(path: &Path) -> Result<LimitSet> {
    let text = files::read_text(path)?;
    LimitSet::parse(&text).map_err(|e| {
        let place = match e.line {
            Some(line) => format!("{}, line {line}", path.display()),
            None => path.display().to_string(),
        };
        Error::file(place, e.what, "mend the file of limits; nothing was judged by it")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_a_year_and_a_file_each_find_their_set() {
        let name = |asked, built| find(asked, built).map(|set| set.name);
        assert_eq!(name(Some("en-282"), None).unwrap(), "en-282");
        assert_eq!(name(None, Some(1998)).unwrap(), "ets-300-718");
        assert_eq!(name(None, None).unwrap(), published::CURRENT);
        let unknown = name(Some("en-999"), None).unwrap_err().to_string();
        assert!(unknown.contains("en-300-718-1, erc-70-03"), "{unknown}");
        let early = name(None, Some(1980)).unwrap_err().to_string();
        assert!(early.contains("en-282"), "{early}");
    }

    #[test]
    fn a_file_that_cannot_be_used_is_refused_with_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("club.toml");
        let file = "format = \"coilrig-limits/1\"\nname = \"club\"\ntitle = \"Club\"\n\n[[bound]]\n\
                    quantity = \"carrier\"\nunit = \"Hz\"\nlower = 457050\nupper = 456950\nsource = \"us\"\n";
        std::fs::write(&path, file).unwrap();
        let error = find(path.to_str(), None).unwrap_err().to_string();
        assert!(error.contains("club.toml, line 9: ") && error.contains("crossed"), "{error}");
        let mended = file.replace("457050", "456900");
        std::fs::write(&path, mended).unwrap();
        assert_eq!(find(path.to_str(), None).unwrap().name, "club");
        assert!(find(Some("none.toml"), None).unwrap_err().to_string().contains("none.toml"));
    }
}
