//! Temperatures noted beside a long recording: CSV with the columns `datetime` (RFC
//! 3339) or `time_s` (seconds from the start of the first capture), and
//! `temperature_c`; other columns are left alone.

use std::path::Path;

use coilrig_analysis::over_time::TemperatureCourse;
use jiff::Timestamp;

use crate::error::{Error, Result};
use crate::files;
use crate::readings::line_from;

/// No place on earth where a unit is tested is colder or warmer, °C.
const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = -90.0..=120.0;

/// Read the temperatures at `path` as a course over the seconds from `start` on.
///
/// # Errors
///
/// A file that is no such table, with its line; one with dates while no capture says
/// when it was begun.
pub fn read(path: &Path, start: Option<Timestamp>) -> Result<TemperatureCourse> {
    parse(path, &files::read_text(path)?, start)
}

fn parse(path: &Path, text: &str, start: Option<Timestamp>) -> Result<TemperatureCourse> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut rows = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let no_csv = |e: &csv::Error| {
        Error::file(path.display(), format!("is no CSV table: {e}"), "save the table as CSV anew")
    };
    let header = rows.headers().map_err(|e| no_csv(&e))?.clone();
    let column = |name: &str| header.iter().position(|h| h == name);
    let (dates, seconds) = (column("datetime"), column("time_s"));
    let (Some(time), Some(temperature)) = (dates.or(seconds), column("temperature_c")) else {
        return Err(Error::file(
            format!("{}, header", path.display()),
            format!("is \"{}\"", header.iter().collect::<Vec<_>>().join(",")),
            "name the columns datetime,temperature_c or time_s,temperature_c",
        ));
    };
    let mut noted = Vec::new();
    for row in rows.records() {
        let row = row.map_err(|e| no_csv(&e))?;
        if row.iter().all(str::is_empty) {
            continue;
        }
        let line = row.position().map_or(0, |p| line_from(text, p.byte() as usize));
        let bad = |column: &str, what: String, remedy: &str| {
            Error::file(format!("{}, line {line}, {column}", path.display()), what, remedy)
        };
        let number = |column: &str, at: usize| {
            row[at].parse::<f64>().ok().filter(|v| v.is_finite()).ok_or_else(|| {
                let what = format!("\"{}\" is not a number", &row[at]);
                bad(column, what, "write a plain number with a decimal point, without the unit")
            })
        };
        let at_s = if dates.is_some() {
            let when: Timestamp = row[time].parse().map_err(|_| {
                let what = format!("\"{}\" is no date and time", &row[time]);
                bad("datetime", what, "write it as 2026-01-31T07:30:00Z")
            })?;
            let start = start.ok_or_else(|| {
                Error::file(
                    path.display(),
                    "has dates, but the captures do not say when they were begun",
                    "give seconds from the start of the first capture in a column time_s",
                )
            })?;
            when.duration_since(start).as_secs_f64()
        } else {
            number("time_s", time)?
        };
        let celsius = number("temperature_c", temperature)?;
        if !PLAUSIBLE_C.contains(&celsius) {
            let what = format!("{celsius} °C is no temperature of the air");
            return Err(bad("temperature_c", what, "give temperatures in °C"));
        }
        noted.push((at_s, celsius));
    }
    if noted.is_empty() {
        return Err(Error::file(path.display(), "has no rows", "add one a few minutes"));
    }
    Ok(TemperatureCourse::new(noted))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start() -> Option<Timestamp> {
        Some("2026-01-31T07:30:00Z".parse().unwrap())
    }

    fn error_of(text: &str) -> String {
        parse(Path::new("t.csv"), text, start()).unwrap_err().to_string()
    }

    #[test]
    fn dates_and_seconds_tell_the_same() {
        let dates = "datetime,place,temperature_c\n2026-01-31T07:29:00Z,shed,4\n\
                     2026-01-31T08:31:00+01:00,shed,-4\n";
        let seconds = "# the same\ntemperature_c,time_s\n4,-60\n\n-4,60\n";
        let read = |text| parse(Path::new("t.csv"), text, start()).unwrap();
        assert_eq!(read(dates), read(seconds));
        assert_eq!(read(dates).at(0.0), Some(0.0));
    }

    #[test]
    fn faults_are_named_with_their_line() {
        assert!(error_of("time,temp\n1,2\n").contains("header: is \"time,temp\""));
        let bad = error_of("time_s,temperature_c\n0,1\n60,cold\n");
        assert!(bad.contains("line 3, temperature_c: \"cold\" is not a number"));
        assert!(error_of("datetime,temperature_c\nnoon,1\n").contains("line 2, datetime"));
        assert!(error_of("time_s,temperature_c\n0,268.15\n").contains("no temperature of the air"));
        assert!(error_of("time_s,temperature_c\n").contains("has no rows"));
        let undated =
            parse(Path::new("t.csv"), "datetime,temperature_c\n2026-01-31T07:29:00Z,4\n", None);
        assert!(undated.unwrap_err().to_string().contains("do not say when"));
    }
}
