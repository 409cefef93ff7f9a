//! Quantities as people read them.
//!
//! Files and JSON hold SI numbers; tables and charts show nA/m, µA/m and ms,
//! and a value with its uncertainty rounded to two digits of the latter
//! (JCGM 100, 7.2.6).

use crate::reading::Reading;

/// Prefixes in use, largest first.
const PREFIXES: [(f64, &str); 4] = [(1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")];
/// Reference of dBµA/m, A/m.
const MICROAMPERE_PER_METRE: f64 = 1e-6;

/// A field in nA/m, µA/m, mA/m or A/m with up to three digits: `80 nA/m`.
pub fn field(field_a_per_m: f64) -> String {
    let (factor, prefix) = prefix_of(field_a_per_m);
    format!("{} {prefix}A/m", significant(field_a_per_m / factor, 3))
}

/// A field with its uncertainty: `1.012 ± 0.031 µA/m`.
pub fn field_reading(field_a_per_m: Reading) -> String {
    let (factor, prefix) = prefix_of(field_a_per_m.value);
    plus_minus(field_a_per_m.scaled(1.0 / factor), &format!("{prefix}A/m"))
}

/// Level of an RMS field over 1 µA/m, dB.
pub fn dbua_per_m(field_a_per_m: f64) -> f64 {
    20.0 * (field_a_per_m / MICROAMPERE_PER_METRE).log10()
}

/// RMS field of a level over 1 µA/m, A/m.
pub fn from_dbua_per_m(level_dbua_per_m: f64) -> f64 {
    MICROAMPERE_PER_METRE * 10f64.powf(level_dbua_per_m / 20.0)
}

/// A field as its level to a tenth of a decibel: `7.0 dBµA/m`.
pub fn field_level(field_a_per_m: f64) -> String {
    format!("{} dBµA/m", fixed(dbua_per_m(field_a_per_m), 1))
}

/// Text that is no field strength.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no field over zero such as 80nA/m, 0.5uA/m, 7dBuA/m, or 8e-8 for A/m")]
pub struct NotAField(pub String);

/// The field (A/m) that a person wrote: a number of A/m, or a number with one of
/// pA/m, nA/m, µA/m (or uA/m), mA/m, A/m, dBµA/m (or dBuA/m) behind it.
pub fn parse_field(text: &str) -> Result<f64, NotAField> {
    // Both code points that look like µ, and its stand-in on plain keyboards.
    let plain: String = text.trim().replace(['µ', 'μ'], "u");
    let units = [("pA/m", 1e-12), ("nA/m", 1e-9), ("uA/m", 1e-6), ("mA/m", 1e-3), ("A/m", 1.0)];
    let level = plain.strip_suffix("dBuA/m").map(|number| (number, None));
    let linear = || {
        let with = |(unit, factor)| Some((plain.strip_suffix(unit)?, Some(factor)));
        units.into_iter().find_map(with)
    };
    let (number, factor) = level.or_else(linear).unwrap_or((&plain, Some(1.0)));
    let number: Option<f64> = number.trim().replace('−', "-").parse().ok();
    number
        .map(|v| factor.map_or_else(|| from_dbua_per_m(v), |factor| v * factor))
        .filter(|field| *field > 0.0 && field.is_finite())
        .ok_or_else(|| NotAField(text.to_owned()))
}

/// A time in ms with its uncertainty: `90.10 ± 0.10 ms`.
pub fn milliseconds(time_s: Reading) -> String {
    plus_minus(time_s.scaled(1e3), "ms")
}

/// Seconds as people say them: `0.1 s`, `99 s`, `8 min 21 s`, `2 h 30 min`.
pub fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match whole {
        0..10 => format!("{} s", significant(seconds, 2)),
        10..120 => format!("{whole} s"),
        120..7200 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

/// `value ± u unit`, u with two digits and the value to the same place. A u of
/// zero or without a number leaves the value alone, with six digits.
pub fn plus_minus(reading: Reading, unit: &str) -> String {
    let Reading { value, u } = reading;
    if !(u > 0.0 && u.is_finite() && value.is_finite()) {
        return format!("{} {unit}", significant(value, 6)).trim_end().to_owned();
    }
    let places = 1 - decade(u, 2);
    format!("{} ± {} {unit}", to_place(value, places), to_place(u, places)).trim_end().to_owned()
}

/// A number with at most `digits` significant digits and no trailing zeros.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let text = to_place(value, digits - 1 - decade(value, digits));
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// A number to two places: `−1.40`.
pub fn to_hundredths(value: f64) -> String {
    fixed(value, 2)
}

fn prefix_of(value: f64) -> (f64, &'static str) {
    // Half a unit of the third digit below 1000 of the lower prefix rounds up.
    let reaches = |factor: f64| value.abs() >= 0.9995 * factor;
    let smallest = PREFIXES[PREFIXES.len() - 1];
    let of_zero = if value == 0.0 { PREFIXES[2] } else { smallest };
    PREFIXES.into_iter().find(|(factor, _)| reaches(*factor)).unwrap_or(of_zero)
}

/// Power of ten of the first digit once `value` is rounded to `digits`.
fn decade(value: f64, digits: i32) -> i32 {
    let text = format!("{:.*e}", (digits - 1).max(0) as usize, value.abs());
    text.rsplit_once('e').and_then(|(_, power)| power.parse().ok()).unwrap_or(0)
}

/// Rounded to 10^−places; places may be negative.
fn to_place(value: f64, places: i32) -> String {
    if places >= 0 {
        return fixed(value, places as usize);
    }
    let step = 10f64.powi(-places);
    fixed((value / step).round() * step, 0)
}

/// Fixed places, with a true minus sign and no negative zero.
fn fixed(value: f64, places: usize) -> String {
    let text = format!("{:.places$}", value.abs());
    let is_zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value < 0.0 && !is_zero { format!("−{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EN 300 718-1 and ERC Recommendation 70-03 (from memory).
    #[test]
    fn levels_of_the_standards() {
        assert_eq!(field(from_dbua_per_m(7.0)), "2.24 µA/m");
        assert_eq!(field(from_dbua_per_m(-6.0)), "501 nA/m");
        assert_eq!(field_level(2.2387e-6), "7.0 dBµA/m");
        assert_eq!(field_level(0.5e-6), "−6.0 dBµA/m");
        assert!((from_dbua_per_m(-6.0) - 0.501e-6).abs() < 0.0005e-6);
    }

    #[test]
    fn fields_take_the_prefix_people_expect() {
        assert_eq!(field(80e-9), "80 nA/m");
        assert_eq!(field(1e-6), "1 µA/m");
        assert_eq!(field(0.99951e-6), "1 µA/m");
        assert_eq!(field(999.4e-9), "999 nA/m");
        assert_eq!(field(2.16e-3), "2.16 mA/m");
        assert_eq!(field(12.0), "12 A/m");
        assert_eq!(field(3.2e-11), "0.032 nA/m");
        assert_eq!(field(0.0), "0 µA/m");
    }

    #[test]
    fn fields_as_people_write_them() {
        let close = |text: &str, field: f64| {
            let read = parse_field(text).unwrap();
            assert!((read / field - 1.0).abs() < 1e-12, "{text}: {read}");
        };
        close("80nA/m", 80e-9);
        close(" 0.5 µA/m", 0.5e-6);
        close("0.5uA/m", 0.5e-6);
        close("8e-8", 80e-9);
        close("2.16 mA/m", 2.16e-3);
        close("-6 dBuA/m", 0.501187233627e-6);
        close("−6 dBµA/m", 0.501187233627e-6);
        for wrong in ["", "nA/m", "80nT", "0", "-1e-9", "0,5uA/m", "inf"] {
            assert!(parse_field(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn durations_as_people_say_them() {
        for (seconds, said) in [
            (0.1, "0.1 s"),
            (9.4, "9.4 s"),
            (99.1, "99 s"),
            (501.0, "8 min 21 s"),
            (6012.0, "100 min 12 s"),
            (9000.0, "2 h 30 min"),
        ] {
            assert_eq!(duration(seconds), said);
        }
    }

    #[test]
    fn uncertainty_rules_the_digits() {
        let cases = [
            (23.4149, 0.3211, "23.41 ± 0.32 m"),
            (23.4149, 0.0996, "23.41 ± 0.10 m"),
            (1234.0, 56.0, "1234 ± 56 m"),
            (1234.0, 123.0, "1230 ± 120 m"),
            (-0.004, 0.25, "0.00 ± 0.25 m"),
            (-3.01, 0.02, "−3.010 ± 0.020 m"),
            (5.0, 0.0, "5 m"),
            (5.25, f64::NAN, "5.25 m"),
        ];
        for (value, u, text) in cases {
            assert_eq!(plus_minus(Reading::new(value, u), "m"), text);
        }
    }

    #[test]
    fn readings_of_field_and_time() {
        assert_eq!(field_reading(Reading::new(1.0124e-6, 3.1e-8)), "1.012 ± 0.031 µA/m");
        assert_eq!(milliseconds(Reading::new(0.0901, 1e-4)), "90.10 ± 0.10 ms");
    }

    #[test]
    fn numbers_lose_their_trailing_zeros_but_not_their_tens() {
        assert_eq!(significant(100.0, 3), "100");
        assert_eq!(significant(0.0500, 3), "0.05");
        assert_eq!(significant(123456.0, 3), "123000");
        assert_eq!(significant(f64::NAN, 3), "NaN");
        assert_eq!(to_hundredths(-1.3961), "−1.40");
        assert_eq!(to_hundredths(-0.001), "0.00");
    }
}
