//! The quantities that can be followed over years.

use crate::limits;

/// A quantity that means the same at every visit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tracked {
    /// Its name in records and files, with the SI unit in it.
    pub name: &'static str,
    /// Its name for people.
    pub label: &'static str,
    /// The unit people read it in, and how many of them one SI unit is.
    pub unit: &'static str,
    /// Number of those to one SI unit.
    pub per_si_unit: f64,
    /// The limit on it, where there may be one.
    pub limited: Option<limits::Quantity>,
    /// Digits that a limit on it has.
    pub digits: i32,
    /// A unit that was moved begins anew.
    pub of_place: bool,
    /// It changes with the unit's temperature, by its resonator.
    pub by_temperature: bool,
}

const PLAIN: Tracked = Tracked {
    name: "",
    label: "",
    unit: "",
    per_si_unit: 1.0,
    limited: None,
    digits: 3,
    of_place: false,
    by_temperature: false,
};

/// All of them, in the order in which people read them. The field as measured is not
/// one: it depends on where the receiver stood.
pub const TRACKED: [Tracked; 10] = [
    Tracked {
        name: "carrier_hz",
        label: "carrier",
        unit: "Hz",
        limited: Some(limits::Quantity::Carrier),
        digits: 8,
        by_temperature: true,
        ..PLAIN
    },
    Tracked {
        name: "period_s",
        label: "period",
        unit: "ms",
        per_si_unit: 1e3,
        limited: Some(limits::Quantity::Period),
        ..PLAIN
    },
    Tracked {
        name: "on_time_s",
        label: "time on",
        unit: "ms",
        per_si_unit: 1e3,
        limited: Some(limits::Quantity::OnTime),
        ..PLAIN
    },
    Tracked {
        name: "off_time_s",
        label: "time off",
        unit: "ms",
        per_si_unit: 1e3,
        limited: Some(limits::Quantity::OffTime),
        ..PLAIN
    },
    Tracked {
        name: "field_at_10_m_a_per_m",
        label: "field at 10 m",
        unit: "µA/m",
        per_si_unit: 1e6,
        limited: Some(limits::Quantity::Field { distance_m: 10.0 }),
        ..PLAIN
    },
    Tracked { name: "moment_a_m2", label: "moment", unit: "mA·m²", per_si_unit: 1e3, ..PLAIN },
    Tracked {
        name: "residual_carrier_ratio",
        label: "residual carrier",
        unit: "%",
        per_si_unit: 1e2,
        limited: Some(limits::Quantity::ResidualCarrier),
        ..PLAIN
    },
    Tracked { name: "depth_m", label: "depth", unit: "m", of_place: true, ..PLAIN },
    Tracked { name: "x_m", label: "place east", unit: "m", of_place: true, ..PLAIN },
    Tracked { name: "y_m", label: "place north", unit: "m", of_place: true, ..PLAIN },
];

impl Tracked {
    /// The quantity of this name in records.
    pub fn named(name: &str) -> Option<Self> {
        TRACKED.into_iter().find(|q| q.name == name)
    }

    /// Its bounds in a set of limits.
    pub fn bounds(&self, set: &limits::LimitSet) -> (Option<f64>, Option<f64>) {
        let bound = self.limited.and_then(|quantity| set.bound(quantity));
        bound.map_or((None, None), |b| (b.lower, b.upper))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::published;

    #[test]
    fn limits_find_their_quantity() {
        let set = published::named(published::CURRENT).unwrap();
        let bounds = |name| Tracked::named(name).unwrap().bounds(&set);
        assert_eq!(bounds("carrier_hz"), (Some(456_920.0), Some(457_080.0)));
        assert_eq!(bounds("on_time_s").1, None);
        assert!(bounds("field_at_10_m_a_per_m").0.is_some());
        assert_eq!(bounds("depth_m"), (None, None));
        assert_eq!(Tracked::named("field_a_per_m"), None);
    }
}
