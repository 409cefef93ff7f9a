//! Field limits that charts and ranges are drawn with.

use serde::Serialize;

/// A bound on the field of a transmitter, or of what a receiver must hear.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FieldLimit {
    /// What it bounds, in a few words for charts and tables.
    pub name: &'static str,
    /// RMS field, A/m.
    pub field_a_per_m: f64,
    /// Distance from the transmitter that it holds at, m, where it has one.
    pub distance_m: Option<f64>,
    /// The document that sets it.
    pub source: &'static str,
    /// Whether the value is quoted from memory and wants checking.
    pub from_memory: bool,
}

/// Least coaxial field of a transmitter at 10 m, 0.5 µA/m (−6 dBµA/m).
pub const LEAST_FIELD_AT_10_M: FieldLimit = FieldLimit {
    name: "minimum at 10 m",
    field_a_per_m: 0.5e-6,
    distance_m: Some(10.0),
    source: "EN 300 718-1",
    from_memory: true,
};

/// Greatest field of a transmitter at 10 m, 7 dBµA/m (2.24 µA/m).
pub const GREATEST_FIELD_AT_10_M: FieldLimit = FieldLimit {
    name: "maximum at 10 m",
    field_a_per_m: 2.238_721_138_568_34e-6,
    distance_m: Some(10.0),
    source: "EN 300 718-1",
    from_memory: true,
};

/// Field that a receiver must still work at, 80 nA/m.
pub const RECEIVER_THRESHOLD: FieldLimit = FieldLimit {
    name: "receiver threshold",
    field_a_per_m: 80e-9,
    distance_m: None,
    source: "EN 300 718-1",
    from_memory: true,
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decibels_and_amperes_say_the_same() {
        let db = |limit: FieldLimit| 20.0 * (limit.field_a_per_m / 1e-6).log10();
        assert!((db(GREATEST_FIELD_AT_10_M) - 7.0).abs() < 1e-12);
        assert!((db(LEAST_FIELD_AT_10_M) + 6.0).abs() < 0.03);
    }
}
