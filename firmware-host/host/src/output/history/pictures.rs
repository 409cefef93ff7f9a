//! A chart for each quantity of each unit that has a trend, and the visits it shows.

use std::path::Path;

use coilrig_analysis::history::{Followed, Trend};
use coilrig_analysis::limits::LimitSet;
use coilrig_analysis::picture::over_years::{OverYears, span_s};
use jiff::ToSpan;
use jiff::civil::Date;

use super::super::pictures;
use crate::error::{Error, Result};
use crate::files;
use crate::following::{Histories, UnitHistory, day, midnight, timestamp};

/// Most dates that are named along a chart: whole ones, and months.
const MOST: [usize; 2] = [4, 6];

/// The charts of a unit, with what each shows; worst first.
pub fn charts<'a>(
    unit: &'a UnitHistory,
    done: &'a [coilrig_analysis::history::Event],
    limits: &LimitSet,
    now_s: f64,
) -> Vec<OverYears<'a>> {
    let chart = |followed: &'a Followed, trend: &'a Trend| OverYears {
        unit: unit.name(),
        followed,
        trend,
        events: done,
        limits: followed.quantity.bounds(limits),
        now_s,
        days: days(span_s(trend, now_s)),
    };
    unit.followed.iter().filter_map(|f| Some(chart(f, f.trend.as_ref()?))).collect()
}

/// Write charts and visits to `folder`; how many charts.
pub fn write(folder: &Path, histories: &Histories, limits: &LimitSet, now_s: f64) -> Result<usize> {
    files::make_folder(folder)?;
    let mut count = 0;
    let mut taken = std::collections::HashSet::new();
    for unit in &histories.units {
        let done = unit.done();
        for chart in charts(unit, &done, limits, now_s) {
            let quantity = &chart.followed.quantity;
            let mut name = format!("{}-{}", plain(unit.name()), quantity.label.replace(' ', "-"));
            // "unit 7" and "unit-7" are two units.
            if !taken.insert(name.clone()) {
                name = format!("{name}-{}", unit.known.unit);
                taken.insert(name.clone());
            }
            pictures::write(folder, &name, &chart)?;
            let path = folder.join(format!("{name}.csv"));
            files::write_whole(&path, visits(chart.trend)?.as_bytes())?;
            count += 1;
        }
    }
    Ok(count)
}

/// A name as part of the name of a file.
fn plain(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect()
}

fn visits(trend: &Trend) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let bad = |e: String| Error::file("visits", e, "report this");
    let header = ["at", "readings", "value", "u", "temperature_c", "by_the_line", "u_by_the_line"];
    writer.write_record(header).map_err(|e| bad(e.to_string()))?;
    for visit in &trend.visits {
        let line = trend.level(visit.at_s);
        let row = [
            timestamp(visit.at_s).to_string(),
            visit.readings.to_string(),
            visit.value.value.to_string(),
            visit.value.u.to_string(),
            visit.temperature_c.map_or_else(String::new, |c| c.to_string()),
            line.value.to_string(),
            line.u.to_string(),
        ];
        writer.write_record(row).map_err(|e| bad(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| bad(e.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Round days between two times: of years, months or days, as there is room.
fn days((from_s, to_s): (f64, f64)) -> Vec<(f64, String)> {
    let (from, to) = (day(from_s), day(to_s));
    let steps = [1.day(), 2.days(), 7.days(), 14.days()].into_iter();
    let steps =
        steps.chain([1, 2, 3, 6].map(|n| n.months())).chain([1, 2, 5, 10].map(|n| n.years()));
    let mut best = Vec::new();
    for step in steps {
        let years = step.get_years().max(1);
        let of_year = Date::new(from.year().div_euclid(years) * years, 1, 1).unwrap_or(from);
        let first = if step.get_days() > 0 { from } else { of_year };
        let (most, form) = if step.get_days() > 0 { (MOST[0], "%F") } else { (MOST[1], "%Y-%m") };
        let all = first.series(step).take_while(|day| *day <= to);
        best = all
            .filter_map(|day| Some((day, midnight(day)?)))
            .filter(|(_, at_s)| *at_s >= from_s)
            .map(|(day, at_s)| (at_s, day.strftime(form).to_string()))
            .take(most + 1)
            .collect();
        if best.len() <= most {
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> f64 {
        let day: Date = text.parse().unwrap();
        midnight(day).unwrap()
    }

    #[test]
    fn days_are_round_and_few() {
        let named = |from, to| -> Vec<String> {
            days((at(from), at(to))).into_iter().map(|(_, name)| name).collect()
        };
        assert_eq!(
            named("2025-11-03", "2025-11-06"),
            ["2025-11-03", "2025-11-04", "2025-11-05", "2025-11-06"]
        );
        assert_eq!(named("2025-11-20", "2026-02-10"), ["2025-12", "2026-01", "2026-02"]);
        let long = named("2019-03-01", "2026-03-01");
        assert_eq!((long.len(), long[0].as_str()), (4, "2020-01"));
        assert!(named("2025-11-20", "2026-12-10").len() <= 6);
    }
}
