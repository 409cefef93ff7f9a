//! Verified units as CSV, one row a quantity.

use super::words;
use crate::error::{Error, Result};
use crate::verifying::{Examined, Terms, UnitVerified};

const HEADER: [&str; 17] = [
    "unit",
    "unit_decision",
    "limits",
    "quantity",
    "si_unit",
    "value",
    "u",
    "degrees_of_freedom",
    "k",
    "expanded_u",
    "lower",
    "upper",
    "decision",
    "probability_of_conformity",
    "source",
    "capture",
    "remark",
];

/// Header first; fields are empty where there is nothing to say.
pub fn csv(units: &[UnitVerified], terms: &Terms) -> Result<String> {
    let bad = |e: csv::Error| Error::file("results", e.to_string(), "report this");
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADER).map_err(bad)?;
    for unit in units {
        for judged in &unit.verification.quantities {
            let found = judged.finding.as_ref().ok();
            let budget = found.map(|f| &f.budget);
            let expanded = budget.map(|b| b.expanded(words::COVERAGE));
            let text = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
            let bound = judged.bound.as_ref();
            let assessment = found.and_then(|f| f.assessment);
            let name = |i: usize| unit.captures.get(i).map(Examined::name);
            let remark = match &judged.finding {
                Ok(found) => found.advice.clone().unwrap_or_default(),
                Err(why) => why.0.clone(),
            };
            let row = [
                unit.name(),
                unit.decision().to_string(),
                terms.set.name.clone(),
                judged.quantity.to_string(),
                words::si_unit(judged.quantity).into(),
                text(budget.map(|b| b.value)),
                text(budget.map(|b| b.u)),
                text(budget.map(|b| b.degrees_of_freedom)),
                text(expanded.map(|e| e.k)),
                text(expanded.map(|e| e.u)),
                text(bound.and_then(|b| b.lower)),
                text(bound.and_then(|b| b.upper)),
                words::decision(judged),
                text(assessment.map(|a| a.probability_of_conformity)),
                bound.map(|b| b.source.clone()).unwrap_or_default(),
                found.and_then(|f| name(f.capture?)).unwrap_or_default(),
                remark,
            ];
            writer.write_record(&row).map_err(bad)?;
        }
    }
    let bytes =
        writer.into_inner().map_err(|e| Error::file("results", e.to_string(), "report this"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
