//! A station as measured, where it has been, and as planned elsewhere.

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;

use crate::masking::Timing;
use crate::reading::Reading;
use crate::station::{
    DEPTH_M, FIELD_AT_10_M_A_PER_M, ON_TIME_S, PERIOD_S, PLACE_M, PlannedUnit, Station,
};

/// What was measured of one unit; what was not is `None`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// Name of the unit.
    pub unit: String,
    /// Where the values are from, in words.
    pub source: String,
    /// From pulse to pulse, s.
    pub period_s: Option<Reading>,
    /// Length of a pulse, s.
    pub on_time_s: Option<Reading>,
    /// RMS field on its axis 10 m away, A/m.
    pub field_at_10_m_a_per_m: Option<Reading>,
    /// Place on the map, m.
    pub place_m: Option<[Reading; 2]>,
    /// Below the surface, vertically, m.
    pub depth_m: Option<Reading>,
    /// Moment along east, north and up, A·m², and its covariance: how it lies.
    pub moment_a_m2: Option<([f64; 3], [[f64; 3]; 3])>,
}

/// A planned value that a measured one has replaced.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Replaced {
    /// Name of the unit.
    pub unit: String,
    /// Name of the quantity, as in the station file.
    pub quantity: &'static str,
    /// As planned.
    pub planned: f64,
    /// As measured.
    pub measured: Reading,
    /// Where that is from.
    pub source: String,
}

/// Why measured values cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct MeasuredError {
    /// Where the values are from.
    pub from: String,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: &'static str,
}

/// Name of the quantity that more than one kind of measurement gives.
const FIELD: &str = "field_at_10_m_a_per_m";

/// `station` with the values of `all` in place of the planned ones, and which those are.
/// Of two fields at 10 m, as `range` and `locate` both give it, the surer one counts.
///
/// # Errors
///
/// A unit that the station does not have, another value given twice, a place outside the field,
/// a unit above the surface or below the snow, a timing that is none, a number that no station
/// file may hold.
pub fn with_measured(
    station: &Station,
    all: &[Measured],
) -> Result<(Station, Vec<Replaced>), MeasuredError> {
    let mut station = station.clone();
    let mut replaced: Vec<Replaced> = Vec::new();
    for measured in all {
        let failed =
            |what: String, remedy| MeasuredError { from: measured.source.clone(), what, remedy };
        let name = &measured.unit;
        let (bounds, snow_depth_m) = (station.bounds, station.snow_depth_m);
        let units = &mut station.units;
        let Some(unit) = units.iter_mut().find(|unit| unit.name == *name) else {
            let names: Vec<&str> = units.iter().map(|u| u.name.as_str()).collect();
            let names = names.join(", ");
            let what = format!("the station has no unit \"{name}\", only {names}");
            return Err(failed(what, "name a unit of the station file"));
        };
        if let Some(what) = unbelievable(measured) {
            return Err(failed(what, "measure again, or leave the document out"));
        }
        let mut measured = measured.clone();
        let field = measured.field_at_10_m_a_per_m;
        let before = |r: &&mut Replaced| r.unit == *name && r.quantity == FIELD;
        if let (Some(new), Some(old)) = (field, replaced.iter_mut().find(before)) {
            measured.field_at_10_m_a_per_m = None;
            if new.u < old.measured.u {
                (old.measured, old.source) = (new, measured.source.clone());
                unit.field_at_10_m_a_per_m = new.value;
            }
        }
        for new in replace(unit, &measured) {
            let same = |old: &&Replaced| old.unit == new.unit && old.quantity == new.quantity;
            if let Some(old) = replaced.iter().find(same) {
                let quantity = new.quantity;
                let what = format!("gives {quantity} of \"{name}\", and so does {}", old.source);
                return Err(failed(what, "give each value once"));
            }
            replaced.push(new);
        }
        unit.timing.check().map_err(|what| {
            failed(what, "measure again, or correct the period or on time of the station file")
        })?;
        if let Some(bounds) = bounds.filter(|b| !b.hold(unit.x_m, unit.y_m)) {
            let what = format!(
                "\"{name}\" at {:.2} m, {:.2} m lies outside the field, {} to {} m by {} to {} m",
                unit.x_m, unit.y_m, bounds.x_m[0], bounds.x_m[1], bounds.y_m[0], bounds.y_m[1]
            );
            return Err(failed(what, "locate it on the axes of the station's map"));
        }
        if unit.depth_m < 0.0 {
            let above = -unit.depth_m;
            let what = format!("\"{name}\" lies {above:.2} m above the surface");
            return Err(failed(what, "give heights over the snow to locate, and z up"));
        }
        if let Some(snow_m) = snow_depth_m.filter(|snow_m| unit.depth_m > *snow_m) {
            let what = format!("\"{name}\" lies {:.2} m deep in {snow_m} m of snow", unit.depth_m);
            return Err(failed(what, "locate it again, or correct snow_depth_m"));
        }
    }
    Ok((station, replaced))
}

/// What is so far from any real number that a unit of measure must be wrong: the bounds of a
/// station file hold for what was measured as well.
fn unbelievable(measured: &Measured) -> Option<String> {
    let place = |axis: usize| measured.place_m.map(|p| p[axis]);
    let all = [
        ("period_s", measured.period_s, PERIOD_S),
        ("on_time_s", measured.on_time_s, ON_TIME_S),
        (FIELD, measured.field_at_10_m_a_per_m, FIELD_AT_10_M_A_PER_M),
        ("x_m", place(0), PLACE_M),
        ("y_m", place(1), PLACE_M),
        // What lies above the surface is told as that.
        ("depth_m", measured.depth_m, -DEPTH_M.end()..=*DEPTH_M.end()),
    ];
    all.into_iter().find_map(|(quantity, reading, range)| {
        let value = reading?.value;
        let (from, to) = (range.start(), range.end());
        let what = || {
            format!(
                "{quantity} of \"{}\" is {value:?}, not between {from:?} and {to:?}",
                measured.unit
            )
        };
        (!range.contains(&value)).then(what)
    })
}

fn replace(unit: &mut PlannedUnit, measured: &Measured) -> Vec<Replaced> {
    let mut replaced = Vec::new();
    let (name, source) = (unit.name.clone(), &measured.source);
    let mut put = |quantity, value: &mut f64, new: Option<Reading>| {
        if let Some(new) = new {
            let (unit, source) = (name.clone(), source.clone());
            replaced.push(Replaced { unit, quantity, planned: *value, measured: new, source });
            *value = new.value;
        }
    };
    let Timing { period_s, on_time_s } = &mut unit.timing;
    put("period_s", period_s, measured.period_s);
    put("on_time_s", on_time_s, measured.on_time_s);
    put(FIELD, &mut unit.field_at_10_m_a_per_m, measured.field_at_10_m_a_per_m);
    put("x_m", &mut unit.x_m, measured.place_m.map(|p| p[0]));
    put("y_m", &mut unit.y_m, measured.place_m.map(|p| p[1]));
    put("depth_m", &mut unit.depth_m, measured.depth_m);
    let lie = measured.moment_a_m2.map(|(moment, covariance)| lie(moment, covariance));
    put("bearing_deg", &mut unit.lie.bearing_deg, lie.map(|l| l[0]));
    put("dip_deg", &mut unit.lie.dip_deg, lie.map(|l| l[1]));
    replaced
}

/// Bearing and dip of a moment of unknown sign, degrees: the end that dips counts.
fn lie(moment: [f64; 3], covariance: [[f64; 3]; 3]) -> [Reading; 2] {
    let m = Vector3::from(moment) * if moment[2] > 0.0 { -1.0 } else { 1.0 };
    let covariance = Matrix3::from_fn(|i, j| covariance[i][j]);
    let (level, whole) = (m.x.hypot(m.y), m.norm());
    let bearing = m.x.atan2(m.y).to_degrees().rem_euclid(360.0);
    let dip = (-m.z).atan2(level).to_degrees();
    // Slopes of both angles along the moment's components; the bearing of what is upright
    // may be any.
    let of_bearing = Vector3::new(m.y, -m.x, 0.0) / (level * level);
    let of_dip = Vector3::new(m.x * m.z / level, m.y * m.z / level, -level) / (whole * whole);
    let u = |slope: Vector3<f64>| {
        let variance = slope.dot(&(covariance * slope));
        // NaN of an upright moment: nothing is known.
        if variance >= 0.0 { variance.sqrt().to_degrees().min(180.0) } else { 180.0 }
    };
    let u_dip = if level > 0.0 {
        u(of_dip)
    } else {
        (covariance[(0, 0)].max(covariance[(1, 1)]).sqrt() / whole).to_degrees()
    };
    [Reading::new(bearing, u(of_bearing)), Reading::new(dip, u_dip)]
}

/// Names of the units of which `replaced` has a value, in the order of the station.
pub fn units_measured<'a>(station: &'a Station, replaced: &[Replaced]) -> Vec<&'a str> {
    let names = station.units.iter().map(|unit| unit.name.as_str());
    names.filter(|name| replaced.iter().any(|r| r.unit == *name)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::station;
    use super::*;
    use crate::station::Lie;

    fn meadow() -> Station {
        let head = "field = { x_m = [0, 30], y_m = [0, 30] }";
        station(head, &[(5.0, 5.0, 1.0, 30.0, 0.0), (20.0, 9.0, 1.5, 0.0, 0.0)])
    }

    fn of(unit: &str) -> Measured {
        Measured { unit: unit.into(), source: "a.json".into(), ..Measured::default() }
    }

    #[test]
    fn measured_values_take_the_place_of_planned_ones() {
        let period_s = Some(Reading::new(1.0007, 1e-5));
        let place_m = Some([Reading::new(20.4, 0.02), Reading::new(8.8, 0.03)]);
        let all = [Measured { period_s, ..of("u0") }, Measured { place_m, ..of("u1") }];
        let (found, replaced) = with_measured(&meadow(), &all).unwrap();
        assert_eq!(found.units[0].timing.period_s, 1.0007);
        assert_eq!((found.units[1].x_m, found.units[1].y_m), (20.4, 8.8));
        assert_eq!(found.units[1].timing, meadow().units[1].timing);
        let names: Vec<&str> = replaced.iter().map(|r| r.quantity).collect();
        assert_eq!(names, ["period_s", "x_m", "y_m"]);
        assert_eq!((replaced[0].planned, replaced[0].measured.u), (1.0, 1e-5));
        assert_eq!(units_measured(&found, &replaced), ["u0", "u1"]);
    }

    /// Either sign of the moment is the same lie; its uncertainty is that of draws.
    #[test]
    fn a_moment_tells_the_lie_whatever_its_sign() {
        let covariance = [[4e-10, 1e-10, 0.0], [1e-10, 2e-10, 0.0], [0.0, 0.0, 1e-10]];
        let planned = Lie { bearing_deg: 40.0, dip_deg: 25.0 };
        let moment = planned.direction().map(|c| 5e-3 * c);
        for sign in [1.0, -1.0] {
            let [bearing, dip] = lie(moment.map(|c| sign * c), covariance);
            assert!((bearing.value - 40.0).abs() < 1e-9 && (dip.value - 25.0).abs() < 1e-9);
            // By central differences along each component.
            let slope = |k: usize, angle: usize| {
                let at = |by: f64| {
                    let mut m = moment;
                    m[k] += by;
                    lie(m, covariance)[angle].value
                };
                (at(1e-7) - at(-1e-7)) / 2e-7
            };
            for (angle, reading) in [(0, bearing), (1, dip)] {
                let pairs = (0..3).flat_map(|i| (0..3).map(move |j| (i, j)));
                let variance: f64 =
                    pairs.map(|(i, j)| slope(i, angle) * covariance[i][j] * slope(j, angle)).sum();
                assert!((reading.u / variance.sqrt() - 1.0).abs() < 1e-4, "{reading:?}");
            }
        }
        let upright = lie([0.0, 0.0, 5e-3], covariance);
        assert_eq!(upright[1].value, 90.0);
        assert!(upright[0].u == 180.0 && (0.1..1.0).contains(&upright[1].u), "{upright:?}");
    }

    #[test]
    fn of_two_fields_the_surer_counts() {
        let field = |value, u, source: &str| Measured {
            field_at_10_m_a_per_m: Some(Reading::new(value, u)),
            source: source.into(),
            ..of("u0")
        };
        let (range, located) = (field(0.8e-6, 2e-8, "range"), field(0.9e-6, 1e-8, "locate"));
        for all in [[range.clone(), located.clone()], [located, range]] {
            let (found, replaced) = with_measured(&meadow(), &all).unwrap();
            assert_eq!(found.units[0].field_at_10_m_a_per_m, 0.9e-6);
            assert_eq!((replaced.len(), replaced[0].source.as_str()), (1, "locate"));
            assert!((replaced[0].planned - 1e-6).abs() < 1e-18);
        }
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let place = |x: f64| Some([Reading::new(x, 0.01), Reading::new(3.0, 0.01)]);
        let time = |s: f64| Some(Reading::new(s, 1e-4));
        for (measured, what) in [
            (of("u7"), "no unit \"u7\", only u0, u1"),
            (Measured { place_m: place(99.0), ..of("u0") }, "outside the field"),
            (Measured { depth_m: time(-0.2), ..of("u0") }, "0.20 m above the surface"),
            (Measured { on_time_s: time(1.0), ..of("u0") }, "no pause"),
            (Measured { on_time_s: time(0.0), ..of("u0") }, "on_time_s of \"u0\" is 0.0"),
            (Measured { period_s: time(1e3), ..of("u0") }, "period_s of \"u0\" is 1000.0"),
            (Measured { place_m: place(1e300), ..of("u0") }, "x_m of \"u0\" is 1e300"),
            (Measured { depth_m: time(60.0), ..of("u0") }, "depth_m of \"u0\" is 60.0"),
            (Measured { depth_m: time(2.5), ..of("u0") }, "2.50 m deep in 2 m of snow"),
        ] {
            let snowy = Station { snow_depth_m: Some(2.0), ..meadow() };
            let error = with_measured(&snowy, &[measured]).unwrap_err();
            assert!(error.what.contains(what) && error.from == "a.json", "{error:?}");
        }
        for field in [0.0, -1e-6, 1e300, f64::NAN] {
            let field_at_10_m_a_per_m = Some(Reading::new(field, 1e-9));
            let measured = Measured { field_at_10_m_a_per_m, ..of("u1") };
            let error = with_measured(&meadow(), &[measured]).unwrap_err();
            let what = format!("of \"u1\" is {field:?}, not between 1e-8 and 0.0001");
            assert!(error.what.contains(&what) && !error.remedy.is_empty(), "{error:?}");
        }
        let twice = Measured { period_s: time(1.0), ..of("u0") };
        let error = with_measured(&meadow(), &[twice.clone(), twice]).unwrap_err();
        assert!(error.what.contains("and so does a.json"), "{error:?}");
    }
}
