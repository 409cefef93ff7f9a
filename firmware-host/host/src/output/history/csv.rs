//! Histories as CSV: a row a quantity, SI units.

use coilrig_analysis::history::Leaving;

use super::words;
use crate::error::{Error, Result};
use crate::following::{Histories, YEAR_S, day, timestamp};

const HEADER: [&str; 18] = [
    "unit",
    "serial",
    "quantity",
    "standing",
    "readings",
    "visits",
    "last_at",
    "last",
    "u_last",
    "level",
    "u_level",
    "rate_per_year",
    "u_rate_per_year",
    "chance",
    "scatter_between_visits",
    "steps_not_explained",
    "leaves_earliest",
    "leaves_expected",
];

/// The table, as of `now_s`.
pub fn csv(histories: &Histories, now_s: f64) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let bad = |e: String| Error::file("results", e, "report this");
    writer.write_record(HEADER).map_err(|e| bad(e.to_string()))?;
    for unit in &histories.units {
        let what = &unit.known.entry.what;
        for followed in &unit.followed {
            let mut row = vec![
                what.name.clone(),
                what.serial.clone().unwrap_or_default(),
                followed.quantity.name.to_owned(),
                words::key(followed.standing).to_owned(),
                followed.readings.to_string(),
            ];
            let trend = followed.trend.as_ref();
            row.push(trend.map_or_else(String::new, |t| t.visits.len().to_string()));
            row.push(timestamp(followed.last.at_s).to_string());
            let last = followed.last.value;
            row.extend([last.value, last.u].map(|v| v.to_string()));
            match trend {
                Some(trend) => {
                    let (level, rate) = (trend.level(now_s), trend.rate_per_s.scaled(YEAR_S));
                    let numbers =
                        [level.value, level.u, rate.value, rate.u, trend.chance, trend.scatter];
                    row.extend(numbers.map(|v| v.to_string()));
                    row.push(trend.steps.iter().filter(|s| s.event.is_none()).count().to_string());
                }
                None => row.extend(std::iter::repeat_n(String::new(), 7)),
            }
            let soonest = followed
                .forecasts
                .iter()
                .filter_map(|f| match f.leaving {
                    Leaving::Left | Leaving::Open => Some((now_s, Some(now_s))),
                    Leaving::From { earliest_s, expected_s, .. } => Some((earliest_s, expected_s)),
                    Leaving::NotBefore(_) => None,
                })
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let date = |at_s: Option<f64>| at_s.map_or_else(String::new, |s| day(s).to_string());
            row.extend([date(soonest.map(|s| s.0)), date(soonest.and_then(|s| s.1))]);
            writer.write_record(&row).map_err(|e| bad(e.to_string()))?;
        }
    }
    let bytes = writer.into_inner().map_err(|e| bad(e.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
