//! Round numbers that anyone in the field knows or can work out by hand.

use coilrig_analysis::field::circular_loop::CircularLoop;
use coilrig_analysis::field::constants::{
    MAGNETIC_CONSTANT_N_PER_A2, NOMINAL_CARRIER_HZ, SPEED_OF_LIGHT_M_PER_S, wave_number_rad_per_m,
};
use coilrig_analysis::field::dipole;
use coilrig_analysis::limits::{self, Quantity, published};
use coilrig_analysis::range::Alignment;
use coilrig_analysis::units;

fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

fn near(value: f64, expected: f64, within: f64) -> bool {
    (value - expected).abs() <= within
}

/// λ = c/f, k = 2π/λ, by hand.
#[test]
fn wavelength_and_the_edge_of_the_near_field() {
    assert!(near(SPEED_OF_LIGHT_M_PER_S / NOMINAL_CARRIER_HZ, 656.0, 0.1));
    assert!(near(1.0 / wave_number_rad_per_m(NOMINAL_CARRIER_HZ), 104.4, 0.05));
}

/// Textbook near field: 2 : 1, and the cube of distance; 20 log 2 = 6.02 dB,
/// 20 log 8 = 18.06 dB.
#[test]
fn near_field_ratios() {
    let at = |alignment: Alignment, r: f64| alignment.field_a_per_m(1.0, r, NOMINAL_CARRIER_HZ);
    let (axis, beside) = (Alignment::Coaxial, Alignment::Coplanar);
    assert!(near(db(at(axis, 1.0) / at(beside, 1.0)), 6.02, 0.01));
    for alignment in [axis, beside] {
        assert!(near(db(at(alignment, 1.0) / at(alignment, 2.0)), 18.06, 0.01));
    }
    // H = m/(2πr³): a unit of 1 A·m² at 1 m.
    assert!(near(at(axis, 1.0), 0.159_155, 1e-5));
}

/// |H| ∝ √(1 + 3 cos² θ) near by, θ between moment and direction.
#[test]
fn the_field_around_a_dipole() {
    let magnitude = |degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let h = dipole::field([0.0, 0.0, 1.0], [sin, 0.0, cos], NOMINAL_CARRIER_HZ);
        h.iter().map(|c| c.norm_sqr()).sum::<f64>().sqrt()
    };
    for degrees in [0.0, 20.0, 45.0, 70.0, 90.0, 135.0, 180.0f64] {
        let expected = (1.0 + 3.0 * degrees.to_radians().cos().powi(2)).sqrt();
        assert!(near(magnitude(degrees) / magnitude(90.0) / expected, 1.0, 1e-4), "{degrees}");
    }
}

/// dB over 1 µA/m, by hand: 10^(−6/20) = 0.501, 10^(7/20) = 2.24.
#[test]
fn decibels_of_the_trade() {
    assert!(near(units::dbua_per_m(0.5e-6), -6.02, 0.005));
    assert!(near(units::dbua_per_m(1e-6), 0.0, 1e-12));
    assert!(near(units::dbua_per_m(80e-9), -21.94, 0.005));
    assert!(near(units::from_dbua_per_m(7.0) * 1e6, 2.2387, 1e-4));
    assert!(near(units::from_dbua_per_m(-6.0) * 1e6, 0.5012, 1e-4));
}

/// EN 300 718-1, from memory: −6 to 7 dBµA/m at 10 m, 80 nA/m at the receiver.
#[test]
fn limits_are_those_of_the_standard() {
    assert!(near(db(limits::LEAST_FIELD_AT_10_M.field_a_per_m / 1e-6), -6.0, 0.03));
    assert!(near(db(limits::GREATEST_FIELD_AT_10_M.field_a_per_m / 1e-6), 7.0, 0.001));
    assert_eq!(limits::RECEIVER_THRESHOLD.field_a_per_m, 80e-9);
    for limit in [limits::LEAST_FIELD_AT_10_M, limits::GREATEST_FIELD_AT_10_M] {
        assert_eq!(limit.distance_m, Some(10.0));
        assert!(limit.source.contains("300 718") && limit.from_memory);
    }
}

/// Lower and upper bound of each published set, SI: EN 300 718-1, ERC 70-03 annex 2
/// and ETS 300 718 of 1997 from memory, EN 282 from a second-hand listing.
#[test]
fn published_sets_hold_the_numbers_of_their_documents() {
    let at = |distance_m| Quantity::Field { distance_m };
    let sets = [
        (
            "en-300-718-1",
            true,
            vec![
                (Quantity::Carrier, Some(457e3 - 80.0), Some(457e3 + 80.0)),
                (Quantity::OnTime, Some(0.070), None),
                (Quantity::OffTime, Some(0.400), None),
                (Quantity::Period, Some(0.7), Some(1.3)),
                (at(10.0), Some(0.5e-6), Some(2.2387e-6)),
            ],
        ),
        (
            "erc-70-03",
            true,
            vec![
                (Quantity::Carrier, Some(456.9e3), Some(457.1e3)),
                (at(10.0), None, Some(2.2387e-6)),
            ],
        ),
        ("ets-300-718", true, vec![(Quantity::Carrier, Some(457e3 - 100.0), Some(457e3 + 100.0))]),
        (
            "en-282",
            false,
            vec![
                (Quantity::Carrier, Some(457e3 - 100.0), Some(457e3 + 100.0)),
                (Quantity::OnTime, Some(0.070), None),
                (Quantity::OffTime, Some(0.200), None),
                (Quantity::Period, Some(0.9 - 0.4), Some(0.9 + 0.4)),
                (at(1.0), Some(0.5e-3), Some(2.16e-3)),
            ],
        ),
    ];
    assert_eq!(published::all().len(), sets.len());
    for (name, from_memory, bounds) in sets {
        let set = published::named(name).unwrap();
        assert_eq!(set.bounds.len(), bounds.len(), "{name}");
        for (quantity, lower, upper) in bounds {
            let bound = set.bound(quantity).unwrap_or_else(|| panic!("{name}: no {quantity}"));
            for (held, written) in [(bound.lower, lower), (bound.upper, upper)] {
                assert_eq!(held.is_some(), written.is_some(), "{name}: {quantity}");
                let (Some(held), Some(written)) = (held, written) else { continue };
                assert!(near(held / written, 1.0, 1e-5), "{name}: {quantity} {held}");
            }
            assert_eq!(bound.from_memory, from_memory, "{name}: {quantity}");
        }
    }
}

/// Two loops of radius R, R apart: B = (4/5)^(3/2) µ0 N I / R at the centre (any
/// handbook), flat there to the fourth order.
#[test]
fn a_helmholtz_pair() {
    let (turns, radius_m, current_a) = (12.0, 0.25, 0.3);
    let coil = CircularLoop { turns, radius_m, current_a };
    let at = |x_m: f64| coil.on_axis(x_m + radius_m / 2.0) + coil.on_axis(x_m - radius_m / 2.0);
    let b = MAGNETIC_CONSTANT_N_PER_A2 * at(0.0);
    let expected = 0.8f64.powf(1.5) * 4e-7 * std::f64::consts::PI * turns * current_a / radius_m;
    assert!(near(b / expected, 1.0, 1e-8), "{b}, not {expected}");
    // B(x) ≈ B₀ (1 − 144/125 (x/R)⁴): 1.15e-4 off the centre by a tenth of R.
    assert!(near(at(0.1 * radius_m) / at(0.0), 1.0 - 1.152e-4, 2e-6));
}

/// N I a² / (2 (a² + x²)^(3/2)) on the axis; at the centre N I / (2a).
#[test]
fn the_axis_of_a_loop() {
    let coil = CircularLoop { turns: 3.0, radius_m: 0.5, current_a: 0.2 };
    assert!(near(coil.on_axis(0.0), 0.6, 1e-12));
    // a² + x² = 1.
    assert!(near(coil.on_axis(0.75f64.sqrt()), 0.6 * 0.25 / 2.0, 1e-12));
}
