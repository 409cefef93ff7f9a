//! Histories as one JSON document.

use coilrig_analysis::history::{Due, Followed, Forecast, Leaving, Side, Trend};
use coilrig_analysis::reading::Reading;
use serde::Serialize;

use super::words;
use crate::error::{Error, Result};
use crate::following::{Histories, Question, UnitHistory, YEAR_S, day, seconds, timestamp};

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    records: &'a str,
    as_of: String,
    limits: &'a str,
    units: Vec<Unit<'a>>,
    calibrations: Vec<Calibration<'a>>,
}

#[derive(Serialize)]
struct Unit<'a> {
    name: &'a str,
    serial: Option<&'a str>,
    model: Option<&'a str>,
    retired: bool,
    standing: &'static str,
    quantities: Vec<Quantity<'a>>,
    due: Option<UnitDue>,
}

#[derive(Serialize)]
struct UnitDue {
    verification: DueDocument,
    battery: DueDocument,
}

#[derive(Serialize)]
struct DueDocument {
    on: Option<String>,
    now: bool,
}

#[derive(Serialize)]
struct Calibration<'a> {
    receiver_serial: &'a str,
    ends: Option<DueDocument>,
}

#[derive(Serialize)]
struct Quantity<'a> {
    quantity: &'a str,
    standing: &'static str,
    readings: usize,
    readings_without_uncertainty: usize,
    last: Last,
    trend: Option<TrendDocument<'a>>,
    limits: Vec<LimitDocument>,
}

#[derive(Serialize)]
struct Last {
    at: String,
    #[serde(flatten)]
    reading: Reading,
}

#[derive(Serialize)]
struct TrendDocument<'a> {
    visits: usize,
    visits_left_out: usize,
    from: String,
    to: String,
    level: Reading,
    rate_per_year: Reading,
    chance: f64,
    drifts: bool,
    degrees_of_freedom: Option<f64>,
    scatter_between_visits: f64,
    chi_squared: f64,
    residual_degrees_of_freedom: usize,
    per_degree_c: Option<Reading>,
    temperature_c: Option<f64>,
    steps: Vec<StepDocument<'a>>,
}

#[derive(Serialize)]
struct StepDocument<'a> {
    after: String,
    before: String,
    size: Reading,
    chance: Option<f64>,
    event: Option<&'a str>,
}

#[derive(Serialize)]
struct LimitDocument {
    side: &'static str,
    value: f64,
    leaves: &'static str,
    earliest: Option<String>,
    expected: Option<String>,
    latest: Option<String>,
    not_before: Option<String>,
}

/// The document.
pub fn json(histories: &Histories, question: &Question<'_>, records: &str) -> Result<String> {
    let now_s = seconds(question.as_of);
    let document = Document {
        format: "coilrig-history/1",
        records,
        as_of: question.as_of.to_string(),
        limits: &question.limits.name,
        units: histories.units.iter().map(|unit| of_unit(unit, now_s)).collect(),
        calibrations: histories
            .calibrations
            .iter()
            .map(|c| Calibration {
                receiver_serial: &c.entry.what.receiver_serial,
                ends: c.ends.map(|ends| of_due(ends, now_s)),
            })
            .collect(),
    };
    let text = serde_json::to_string_pretty(&document).map_err(|e| {
        Error::file("results", format!("cannot be put as JSON: {e}"), "report this")
    })?;
    Ok(text + "\n")
}

fn of_unit(unit: &UnitHistory, now_s: f64) -> Unit<'_> {
    let what = &unit.known.entry.what;
    let due = UnitDue {
        verification: of_due(unit.verification_due, now_s),
        battery: of_due(unit.battery_due, now_s),
    };
    Unit {
        name: &what.name,
        serial: what.serial.as_deref(),
        model: what.model.as_deref(),
        retired: unit.retired,
        standing: words::key(unit.standing()),
        quantities: unit.followed.iter().map(|f| of_quantity(f, now_s)).collect(),
        due: (!unit.retired).then_some(due),
    }
}

fn of_due(due: Due, now_s: f64) -> DueDocument {
    let on = match due {
        Due::Never => None,
        Due::At(at_s) => Some(day(at_s).to_string()),
    };
    DueDocument { on, now: due.now(now_s) }
}

fn of_quantity(followed: &Followed, now_s: f64) -> Quantity<'_> {
    Quantity {
        quantity: followed.quantity.name,
        standing: words::key(followed.standing),
        readings: followed.readings,
        readings_without_uncertainty: followed.without_uncertainty,
        last: Last { at: time(followed.last.at_s), reading: followed.last.value },
        trend: followed.trend.as_ref().map(|t| of_trend(t, now_s)),
        limits: followed.forecasts.iter().map(of_limit).collect(),
    }
}

fn time(at_s: f64) -> String {
    timestamp(at_s).to_string()
}

fn of_trend(trend: &Trend, now_s: f64) -> TrendDocument<'_> {
    let end = |visit: Option<&coilrig_analysis::history::Visit>| {
        visit.map_or_else(String::new, |v| time(v.at_s))
    };
    TrendDocument {
        visits: trend.visits.len(),
        visits_left_out: trend.left_out,
        from: end(trend.visits.first()),
        to: end(trend.visits.last()),
        level: trend.level(now_s),
        rate_per_year: trend.rate_per_s.scaled(YEAR_S),
        chance: trend.chance,
        drifts: trend.drifts(),
        degrees_of_freedom: Some(trend.degrees_of_freedom).filter(|f| f.is_finite()),
        scatter_between_visits: trend.scatter,
        chi_squared: trend.chi_squared,
        residual_degrees_of_freedom: trend.residual_degrees_of_freedom,
        per_degree_c: trend.per_degree,
        temperature_c: trend.temperature_c,
        steps: trend
            .steps
            .iter()
            .map(|step| StepDocument {
                after: time(step.between_s[0]),
                before: time(step.between_s[1]),
                size: step.size,
                chance: step.chance,
                event: step.event.map(|event| event.kind.name()),
            })
            .collect(),
    }
}

fn of_limit(forecast: &Forecast) -> LimitDocument {
    let side = match forecast.side {
        Side::Lower => "lower",
        Side::Upper => "upper",
    };
    let known = LimitDocument {
        side,
        value: forecast.limit,
        leaves: "not soon",
        earliest: None,
        expected: None,
        latest: None,
        not_before: None,
    };
    let date = |at_s: f64| day(at_s).to_string();
    match forecast.leaving {
        Leaving::Left => LimitDocument { leaves: "left", ..known },
        Leaving::Open => LimitDocument { leaves: "cannot tell", ..known },
        Leaving::From { earliest_s, expected_s, latest_s } => LimitDocument {
            leaves: "from",
            earliest: Some(date(earliest_s)),
            expected: expected_s.map(date),
            latest: latest_s.map(date),
            ..known
        },
        Leaving::NotBefore(until_s) => LimitDocument { not_before: Some(date(until_s)), ..known },
    }
}
