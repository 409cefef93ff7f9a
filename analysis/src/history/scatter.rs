//! Scatter between visits beyond what the uncertainties say.

use super::visits::Visit;

/// Variance τ² to be added to each squared uncertainty so that `misfit(τ²)`, the weighted
/// sum of squared residuals, is its degrees of freedom; 0 where it is no more without.
/// (Paule and Mandel, J. Res. Nat. Bur. Stand. 87 (1982) 377, quoted from memory; here
/// about a line with steps.)
pub(super) fn between_visits(misfit: impl Fn(f64) -> f64, freedom: f64, scale: f64) -> f64 {
    if misfit(0.0) <= freedom {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, scale);
    while misfit(high) > freedom && high < 1e30 * scale {
        (low, high) = (high, 4.0 * high);
    }
    // The misfit falls as the variance grows.
    for _ in 0..100 {
        let middle = if low > 0.0 { (low * high).sqrt() } else { 0.5 * high };
        if high - low <= 1e-10 * high {
            break;
        }
        *(if misfit(middle) > freedom { &mut low } else { &mut high }) = middle;
    }
    0.5 * (low + high)
}

/// The same variance from how visits depart from the line between their neighbours, which
/// knows neither drift nor a few steps: their median is that of normal noise.
pub(super) fn from_neighbours(visits: &[Visit]) -> f64 {
    let bends: Vec<(f64, f64, f64)> = visits
        .windows(3)
        .map(|v| {
            let share = (v[1].at_s - v[0].at_s) / (v[2].at_s - v[0].at_s);
            let [a, b, c] = [0, 1, 2].map(|i| v[i].value);
            let bend = b.value - a.value - share * (c.value - a.value);
            let weights = 1.0 + (1.0 - share).powi(2) + share * share;
            let known = b.u.powi(2) + ((1.0 - share) * a.u).powi(2) + (share * c.u).powi(2);
            (bend * bend, known, weights)
        })
        .collect();
    if bends.is_empty() {
        return 0.0;
    }
    // Median of the square of a standard normal variable.
    const MEDIAN: f64 = 0.454_936;
    let median = |variance: f64| {
        let mut all: Vec<f64> = bends.iter().map(|(b, k, w)| b / (k + w * variance)).collect();
        let middle = all.len() / 2;
        *all.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let scale = bends.iter().map(|(b, k, _)| b + k).sum::<f64>() / bends.len() as f64;
    between_visits(median, MEDIAN, scale)
}
