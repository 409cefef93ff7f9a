//! Which units of a station mask each other.

use serde::Serialize;

use crate::masking::{Group, Pair, Timing, exchange};
use crate::station::{PlannedUnit, Station};

/// Masking in a station whose units keep their planned timing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Masking {
    /// RMS field from which on a unit is taken for heard, A/m.
    pub threshold_a_per_m: f64,
    /// Share of the time in which at least two of all units send.
    pub share_of_time: f64,
    /// Each unit among all the others.
    pub units: Vec<OfUnit>,
    /// Each pair of units, those that stay together longest first.
    pub pairs: Vec<Between>,
    /// Two units that had better change places.
    pub exchange: Option<Exchange>,
    /// A spare that had better take a unit's place.
    pub spare: Option<SpareUsed>,
}

/// One unit among the others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OfUnit {
    /// Its name.
    pub name: String,
    /// Share of its pulses that another's meet.
    pub share_of_pulses: f64,
}

/// Two units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Between {
    /// Their names, in the order of the station.
    pub units: [String; 2],
    /// Whether there is a place at which both are heard.
    pub heard_together: bool,
    /// Share of the time in which both send.
    pub share_of_time: f64,
    /// Share of the pulses of each that the other's meet.
    pub share_of_pulses: [f64; 2],
    /// Longest time for which every pulse of one is met by the other, s; `None` where
    /// they never part.
    pub longest_s: Option<f64>,
    /// Time after which they stand to each other as before, s; `None` where they never
    /// part.
    pub again_after_s: Option<f64>,
}

/// Two units to exchange.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Exchange {
    /// Their names.
    pub units: [String; 2],
    /// Sum of the longest stretches over pairs that are heard together, now and then, s.
    pub before_s: f64,
    /// The same afterwards, s.
    pub after_s: f64,
}

/// A spare to put in a unit's place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SpareUsed {
    /// Name of the unit that goes.
    pub unit: String,
    /// Name of the spare that comes.
    pub spare: String,
    /// As of an [`Exchange`], s.
    pub before_s: f64,
    /// The same afterwards, s.
    pub after_s: f64,
}

/// Masking in `station`, where a unit is heard from the RMS field `threshold_a_per_m`
/// on (free space, receiver along the field).
///
/// Two units are heard together where the distance between them is less than the sum
/// of their greatest reaches: then there is a place, on a line between them at least,
/// at which a receiver may meet both.
pub fn masking(station: &Station, threshold_a_per_m: f64) -> Masking {
    let units = &station.units;
    let timings: Vec<Timing> = units.iter().map(|u| u.timing).collect();
    let group = Group(timings.clone());
    let together = |a: usize, b: usize| {
        let (a, b) = (&units[a], &units[b]);
        distance_m(station, a, b) < a.reach_m(threshold_a_per_m) + b.reach_m(threshold_a_per_m)
    };
    let of_unit = |(i, unit): (usize, &PlannedUnit)| OfUnit {
        name: unit.name.clone(),
        share_of_pulses: group.share_of_pulses(i),
    };
    let numbers = (0..units.len()).flat_map(|a| (a + 1..units.len()).map(move |b| (a, b)));
    let mut pairs: Vec<Between> =
        numbers.map(|(a, b)| between([&units[a], &units[b]], together(a, b))).collect();
    let length = |pair: &Between| pair.longest_s.unwrap_or(f64::INFINITY);
    pairs.sort_by(|a, b| {
        b.heard_together.cmp(&a.heard_together).then(length(b).total_cmp(&length(a)))
    });
    let spares: Vec<Timing> = station.spares.iter().map(|s| s.timing).collect();
    let spare = exchange::best_spare(&timings, &spares, together).map(|best| SpareUsed {
        unit: units[best.unit].name.clone(),
        spare: station.spares[best.spare].name.clone(),
        before_s: best.before_s,
        after_s: best.after_s,
    });
    let exchange = exchange::best(&timings, together).map(|best| Exchange {
        units: [units[best.units.0].name.clone(), units[best.units.1].name.clone()],
        before_s: best.before_s,
        after_s: best.after_s,
    });
    Masking {
        threshold_a_per_m,
        share_of_time: group.share_of_time(),
        units: units.iter().enumerate().map(of_unit).collect(),
        pairs,
        exchange,
        spare,
    }
}

fn between([a, b]: [&PlannedUnit; 2], heard_together: bool) -> Between {
    let pairs = [Pair { own: a.timing, other: b.timing }, Pair { own: b.timing, other: a.timing }];
    let longest = |of: fn(&Pair) -> f64| {
        let longest_s = pairs.iter().map(of).fold(0.0, f64::max);
        longest_s.is_finite().then_some(longest_s)
    };
    Between {
        units: [a.name.clone(), b.name.clone()],
        heard_together,
        share_of_time: pairs[0].share_of_time(),
        share_of_pulses: pairs.map(|pair| pair.share_of_pulses()),
        longest_s: longest(Pair::longest_s),
        again_after_s: longest(Pair::beat_s),
    }
}

fn distance_m(station: &Station, a: &PlannedUnit, b: &PlannedUnit) -> f64 {
    let z_m = |u: &PlannedUnit| station.slope.height_m(u.x_m, u.y_m) - u.depth_m;
    (a.x_m - b.x_m).hypot(a.y_m - b.y_m).hypot(z_m(a) - z_m(b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::Spare;

    fn station(places_and_periods: &[(f64, f64)]) -> Station {
        let units: String = places_and_periods
            .iter()
            .enumerate()
            .map(|(i, (x_m, period_s))| {
                format!(
                    "[[unit]]\nname = \"u{i}\"\nx_m = {x_m}\ny_m = 0\ndepth_m = 1\n\
                     period_s = {period_s}\non_time_s = 0.1\nfield_at_10_m = \"1uA/m\"\n"
                )
            })
            .collect();
        Station::parse(&format!("format = \"coilrig-station/1\"\nname = \"t\"\n{units}")).unwrap()
    }

    /// 1 µA/m at 10 m is 80 nA/m at 23.2 m on the axis: units 40 m apart are heard at
    /// one place, units 50 m apart are not.
    #[test]
    fn only_units_near_each_other_are_heard_together() {
        let found = masking(&station(&[(0.0, 1.0), (40.0, 0.9), (90.0, 1.1)]), 80e-9);
        let together = |a: &str, b: &str| {
            let pair = found.pairs.iter().find(|p| p.units == [a, b]).unwrap();
            pair.heard_together
        };
        assert!(together("u0", "u1") && !together("u1", "u2") && !together("u0", "u2"));
    }

    #[test]
    fn the_worst_pair_leads_and_is_told_apart() {
        let found = masking(&station(&[(0.0, 1.0), (5.0, 0.9), (8.0, 1.001), (60.0, 1.1)]), 80e-9);
        let worst = &found.pairs[0];
        assert_eq!(worst.units, ["u0", "u2"]);
        // 0.2 s of meeting at 1 ms a pulse.
        assert!((worst.longest_s.unwrap() - 200.0).abs() < 2.0);
        assert!((worst.again_after_s.unwrap() - 1001.0).abs() < 1.0);
        let exchange = found.exchange.unwrap();
        assert!(exchange.units.contains(&"u3".to_owned()), "{exchange:?}");
        assert!(exchange.after_s < 0.2 * exchange.before_s);
    }

    #[test]
    fn a_spare_of_another_period_is_named() {
        let mut station = station(&[(0.0, 1.0), (5.0, 1.001)]);
        let timing = Timing { period_s: 1.2, on_time_s: 0.1 };
        let spare = Spare { name: "new".into(), serial: None, timing, field_at_10_m_a_per_m: 1e-6 };
        station.spares.push(spare);
        let found = masking(&station, 80e-9).spare.unwrap();
        assert_eq!(found.spare, "new");
        assert!(found.before_s > 150.0 && found.after_s < 5.0, "{found:?}");
    }

    #[test]
    fn units_of_one_period_never_part() {
        let found = masking(&station(&[(0.0, 1.0), (5.0, 1.0)]), 80e-9);
        assert_eq!(found.pairs[0].longest_s, None);
        assert_eq!(found.pairs[0].again_after_s, None);
    }
}
