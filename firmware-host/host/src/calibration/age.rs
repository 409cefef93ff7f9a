//! Whether a calibration counts on a given day.

use std::path::Path;

use jiff::ToSpan;
use jiff::civil::Date;

use super::Calibration;
use crate::error::Result;

/// Days that a calibration counts when nobody says otherwise: a year.
pub const VALID_FOR_DAYS: u32 = 365;

/// What a person must know of the age of a calibration that is used on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Concern {
    /// It was made later than that day.
    FromTheFuture {
        /// Its date.
        date: Date,
        /// The day.
        day: Date,
    },
    /// It does not count any more.
    Expired {
        /// Last day on which it counted.
        expires: Date,
        /// The day.
        day: Date,
    },
    /// A date that cannot be read.
    NoDate {
        /// Name of the field.
        field: &'static str,
        /// What stands there.
        text: String,
    },
}

impl std::fmt::Display for Concern {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::FromTheFuture { date, day } => write!(
                f,
                "the calibration is dated {date}, which on {day} is still to come: check the \
                 clock of the computer and the date in the file"
            ),
            Self::Expired { expires, day } => write!(
                f,
                "the calibration expired on {expires} and is used on {day}: fields and \
                 frequencies may be off by more than they state; calibrate the receiver anew"
            ),
            Self::NoDate { field, text } => write!(
                f,
                "the calibration has the {field} \"{text}\", which is no day such as 2026-01-15: \
                 nothing tells whether it still counts"
            ),
        }
    }
}

/// Concerns about a calibration of that `date` that counts until `expires`, or for
/// a year when it does not say, used on `day`.
pub fn concerns(date: &str, expires: Option<&str>, day: Date) -> Vec<Concern> {
    let read = |field, text: &str| {
        text.parse::<Date>().map_err(|_| Concern::NoDate { field, text: text.to_owned() })
    };
    let date = match read("date", date) {
        Ok(date) => date,
        Err(concern) => return vec![concern],
    };
    let expires = match expires.map(|text| read("expires", text)) {
        Some(Ok(expires)) => expires,
        Some(Err(concern)) => return vec![concern],
        None => after(date, VALID_FOR_DAYS),
    };
    let future = (date > day).then_some(Concern::FromTheFuture { date, day });
    let expired = (expires < day).then_some(Concern::Expired { expires, day });
    future.into_iter().chain(expired).collect()
}

/// So many days after `date`; the last day of all when there is none.
pub fn after(date: Date, days: u32) -> Date {
    date.checked_add(i64::from(days).days()).unwrap_or(Date::MAX)
}

impl Calibration {
    /// Read the calibration file at `path` for use on `day`; `warn` is told of
    /// concerns about its age.
    ///
    /// # Errors
    ///
    /// A file that cannot be read.
    pub fn load_for_use(path: &Path, day: Date, mut warn: impl FnMut(&str)) -> Result<Self> {
        let calibration = Self::load(path)?;
        for concern in calibration.concerns(day) {
            warn(&format!("{}: {concern}", path.display()));
        }
        Ok(calibration)
    }

    /// Concerns about using it on `day`.
    pub fn concerns(&self, day: Date) -> Vec<Concern> {
        concerns(&self.date, self.expires.as_deref(), day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calibration_counts_from_its_day_to_its_last() {
        let day = |text: &str| text.parse::<Date>().unwrap();
        let on = |text: &str| concerns("2026-01-15", Some("2026-06-30"), day(text));
        assert_eq!(on("2026-01-15"), []);
        assert_eq!(on("2026-06-30"), []);
        assert!(matches!(on("2026-01-14")[..], [Concern::FromTheFuture { .. }]));
        assert!(matches!(on("2026-07-01")[..], [Concern::Expired { .. }]));
        assert!(on("2026-07-01")[0].to_string().contains("2026-06-30"));
    }

    #[test]
    fn without_a_last_day_it_counts_for_a_year() {
        let on = |text: &str| concerns("2026-01-15", None, text.parse().unwrap());
        assert_eq!(on("2027-01-15"), []);
        assert!(matches!(on("2027-01-16")[..], [Concern::Expired { .. }]));
    }

    #[test]
    fn a_date_that_is_none_is_a_concern() {
        let day = "2026-02-01".parse().unwrap();
        assert!(concerns("last winter", None, day)[0].to_string().contains("last winter"));
        assert!(matches!(concerns("2026-01-15", Some("soon"), day)[..], [Concern::NoDate { .. }]));
    }
}
