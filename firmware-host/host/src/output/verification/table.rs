//! Verified units as text.

use coilrig_analysis::conformity::Decision;
use coilrig_analysis::limits::{LimitSet, Quantity};
use coilrig_analysis::units;
use coilrig_analysis::verification::temperature::{OverTemperature, must_work_at};
use coilrig_analysis::verification::{JudgedQuantity, UNTIL_DECIDED, Verification};

use super::{cautions, words};
use crate::measuring::counted;
use crate::output::budget;
use crate::output::columns::align;
use crate::verifying::{Examined, Terms, UnitVerified, Unjudged};

/// One unit: its decision, each quantity, what to do, what to know.
pub fn unit(unit: &UnitVerified, terms: &Terms, with_budget: bool) -> String {
    let mut text = format!("{}: {}\n", unit.name(), headline(unit, &terms.set));
    for capture in &unit.captures {
        text += &format!("{}\n", about_capture(capture));
    }
    if let Some(setup) = &terms.setup {
        text += &format!("{}\n", words::setup(setup));
    }
    text += &format!("limits: {}\n\n", words::about(&terms.set));
    text += &align(&rows(&unit.verification));
    for judged in &unit.verification.quantities {
        text += &remark(judged, unit.captures.len());
    }
    if unit.verification.verdict.undecided_together {
        text += &format!("{}\n", words::UNDECIDED_TOGETHER);
    }
    if unit.decision() == Decision::Undecided {
        text += &format!("{UNTIL_DECIDED}\n");
    }
    if let Some((set, found)) = &unit.newer {
        text += &format!("\nbeside it, {}: {}\n", words::about(set), found.verdict.decision);
        text += &align(&rows(found));
    }
    if let Some(found) = &unit.over_temperature {
        text += &format!("\n{}\n", over_temperature(found));
    }
    let notes = unit.notes();
    if !notes.is_empty() {
        text += "\nto know of this unit:\n";
        notes.iter().for_each(|note| text += &format!("  {note}\n"));
    }
    if with_budget {
        for judged in &unit.verification.quantities {
            if let Ok(found) = &judged.finding {
                let unit = words::si_unit(judged.quantity);
                text += &budget::table(&judged.quantity.to_string(), unit, &found.budget);
            }
        }
    }
    text + &format!("\n{}\n{}\n", words::rule(terms.rule), cautions().join("\n"))
}

/// The decision with the limits it is by.
fn headline(unit: &UnitVerified, set: &LimitSet) -> String {
    let by = match unit.decision() {
        Decision::Conforms => format!("conforms to {}", set.name),
        Decision::DoesNotConform => format!("does not conform to {}", set.name),
        Decision::Undecided => format!("undecided by {}", set.name),
    };
    format!("{by} ({})", certainty(unit, set))
}

/// How sure it is that a unit keeps all its limits.
pub fn certainty(unit: &UnitVerified, set: &LimitSet) -> String {
    let least = unit.verification.verdict.probability_of_conformity_at_least;
    match unit.verification.quantities.iter().any(not_judged) || set.in_part || !unit.is_whole {
        true => "not all that it demands was judged".into(),
        false if unit.decision() == Decision::DoesNotConform => "not all limits are kept".into(),
        false => {
            format!("all limits are kept with a probability of at least {}", words::at_least(least))
        }
    }
}

/// Whether a bound was left open.
fn not_judged(judged: &JudgedQuantity) -> bool {
    judged.bound.is_some() && judged.finding.is_err()
}

/// A capture in a line.
pub fn about_capture(capture: &Examined) -> String {
    let transmitter = capture.transmitter();
    let mut text = format!(
        "{}: {}, {:.0} s, {} of {} pulses",
        capture.name(),
        transmitter.label,
        capture.measured.measurement.duration_s,
        transmitter.pulses.found,
        transmitter.pulses.expected
    );
    if let Some(temperature_c) = capture.temperature_c() {
        text += &format!(", {} °C", units::significant(temperature_c, 3));
    }
    text
}

fn rows(verification: &Verification) -> Vec<Vec<String>> {
    let header = ["", "measured, U (95 %)", "k", "limits", "decision", "probability to conform"];
    let mut rows = vec![header.map(String::from).to_vec()];
    for judged in &verification.quantities {
        let (measured, k, probability) = match &judged.finding {
            Ok(found) => {
                let expanded = found.budget.expanded(words::COVERAGE);
                let p = found.assessment.map(|a| words::probability(a.probability_of_conformity));
                let measured = words::value(judged.quantity, found.budget.value, expanded.u);
                (measured, format!("{:.2}", expanded.k), p.unwrap_or_default())
            }
            Err(_) => Default::default(),
        };
        let limits = judged.bound.as_ref().map(words::limits).unwrap_or_default();
        let decision = words::decision(judged);
        rows.push(vec![judged.quantity.to_string(), measured, k, limits, decision, probability]);
    }
    rows
}

/// Why a quantity was not judged, or what would settle it.
fn remark(judged: &JudgedQuantity, captures: usize) -> String {
    match &judged.finding {
        Err(why) if judged.bound.is_some() => {
            format!("{} not judged: {}\n", judged.quantity, why.0)
        }
        Err(_) => String::new(),
        Ok(found) => {
            let advice = found.advice.as_ref();
            let mut text = advice
                .map_or(String::new(), |a| format!("{} undecided; to do: {a}\n", judged.quantity));
            let decided = found.assessment.is_some_and(|a| a.decision != Decision::Conforms);
            if let (true, Some(number)) = (decided && captures > 1, found.capture) {
                text += &format!("{} as in capture {}\n", judged.quantity, number + 1);
            }
            text
        }
    }
}

/// The carrier over temperature in words.
pub fn over_temperature(found: &OverTemperature) -> String {
    let mut text = format!(
        "carrier over temperature: {} between {} and {} °C",
        units::plus_minus(found.drift_hz_per_c, "Hz/°C"),
        units::significant(found.from_c, 3),
        units::significant(found.to_c, 3)
    );
    let ends = [("below", found.leaves_band_below_c), ("above", found.leaves_band_above_c)];
    let leaves: Vec<String> = ends
        .into_iter()
        .filter_map(|(side, at)| Some((side, at?)))
        .map(|(side, at)| {
            let works = must_work_at(at.value);
            let where_it_is_used = if works { ", where a unit must still work" } else { "" };
            format!("{side} {}{where_it_is_used}", units::plus_minus(at, "°C"))
        })
        .collect();
    if !leaves.is_empty() {
        text += &format!("; a straight line leaves the band {}", leaves.join(", and "));
    }
    text + " (± standard uncertainty; beyond the temperatures measured a warning, no finding)"
}

/// A batch: what could not be judged, then all units, a line each, in the order given.
pub fn batch(units: &[UnitVerified], unjudged: &[Unjudged], terms: &Terms) -> String {
    let mut text = format!("{} by {}\n\n", how_many(units, unjudged), words::about(&terms.set));
    text += &align(&batch_rows(units, unjudged, words::value));
    for unit in units {
        let mut say = |line: &str| text += &format!("{}: {line}\n", unit.name());
        for judged in &unit.verification.quantities {
            remark(judged, unit.captures.len()).lines().for_each(&mut say);
        }
        unit.over_temperature.iter().for_each(|found| say(&over_temperature(found)));
        unit.notes().iter().for_each(|note| say(note));
    }
    if !unjudged.is_empty() || units.iter().any(|u| u.decision() == Decision::Undecided) {
        text += &format!("{UNTIL_DECIDED}\n");
    }
    text + &format!("\n{}\n{}\n", words::rule(terms.rule), cautions().join("\n"))
}

/// How many units there are, and captures that none could be judged by.
pub fn how_many(units: &[UnitVerified], unjudged: &[Unjudged]) -> String {
    let judged = counted(units.len() as u64, "unit");
    match unjudged.len() as u64 {
        0 => judged,
        open => format!("{judged} and {} not judged", counted(open, "capture")),
    }
}

/// The rows of a batch, header first, then what could not be judged; `shown` puts a
/// value and its expanded uncertainty in words.
pub fn batch_rows(
    units: &[UnitVerified],
    unjudged: &[Unjudged],
    shown: fn(Quantity, f64, f64) -> String,
) -> Vec<Vec<String>> {
    let mut rows = vec![vec!["unit".to_owned(), "decision".into(), "because of".into()]];
    let Some(first) = units.first() else { return rows };
    rows[0].extend(first.verification.quantities.iter().map(|q| q.quantity.to_string()));
    for unjudged in unjudged {
        let mut row = vec![unjudged.name.clone(), NOT_JUDGED.into(), unjudged.error.what().into()];
        row.resize(rows[0].len(), String::new());
        rows.push(row);
    }
    for unit in units {
        let mut row = vec![unit.name(), unit.decision().to_string(), because(unit)];
        row.extend(unit.verification.quantities.iter().map(|judged| match &judged.finding {
            Ok(found) => {
                let u = found.budget.expanded(words::COVERAGE).u;
                shown(judged.quantity, found.budget.value, u)
            }
            Err(_) => NOT_JUDGED.into(),
        }));
        rows.push(row);
    }
    rows
}

const NOT_JUDGED: &str = "not judged";

/// The quantities that keep a unit from conforming.
fn because(unit: &UnitVerified) -> String {
    let decision =
        |judged: &JudgedQuantity| Some(judged.finding.as_ref().ok()?.assessment?.decision);
    let all = &unit.verification.quantities;
    let of = |wanted: Decision| -> Vec<String> {
        let those = all.iter().filter(|q| decision(q) == Some(wanted));
        those.map(|q| q.quantity.to_string()).collect()
    };
    match unit.decision() {
        Decision::Conforms => String::new(),
        Decision::DoesNotConform => of(Decision::DoesNotConform).join(", "),
        Decision::Undecided => {
            let open =
                all.iter().filter(|q| not_judged(q)).map(|q| format!("{} not judged", q.quantity));
            let missing = (!unit.is_whole).then(|| "a capture not judged".to_owned());
            let because: Vec<String> =
                of(Decision::Undecided).into_iter().chain(open).chain(missing).collect();
            if because.is_empty() {
                "not all is judged, or all together".into()
            } else {
                because.join(", ")
            }
        }
    }
}
