//! What changed since an earlier day.

use coilrig_analysis::history::{Change, Followed, SURE};
use jiff::Timestamp;
use maud::{Markup, html};

use super::super::history::words;
use super::Report;
use crate::following::{day, seconds};
use crate::measuring::counted;

/// What changed since then: numbers beyond chance, and what was entered.
pub(super) fn section(report: &Report<'_>, since: Timestamp) -> Markup {
    let (since_s, now_s) = (seconds(since), report.now_s());
    let mut compared = 0;
    let mut changed: Vec<(&str, &Followed, Change)> = Vec::new();
    for unit in &report.histories.units {
        for followed in &unit.followed {
            let change = followed.trend.as_ref().and_then(|t| t.change(since_s, now_s));
            let Some(change) = change else { continue };
            compared += 1;
            if change.chance < SURE {
                changed.push((unit.name(), followed, change));
            }
        }
    }
    html! {
        h2 { "Changes since " (day(since_s)) }
        @if compared == 0 {
            p { "No number can be compared: that takes a trend that begins before that day." }
        } @else if changed.is_empty() {
            p { "Of " (counted(compared, "number")) " that can be compared none changed beyond chance." }
        } @else {
            table.changes {
                thead { tr { th { "unit" } th { "" } th { "change" } th { "chance" } } }
                tbody { @for (unit, followed, change) in &changed { tr {
                    th { (unit) } td { (followed.quantity.label) }
                    td { (words::difference(&followed.quantity, change.by)) }
                    td { (words::chance(change.chance)) }
                } } }
            }
            p.note {
                "Along the line with steps, from that day to the last visit; " (counted(compared, "number"))
                " compared, " (counted(compared - changed.len() as u64, "other")) " unchanged."
            }
        }
        (entered(report, since))
    }
}

fn entered(report: &Report<'_>, since: Timestamp) -> Markup {
    let units = &report.histories.units;
    let new =
        |at: &dyn Fn(&crate::following::UnitHistory) -> usize| units.iter().map(at).sum::<usize>();
    let parts = [
        ("verification", new(&|u| u.verifications.iter().filter(|e| e.at >= since).count())),
        ("decision", new(&|u| u.decisions.iter().filter(|e| e.at >= since).count())),
        ("event", new(&|u| u.events.iter().filter(|e| e.at >= since).count())),
        ("new unit", units.iter().filter(|u| u.known.entry.at >= since).count()),
    ];
    let said: Vec<String> = parts
        .into_iter()
        .filter(|(_, n)| *n > 0)
        .map(|(what, n)| counted(n as u64, what))
        .collect();
    html! { @if !said.is_empty() { p { "Since then: " (said.join(", ")) "." } } }
}
