//! The sheet of one unit.

use coilrig_analysis::conformity::Decision;
use coilrig_analysis::limits::{LimitSet, Quantity};
use coilrig_analysis::picture::carrier_over_time::{CarrierLine, CarrierOverTime};
use coilrig_analysis::picture::pulse_envelope::PulseEnvelope;
use coilrig_analysis::units;
use coilrig_analysis::verification::behaviour::carrier_offsets;
use coilrig_analysis::verification::{JudgedQuantity, UNTIL_DECIDED, Verification};
use maud::{Markup, PreEscaped, html};

use super::super::budget;
use super::super::pictures::draw;
use super::super::verification::{self, table, words};
use super::class;
use crate::error::Result;
use crate::verifying::{Examined, Terms, UnitVerified};

/// The sheet of a unit.
pub(super) fn sheet(unit: &UnitVerified, terms: &Terms, with_budget: bool) -> Result<Markup> {
    let pictures = pictures(unit, &terms.set)?;
    Ok(html! {
        section.sheet {
            h1 { "Verification: " (unit.name()) }
            (identity(unit))
            div class={ "decision " (class(unit.decision())) } {
                strong { (unit.decision()) }
                " by " (terms.set.title) ": " (table::certainty(unit, &terms.set))
                @if unit.decision() == Decision::Undecided { div.more { (UNTIL_DECIDED) } }
                @if let Some((set, found)) = &unit.newer {
                    div.more { "By the newer limits, " (set.title) ": " (found.verdict.decision) "." }
                }
            }
            (results(&unit.verification, false))
            p.note {
                "U: expanded uncertainty for 95 %, k u with the coverage factor k. Times run between "
                "the half-amplitude points of the edges; fields are RMS on the axis of the antenna. "
                (words::rule(terms.rule))
            }
            (sources(unit, &terms.set))
            @for line in remarks(unit) { p.remark { (line) } }
            @if let Some((set, found)) = &unit.newer { (beside(set, found)) }
            div.pictures { @for picture in &pictures { figure { (PreEscaped(picture)) } } }
            (conditions(unit, terms))
            (cautions())
            (signature(unit))
            @if with_budget { div.budgets { (budgets(unit)) } }
        }
    })
}

/// What holds for every decision.
pub(super) fn cautions() -> Markup {
    html! { p.caution { (verification::cautions().join(" ")) } }
}

fn identity(unit: &UnitVerified) -> Markup {
    let who = &unit.identity;
    let measured = unit.captures.first().and_then(|c| c.measured.capture.started());
    let date = measured.map(|t| t.strftime("%Y-%m-%d %H:%M UTC").to_string());
    let pairs = [
        ("unit", Some(unit.name())),
        ("serial number", who.serial.clone()),
        ("owner", who.owner.clone()),
        ("measured", date),
        ("by", who.operator.clone()),
        ("place", who.place.clone()),
    ];
    html! {
        dl.identity {
            @for (name, value) in pairs {
                div { dt { (name) } dd { (value.unwrap_or_default()) } }
            }
        }
        @if let Some(remark) = &who.remark { p.note { (remark) } }
    }
}

/// The quantities of a table.
fn shown(verification: &Verification, only_bounded: bool) -> impl Iterator<Item = &JudgedQuantity> {
    verification.quantities.iter().filter(move |q| q.bound.is_some() || !only_bounded)
}

fn results(verification: &Verification, only_bounded: bool) -> Markup {
    html! {
        table.results {
            thead { tr {
                th { "quantity" } th { "measured ± U" } th { "k" } th { "limits" } th { "decision" }
                th { "probability to conform" }
            } }
            tbody { @for judged in shown(verification, only_bounded) {
                @let decision = words::decision(judged);
                tr {
                    th { (judged.quantity) }
                    @match &judged.finding {
                        Ok(found) => {
                            @let expanded = found.budget.expanded(words::COVERAGE);
                            td data-label="measured ± U" {
                                (words::value(judged.quantity, found.budget.value, expanded.u))
                            }
                            td data-label="k" { (format!("{:.2}", expanded.k)) }
                        }
                        Err(_) => { td {} td {} }
                    }
                    td data-label="limits" {
                        @if let Some(bound) = &judged.bound { (words::limits(bound)) }
                    }
                    td.verdict data-label="decision" data-decision=(decision) { (decision) }
                    td data-label="probability to conform" {
                        @if let Some(p) = probability(judged) { (words::probability(p)) }
                    }
                }
            } }
        }
    }
}

fn probability(judged: &JudgedQuantity) -> Option<f64> {
    Some(judged.finding.as_ref().ok()?.assessment?.probability_of_conformity)
}

/// Where each limit comes from.
fn sources(unit: &UnitVerified, set: &LimitSet) -> Markup {
    let bounds = unit.verification.quantities.iter().filter_map(|q| q.bound.as_ref());
    let sources: Vec<String> =
        bounds
            .map(|b| {
                if b.from_memory { format!("{} (from memory)", b.source) } else { b.source.clone() }
            })
            .collect();
    html! { p.note { "Limits: " (words::about(set)) ". " (sources.join("; ")) "." } }
}

fn remarks(unit: &UnitVerified) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for judged in &unit.verification.quantities {
        match &judged.finding {
            Err(why) if judged.bound.is_some() => {
                all.push(format!("{} not judged: {}.", judged.quantity, why.0));
            }
            Ok(found) => all.extend(
                found.advice.iter().map(|a| format!("{} undecided; to do: {a}.", judged.quantity)),
            ),
            Err(_) => {}
        }
    }
    if unit.verification.verdict.undecided_together {
        all.push(words::UNDECIDED_TOGETHER.into());
    }
    all.extend(unit.over_temperature.as_ref().map(table::over_temperature));
    // A line for each capture, to keep it on one page.
    for capture in unit.captures.iter().filter(|c| !c.behaviour.notes.is_empty()) {
        all.push(format!("To know of {}: {}.", capture.name(), capture.behaviour.notes.join("; ")));
    }
    all
}

/// The newer limits, shown beside those of the unit's time.
fn beside(set: &LimitSet, found: &Verification) -> Markup {
    html! {
        h2 { "Beside it, by " (set.title) }
        (results(found, true))
    }
}

fn pictures(unit: &UnitVerified, set: &LimitSet) -> Result<Vec<String>> {
    let mut all = Vec::new();
    let Some(first) = unit.captures.first() else { return Ok(all) };
    if let Some(envelope) = first.envelope()? {
        let least_on_s = set.bound(Quantity::OnTime).and_then(|b| b.lower);
        let on_time_s = first.transmitter().on_time_s.value;
        all.push(draw(&PulseEnvelope { envelope, on_time_s, least_on_s })?.svg);
    }
    let lines: Vec<CarrierLine> = unit
        .captures
        .iter()
        .map(|c| CarrierLine { label: label(c), points: carrier_offsets(&c.rows()) })
        .filter(|line| !line.points.is_empty())
        .collect();
    if !lines.is_empty() {
        let bound = set.bound(Quantity::Carrier);
        let limits_hz = (bound.and_then(|b| b.lower), bound.and_then(|b| b.upper));
        all.push(draw(&CarrierOverTime { lines, limits_hz })?.svg);
    }
    Ok(all)
}

/// What the pictures call a capture.
fn label(capture: &Examined) -> String {
    capture
        .temperature_c()
        .map_or_else(|| "carrier".into(), |t| format!("at {} °C", units::significant(t, 3)))
}

fn conditions(unit: &UnitVerified, terms: &Terms) -> Markup {
    html! {
        table.conditions { tbody {
            @for capture in &unit.captures { tr {
                th { "capture" }
                td { (table::about_capture(capture)) ". " (receiver(capture)) }
            } }
            @if let Some(setup) = &terms.setup { tr {
                th { "set-up" }
                td { (words::setup(setup)) }
            } }
            tr { th { "program" } td { "coilrig " (env!("CARGO_PKG_VERSION")) } }
        } }
    }
}

/// Receiver, calibration and noise of a capture.
fn receiver(capture: &Examined) -> String {
    let recorded = &capture.measured.capture;
    let mut parts: Vec<String> = Vec::new();
    parts.extend(recorded.meta.global.hardware.clone());
    let percent = |all: &Vec<f64>| {
        let mut each: Vec<String> = all.iter().map(|u| units::significant(100.0 * u, 2)).collect();
        each.dedup();
        format!("field calibrated to {} %", each.join(", "))
    };
    let calibration = &recorded.calibration;
    let field = calibration.field_per_count_u_rel.as_ref().map(percent);
    parts.push(field.unwrap_or_else(|| "field not calibrated".into()));
    if let Some(made) = &recorded.meta.global.calibration {
        let until = made.expires.as_ref().map_or(String::new(), |day| format!(" until {day}"));
        parts.push(format!("calibration of {}{until}", made.date));
    }
    parts.push(calibration.clock_offset_u_ppm.map_or_else(
        || "clock not calibrated".into(),
        |u| format!("clock to {} ppm", units::significant(u, 2)),
    ));
    if let Some(noise) = &capture.measured.measurement.noise_a_per_m_rthz {
        let each: Vec<String> = noise.iter().map(|n| format!("{:.2}", n * 1e9)).collect();
        parts.push(format!("noise {} nA/m/√Hz", each.join(", ")));
    }
    parts.join("; ")
}

fn budgets(unit: &UnitVerified) -> Markup {
    html! {
        @for judged in &unit.verification.quantities { @if let Ok(found) = &judged.finding {
            @let rows = budget::rows(&found.budget);
            h2 { "Budget of the " (judged.quantity) " (" (words::si_unit(judged.quantity)) ")" }
            table.budget {
                thead { tr { @for cell in &rows[0] { th { (cell) } } } }
                tbody { @for row in &rows[1..] { tr {
                    @for (place, cell) in row.iter().enumerate() {
                        @if place == 0 { th { (cell) } } @else { td { (cell) } }
                    }
                } } }
            }
        } }
    }
}

fn signature(unit: &UnitVerified) -> Markup {
    html! {
        div.signature {
            div { span {} "date" }
            div {
                span { (unit.identity.operator.clone().unwrap_or_default()) }
                "name"
            }
            div { span {} "signature" }
        }
    }
}
