//! Axes: from values to places, and the ticks on the way.

/// A place on an axis worth a grid line.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Value there.
    pub value: f64,
    /// Text beside it; a tick without one gets a fainter line.
    pub label: Option<String>,
}

/// An axis of a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Value at the start (left or bottom).
    pub from: f64,
    /// Value at the end (right or top).
    pub to: f64,
    /// Name of the quantity, with its unit.
    pub name: String,
    /// Ticks inside the axis, in order.
    pub ticks: Vec<Tick>,
    logarithmic: bool,
}

impl Axis {
    /// A linear axis with some `count` labelled ticks at round values (1, 2 or 5
    /// times a power of ten apart).
    pub fn linear(
        from: f64,
        to: f64,
        name: &str,
        count: usize,
        label: impl Fn(f64) -> String,
    ) -> Self {
        let rough = (to - from).abs() / count.max(1) as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|digit| digit * power)
            .into_iter()
            .find(|step| *step >= 0.999 * rough)
            .unwrap_or(rough);
        let (low, high) = (from.min(to), from.max(to));
        let first = (low / step - 1e-9).ceil();
        let last = (high / step + 1e-9).floor();
        let count =
            if (last - first).is_finite() { (last - first).max(-1.0) as usize + 1 } else { 0 };
        let ticks = (0..count.min(1000))
            .map(|i| (first + i as f64) * step)
            .map(|value| Tick { value, label: Some(label(value)) })
            .collect();
        Self { from, to, name: name.into(), ticks, logarithmic: false }
    }

    /// A logarithmic axis over positive values. The fewer decades it spans, the
    /// more digits of each are labelled: all of them below 0.8, only 1 above 3.
    pub fn logarithmic(from: f64, to: f64, name: &str, label: impl Fn(f64) -> String) -> Self {
        let (low, high) = (from.min(to), from.max(to));
        let decades = (high / low).log10();
        let labelled: &[u32] = match decades {
            d if d <= 0.8 => &[1, 2, 3, 4, 5, 6, 7, 8, 9],
            d if d <= 1.2 => &[1, 2, 3, 5, 7],
            d if d <= 2.0 => &[1, 2, 5],
            d if d <= 3.0 => &[1, 3],
            _ => &[1],
        };
        let powers = low.log10().floor() as i32..=high.log10().ceil() as i32;
        let ticks = powers
            .flat_map(|power| (1..10).map(move |digit| (digit, power)))
            .map(|(digit, power)| {
                // 5e-7 as written has the nearest value, a product has not.
                let value = format!("{digit}e{power}").parse().unwrap_or(f64::NAN);
                let label = labelled.contains(&digit).then(|| label(value));
                Tick { value, label }
            })
            .filter(|tick| tick.value >= low * 0.999_999 && tick.value <= high * 1.000_001)
            .collect();
        Self { from, to, name: name.into(), ticks, logarithmic: true }
    }

    /// A linear axis with ticks of the caller's own, such as days of a calendar.
    pub fn with_ticks(from: f64, to: f64, name: &str, ticks: Vec<Tick>) -> Self {
        Self { from, to, name: name.into(), ticks, logarithmic: false }
    }

    /// An axis of named rows at 1, 2, … from the top down.
    pub fn rows<'a>(names: impl Iterator<Item = &'a str>) -> Self {
        let named = (1..).zip(names);
        let ticks: Vec<Tick> = named
            .map(|(row, name)| Tick { value: f64::from(row), label: Some(name.to_owned()) })
            .collect();
        let from = ticks.len() as f64 + 0.5;
        Self { from, to: 0.5, ticks, name: String::new(), logarithmic: false }
    }

    /// Place of a value: 0 at the start of the axis, 1 at its end. NaN for a
    /// value that a logarithmic axis has no place for.
    pub fn place(&self, value: f64) -> f64 {
        if self.logarithmic {
            (value / self.from).ln() / (self.to / self.from).ln()
        } else {
            (value - self.from) / (self.to - self.from)
        }
    }

    /// The value at a place, inverse of [`place`](Self::place).
    pub fn value(&self, place: f64) -> f64 {
        if self.logarithmic {
            self.from * (self.to / self.from).powf(place)
        } else {
            self.from + place * (self.to - self.from)
        }
    }

    /// `count` (at least 2) values evenly spread over the axis as it is drawn.
    pub fn samples(&self, count: usize) -> impl Iterator<Item = f64> + '_ {
        (0..count).map(move |i| self.value(i as f64 / (count - 1) as f64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().filter_map(|t| t.label.as_deref()).collect()
    }

    #[test]
    fn linear_ticks_are_round() {
        let axis = Axis::linear(-3.2, 4.7, "x", 8, |v| format!("{v}"));
        assert_eq!(labels(&axis), ["-3", "-2", "-1", "0", "1", "2", "3", "4"]);
        let fine = Axis::linear(0.0, 0.1, "x", 5, |v| format!("{v:.2}"));
        assert_eq!(labels(&fine), ["0.00", "0.02", "0.04", "0.06", "0.08", "0.10"]);
    }

    #[test]
    fn logarithmic_ticks_thin_out_with_the_span() {
        let metres = |from, to| Axis::logarithmic(from, to, "x", |v| format!("{v}"));
        assert_eq!(labels(&metres(1.0, 50.0)), ["1", "2", "5", "10", "20", "50"]);
        assert_eq!(labels(&metres(0.25, 0.8)), ["0.3", "0.4", "0.5", "0.6", "0.7", "0.8"]);
        assert_eq!(labels(&metres(2.0, 25.0)), ["2", "3", "5", "7", "10", "20"]);
        assert_eq!(labels(&metres(0.8, 400.0)), ["1", "3", "10", "30", "100", "300"]);
        assert_eq!(labels(&metres(1e-2, 1e2)), ["0.01", "0.1", "1", "10", "100"]);
        assert_eq!(metres(1.0, 10.0).ticks.len(), 10);
    }

    #[test]
    fn place_and_value_are_inverse() {
        for axis in [
            Axis::linear(-1.0, 3.0, "x", 4, |v| v.to_string()),
            Axis::logarithmic(1e-9, 1e-3, "x", |v| v.to_string()),
        ] {
            assert_eq!((axis.place(axis.from), axis.place(axis.to)), (0.0, 1.0));
            for place in [0.1, 0.5, 0.9] {
                assert!((axis.place(axis.value(place)) - place).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn an_axis_without_extent_has_no_flood_of_ticks() {
        assert!(Axis::linear(1.0, 1.0, "x", 5, |v| v.to_string()).ticks.len() <= 1000);
    }
}
