//! Units by their names. A name that is typed wrongly would begin a history of its
//! own, so one that is nearly that of a known unit is refused.

use super::entering::{Entering, Stamp};
use super::entries::{EntryId, Unit};
use super::opening::Records;
use super::reading::KnownUnit;
use crate::error::{Error, Result};

impl Records {
    /// The unit of this name in force.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn unit_named(&self, name: &str) -> Result<Option<KnownUnit>> {
        Ok(self.units()?.into_iter().find(|unit| unit.entry.what.name == name))
    }

    /// The unit of this name in force, which there must be.
    ///
    /// # Errors
    ///
    /// There is none, with what there is.
    pub fn known_unit(&self, name: &str) -> Result<KnownUnit> {
        let units = self.units()?;
        let known = units.iter().find(|unit| unit.entry.what.name == name);
        known.cloned().ok_or_else(|| {
            let what = format!("holds no unit \"{name}\"; its units: {}", names(&units));
            Error::file(
                self.path().display(),
                what,
                "give one of these, or enter it: coilrig records unit",
            )
        })
    }

    /// Whether something may be entered of a unit of this name and serial number: it is
    /// known, or can be no other than a new one.
    ///
    /// # Errors
    ///
    /// A name nearly that of a known unit, or another serial number than that has.
    pub fn check_unit(&self, name: &str, serial: Option<&str>) -> Result<Option<KnownUnit>> {
        if name.trim().is_empty() || name != name.trim() || name.chars().any(char::is_control) {
            let what = format!("{name:?} is no name of a unit");
            return Err(Error::usage(what, "give --unit a name without blanks around it"));
        }
        let units = self.units()?;
        let refuse =
            |what: String, remedy: &str| Err(Error::file(self.path().display(), what, remedy));
        let same =
            units.iter().find(|u| serial.is_some() && u.entry.what.serial.as_deref() == serial);
        if let Some(same) = same.filter(|same| same.entry.what.name != name) {
            return refuse(
                format!(
                    "the serial number {} is that of unit \"{}\", not \"{name}\"",
                    serial.unwrap_or_default(),
                    same.entry.what.name
                ),
                "give that name, or correct its entry: coilrig records correct",
            );
        }
        if let Some(known) = units.iter().find(|unit| unit.entry.what.name == name) {
            return match (&known.entry.what.serial, serial) {
                (Some(has), Some(given)) if has != given => refuse(
                    format!("unit \"{name}\" has the serial number {has}, not {given}"),
                    "give the name of the unit that was measured, or correct its entry: \
                     coilrig records correct",
                ),
                _ => Ok(Some(known.clone())),
            };
        }
        if let Some(near) = units.iter().find(|unit| is_near(&unit.entry.what.name, name)) {
            return refuse(
                format!("no unit is called \"{name}\", but one \"{}\"", near.entry.what.name),
                "give that name; if it is another unit all the same, enter it first: \
                 coilrig records unit",
            );
        }
        Ok(None)
    }
}

impl Entering<'_> {
    /// The unit of this name, entered as a new one where it is not known yet, and with
    /// the serial number where that was not; `warn` is told so.
    ///
    /// # Errors
    ///
    /// Those of [`Records::check_unit`], and of entering.
    pub fn unit(
        &mut self,
        name: &str,
        serial: Option<&str>,
        warn: impl FnOnce(&str),
    ) -> Result<EntryId> {
        let path = self.records.path().display();
        let known = self.records.check_unit(name, serial)?;
        let (what, corrects) = match &known {
            Some(known) if serial.is_none() || known.entry.what.serial.is_some() => {
                return Ok(known.unit);
            }
            Some(KnownUnit { entry, .. }) => (entry.what.clone(), Some(entry.id)),
            None => (Unit { name: name.into(), serial: None, model: None }, None),
        };
        let stamp = Stamp { corrects, ..Stamp::at(self.now()) };
        let id = self.add(&stamp, &Unit { serial: serial.map(Into::into), ..what })?;
        match (known, serial) {
            (Some(known), Some(serial)) => {
                warn(&format!(
                    "unit \"{name}\" has the serial number {serial} from now on in {path}"
                ));
                Ok(known.unit)
            }
            _ => {
                warn(&format!("unit \"{name}\" is new in {path}"));
                Ok(id)
            }
        }
    }
}

/// Names of units in words.
pub fn names(units: &[KnownUnit]) -> String {
    let names: Vec<String> =
        units.iter().map(|unit| format!("\"{}\"", unit.entry.what.name)).collect();
    if names.is_empty() { "none".into() } else { names.join(", ") }
}

/// Whether two names are likely meant to be the same. Numbers must be equal: unit 7 is
/// not unit 8.
fn is_near(one: &str, other: &str) -> bool {
    let digits = |name: &str| -> Vec<u64> {
        name.split(|c: char| !c.is_ascii_digit()).filter_map(|part| part.parse().ok()).collect()
    };
    let letters = |name: &str| -> String {
        name.to_lowercase().chars().filter(|c| c.is_alphabetic()).collect()
    };
    if digits(one) != digits(other) {
        return false;
    }
    let (one, other) = (letters(one), letters(other));
    let (long, short) = (one.chars().count(), other.chars().count());
    let (long, short) = (long.max(short), long.min(short));
    // "hut" and "but" are two units; "hut" and "hutt" hardly, nor "creek" and "crek".
    let mistyped = match short {
        0..=2 => 0,
        3 if long == short => 0,
        3 => 1,
        4..=5 => 1,
        _ => 2,
    };
    strsim::damerau_levenshtein(&one, &other) <= mistyped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mistyped_names_are_near_and_numbered_ones_are_not() {
        for (one, other) in [
            ("creek", "Creek"),
            ("unit 7", "unit-07"),
            ("rental 7", "retnal 7"),
            ("creek", "crek"),
            ("hut", "hutt"),
            ("post", "pst"),
        ] {
            assert!(is_near(one, other), "{one}, {other}");
        }
        for (one, other) in
            [("unit 7", "unit 8"), ("hut", "but"), ("creek", "stump"), ("post 1", "post")]
        {
            assert!(!is_near(one, other), "{one}, {other}");
        }
    }
}
