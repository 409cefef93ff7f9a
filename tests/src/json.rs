//! Reads results.

use serde_json::Value;

/// A number.
///
/// # Panics
///
/// When it is none.
#[track_caller]
pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// A list of numbers.
///
/// # Panics
///
/// When it is none.
#[track_caller]
pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("{value} is no list")).iter().map(number).collect()
}

/// Value and standard uncertainty of a reading, which must have just these two.
///
/// # Panics
///
/// When it is no reading, or the uncertainty is below zero.
#[track_caller]
pub fn reading(value: &Value) -> (f64, f64) {
    assert_eq!(keys(value), ["u", "value"], "{value} is no reading");
    let (v, u) = (number(&value["value"]), number(&value["u"]));
    assert!(u >= 0.0, "{value} has an uncertainty below zero");
    (v, u)
}

/// The keys of an object, sorted.
///
/// # Panics
///
/// When it is none.
#[track_caller]
pub fn keys(value: &Value) -> Vec<&str> {
    let object = value.as_object().unwrap_or_else(|| panic!("{value} is no object"));
    let mut keys: Vec<&str> = object.keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}
