//! What an uncertainty is made of, as a table.

use std::path::Path;

use coilrig_analysis::uncertainty::{Budget, Contribution, UncertaintyError};
use coilrig_analysis::units;
use coilrig_analysis::verification::as_measured;
use serde::Serialize;

use super::columns::align;
use crate::error::{Error, Result};
use crate::measuring::Measured;

/// The budgets of all transmitters of a measurement.
///
/// # Errors
///
/// A measurement that holds no numbers.
pub fn of_measurement(measured: &Measured) -> Result<String> {
    let mut text = String::new();
    for transmitter in &measured.measurement.transmitters {
        let heard = measured.heard(transmitter);
        let budgets = as_measured::budgets(&heard).map_err(|why| {
            let place = format!("{}, {}", measured.capture.paths.meta.display(), transmitter.label);
            Error::file(place, why.0, "leave out --budget")
        })?;
        for (name, unit, budget) in &budgets {
            text += &table(&format!("{} of {}", name, transmitter.label), unit, budget);
        }
    }
    Ok(text)
}

/// The budget of one result, for JSON documents and tables.
#[derive(Clone, Debug, Serialize)]
pub struct NamedBudget {
    quantity: String,
    unit: &'static str,
    #[serde(flatten)]
    budget: Budget,
}

/// Budgets of the results of a fit, if asked for.
///
/// # Errors
///
/// Those of the fit's readings, which stand in the file at `path`.
pub fn of_fit<N: Into<String>>(
    asked: bool,
    path: &Path,
    budgets: impl FnOnce() -> std::result::Result<Vec<(N, &'static str, Budget)>, UncertaintyError>,
) -> Result<Option<Vec<NamedBudget>>> {
    let named = |(quantity, unit, budget): (N, _, _)| NamedBudget {
        quantity: quantity.into(),
        unit,
        budget,
    };
    let made = || budgets().map(|all| all.into_iter().map(named).collect());
    let why =
        |e: UncertaintyError| Error::file(path.display(), e.to_string(), "leave out --budget");
    asked.then(made).transpose().map_err(why)
}

/// Contributions shown one by one in the budget of a fit.
const SHOWN: usize = 12;

/// The tables of such budgets: the largest contributions, then what all the others
/// make together.
pub fn tables(budgets: &[NamedBudget]) -> String {
    let table = |named: &NamedBudget| {
        let mut shown = named.budget.clone();
        let by_share = |a: &Contribution, b: &Contribution| b.share.total_cmp(&a.share);
        shown.contributions.sort_by(by_share);
        let others = shown.contributions.split_off(shown.contributions.len().min(SHOWN));
        let mut rows = rows(&shown);
        if !others.is_empty() {
            let mut row = vec![String::new(); rows[0].len()];
            let share: f64 = others.iter().map(|c| c.share).sum();
            row[0] = format!("{} others", others.len());
            row[7] = small(named.budget.u * share.max(0.0).sqrt());
            row[8] = format!("{:.1} %", 100.0 * share);
            rows.insert(rows.len() - 1, row);
        }
        titled(&named.quantity, named.unit, &rows)
    };
    budgets.iter().map(table).collect()
}

/// A budget under its title; `unit` is that of the result.
pub fn table(name: &str, unit: &str, budget: &Budget) -> String {
    titled(name, unit, &rows(budget))
}

fn titled(name: &str, unit: &str, rows: &[Vec<String>]) -> String {
    format!("\nbudget of the {name} ({unit}):\n{}", align(rows))
}

/// The rows of a budget table, header first.
pub fn rows(budget: &Budget) -> Vec<Vec<String>> {
    let header = [
        "contribution",
        "type",
        "distribution",
        "value",
        "u",
        "ν",
        "sensitivity",
        "u in result",
        "share",
    ];
    let mut rows = vec![header.map(String::from).to_vec()];
    // Beyond a million nobody can tell it from none at all.
    let freedom = |n: f64| if n < 1e6 { units::significant(n.floor(), 6) } else { "∞".into() };
    for c in &budget.contributions {
        let with_unit = |text: String| format!("{text} {}", c.unit).trim_end().to_owned();
        rows.push(vec![
            c.name.clone(),
            format!("{:?}", c.evaluation),
            c.distribution.name().into(),
            with_unit(if c.value.abs() < 1e-3 {
                small(c.value)
            } else {
                units::significant(c.value, 7)
            }),
            with_unit(small(c.u)),
            freedom(c.degrees_of_freedom),
            small(c.sensitivity),
            small(c.u_contribution),
            format!("{:.1} %", 100.0 * c.share),
        ]);
    }
    let mut total = vec![String::new(); rows[0].len()];
    total[0] = "together".into();
    total[5] = freedom(budget.degrees_of_freedom);
    total[7] = small(budget.u);
    total[8] = "100 %".into();
    rows.push(total);
    rows
}

fn small(v: f64) -> String {
    let plain = v == 0.0 || (1e-3..1e6).contains(&v.abs());
    if plain { units::significant(v, 3) } else { format!("{v:.2e}").replace('-', "−") }
}
