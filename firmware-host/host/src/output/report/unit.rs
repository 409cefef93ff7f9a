//! The part of one unit.

use jiff::Timestamp;
use maud::{Markup, PreEscaped, html};

use super::super::history::{pictures, text, words};
use super::super::pictures::svg;
use super::Report;
use crate::error::Result;
use crate::following::{UnitHistory, day, seconds};

/// Everything of a unit.
pub(super) fn section(report: &Report<'_>, unit: &UnitHistory) -> Result<Markup> {
    let now_s = report.now_s();
    let done = unit.done();
    let charts: Vec<String> = pictures::charts(unit, &done, &report.question.limits, now_s)
        .iter()
        .filter(|chart| report.of_one_unit() || words::wants_looking_at(chart.followed.standing))
        .map(svg)
        .collect::<Result<_>>()?;
    Ok(html! {
        section.report.unit {
            h2 { (text::title(unit)) }
            @if unit.followed.is_empty() { p { "Nothing was measured." } } @else { (table(unit, now_s)) }
            div.pictures { @for chart in &charts { figure { (PreEscaped(chart)) } } }
            (planned(report, unit))
            (listed(report, unit))
        }
    })
}

fn table(unit: &UnitHistory, now_s: f64) -> Markup {
    let rows = text::table(unit, now_s);
    let (header, body) = rows.split_at(1);
    html! {
        table.history {
            thead { @for row in header { tr { @for cell in row { th { (cell) } } th { "stands" } } } }
            tbody { @for (row, followed) in body.iter().zip(&unit.followed) {
                tr class=(words::key(followed.standing)) {
                    @for (place, cell) in row.iter().enumerate() {
                        @if place == 0 { th { (cell) } } @else { td { (cell) } }
                    }
                    @for _ in row.len()..header[0].len() { td {} }
                    td.stands { (words::standing(followed.standing)) }
                }
            } }
        }
    }
}

/// How the unit was found against how the station's file has it.
fn planned(report: &Report<'_>, unit: &UnitHistory) -> Markup {
    let serial = &unit.known.entry.what.serial;
    let same = |p: &&coilrig_analysis::station::PlannedUnit| {
        p.name == unit.name() || (serial.is_some() && p.serial == *serial)
    };
    let planned = report.layout.and_then(|station| station.units.iter().find(same));
    let last = |name: &str| unit.followed.iter().find(|f| f.quantity.name == name);
    html! { @if let Some(planned) = planned {
        p.note {
            "Planned at " (planned.x_m) " m east, " (planned.y_m) " m north, " (planned.depth_m)
            " m deep"
            @if let Some(depth) = last("depth_m") {
                "; found " (words::reading(&depth.quantity, depth.last.value)) " deep on "
                (day(depth.last.at_s))
            }
            "."
        }
    } }
}

/// A row of a list of entries: when, what, by whom.
type Row = (Timestamp, String, String);

fn listed(report: &Report<'_>, unit: &UnitHistory) -> Markup {
    let verified = unit.verifications.iter().map(|v| {
        let p = v.what.probability.map_or_else(String::new, |p| {
            format!(
                ", with a probability of at least {}",
                super::super::verification::words::probability(p)
            )
        });
        let said = format!("verified by {}: {}{p}", v.what.limits, v.what.decision);
        (v.at, said, v.entered_by.clone())
    });
    let decided = unit.decisions.iter().map(|d| {
        let why = d.what.reason.as_ref().map_or_else(String::new, |why| format!(": {why}"));
        (d.at, format!("decided: {}{why}", d.what.decision), d.what.who.clone())
    });
    let happened = unit.events.iter().map(|e| {
        let more = e.what.detail.as_ref().map_or_else(String::new, |more| format!(": {more}"));
        (e.at, format!("{}{more}", e.what.kind), e.entered_by.clone())
    });
    let mut rows: Vec<Row> = verified.chain(decided).chain(happened).collect();
    rows.retain(|(at, ..)| report.lists(*at));
    rows.sort_by_key(|(at, ..)| *at);
    html! { @if !rows.is_empty() {
        table.listed {
            thead { tr { th { "day" } th { "what" } th { "by" } } }
            tbody { @for (at, what, by) in &rows { tr {
                td { (day(seconds(*at))) } td { (what) } td { (by) }
            } } }
        }
    } }
}
