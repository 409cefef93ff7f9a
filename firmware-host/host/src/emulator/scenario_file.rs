//! Scenario files.

use std::path::Path;

use coilrig_analysis::scenario::Scenario;

use crate::error::{Error, Result};
use crate::toml_file;

/// Read a scenario and check that it makes sense.
///
/// # Errors
///
/// A file that cannot be read, is no scenario (with the line), or holds a
/// number that makes no sense (with the field).
pub fn load(path: &Path) -> Result<Scenario> {
    let scenario: Scenario =
        toml_file::load(path, "mend the line; captures/demo.toml shows every part of a scenario")?;
    scenario
        .validate()
        .map_err(|e| Error::file(format!("{}, {}", path.display(), e.field), e.what, e.remedy))?;
    Ok(scenario)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Kind;
    use coilrig_analysis::scenario::truth;

    fn refused(text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s.toml");
        std::fs::write(&path, text).unwrap();
        let error = load(&path).unwrap_err();
        assert_eq!(error.kind(), Kind::File);
        error.to_string()
    }

    #[test]
    fn nonsense_is_refused_with_its_place() {
        let error = refused("seed = 1\n[receiver]\nnoise = 3\n");
        assert!(error.contains("s.toml, line 3: ") && error.contains("`noise`"), "{error}");
        let error = refused("receiver.gain_step = 9");
        assert!(error.contains("s.toml, receiver.gain_step: is 9 of 2 steps"), "{error}");
        assert!(error.contains("to do: count from 0"), "{error}");
    }
    #[test]
    fn the_demo_station_is_in_the_limits_it_is_to_be_measured_by() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../captures/demo.toml");
        let mut scenario = load(&demo).unwrap();
        assert_eq!(scenario.units.len(), 3);
        for i in 0..3 {
            // Coaxial at 10 m, away from the ground.
            let unit = &scenario.units[i];
            let moment = unit.moment_a_m2.iter().map(|m| m * m).sum::<f64>().sqrt();
            scenario.receiver.position_m = std::array::from_fn(|axis| {
                unit.position_m[axis] + unit.moment_a_m2[axis] / moment * 10.0
            });
            let truth = &truth(&scenario)[i];
            // EN 300 718-1, from memory.
            assert!((0.5e-6..2.24e-6).contains(&truth.field_a_per_m), "{truth:?}");
            assert!((truth.carrier_hz - 457e3).abs() < 80.0);
            assert!((truth.period_s - 1.0).abs() < 0.3 && truth.on_time_s >= 0.07);
        }
    }
}
