//! What a faultless measurement of a scenario would find.

use num_complex::Complex64;

use super::{ReceiverModel, Scenario, Unit};
use crate::field::constants::NOMINAL_CARRIER_HZ;
use crate::field::dipole;

/// A unit as a faultless measurement would find it at the receiver's place.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitTruth {
    /// Name.
    pub name: String,
    /// From the receiver.
    pub distance_m: f64,
    /// Carrier at the first sample.
    pub carrier_hz: f64,
    /// Rate of change of the carrier.
    pub carrier_drift_hz_per_s: f64,
    /// Mean interval between pulse starts.
    pub period_s: f64,
    /// Mean time between half-amplitude points.
    pub on_time_s: f64,
    /// Amplitude between pulses over amplitude while keyed on.
    pub residual_carrier_ratio: f64,
    /// Start of the first pulse in true time.
    pub first_pulse_s: f64,
    /// RMS phasors while keyed on, in the receiver's axes; the phases of the
    /// three differ by what the dipole's induction and radiation terms make of
    /// them. Axes that the receiver does not have are 0.
    pub field_phasor_a_per_m: [Complex64; 3],
    /// The part of the field that swings in phase along the longer axis of its
    /// ellipse; known up to its sign.
    pub field_vector_a_per_m: [f64; 3],
    /// RMS magnitude over the axes while keyed on.
    pub field_a_per_m: f64,
}

impl UnitTruth {
    /// Mean of the carrier over `duration_s` from the first sample on, chirp
    /// left out.
    pub fn mean_carrier_hz(&self, duration_s: f64) -> f64 {
        self.carrier_hz + 0.5 * self.carrier_drift_hz_per_s * duration_s
    }
}

/// The units of `scenario`, in its order. For a receiver at another place,
/// change `scenario.receiver.position_m` before.
pub fn truth(scenario: &Scenario) -> Vec<UnitTruth> {
    scenario.units.iter().map(|unit| unit_truth(unit, &scenario.receiver)).collect()
}

fn unit_truth(unit: &Unit, receiver: &ReceiverModel) -> UnitTruth {
    let phasor = receiver.in_its_axes(field_at(unit, receiver));
    // The ellipse's longer axis is at half the phase of Σ h² (Balanis, Antenna
    // Theory, section 2.12, from memory).
    let major = phasor.iter().map(|h| h * h).sum::<Complex64>().arg() / 2.0;
    UnitTruth {
        name: unit.name.clone(),
        distance_m: offset_m(unit, receiver).iter().map(|d| d * d).sum::<f64>().sqrt(),
        carrier_hz: NOMINAL_CARRIER_HZ + unit.carrier_offset_hz,
        carrier_drift_hz_per_s: unit.carrier_drift_hz_per_s,
        period_s: unit.period_s,
        on_time_s: unit.on_time_s,
        residual_carrier_ratio: unit.residual_carrier_ratio,
        first_pulse_s: unit.first_pulse_s,
        field_phasor_a_per_m: phasor,
        field_vector_a_per_m: phasor.map(|h| (h * Complex64::cis(-major)).re),
        field_a_per_m: phasor.iter().map(|h| h.norm_sqr()).sum::<f64>().sqrt(),
    }
}

/// RMS field phasors of a unit at the coils while it is keyed on, A/m.
pub(super) fn field_at_coils(unit: &Unit, receiver: &ReceiverModel) -> [Complex64; 3] {
    receiver.at_coils(field_at(unit, receiver))
}

/// The same in station coordinates.
fn field_at(unit: &Unit, receiver: &ReceiverModel) -> [Complex64; 3] {
    let carrier_hz = NOMINAL_CARRIER_HZ + unit.carrier_offset_hz;
    dipole::field(unit.moment_a_m2, offset_m(unit, receiver), carrier_hz)
}

fn offset_m(unit: &Unit, receiver: &ReceiverModel) -> [f64; 3] {
    std::array::from_fn(|i| receiver.position_m[i] - unit.position_m[i])
}

impl ReceiverModel {
    /// A field in station coordinates as the coils that there are see it.
    pub(super) fn at_coils(&self, station: [Complex64; 3]) -> [Complex64; 3] {
        let field = self.orientation.coil_components(station);
        let along = |coil: &[f64; 3]| coil.iter().zip(field).map(|(d, h)| h * d).sum();
        self.that_there_are(
            self.coil_directions.as_ref().map_or(field, |rows| rows.each_ref().map(along)),
        )
    }

    /// A field in station coordinates along the axes of the receiver that have a coil.
    fn in_its_axes(&self, station: [Complex64; 3]) -> [Complex64; 3] {
        self.that_there_are(self.orientation.coil_components(station))
    }

    fn that_there_are(&self, [x, y, z]: [Complex64; 3]) -> [Complex64; 3] {
        if self.axes == 1 { [x, Complex64::ZERO, Complex64::ZERO] } else { [x, y, z] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Angles, Orientation};

    fn scenario(receiver: &str) -> Scenario {
        toml::from_str(&format!(
            "[[unit]]\nname = \"hut\"\nposition_m = [0, 0, 0]\nmoment_a_m2 = [0.0031416, 0, 0]\n\
             [receiver]\nposition_m = [10, 0, 0]\n{receiver}"
        ))
        .unwrap()
    }

    #[test]
    fn half_a_microampere_at_ten_metres_is_three_milliampere_square_metres() {
        let truth = &truth(&scenario(""))[0];
        // H = m / (2πr³) · √(1 + k²r²), kr = 0.0958.
        assert!((truth.field_a_per_m / (0.5e-6 * 1.004_58) - 1.0).abs() < 1e-4);
        assert!((truth.field_vector_a_per_m[0].abs() / truth.field_a_per_m - 1.0).abs() < 1e-12);
        assert_eq!(truth.distance_m, 10.0);
    }

    #[test]
    fn a_turned_receiver_sees_the_same_magnitude_on_another_axis() {
        let upright = &truth(&scenario(""))[0];
        let turned = &truth(&scenario("orientation = { yaw_deg = 90 }"))[0];
        assert!((turned.field_a_per_m / upright.field_a_per_m - 1.0).abs() < 1e-12);
        let y = turned.field_vector_a_per_m[1].abs();
        assert!((y / upright.field_a_per_m - 1.0).abs() < 1e-12);
    }

    #[test]
    fn one_axis_sees_its_own_component_alone() {
        let mut scenario = scenario("axes = 1");
        scenario.receiver.orientation =
            Orientation::Angles(Angles { yaw_deg: 60.0, pitch_deg: 0.0, roll_deg: 0.0 });
        let one = truth(&scenario)[0].field_a_per_m;
        scenario.receiver.axes = 3;
        let all = truth(&scenario)[0].field_a_per_m;
        assert!((one / all - 0.5).abs() < 1e-9);
    }

    #[test]
    fn the_vector_holds_nearly_all_of_the_near_field() {
        let mut scenario = scenario("");
        scenario.receiver.position_m = [4.0, 5.0, 2.0];
        let truth = &truth(&scenario)[0];
        let vector = truth.field_vector_a_per_m.iter().map(|h| h * h).sum::<f64>().sqrt();
        let share = vector / truth.field_a_per_m;
        assert!(share <= 1.0 && share > 0.9999, "{share}");
    }

    /// The y coil tipped by 30° towards x sees half of a field along x.
    #[test]
    fn coils_askew_see_a_mixture_and_the_truth_is_not_askew() {
        let directions = "coil_directions = [[1, 0, 0], [0.5, 0.8660254, 0], [0, 0, 1]]";
        let askew = scenario(directions);
        let straight = &truth(&scenario(""))[0];
        assert_eq!(truth(&askew)[0].field_phasor_a_per_m, straight.field_phasor_a_per_m);
        let seen = field_at_coils(&askew.units[0], &askew.receiver);
        assert!((seen[1] / seen[0] - 0.5).norm() < 1e-9);
        let rows = askew.receiver.axes_matrix().unwrap();
        let y: Complex64 = rows[1].iter().zip(seen).map(|(m, h)| h * m).sum();
        assert!(y.norm() < 1e-9 * seen[0].norm(), "{y}");
        let flat = scenario("coil_directions = [[1, 0, 0], [0, 1, 0], [0.7071, 0.7071, 0]]");
        assert!(flat.validate().is_err());
    }
}
