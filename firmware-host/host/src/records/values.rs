//! The numbers that are kept of each kind of measurement, by the names that JSON
//! results have.

use coilrig_analysis::angle::AngleAnalysis;
use coilrig_analysis::locate::Location;
use coilrig_analysis::range::RangeAnalysis;
use coilrig_analysis::reading::Reading;
use coilrig_analysis::signal::Transmitter;

/// Numbers by quantity.
pub type Values = Vec<(String, Reading)>;

fn named<const N: usize>(values: [(&str, Option<Reading>); N]) -> Values {
    let there = |(name, reading): (&str, Option<Reading>)| Some((name.to_owned(), reading?));
    values
        .into_iter()
        .filter_map(there)
        .filter(|(_, r)| r.value.is_finite() && r.u.is_finite())
        .collect()
}

/// Of a transmitter in a capture.
pub fn of_signal(t: &Transmitter) -> Values {
    named([
        ("carrier_hz", Some(t.carrier_hz)),
        ("carrier_drift_hz_per_s", Some(t.carrier_drift_hz_per_s)),
        ("period_s", Some(t.period_s)),
        ("on_time_s", Some(t.on_time_s)),
        ("off_time_s", Some(t.off_time_s)),
        ("field_a_per_m", t.field_a_per_m),
        // An uncertainty of 1 says that it was not measured.
        ("residual_carrier_ratio", Some(t.residual_carrier_ratio).filter(|r| r.u < 1.0)),
    ])
}

/// Of field over distance.
pub fn of_range(analysis: &RangeAnalysis) -> Values {
    named([
        ("moment_a_m2", Some(analysis.moment_a_m2)),
        ("field_at_10_m_a_per_m", Some(analysis.field_at_10_m_a_per_m)),
    ])
}

/// Of a unit found by field over places; nothing where there are two answers.
pub fn of_location(found: &Location) -> Values {
    if found.ambiguous {
        return Values::new();
    }
    let [x, y, z] = found.position_m.map(Some);
    named([
        ("x_m", x),
        ("y_m", y),
        ("z_m", z),
        ("depth_m", Some(found.depth_vertical_m)),
        ("depth_normal_m", Some(found.depth_normal_m)),
        ("moment_a_m2", Some(found.moment_magnitude_a_m2)),
        ("moment_tilt_deg", Some(found.moment_tilt_deg)),
        ("field_at_10_m_a_per_m", Some(found.field_at_10_m_a_per_m)),
    ])
}

/// Of coupling over angle.
pub fn of_angle(analysis: &AngleAnalysis) -> Values {
    named([
        ("moment_a_m2", analysis.moment_a_m2),
        ("misalignment_deg", Some(analysis.misalignment_deg)),
        ("leakage_ratio", Some(analysis.leakage_ratio)),
    ])
}
