//! The report of a unit, a station or a season: one HTML page with everything in it, made
//! to be printed on A4 and filed.

mod changes;
mod unit;

use coilrig_analysis::limits::RECEIVER_THRESHOLD;
use coilrig_analysis::picture::station_map::StationMap;
use coilrig_analysis::picture::station_units::StationUnits;
use coilrig_analysis::plan;
use coilrig_analysis::station::Station;
use jiff::Timestamp;
use maud::{Markup, PreEscaped, html};

use super::history::{text, words};
use super::pictures::svg;
use super::verification;
use crate::error::Result;
use crate::following::{Histories, Question, UnitHistory, day, seconds};
use crate::measuring::counted;

const STYLE: &str = concat!(include_str!("../sheet/sheet.css"), include_str!("report.css"));

/// What a report is of.
pub struct Report<'a> {
    /// Its heading: the unit, station or park.
    pub of: String,
    /// The season or dates, as people say them.
    pub time: Option<String>,
    /// Entries from then on are listed; all without.
    pub from: Option<Timestamp>,
    /// Changes are counted from then on, where that is asked.
    pub since: Option<Timestamp>,
    /// What was asked.
    pub question: &'a Question<'a>,
    /// What the records say.
    pub histories: &'a Histories,
    /// The station's file, where the report is of one.
    pub layout: Option<&'a Station>,
    /// Path of the records.
    pub records: &'a str,
}

impl Report<'_> {
    fn now_s(&self) -> f64 {
        seconds(self.question.as_of)
    }

    /// Whether an entry made of that time is listed.
    fn lists(&self, at: Timestamp) -> bool {
        self.from.is_none_or(|from| at >= from)
    }

    /// Every chart is drawn for one unit; of several those that want looking at.
    fn of_one_unit(&self) -> bool {
        self.histories.units.len() == 1
    }

    /// The page.
    ///
    /// # Errors
    ///
    /// A picture that cannot be drawn.
    pub fn html(&self) -> Result<String> {
        let title = match &self.time {
            Some(time) => format!("{}: {time}", self.of),
            None => self.of.clone(),
        };
        let map = self.layout.map(|station| self.map(station)).transpose()?;
        let units: Vec<Markup> =
            self.histories.units.iter().map(|u| unit::section(self, u)).collect::<Result<_>>()?;
        let body = html! {
            section.report {
                h1 { (title) }
                (self.head())
                p.caution { (verification::cautions().join(" ")) }
                (self.noticed())
                @if let Some(map) = &map { figure.map { (PreEscaped(map)) } }
                @if !self.of_one_unit() { (self.overview()) }
                (self.due())
                @if let Some(since) = self.since { (changes::section(self, since)) }
            }
            @for unit in &units { (unit) }
            section.report {
                h2 { "How to read this" }
                p.note { (text::notes(self.histories)) }
                (signature())
            }
        };
        Ok(super::page::page(&title, STYLE, &body))
    }

    fn head(&self) -> Markup {
        let receivers: Vec<&str> = self
            .histories
            .calibrations
            .iter()
            .map(|c| c.entry.what.receiver_serial.as_str())
            .collect();
        let place = self.layout.and_then(|s| s.place.clone());
        let pairs = [
            // The last day that counts: a season ends with the midnight after it.
            ("as of", Some(day(self.now_s() - 1.0).to_string())),
            ("limits", Some(self.question.limits.name.clone())),
            ("records", Some(self.records.to_owned())),
            ("place", place),
            ("receivers", (!receivers.is_empty()).then(|| receivers.join(", "))),
            ("program", Some(format!("coilrig {}", env!("CARGO_PKG_VERSION")))),
        ];
        html! {
            dl.identity {
                @for (name, value) in pairs { @if let Some(value) = value {
                    div { dt { (name) } dd { (value) } }
                } }
            }
        }
    }

    fn noticed(&self) -> Markup {
        let now_s = self.now_s();
        let lines = |unit: &UnitHistory| -> Vec<String> {
            let of = |f: &coilrig_analysis::history::Followed| {
                let label = f.quantity.label;
                let findings = words::findings(f, now_s);
                findings.into_iter().map(move |said| format!("{label} {said}")).collect::<Vec<_>>()
            };
            unit.followed
                .iter()
                .filter(|f| words::wants_looking_at(f.standing))
                .flat_map(of)
                .collect()
        };
        let units: Vec<(&str, Vec<String>)> = self
            .histories
            .units
            .iter()
            .map(|unit| (unit.name(), lines(unit)))
            .filter(|(_, lines)| !lines.is_empty())
            .collect();
        html! {
            h2 { "What wants looking at" }
            @if units.is_empty() {
                p { (text::nothing(self.histories)) }
            } @else {
                table.noticed { tbody { @for (name, lines) in &units { @for (row, line) in lines.iter().enumerate() {
                    tr {
                        @if row == 0 { th rowspan=(lines.len()) { (name) } }
                        td { (line) "." }
                    }
                } } } }
            }
        }
    }

    fn map(&self, station: &Station) -> Result<String> {
        let marked: Vec<String> = self
            .histories
            .units
            .iter()
            .filter(|u| words::wants_looking_at(u.standing()))
            .map(|u| {
                // The file may know it by its serial number.
                let serial = &u.known.entry.what.serial;
                let same = station
                    .units
                    .iter()
                    .find(|p| p.name == u.name() || (serial.is_some() && p.serial == *serial));
                same.map_or_else(|| u.name().to_owned(), |p| p.name.clone())
            })
            .collect();
        let on = StationMap {
            station,
            bounds: plan::extent(station),
            threshold_a_per_m: RECEIVER_THRESHOLD.field_a_per_m,
            computed: "",
        };
        svg(&StationUnits { on, marked: &marked })
    }

    fn overview(&self) -> Markup {
        let columns = ["carrier_hz", "period_s", "on_time_s", "field_at_10_m_a_per_m", "depth_m"];
        let last = |unit: &UnitHistory, name: &str| {
            let found = unit.followed.iter().find(|f| f.quantity.name == name);
            found.map_or("–".into(), |f| words::reading(&f.quantity, f.last.value))
        };
        html! {
            h2 { (counted(self.histories.units.len() as u64, "unit")) }
            table.units {
                thead { tr {
                    th { "unit" } th { "stands" } th { "carrier" } th { "period" } th { "time on" }
                    th { "field at 10 m" } th { "depth" } th { "last verified" } th { "decided" }
                } }
                tbody { @for unit in &self.histories.units { tr class=(words::key(unit.standing())) {
                    th { (unit.name()) }
                    td.stands { (words::standing(unit.standing())) }
                    @for column in columns { td { (last(unit, column)) } }
                    td { @match unit.verifications.last() {
                        Some(v) => { (day(seconds(v.at))) ": " (v.what.decision) }
                        None => "never",
                    } }
                    td { @match unit.decisions.last() {
                        Some(d) => (d.what.decision),
                        None => "–",
                    } }
                } } }
            }
            p.note { "Last readings, each with its standard uncertainty; units that want looking at first." }
        }
    }

    fn due(&self) -> Markup {
        let now_s = self.now_s();
        html! {
            h2 { "What is due" }
            table.due {
                thead { tr { th { "" } th { "verification" } th { "batteries" } th { "calibration" } } }
                tbody {
                    @for unit in self.histories.units.iter().filter(|u| !u.retired) { tr {
                        th { (unit.name()) }
                        @for when in [unit.verification_due, unit.battery_due] {
                            td.late[when.now(now_s)] { (words::due(when, now_s)) }
                        }
                        td {}
                    } }
                    @for calibration in &self.histories.calibrations { tr {
                        th { "receiver " (calibration.entry.what.receiver_serial) }
                        td {} td {}
                        @match calibration.ends {
                            Some(when) => { td.late[when.now(now_s)] { (words::due(when, now_s)) } }
                            None => { td { "states no end" } }
                        }
                    } }
                }
            }
        }
    }
}

fn signature() -> Markup {
    html! { div.signature { @for what in ["date", "name", "signature"] { div { span {} (what) } } } }
}
