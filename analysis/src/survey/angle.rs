//! A survey over angle: a unit, or the receiver, is turned in place in steps.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::kind::{Heard, Kind, check_zero_or_more, is_positive};
use super::plan::{Plan, PlanError};
use super::state::{Refused, Survey};
use super::surveyed::NotTaken;
use crate::angle::{self, AngleAnalysis, AngleError, AngleReading, Law, Options, Turned, analyse};
use crate::range::common_u_rel;
use crate::reading::Reading;

/// A survey over angle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Angle {
    /// What is turned.
    pub turned: Turned,
    /// Standard uncertainty of each angle as set, degrees.
    pub u_angle_deg: f64,
    /// Distance between the unit's and the coil's middle, m, for the moment in A·m².
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_m: Option<Reading>,
}

/// An angle to turn to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bearing {
    /// The angle, degrees, counter-clockwise seen from above.
    pub angle_deg: f64,
}

impl fmt::Display for Bearing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}°", self.angle_deg)
    }
}

/// Most steps of a plan.
const MOST_STEPS: f64 = 720.0;

impl Plan<Angle> {
    /// Angles from `from_deg` to `to_deg` in steps of `step_deg`. After a whole turn
    /// the first angle does not come again.
    ///
    /// # Errors
    ///
    /// Steps that lead nowhere, or angles that are none.
    pub fn steps(from_deg: f64, to_deg: f64, step_deg: f64) -> Result<Self, PlanError> {
        let count = ((to_deg - from_deg) / step_deg + 1e-9).floor();
        if !((1.0..=MOST_STEPS).contains(&count) && step_deg > 0.0) {
            return Err(PlanError::Steps(format!(
                "steps of {step_deg}° from {from_deg}° to {to_deg}° make no plan of 2 to \
                 {MOST_STEPS} angles"
            )));
        }
        let is_whole_turn = (count * step_deg - 360.0).abs() < 1e-6;
        let count = count as u32 + u32::from(!is_whole_turn);
        let at = |i: u32| Bearing { angle_deg: from_deg + f64::from(i) * step_deg };
        Self::as_given((0..count).map(at).collect())
    }
}

impl Kind for Angle {
    type Point = Bearing;
    type Reading = AngleReading;

    fn check(&self) -> Result<(), Refused> {
        check_zero_or_more("u_angle_deg", self.u_angle_deg)?;
        let Some(distance_m) = self.distance_m else { return Ok(()) };
        check_zero_or_more("u of distance_m", distance_m.u)?;
        if is_positive(distance_m.value) {
            return Ok(());
        }
        Err(Refused::Senseless { quantity: "distance_m", value: distance_m.value })
    }

    fn check_point(point: &Bearing) -> Result<(), PlanError> {
        let angle_deg = point.angle_deg;
        if angle_deg.abs() <= 360.0 { Ok(()) } else { Err(PlanError::Angle(angle_deg)) }
    }

    /// Field and components as heard; what the angle's uncertainty makes of them
    /// depends on the law and is added where that is fitted.
    fn reading(&self, point: &Bearing, heard: &Heard) -> Result<AngleReading, NotTaken> {
        let field = heard.field_a_per_m()?;
        Ok(AngleReading {
            angle_deg: point.angle_deg,
            u_angle_deg: self.u_angle_deg,
            field_a_per_m: field.value,
            u_field_a_per_m: field.u,
            components: heard.components()?,
        })
    }

    fn is_sound(reading: &AngleReading, point: &Bearing) -> bool {
        reading.angle_deg == point.angle_deg
            && is_positive(reading.field_a_per_m)
            && is_positive(reading.u_field_a_per_m)
    }

    fn field_a_per_m(reading: &AngleReading) -> Reading {
        Reading::new(reading.field_a_per_m, reading.u_field_a_per_m)
    }
}

/// A reading beside the law of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BesideLaw {
    /// What the others lead to expect, A/m.
    pub expected_a_per_m: Reading,
    /// The difference in units of its standard uncertainty.
    pub difference_u: f64,
}

impl BesideLaw {
    /// A difference beyond three times its uncertainty: once in 370 readings by
    /// chance.
    pub fn is_surprising(&self) -> bool {
        self.difference_u.abs() > 3.0
    }
}

impl Survey<Angle> {
    /// All that follows from the readings that count, the calibration they share
    /// included.
    ///
    /// # Errors
    ///
    /// What the readings lack.
    pub fn analyse(&self) -> Result<AngleAnalysis, AngleError> {
        let readings: Vec<AngleReading> = self.kept().map(|kept| kept.taken.reading).collect();
        let u_calibration_rel = common_u_rel(&self.u_calibration_rel());
        analyse(&readings, &Options { u_calibration_rel, ..self.options(&readings) })
    }

    /// What the set-up says of the analysis. Readings without components are those of
    /// one axis, so their law is the cosine.
    fn options(&self, readings: &[AngleReading]) -> Options {
        let is_one_axis = readings.iter().any(|r| r.components.is_none());
        Options {
            turned: self.setup().kind.turned,
            law: is_one_axis.then_some(Law::Cosine),
            u_calibration_rel: 0.0,
            distance_m: self.setup().kind.distance_m,
        }
    }

    /// The reading of that number beside the law of all others that count; `None`
    /// while these give none.
    pub fn beside_law(&self, number: usize) -> Option<BesideLaw> {
        let reading = self.reading(number)?.reading;
        let others = self.kept().filter(|kept| kept.number != number);
        let mut readings: Vec<AngleReading> = others.map(|kept| kept.taken.reading).collect();
        let law = analyse(&readings, &self.options(&readings)).ok()?;
        readings.push(reading);
        // As what of it is fitted, with what its angle's uncertainty makes of that.
        let fitted = *angle::analysis::of_coupling(&readings, law.coupling).last()?;
        let expected_a_per_m = law.fit.field_at(fitted.angle_deg);
        let by_angle = law.fit.slope_at(fitted.angle_deg) * fitted.u_angle_deg;
        let u = expected_a_per_m.u.hypot(fitted.u_field_a_per_m).hypot(by_angle);
        let difference_u = (fitted.field_a_per_m - expected_a_per_m.value) / u;
        Some(BesideLaw { expected_a_per_m, difference_u })
    }
}

#[cfg(test)]
mod tests {
    use super::super::surveyed::tests::{heard, transmitter};
    use super::super::{Event, Setup};
    use super::*;

    fn angles(plan: &Plan<Angle>) -> Vec<f64> {
        plan.points().iter().map(|p| p.angle_deg).collect()
    }

    #[test]
    fn a_whole_turn_ends_before_it_begins_again() {
        assert_eq!(angles(&Plan::steps(0.0, 360.0, 90.0).unwrap()), [0.0, 90.0, 180.0, 270.0]);
        assert_eq!(angles(&Plan::steps(-90.0, 90.0, 60.0).unwrap()), [-90.0, -30.0, 30.0, 90.0]);
        assert_eq!(angles(&Plan::steps(0.0, 100.0, 30.0).unwrap()), [0.0, 30.0, 60.0, 90.0]);
        for (from, to, step) in [
            (0.0, 360.0, 0.0),
            (0.0, 360.0, -15.0),
            (0.0, 360.0, 1e-3),
            (0.0, 0.0, 15.0),
            (0.0, f64::NAN, 15.0),
        ] {
            assert!(matches!(Plan::steps(from, to, step), Err(PlanError::Steps(_))), "{step}");
        }
        assert_eq!(Plan::steps(300.0, 400.0, 20.0), Err(PlanError::Angle(380.0)));
    }

    /// Readings of a unit turned in place, the `strange`th of them twice too strong.
    fn survey(strange: usize) -> Survey<Angle> {
        let plan = Plan::steps(0.0, 360.0, 15.0).unwrap();
        let kind = Angle { turned: Turned::Unit, u_angle_deg: 1.0, distance_m: None };
        let mut survey = Survey::new(Setup { plan, kind, carrier_hz: None }).unwrap();
        for number in 1..=24 {
            let cos = (survey.point(number).unwrap().0.angle_deg - 10.0).to_radians().cos();
            let field = 1e-6 * (1.0 + 3.0 * cos * cos).sqrt();
            let field = if number == strange { 2.0 * field } else { field };
            let measurement = heard(vec![transmitter(457e3, 1.0, field)]);
            let event = survey.take(number, &measurement, "capture").unwrap();
            survey.apply(&event).unwrap();
            survey.apply(&Event::Kept { reading: number }).unwrap();
        }
        survey
    }

    #[test]
    fn a_reading_is_held_against_the_law_of_the_others() {
        let survey = survey(7);
        let strange = survey.beside_law(7).unwrap();
        assert!(strange.is_surprising(), "{strange:?}");
        let cos = 80.0f64.to_radians().cos();
        let expected = 1e-6 * (1.0 + 3.0 * cos * cos).sqrt();
        assert!((strange.expected_a_per_m.value / expected - 1.0).abs() < 1e-3);
    }

    #[test]
    fn what_follows_has_the_calibration_in_its_peak() {
        let analysis = survey(0).analyse().unwrap();
        assert!((analysis.misalignment_deg.value - 10.0).abs() < 0.01);
        assert!((analysis.peak_a_per_m.u_rel() - 0.05).abs() < 0.002);
    }
}
