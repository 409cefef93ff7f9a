//! `coilrig report`: what to hand to the owner, the insurer, the association.

use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;
use jiff::civil::Date;

use super::history::Which;
use super::{CAUTIONS, Outcome, into_records};
use crate::error::{Error, Result};
use crate::exporting;
use crate::files;
use crate::following::{self, timestamp};
use crate::output::report::Report as Page;
use crate::printing;
use crate::records::Records;

/// Report a unit, a station or a season: as a page, as PDF, or as tables
///
/// The page has a map of the station, all units and how they stand, charts, what was
/// verified, decided and done, what is due, and with --since what changed: one HTML file
/// with everything in it, made to be printed on A4. --export writes all that is on record
/// as Parquet and CSV, so that the files of many parks can be queried side by side.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLE)]
pub struct Report {
    #[command(flatten)]
    which: Which,
    /// Season, from July to June, such as 2025/26: seen from its end, its entries listed
    #[arg(long, value_name = "YEARS", value_parser = season, conflicts_with_all = ["from", "to"])]
    season: Option<Season>,
    /// List entries from this day on
    #[arg(long, value_name = "DAY")]
    from: Option<Date>,
    /// Seen from the end of this day, without what came later
    #[arg(long, value_name = "DAY", conflicts_with = "as_of")]
    to: Option<Date>,
    /// Tell what changed since then, such as the day of the last report
    #[arg(long, value_name = "DAY|TIME", value_parser = into_records::when)]
    since: Option<Timestamp>,
    /// Write the page
    #[arg(long, value_name = "FILE.html", required_unless_present_any = ["pdf", "export"])]
    out: Option<PathBuf>,
    /// Print the page to a PDF, by a Chromium that is on this machine
    #[arg(long, value_name = "FILE.pdf")]
    pdf: Option<PathBuf>,
    /// Write all tables of the records to this folder, as Parquet and CSV, with SCHEMA.md
    #[arg(long, value_name = "FOLDER", requires = "park")]
    export: Option<PathBuf>,
    /// Name of the park or club, a column of all exported tables
    #[arg(long, value_name = "NAME")]
    park: Option<String>,
}

const EXAMPLE: &str = "\
Example:
  coilrig report --station \"Larch meadow\" --season 2025/26 --out season.html --pdf season.pdf
  coilrig report --unit creek --since 2025-12-01 --out creek.html
  coilrig report --export tables --park \"Larch meadow\"";

#[derive(Clone, Debug, PartialEq)]
struct Season {
    name: String,
    /// From the first day to the end of the last, s.
    from: Timestamp,
    to: Timestamp,
}

fn season(text: &str) -> std::result::Result<Season, String> {
    let wrong = || "give two years that follow each other, such as 2025/26".to_owned();
    let (first, second) = text.trim().split_once('/').ok_or_else(wrong)?;
    let year: i16 = first.parse().map_err(|_| wrong())?;
    let next = year.checked_add(1).ok_or_else(wrong)?;
    let follows = second == next.to_string() || second == format!("{:02}", next.rem_euclid(100));
    if first.len() != 4 || !follows {
        return Err(wrong());
    }
    let begins = |year| {
        let first_of_july = Date::new(year, 7, 1).ok().and_then(following::midnight);
        first_of_july.map(timestamp).ok_or_else(wrong)
    };
    let name = format!("season {year}/{:02}", next.rem_euclid(100));
    Ok(Season { name, from: begins(year)?, to: begins(next)? })
}

impl Report {
    /// First and last time of what is reported, and what people call it.
    fn time(&self) -> Result<(Option<Timestamp>, Option<Timestamp>, Option<String>)> {
        if let Some(season) = &self.season {
            return Ok((Some(season.from), Some(season.to), Some(season.name.clone())));
        }
        let begin = |day: Date| following::midnight(day).map(timestamp);
        let from = self.from.and_then(begin);
        let to = self.to.and_then(|day| day.tomorrow().ok()).and_then(begin);
        if from.zip(to).is_some_and(|(from, to)| from >= to) {
            return Err(Error::usage("--from lies after --to", "exchange the two days"));
        }
        let name = match (self.from, self.to) {
            (Some(from), Some(to)) => Some(format!("{from} to {to}")),
            (Some(from), None) => Some(format!("since {from}")),
            (None, Some(to)) => Some(format!("until {to}")),
            (None, None) => None,
        };
        Ok((from, to, name))
    }
}

/// Run the command.
pub fn run(args: &Report) -> Result<Outcome> {
    let (from, to, time) = args.time()?;
    let now = Timestamp::now();
    if from.is_some_and(|from| from > now) {
        let what = "the time of the report has not begun";
        return Err(Error::usage(what, "give an earlier season or day"));
    }
    let records = args.which.open()?;
    if args.out.is_some() || args.pdf.is_some() {
        let question = args.which.question(to.map(|to| to.min(now)))?;
        page(args, &records, &question, from, time)?;
    }
    if let (Some(folder), Some(park)) = (&args.export, &args.park) {
        let count = exporting::export(&records, park, folder)?;
        let what = crate::measuring::counted(count as u64, "table");
        said(&format!("wrote {what} to {}", folder.display()));
    }
    eprintln!("{CAUTIONS}");
    Ok(Outcome::Done)
}

fn page(
    args: &Report,
    records: &Records,
    question: &following::Question<'_>,
    from: Option<Timestamp>,
    time: Option<String>,
) -> Result<()> {
    if args.since.is_some_and(|since| since >= question.as_of) {
        let what = "--since lies after the time of the report";
        return Err(Error::usage(what, "give the day of an earlier report"));
    }
    let histories = following::load(records, question)?;
    let layout = histories.station.as_ref().map(|s| following::layout(records, s)).transpose()?;
    let path = records.path().display().to_string();
    let of = match (&args.which.unit, &args.which.station) {
        (Some(unit), _) => format!("Unit {unit}"),
        (None, Some(station)) => station.clone(),
        (None, None) => args.park.clone().unwrap_or_else(|| "All units".into()),
    };
    let page = Page {
        of,
        time,
        from,
        since: args.since,
        question,
        histories: &histories,
        layout: layout.as_ref(),
        records: &path,
    };
    let html = page.html()?;
    if let Some(path) = &args.out {
        files::write_whole(path, html.as_bytes())?;
        said(&format!("wrote {}", path.display()));
    }
    if let Some(path) = &args.pdf {
        printing::to_pdf(&html, path)?;
        said(&format!("wrote {}", path.display()));
    }
    Ok(())
}

fn said(what: &str) {
    eprintln!("coilrig: {what}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_goes_from_summer_to_summer() {
        let found = season("2025/26").unwrap();
        assert_eq!(
            (found.name.as_str(), found.from.to_string().as_str()),
            ("season 2025/26", "2025-07-01T00:00:00Z")
        );
        assert_eq!(season("2025/2026").unwrap(), found);
        assert_eq!(season("1999/00").unwrap().to.to_string(), "2000-07-01T00:00:00Z");
        for wrong in ["2025", "2025/27", "25/26", "2025-26", "/", "99999/00"] {
            assert!(season(wrong).is_err(), "{wrong}");
        }
    }
}
