//! The scenario as a whole.

use serde::Deserialize;

use super::{Faults, Interference, ReceiverModel, ScenarioError, Unit};
use crate::field::constants::NOMINAL_CARRIER_HZ;

/// An invented receiver and what it hears. Every part has a usable default:
/// an empty scenario is a receiver that hears nothing but its own noise.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Everything random follows from this number, 0 to 2⁶³ − 1.
    #[serde(default = "default_seed")]
    pub seed: u64,
    /// The receiver.
    #[serde(default)]
    pub receiver: ReceiverModel,
    /// The units it hears, `[[unit]]` in the file.
    #[serde(default, rename = "unit")]
    pub units: Vec<Unit>,
    /// What else it hears, `[[interference]]` in the file.
    #[serde(default)]
    pub interference: Vec<Interference>,
    /// What goes wrong between receiver and host.
    #[serde(default)]
    pub faults: Faults,
}

fn default_seed() -> u64 {
    1
}

impl Default for Scenario {
    fn default() -> Self {
        Self {
            seed: default_seed(),
            receiver: ReceiverModel::default(),
            units: Vec::new(),
            interference: Vec::new(),
            faults: Faults::default(),
        }
    }
}

impl Scenario {
    /// Whether every field makes sense, by itself and with the others.
    ///
    /// # Errors
    ///
    /// The first field that does not.
    pub fn validate(&self) -> Result<(), ScenarioError> {
        self.receiver.validate().map_err(|e| e.inside("receiver."))?;
        for (i, unit) in self.units.iter().enumerate() {
            let part = format!("unit[{i}] \"{}\": ", unit.name);
            unit.validate().map_err(|e| e.inside(&part))?;
            if self.units[..i].iter().any(|other| other.name == unit.name) {
                return Err(ScenarioError::new(
                    format!("{part}name"),
                    "is that of an earlier unit",
                    "give each unit a name of its own",
                ));
            }
            unit.clear_of(self.receiver.position_m).map_err(|e| e.inside(&part))?;
        }
        for (i, interference) in self.interference.iter().enumerate() {
            interference.validate().map_err(|e| e.inside(&format!("interference[{i}]: ")))?;
        }
        self.faults.validate().map_err(|e| e.inside("faults."))
    }

    /// The largest offset of a steady carrier from 457 kHz, as the receiver's
    /// clock sees it at the first sample.
    pub(super) fn farthest_carrier_hz(&self) -> f64 {
        let clock_hz = NOMINAL_CARRIER_HZ * self.receiver.clock_offset_ppm * 1e-6;
        let units = self.units.iter().map(|unit| unit.carrier_offset_hz);
        let others = self.interference.iter().filter_map(|source| match source {
            Interference::Carrier(carrier) => Some(carrier.frequency_offset_hz),
            Interference::Impulse(_) => None,
        });
        units.chain(others).map(|offset_hz| (offset_hz - clock_hz).abs()).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> ScenarioError {
        toml::from_str::<Scenario>(text).expect("well-formed").validate().expect_err("nonsense")
    }

    fn unit(field: &str) -> String {
        let base = "name = \"hut\"\nposition_m = [0, 0, -1]\n";
        let moment = if field.starts_with("moment") { "" } else { "moment_a_m2 = [0.003, 0, 0]\n" };
        format!("[[unit]]\n{base}{moment}{field}\n")
    }

    #[test]
    fn an_empty_scenario_and_a_bare_unit_are_valid() {
        toml::from_str::<Scenario>("").unwrap().validate().unwrap();
        toml::from_str::<Scenario>(&unit("")).unwrap().validate().unwrap();
    }

    #[test]
    fn every_kind_of_field_can_be_given() {
        let scenario: Scenario = toml::from_str(
            r#"
            seed = 7
            [receiver]
            serial = "EMU-7"
            position_m = [1, 2.5, 3]
            orientation = { yaw_deg = 30 }
            noise_a_per_m_rthz = [1e-9, 2e-9, 3e-9]
            axis_factors = 1.01
            gain_steps_db = [0, 20]
            axes = 1
            [[unit]]
            name = "hut"
            position_m = [0, 0, -1]
            moment_a_m2 = [0.003, 0, 0]
            edge = { shape = "exponential", rise_s = 0.0005, fall_s = 0.001 }
            phase = "random"
            start_s = 2.0
            [[interference]]
            kind = "carrier"
            frequency_offset_hz = 300
            field_a_per_m = [1e-9, 0, 0]
            [[interference]]
            kind = "impulse"
            rate_per_s = 3
            peak_field_a_per_m = 1e-6
            [faults]
            lost_packets = 0.01
            vanish = [{ at_s = 3, for_s = 1 }]
            "#,
        )
        .unwrap();
        scenario.validate().unwrap();
        assert_eq!(scenario.receiver.noise_a_per_m_rthz.0, [1e-9, 2e-9, 3e-9]);
        assert_eq!(scenario.receiver.axis_factors.0, [1.01; 3]);
        assert_eq!(scenario.interference.len(), 2);
        assert_eq!(scenario.faults.vanish[0].at_s, 3.0);
    }

    #[test]
    fn unknown_fields_are_refused_by_name() {
        for (text, field) in [
            ("[receiver]\nnoise = 1", "noise"),
            ("[[unit]]\nmoment = 3", "moment"),
            ("[[interference]]\nkind = \"impulse\"\nrate = 1", "rate"),
            ("[faults]\nlost = 1", "lost"),
        ] {
            let message = toml::from_str::<Scenario>(text).unwrap_err().to_string();
            assert!(message.contains(&format!("`{field}`")), "{message}");
        }
    }

    #[test]
    fn nonsense_is_refused_by_field() {
        for (text, field) in [
            ("receiver.noise_a_per_m_rthz = -1.0", "receiver.noise_a_per_m_rthz"),
            ("receiver.noise_a_per_m_rthz = nan", "receiver.noise_a_per_m_rthz"),
            ("receiver.gain_step = 3", "receiver.gain_step"),
            ("receiver.gain_steps_db = []", "receiver.gain_steps_db"),
            ("receiver.axes = 2", "receiver.axes"),
            ("receiver.clock_offset_ppm = 5000", "receiver.clock_offset_ppm"),
            ("receiver.orientation = [[1,0,0],[0,1,0],[0,0,2]]", "receiver.orientation"),
            ("receiver.axis_factors = [1, 0, 1]", "receiver.axis_factors"),
            (&unit("period_s = 0"), "unit[0] \"hut\": period_s"),
            (&unit("on_time_s = 2"), "unit[0] \"hut\": on_time_s"),
            (&unit("moment_a_m2 = [0, 0, inf]"), "unit[0] \"hut\": moment_a_m2"),
            (&unit("residual_carrier_ratio = 0.5"), "unit[0] \"hut\": residual_carrier_ratio"),
            (&unit("edge = { fall_s = 1 }"), "unit[0] \"hut\": edge.fall_s"),
            (&unit("jitter_s = 0.3"), "unit[0] \"hut\": jitter_s"),
            (&unit("start_s = 5\nstop_s = 4"), "unit[0] \"hut\": stop_s"),
            (&(unit("") + &unit("")), "unit[1] \"hut\": name"),
            (&unit("").replace("-1]", "1]"), "unit[0] \"hut\": position_m"),
            (
                "[[interference]]\nkind = \"impulse\"\nrate_per_s = -1\npeak_field_a_per_m = 1",
                "interference[0]: rate_per_s",
            ),
            ("faults.cut_packets = 2", "faults.cut_packets"),
            ("faults.stall = [{ at_s = -1, for_s = 1 }]", "faults.stall[0].at_s"),
        ] {
            let error = refused(text);
            assert_eq!(error.field, field, "{text}: {error}");
            assert!(!error.remedy.is_empty());
        }
    }
}
