//! Limits as they stand in a TOML file.

use std::f64::consts::TAU;
use std::ops::{Range, RangeInclusive};

use serde::Deserialize;
use toml::Spanned;

use super::set::{Bound, LimitSet, Quantity};
use crate::units;

/// Format of the file.
pub const FORMAT: &str = "coilrig-limits/1";

/// Why a file of limits is not usable.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct LimitsError {
    /// Line of the file, from 1, where there is one to point at.
    pub line: Option<usize>,
    /// What is wrong.
    pub what: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Unchecked {
    format: Spanned<String>,
    name: String,
    title: String,
    note: Option<String>,
    valid_from: Option<i32>,
    valid_until: Option<Spanned<i32>>,
    #[serde(default)]
    bound: Vec<Spanned<UncheckedBound>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncheckedBound {
    quantity: Spanned<String>,
    distance_m: Option<Spanned<f64>>,
    unit: Spanned<String>,
    lower: Option<Spanned<f64>>,
    upper: Option<Spanned<f64>>,
    source: String,
    #[serde(default)]
    from_memory: bool,
}

/// What is wrong, and at which bytes of the text.
type Fault = (Option<Range<usize>>, String);

impl LimitSet {
    /// Read a set from the text of its file.
    ///
    /// # Errors
    ///
    /// Text that is no TOML or not of this form, a set without bounds, a bound
    /// without a value, crossed, twice, in a unit that is none of its quantity, or
    /// so far from any transmitter that the unit must be wrong.
    pub fn parse(text: &str) -> Result<Self, LimitsError> {
        checked(text).map_err(|(place, what)| {
            let line_of = |at: usize| text[..at].matches('\n').count() + 1;
            LimitsError { line: place.map(|p| line_of(p.start.min(text.len()))), what }
        })
    }
}

fn checked(text: &str) -> Result<LimitSet, Fault> {
    let file: Unchecked =
        toml::from_str(text).map_err(|e| (e.span(), e.message().trim_end().to_owned()))?;
    if file.format.get_ref() != FORMAT {
        let what = format!("format is \"{}\", not \"{FORMAT}\"", file.format.get_ref());
        return Err((Some(file.format.span()), what));
    }
    if let (Some(from), Some(until)) = (file.valid_from, &file.valid_until)
        && *until.get_ref() < from
    {
        return Err((Some(until.span()), format!("valid_until is before valid_from, {from}")));
    }
    let mut bounds: Vec<Bound> = Vec::new();
    for entry in &file.bound {
        let found = bound(entry)?;
        if bounds.iter().any(|b| b.quantity == found.quantity) {
            return Err((Some(entry.span()), format!("a second bound on the {}", found.quantity)));
        }
        bounds.push(found);
    }
    if bounds.is_empty() {
        return Err((None, "holds no [[bound]], so there is nothing to judge by".into()));
    }
    Ok(LimitSet {
        name: file.name,
        title: file.title,
        note: file.note,
        valid_from: file.valid_from,
        valid_until: file.valid_until.map(Spanned::into_inner),
        bounds,
    })
}

fn bound(entry: &Spanned<UncheckedBound>) -> Result<Bound, Fault> {
    let file = entry.get_ref();
    let quantity = quantity(file)?;
    let scale = scale(quantity, &file.unit)?;
    let side = |value: &Option<Spanned<f64>>| match value {
        Some(value) => in_si(quantity, scale, value, file.unit.get_ref()).map(Some),
        None => Ok(None),
    };
    let (lower, upper) = (side(&file.lower)?, side(&file.upper)?);
    match (lower, upper) {
        (None, None) => {
            let what = format!("the bound on the {quantity} has neither lower nor upper");
            Err((Some(file.quantity.span()), what))
        }
        (Some(low), Some(high)) if low >= high => {
            let what =
                format!("the bounds on the {quantity} are crossed: lower must be below upper");
            Err((file.upper.as_ref().map(Spanned::span), what))
        }
        _ => Ok(Bound {
            quantity,
            lower,
            upper,
            source: file.source.clone(),
            from_memory: file.from_memory,
        }),
    }
}

fn quantity(file: &UncheckedBound) -> Result<Quantity, Fault> {
    let name = file.quantity.get_ref();
    let plain = match name.as_str() {
        "carrier" => Quantity::Carrier,
        "on-time" => Quantity::OnTime,
        "off-time" => Quantity::OffTime,
        "period" => Quantity::Period,
        "residual-carrier" => Quantity::ResidualCarrier,
        "field" => {
            let Some(distance) = &file.distance_m else {
                let what = "a bound on the field needs distance_m, the distance it holds at";
                return Err((Some(file.quantity.span()), what.into()));
            };
            let distance_m = *distance.get_ref();
            if !(0.5..=100.0).contains(&distance_m) {
                let what = format!("distance_m is {distance_m}, but must lie within 0.5 and 100 m");
                return Err((Some(distance.span()), what));
            }
            return Ok(Quantity::Field { distance_m });
        }
        _ => {
            let what = format!(
                "quantity is \"{name}\", but must be one of carrier, on-time, off-time, period, \
                 field, residual-carrier"
            );
            return Err((Some(file.quantity.span()), what));
        }
    };
    match &file.distance_m {
        Some(distance) => {
            let what = format!("distance_m is for the field, not for the {plain}");
            Err((Some(distance.span()), what))
        }
        None => Ok(plain),
    }
}

/// From a number in the file to SI.
#[derive(Clone, Copy)]
enum Scale {
    Factor(f64),
    Decibel,
}

/// Units of each quantity, as they are written, without µ.
fn units_of(quantity: Quantity) -> &'static [(&'static str, Scale)] {
    use Scale::{Decibel, Factor};
    match quantity {
        Quantity::Carrier => &[("Hz", Factor(1.0)), ("kHz", Factor(1e3))],
        Quantity::OnTime | Quantity::OffTime | Quantity::Period => {
            &[("s", Factor(1.0)), ("ms", Factor(1e-3))]
        }
        Quantity::Field { .. } => &[
            ("A/m", Factor(1.0)),
            ("mA/m", Factor(1e-3)),
            ("uA/m", Factor(1e-6)),
            ("nA/m", Factor(1e-9)),
            ("dBuA/m", Decibel),
        ],
        Quantity::ResidualCarrier => &[("1", Factor(1.0)), ("%", Factor(0.01))],
    }
}

fn scale(quantity: Quantity, unit: &Spanned<String>) -> Result<Scale, Fault> {
    // Both code points that look like µ.
    let plain = unit.get_ref().replace(['µ', 'μ'], "u");
    let units = units_of(quantity);
    units.iter().find(|(name, _)| *name == plain).map(|(_, scale)| *scale).ok_or_else(|| {
        let names: Vec<&str> = units.iter().map(|u| u.0).collect();
        let what = format!(
            "unit \"{}\" is none of the {quantity}: give one of {}",
            unit.get_ref(),
            names.join(", ")
        );
        (Some(unit.span()), what)
    })
}

/// What a bound can be for any transmitter of this kind, SI: beyond it the unit or
/// the number is wrong.
fn plausible(quantity: Quantity) -> RangeInclusive<f64> {
    match quantity {
        Quantity::Carrier => 450e3..=464e3,
        Quantity::OnTime | Quantity::OffTime | Quantity::Period => 1e-3..=10.0,
        // That of moments from 0.01 mA·m² to 1 A·m²; a strong unit has 15 mA·m².
        Quantity::Field { distance_m } => {
            let of_unity = 1.0 / (TAU * distance_m.powi(3));
            1e-5 * of_unity..=of_unity
        }
        Quantity::ResidualCarrier => 0.0..=1.0,
    }
}

fn in_si(quantity: Quantity, scale: Scale, value: &Spanned<f64>, unit: &str) -> Result<f64, Fault> {
    let si = match scale {
        Scale::Factor(factor) => value.get_ref() * factor,
        Scale::Decibel => units::from_dbua_per_m(*value.get_ref()),
    };
    if plausible(quantity).contains(&si) {
        return Ok(si);
    }
    let what =
        format!("{} {unit} is no bound on the {quantity}: check number and unit", value.get_ref());
    Err((Some(value.span()), what))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = r#"format = "coilrig-limits/1"
name = "club"
title = "Club"

[[bound]]
quantity = "carrier"
unit = "kHz"
lower = 456.95
upper = 457.05
source = "us"

[[bound]]
quantity = "field"
distance_m = 10
unit = "µA/m"
lower = 0.6
source = "us"
"#;

    #[test]
    fn a_file_is_read_into_si() {
        let set = LimitSet::parse(FILE).unwrap();
        let carrier = set.bound(Quantity::Carrier).unwrap();
        assert!((carrier.lower.unwrap() - 456_950.0).abs() < 1e-6);
        let field = set.bound(Quantity::Field { distance_m: 10.0 }).unwrap();
        assert!((field.lower.unwrap() - 0.6e-6).abs() < 1e-15);
        assert_eq!((field.upper, field.from_memory), (None, false));
        let level = FILE.replace("µA/m", "dBuA/m").replace("lower = 0.6", "lower = -6");
        let lower = LimitSet::parse(&level).unwrap().bounds[1].lower.unwrap();
        assert!((lower - 0.501_187e-6).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_limit_is_refused_with_its_line() {
        for (from, to, line, matter) in [
            ("limits/1", "limits/2", 1, "coilrig-limits/2"),
            ("title =", "titel =", 3, "titel"),
            ("\"carrier\"", "\"carier\"", 6, "carier"),
            ("\"kHz\"", "\"s\"", 7, "Hz, kHz"),
            ("\"kHz\"", "\"Hz\"", 8, "check number and unit"),
            ("lower = 456.95", "lower = 457.05", 9, "crossed"),
            ("lower = 456.95", "lower = 457.06", 9, "crossed"),
            ("lower = 456.95", "lower = nan", 8, "NaN"),
            ("lower = 456.95\nupper = 457.05\n", "", 6, "neither"),
            ("upper = 457.05", "upper = 457.05\ndistance_m = 10", 10, "for the field"),
            ("distance_m = 10\n", "", 13, "distance_m"),
            ("distance_m = 10", "distance_m = 0", 14, "0.5 and 100"),
            ("\"µA/m\"", "\"V/m\"", 15, "V/m"),
            ("\"µA/m\"", "\"A/m\"", 16, "check number and unit"),
            ("lower = 0.6", "lower = \"much\"", 16, "much"),
        ] {
            let text = FILE.replacen(from, to, 1);
            let error = LimitSet::parse(&text).unwrap_err();
            assert_eq!(error.line, Some(line), "{to}: {error}");
            assert!(error.what.contains(matter), "{to}: {error}");
        }
        let twice = FILE.to_owned() + FILE.split_once("\n\n").unwrap().1;
        assert!(LimitSet::parse(&twice).unwrap_err().what.contains("second bound"));
        let none = FILE.split_once("\n\n").unwrap().0;
        assert!(LimitSet::parse(none).unwrap_err().what.contains("[[bound]]"));
    }
}
