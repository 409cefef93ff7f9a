//! How a quantity stands, worst first.

use super::forecast::{Forecast, Leaving};
use super::trend::Trend;

/// How a quantity stands. The order is that in which a person should look.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub enum Standing {
    /// Beyond a limit.
    Outside,
    /// It drifts, and nobody can say whether it is beyond a limit already.
    DriftsAcross,
    /// It drifts towards a limit and may pass it from this time on, s.
    DriftsOut(f64),
    /// It stepped with nothing done to the unit; the time is that of the last such step,
    /// counted back, s.
    Stepped(f64),
    /// It drifts beyond chance, with no limit in reach.
    Drifts,
    /// Its uncertainty reaches a limit now.
    Open,
    /// Too few visits to tell.
    Unknown,
    /// Nothing beyond chance.
    Steady,
}

/// How a quantity stands with its limits at `now_s`; without a trend, by its last reading.
pub fn standing(trend: Option<&Trend>, forecasts: &[Forecast], now_s: f64) -> Standing {
    let all = || forecasts.iter().map(|f| f.leaving);
    if all().any(|l| l == Leaving::Left) {
        return Standing::Outside;
    }
    let open = all().any(|l| l == Leaving::Open);
    let Some(trend) = trend else {
        return if open { Standing::Open } else { Standing::Unknown };
    };
    let earliest = all().filter_map(|l| match l {
        Leaving::From { earliest_s, expected_s: Some(_), .. } => Some(earliest_s),
        _ => None,
    });
    let stepped = trend.steps.iter().filter(|s| s.event.is_none()).map(|s| -s.between_s[1]);
    match (trend.drifts(), open, earliest.reduce(f64::min), stepped.reduce(f64::min)) {
        (true, true, ..) => Standing::DriftsAcross,
        (true, false, Some(earliest_s), _) if earliest_s <= now_s => Standing::DriftsAcross,
        (true, false, Some(earliest_s), _) => Standing::DriftsOut(earliest_s),
        (_, _, _, Some(back_s)) => Standing::Stepped(back_s),
        (true, ..) => Standing::Drifts,
        (false, true, ..) => Standing::Open,
        (false, false, ..) => Standing::Steady,
    }
}

/// What wants looking at first.
pub fn worse_first(a: Standing, b: Standing) -> std::cmp::Ordering {
    // No time in it is NaN.
    a.partial_cmp(&b).unwrap_or(std::cmp::Ordering::Equal)
}
