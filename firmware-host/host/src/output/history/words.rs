//! What is found in a history, in words.

use coilrig_analysis::history::{
    CONFIDENCE, Due, Followed, Forecast, Leaving, Side, Standing, Step, Tracked, Trend,
};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::units;

use crate::following::{YEAR_S, day};

/// A reading of a quantity in the unit people read it in.
pub fn reading(quantity: &Tracked, reading: Reading) -> String {
    units::plus_minus(reading.scaled(quantity.per_si_unit), quantity.unit)
}

/// The same for a difference, with its sign.
pub fn difference(quantity: &Tracked, by: Reading) -> String {
    let sign = if by.value > 0.0 { "+" } else { "" };
    format!("{sign}{}", reading(quantity, by))
}

/// A rate in that unit a year.
pub fn rate(quantity: &Tracked, per_s: Reading) -> String {
    difference(quantity, per_s.scaled(YEAR_S)) + " a year"
}

/// A limit.
pub fn value(quantity: &Tracked, value: f64) -> String {
    let shown = units::significant(value * quantity.per_si_unit, quantity.digits);
    format!("{shown} {}", quantity.unit).trim_end().to_owned()
}

/// A probability of chance.
pub fn chance(probability: f64) -> String {
    match probability {
        p if p < 1e-4 => "< 0.01 %".into(),
        p => format!("{} %", units::significant(100.0 * p, 2)),
    }
}

/// How a quantity stands, in few words.
pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Outside => "beyond a limit",
        Standing::DriftsAcross => "drifts, perhaps beyond a limit",
        Standing::DriftsOut(_) => "drifts towards a limit",
        Standing::Stepped(_) => "stepped, not explained",
        Standing::Drifts => "drifts",
        Standing::Open => "limit within its uncertainty",
        Standing::Unknown => "too few visits",
        Standing::Steady => "steady",
    }
}

/// A word for style and for other programs.
pub fn key(standing: Standing) -> &'static str {
    match standing {
        Standing::Outside => "outside",
        Standing::DriftsAcross => "drifts-across",
        Standing::DriftsOut(_) => "drifts-out",
        Standing::Stepped(_) => "stepped",
        Standing::Drifts => "drifts",
        Standing::Open => "open",
        Standing::Unknown => "unknown",
        Standing::Steady => "steady",
    }
}

/// Whether a person should look.
pub fn wants_looking_at(standing: Standing) -> bool {
    !matches!(standing, Standing::Unknown | Standing::Steady)
}

/// All that is to be said of a quantity, a sentence each; nothing of a steady one.
pub fn findings(followed: &Followed, now_s: f64) -> Vec<String> {
    let quantity = &followed.quantity;
    let said = |f: &Forecast| forecast(followed, f, now_s);
    let limits = followed.forecasts.iter().filter_map(said);
    let Some(trend) = &followed.trend else { return limits.collect() };
    let mut all = Vec::new();
    if trend.drifts() {
        let mut said = format!(
            "drifts by {} (chance {})",
            rate(quantity, trend.rate_per_s),
            chance(trend.chance)
        );
        if let Some(celsius) = trend.temperature_c {
            said += &format!(", at {} °C", units::significant(celsius, 2));
        }
        all.push(said);
    }
    all.extend(limits);
    all.extend(trend.steps.iter().map(|s| step(quantity, s)));
    all
}

/// What a step is and what explains it.
pub fn step(quantity: &Tracked, step: &Step) -> String {
    let size = difference(quantity, step.size);
    let by_chance = step.chance.map_or_else(String::new, |p| format!(" (chance {})", chance(p)));
    match step.event {
        Some(event) if event.kind.changes_place() => {
            format!("begins anew after \"{}\" on {}: {size}", event.kind.name(), day(event.at_s))
        }
        Some(event) => {
            format!(
                "stepped by {size} at \"{}\" on {}{by_chance}",
                event.kind.name(),
                day(event.at_s)
            )
        }
        None => {
            let [before, after] = step.between_s.map(day);
            format!(
                "stepped by {size} between {before} and {after}{by_chance}; nothing on record \
                 explains it"
            )
        }
    }
}

/// What is to be expected of a limit; nothing where that is far.
fn forecast(followed: &Followed, forecast: &Forecast, now_s: f64) -> Option<String> {
    let quantity = &followed.quantity;
    let limit = value(quantity, forecast.limit);
    let beyond = match forecast.side {
        Side::Lower => "below",
        Side::Upper => "above",
    };
    let trend = followed.trend.as_ref();
    let last_s = followed.last.at_s.min(now_s);
    let level = reading(quantity, trend.map_or(followed.last.value, |t| t.level(last_s)));
    let on = day(last_s);
    match forecast.leaving {
        Leaving::Left => Some(format!("is {beyond} its limit of {limit}: {level} on {on}")),
        Leaving::Open => {
            Some(format!("has its limit of {limit} within its uncertainty: {level} on {on}"))
        }
        Leaving::From { earliest_s, expected_s: Some(expected_s), latest_s }
            if trend.is_some_and(Trend::drifts) =>
        {
            let latest =
                latest_s.map_or("no latest day".into(), |at| format!("{} at the latest", day(at)));
            let percent = units::significant(100.0 * CONFIDENCE, 2);
            Some(match expected_s <= now_s {
                true => format!(
                    "is {beyond} its limit of {limit} since {} if it went on as before ({} to {}, \
                     {percent} %); measured last on {on}, {level}, within it: measure now",
                    day(expected_s),
                    day(earliest_s),
                    latest_s.map_or("no latest day".into(), |at| day(at).to_string()),
                ),
                false => format!(
                    "may be {beyond} its limit of {limit} from {} on, by the line from {}, \
                     {latest} ({percent} %)",
                    day(earliest_s),
                    day(expected_s),
                ),
            })
        }
        Leaving::From { .. } | Leaving::NotBefore(_) => None,
    }
}

/// When a limit is passed as seen at `now_s`, in a cell of a table.
pub fn leaves(followed: &Followed, now_s: f64) -> String {
    let mut all: Vec<String> = Vec::new();
    for forecast in &followed.forecasts {
        match forecast.leaving {
            Leaving::Left => return "now".into(),
            Leaving::Open => all.push("cannot tell".into()),
            Leaving::From { earliest_s: at_s, .. } | Leaving::NotBefore(at_s) if at_s <= now_s => {
                all.push("cannot tell".into());
            }
            Leaving::From { earliest_s, .. } => all.push(format!("not before {}", day(earliest_s))),
            Leaving::NotBefore(until_s) => all.push(format!("not before {}", day(until_s))),
        }
    }
    // The nearer of two sorts first: "cannot tell", then the earlier day.
    all.sort();
    all.into_iter().next().unwrap_or_default()
}

/// When something is due.
pub fn due(due: Due, now_s: f64) -> String {
    match due {
        Due::Never => "due: none on record".into(),
        Due::At(at_s) if at_s <= now_s => format!("due since {}", day(at_s)),
        Due::At(at_s) => format!("due on {}", day(at_s)),
    }
}
