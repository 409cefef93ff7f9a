//! Histories for people: what wants looking at first, then everything.

use coilrig_analysis::history::{FALSE_ALARMS, LEAST_VISITS, SURE};
use coilrig_analysis::units;

use super::super::columns::align;
use super::words;
use crate::following::{Histories, Question, UnitHistory, day, seconds};

/// The whole text.
pub fn text(histories: &Histories, question: &Question<'_>, records: &str) -> String {
    let now_s = seconds(question.as_of);
    let mut text = format!(
        "{records}: {} as of {}, by {}\n",
        crate::measuring::counted(histories.units.len() as u64, "unit"),
        day(now_s),
        question.limits.title
    );
    let noticed: String = histories.units.iter().map(|unit| noticed(unit, now_s)).collect();
    text += "\n";
    text += &if noticed.is_empty() { nothing(histories) + "\n" } else { noticed };
    for unit in histories.units.iter().filter(|u| !u.followed.is_empty()) {
        text += &format!("\n{}\n{}", title(unit), align(&table(unit, now_s)));
    }
    let without: Vec<&str> =
        histories.units.iter().filter(|u| u.followed.is_empty()).map(UnitHistory::name).collect();
    if !without.is_empty() {
        text += &format!("\nnothing measured: {}\n", without.join(", "));
    }
    text += &format!("\n{}", align(&due(histories, now_s)));
    text + "\n" + &notes(histories)
}

/// What to say where nothing wants looking at.
pub fn nothing(histories: &Histories) -> String {
    let mut all = histories.units.iter().flat_map(|u| &u.followed);
    match all.any(|f| f.trend.is_some()) {
        true => "Nothing beyond chance.".into(),
        false => format!("Too few visits to tell: a trend takes {LEAST_VISITS}."),
    }
}

/// What wants looking at of a unit.
fn noticed(unit: &UnitHistory, now_s: f64) -> String {
    let mut lines = String::new();
    for followed in &unit.followed {
        for finding in words::findings(followed, now_s) {
            lines += &format!("  {} {finding}\n", followed.quantity.label);
        }
    }
    if lines.is_empty() { lines } else { format!("{}\n{lines}", title(unit)) }
}

/// Name, serial number, model.
pub fn title(unit: &UnitHistory) -> String {
    let what = &unit.known.entry.what;
    let mut parts = vec![what.name.clone()];
    parts.extend(what.serial.iter().map(|serial| format!("serial {serial}")));
    parts.extend(what.model.clone());
    if unit.retired {
        parts.push("retired".into());
    }
    parts.join(", ")
}

/// Names of the columns of [`table`].
const COLUMNS: [&str; 7] =
    ["", "visits", "last", "by the line", "change", "chance", "leaves its limits"];

/// A row a quantity.
pub fn table(unit: &UnitHistory, now_s: f64) -> Vec<Vec<String>> {
    let mut rows = vec![COLUMNS.map(String::from).to_vec()];
    for followed in &unit.followed {
        let quantity = &followed.quantity;
        let last = format!(
            "{} {}",
            day(followed.last.at_s),
            words::reading(quantity, followed.last.value)
        );
        let mut row = vec![quantity.label.to_owned()];
        match &followed.trend {
            Some(trend) => row.extend([
                trend.visits.len().to_string(),
                last,
                words::reading(quantity, trend.level(now_s)),
                words::rate(quantity, trend.rate_per_s),
                words::chance(trend.chance),
                words::leaves(followed, now_s),
            ]),
            None => {
                let [none, no_change, no_chance] = [(); 3].map(|()| String::new());
                let leaves = words::leaves(followed, now_s);
                row.extend(["too few".to_owned(), last, none, no_change, no_chance, leaves]);
            }
        }
        rows.push(row);
    }
    rows
}

fn due(histories: &Histories, now_s: f64) -> Vec<Vec<String>> {
    let mut rows = vec![["", "verification", "batteries"].map(String::from).to_vec()];
    for unit in histories.units.iter().filter(|u| !u.retired) {
        let when = [unit.verification_due, unit.battery_due].map(|due| words::due(due, now_s));
        rows.push([vec![unit.name().to_owned()], when.to_vec()].concat());
    }
    for calibration in &histories.calibrations {
        let ends = calibration.ends.map_or("states no end".into(), |due| words::due(due, now_s));
        let receiver = format!("receiver {}", calibration.entry.what.receiver_serial);
        rows.push(vec![receiver, format!("calibration {ends}")]);
    }
    rows
}

/// How to read all this.
pub fn notes(histories: &Histories) -> String {
    let all = || histories.units.iter().flat_map(|u| &u.followed);
    let tested = all().filter(|f| f.trend.is_some()).count();
    let mut text = format!(
        "± is the standard uncertainty. A trend takes {LEAST_VISITS} visits; readings within twelve hours\n\
         are one visit, and what visits differ by beyond their uncertainties is counted in.\n"
    );
    if tested > 0 {
        text += &format!(
            "Of {tested} series without a drift or step, {} would be told to have one by chance\n\
             (drifts {} %, steps {} %). Limits are forecast along a straight line: new batteries, a\n\
             repair or a fall change it.\n",
            units::significant(tested as f64 * (SURE + FALSE_ALARMS), 2),
            units::significant(100.0 * SURE, 2),
            units::significant(100.0 * FALSE_ALARMS, 2)
        );
    }
    if all().any(|f| f.trend.as_ref().is_some_and(|t| t.temperature_c.is_some())) {
        text += "Carriers by the line are those at the mean temperature of a unit's visits.\n";
    }
    let unusable: usize = all().map(|f| f.without_uncertainty).sum();
    if unusable > 0 {
        text += &format!("{unusable} readings state no uncertainty and were left out.\n");
    }
    let cold: usize = all().filter_map(|f| f.trend.as_ref()).map(|t| t.left_out).sum();
    if cold > 0 {
        text += &format!("{cold} visits of unknown temperature were left out of carriers.\n");
    }
    text
}
