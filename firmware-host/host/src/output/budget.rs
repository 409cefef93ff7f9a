//! What an uncertainty is made of, as a table.

use coilrig_analysis::uncertainty::Budget;
use coilrig_analysis::units;
use coilrig_analysis::verification::as_measured;

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

/// A budget under its title; `unit` is that of the result.
pub fn table(name: &str, unit: &str, budget: &Budget) -> String {
    format!("\nbudget of the {name} ({unit}):\n{}", align(&rows(budget)))
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
    let small = |v: f64| {
        let plain = v == 0.0 || (1e-3..1e6).contains(&v.abs());
        if plain { units::significant(v, 3) } else { format!("{v:.2e}").replace('-', "−") }
    };
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
