//! What a person tells an emulated receiver to do, in a line.
//!
//! ```text
//! place 2 0 1.5     carry the receiver there, m
//! turn 30           hold it turned by 30° counter-clockwise about the vertical
//! turn north 30     the same with a unit, from how the scenario has it
//! off north         switch a unit off
//! on north          and on again
//! ```

use coilrig_analysis::scenario::{Angles, Change, Orientation, Scenario};

/// The instructions, for a person to be reminded of.
pub const INSTRUCTIONS: &str =
    "\"place X Y Z\" (m), \"turn DEG\", \"turn UNIT DEG\", \"off UNIT\" or \"on UNIT\"";

/// The change that a line asks for. A unit is turned from how it lies in `scenario`.
///
/// # Errors
///
/// A line that asks for nothing known, in words.
pub fn instruction(line: &str, scenario: &Scenario) -> Result<Change, String> {
    let unclear = || format!("\"{}\" is none of {INSTRUCTIONS}", line.trim());
    let (verb, rest) = line.trim().split_once(char::is_whitespace).ok_or_else(unclear)?;
    let rest = rest.trim();
    let number = |text: &str| text.parse::<f64>().map_err(|_| unclear());
    match verb {
        "place" => {
            let numbers: Result<Vec<f64>, String> = rest.split_whitespace().map(number).collect();
            numbers?.try_into().map(Change::Place).map_err(|_| unclear())
        }
        "turn" => match rest.rsplit_once(char::is_whitespace) {
            None => {
                let yaw_deg = number(rest)?;
                Ok(Change::Turn(Orientation::Angles(Angles { yaw_deg, ..Angles::default() })))
            }
            Some((unit, degrees)) => turned(unit.trim(), number(degrees)?, scenario),
        },
        "on" | "off" => Ok(Change::Switch { unit: rest.into(), on: verb == "on" }),
        _ => Err(unclear()),
    }
}

fn turned(name: &str, degrees: f64, scenario: &Scenario) -> Result<Change, String> {
    let unit = scenario.units.iter().find(|unit| unit.name == name);
    let unit = unit.ok_or_else(|| format!("there is no unit \"{name}\" in the scenario"))?;
    let (sin, cos) = degrees.to_radians().sin_cos();
    let [x, y, z] = unit.moment_a_m2;
    let moment_a_m2 = [x * cos - y * sin, x * sin + y * cos, z];
    Ok(Change::Lay { unit: name.into(), moment_a_m2 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scenario() -> Scenario {
        toml::from_str(
            "[[unit]]\nname = \"old hut\"\nposition_m = [0, 0, 0]\nmoment_a_m2 = [0.002, 0, 0.001]",
        )
        .unwrap()
    }

    #[test]
    fn lines_are_changes() {
        let of = |line: &str| instruction(line, &scenario());
        assert_eq!(of(" place 1 -2.5  0 "), Ok(Change::Place([1.0, -2.5, 0.0])));
        let switched = |on| Ok(Change::Switch { unit: "old hut".into(), on });
        assert_eq!((of("off old hut"), of("on old hut")), (switched(false), switched(true)));
        let held = Orientation::Angles(Angles { yaw_deg: -30.0, ..Angles::default() });
        assert_eq!(of("turn -30"), Ok(Change::Turn(held)));
        let Ok(Change::Lay { unit, moment_a_m2: [x, y, z] }) = of("turn old hut 90") else {
            panic!("not laid")
        };
        assert_eq!(unit, "old hut");
        assert!(x.abs() < 1e-12 && (y - 0.002).abs() < 1e-12 && z == 0.001);
    }

    #[test]
    fn other_lines_are_told_what_there_is() {
        for line in ["", "place", "place 1 2", "place 1 2 x", "turn", "turn old hut x", "go 3"] {
            let error = instruction(line, &scenario()).unwrap_err();
            assert!(error.contains("is none of") && error.contains("turn UNIT DEG"), "{error}");
        }
        assert!(instruction("turn barn 3", &scenario()).unwrap_err().contains("no unit \"barn\""));
    }
}
