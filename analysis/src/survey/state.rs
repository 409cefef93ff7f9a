//! The state of a survey: what is done, what is in hand, what comes next.

use super::distance::Distance;
use super::event::{Event, Setup, Taken};
use super::kind::{Heard, Kind};
use super::surveyed::{self, NotTaken, Surveyed};
use crate::signal::Measurement;

/// A survey under way.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey<K: Kind = Distance> {
    setup: Setup<K>,
    points: Vec<PointState>,
    readings: Vec<(Taken<K>, Standing)>,
    /// Number of the reading that awaits its verdict.
    in_hand: Option<usize>,
}

/// How a point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointState {
    /// To be measured.
    Due,
    /// Measured: the number of the reading that counts.
    Done(usize),
    /// Left without a reading.
    Left,
}

/// How a reading stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Not yet decided on.
    InHand,
    /// Counts.
    Kept,
    /// Does not count.
    Dropped,
}

/// What is to be done next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step<P> {
    /// Put the receiver at a point and measure.
    Place {
        /// Number of the point.
        number: usize,
        /// The point.
        point: P,
    },
    /// Keep the reading of this number, drop it, or take its point again.
    Decide(usize),
    /// Nothing: every point is done or left.
    Finished,
}

/// Something that cannot happen to the survey as it stands.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// A point that is not in the plan.
    #[error("point {0} is not in the plan")]
    NoSuchPoint(usize),
    /// A reading that was never taken.
    #[error("there is no reading {0}")]
    NoSuchReading(usize),
    /// A point that is not due.
    #[error("point {0} is not due")]
    NotDue(usize),
    /// A point that was not left.
    #[error("point {0} was not left")]
    NotLeft(usize),
    /// A reading that is not in hand.
    #[error("reading {0} is not the one in hand")]
    NotInHand(usize),
    /// A reading that was dropped before.
    #[error("reading {0} was dropped before")]
    DroppedBefore(usize),
    /// Another reading first needs a verdict.
    #[error("reading {0} must be kept or dropped first")]
    Undecided(usize),
    /// A reading of another place than its point, or of no field.
    #[error("reading {0} does not fit its point")]
    OutOfPlace(usize),
    /// An uncertainty of distance or a carrier that cannot be one.
    #[error("{quantity} is {value}, which it cannot be")]
    Senseless {
        /// Name of the quantity.
        quantity: &'static str,
        /// What it was.
        value: f64,
    },
}

/// A reading that counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept<'a, K: Kind = Distance> {
    /// Its number.
    pub number: usize,
    /// What was measured.
    pub taken: &'a Taken<K>,
}

impl<K: Kind> Survey<K> {
    /// A survey at its beginning.
    ///
    /// # Errors
    ///
    /// A senseless uncertainty of place or carrier.
    pub fn new(setup: Setup<K>) -> Result<Self, Refused> {
        setup.kind.check()?;
        if let Some(hz) = setup.carrier_hz.filter(|hz| !(*hz > 0.0 && hz.is_finite())) {
            return Err(Refused::Senseless { quantity: "carrier_hz", value: hz });
        }
        let points = vec![PointState::Due; setup.plan.points().len()];
        Ok(Self { setup, points, readings: Vec::new(), in_hand: None })
    }

    /// What it was set up with.
    pub fn setup(&self) -> &Setup<K> {
        &self.setup
    }

    /// How each point stands, in the order of the plan.
    pub fn points(&self) -> impl Iterator<Item = (usize, K::Point, PointState)> + '_ {
        let planned = self.setup.plan.points().iter().zip(&self.points);
        (1..).zip(planned).map(|(number, (point, state))| (number, *point, *state))
    }

    /// The point of that number and how it stands.
    pub fn point(&self, number: usize) -> Option<(K::Point, PointState)> {
        self.points().find(|p| p.0 == number).map(|p| (p.1, p.2))
    }

    /// Every reading ever taken, in order of taking, and how it stands.
    pub fn readings(&self) -> impl Iterator<Item = (usize, &Taken<K>, Standing)> + '_ {
        (1..).zip(&self.readings).map(|(number, (taken, standing))| (number, taken, *standing))
    }

    /// The reading of that number.
    pub fn reading(&self, number: usize) -> Option<&Taken<K>> {
        self.readings.get(number.checked_sub(1)?).map(|r| &r.0)
    }

    /// The readings that count, in the order of the plan.
    pub fn kept(&self) -> impl Iterator<Item = Kept<'_, K>> + '_ {
        self.points.iter().filter_map(|state| match state {
            PointState::Done(number) => {
                self.reading(*number).map(|taken| Kept { number: *number, taken })
            }
            _ => None,
        })
    }

    /// What is to be done next. The points come in the order of the plan.
    pub fn next(&self) -> Step<K::Point> {
        if let Some(reading) = self.in_hand {
            return Step::Decide(reading);
        }
        self.points()
            .find(|(_, _, state)| *state == PointState::Due)
            .map_or(Step::Finished, |(number, point, _)| Step::Place { number, point })
    }

    /// By what the surveyed unit is known: the reading that counts and was taken
    /// last, so that a slow drift is followed.
    pub fn followed(&self) -> Option<&Surveyed> {
        let kept = |r: &&(Taken<K>, Standing)| r.1 == Standing::Kept;
        self.readings.iter().rfind(kept).map(|r| &r.0.surveyed)
    }

    /// The event that `measurement` of `capture`, recorded at the point of that
    /// number, is to this survey.
    ///
    /// # Errors
    ///
    /// The unit is not heard, or has no field.
    pub fn take(
        &self,
        number: usize,
        measurement: &Measurement,
        capture: &str,
    ) -> Result<Event<K>, TakeError> {
        let (point, _) = self.point(number).ok_or(Refused::NoSuchPoint(number))?;
        let transmitter = surveyed::choose(measurement, self.followed(), self.setup.carrier_hz)?;
        let noise_a_per_m_rthz = measurement.noise_a_per_m_rthz.as_deref().unwrap_or(&[]);
        let heard = Heard { transmitter, noise_a_per_m_rthz };
        Ok(Event::Taken(Taken {
            point: number,
            capture: capture.to_owned(),
            reading: self.setup.kind.reading(&point, &heard)?,
            u_calibration_rel: transmitter.u_calibration_rel,
            surveyed: Surveyed::of(transmitter),
        }))
    }

    /// Relative standard uncertainty of the calibration behind each reading that
    /// counts.
    pub fn u_calibration_rel(&self) -> Vec<f64> {
        self.kept().map(|kept| kept.taken.u_calibration_rel).collect()
    }

    /// Let `event` happen.
    ///
    /// # Errors
    ///
    /// It cannot happen now. The survey is then as before.
    pub fn apply(&mut self, event: &Event<K>) -> Result<(), Refused> {
        match event {
            Event::Taken(taken) => self.take_in_hand(taken),
            Event::Kept { reading } => self.keep(*reading),
            Event::Dropped { reading } => self.put_aside(*reading, PointState::Left),
            Event::Repeated { reading } => self.put_aside(*reading, PointState::Due),
            Event::Skipped { point } => {
                self.change_point(*point, PointState::Due, PointState::Left)
            }
            Event::Reopened { point } => {
                self.change_point(*point, PointState::Left, PointState::Due)
            }
        }
    }

    fn take_in_hand(&mut self, taken: &Taken<K>) -> Result<(), Refused> {
        self.check_decided()?;
        let number = taken.point;
        let (point, state) = self.point(number).ok_or(Refused::NoSuchPoint(number))?;
        if state != PointState::Due {
            return Err(Refused::NotDue(number));
        }
        let is_share = taken.u_calibration_rel >= 0.0 && taken.u_calibration_rel.is_finite();
        if !K::is_sound(&taken.reading, &point) || !is_share {
            return Err(Refused::OutOfPlace(self.readings.len() + 1));
        }
        self.readings.push((taken.clone(), Standing::InHand));
        self.in_hand = Some(self.readings.len());
        Ok(())
    }

    fn keep(&mut self, number: usize) -> Result<(), Refused> {
        let point = self.reading(number).ok_or(Refused::NoSuchReading(number))?.point;
        if self.in_hand != Some(number) {
            return Err(Refused::NotInHand(number));
        }
        self.in_hand = None;
        self.readings[number - 1].1 = Standing::Kept;
        self.points[point - 1] = PointState::Done(number);
        Ok(())
    }

    fn put_aside(&mut self, number: usize, leaves: PointState) -> Result<(), Refused> {
        let point = self.reading(number).ok_or(Refused::NoSuchReading(number))?.point;
        match self.readings[number - 1].1 {
            Standing::InHand => self.in_hand = None,
            Standing::Kept => self.check_decided()?,
            Standing::Dropped => return Err(Refused::DroppedBefore(number)),
        }
        self.readings[number - 1].1 = Standing::Dropped;
        self.points[point - 1] = leaves;
        Ok(())
    }

    fn change_point(
        &mut self,
        number: usize,
        from: PointState,
        to: PointState,
    ) -> Result<(), Refused> {
        self.check_decided()?;
        let (_, state) = self.point(number).ok_or(Refused::NoSuchPoint(number))?;
        if state != from {
            return Err(match from {
                PointState::Left => Refused::NotLeft(number),
                _ => Refused::NotDue(number),
            });
        }
        self.points[number - 1] = to;
        Ok(())
    }

    fn check_decided(&self) -> Result<(), Refused> {
        self.in_hand.map_or(Ok(()), |reading| Err(Refused::Undecided(reading)))
    }
}

/// Why a measurement gives no event.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TakeError {
    /// The measurement gives no reading.
    #[error(transparent)]
    NotTaken(#[from] NotTaken),
    /// The survey cannot take one there.
    #[error(transparent)]
    Refused(#[from] Refused),
}

#[cfg(test)]
mod tests {
    use super::super::surveyed::tests::{heard, transmitter};
    use super::super::{Order, Plan, Point};
    use super::*;
    use crate::range::Alignment;
    use proptest::prelude::*;

    const DISTANCES_M: [f64; 5] = [2.0, 3.0, 5.0, 8.0, 12.0];

    fn survey() -> Survey {
        let points = DISTANCES_M
            .map(|distance_m| Point { distance_m, alignment: Alignment::Coaxial })
            .to_vec();
        let plan = Plan::new(points, Order::NearestFirst).unwrap();
        Survey::new(Setup { plan, kind: Distance { u_distance_m: 0.01 }, carrier_hz: None })
            .unwrap()
    }

    /// Take the point with a field `factor` times that of a dipole, and keep it.
    fn take(survey: &mut Survey, number: usize, factor: f64) -> usize {
        let (point, _) = survey.point(number).unwrap();
        let field = factor * point.alignment.field_a_per_m(5e-3, point.distance_m, 457e3);
        let measurement = heard(vec![transmitter(457_020.0, 1.0, field)]);
        let event = survey.take(number, &measurement, "capture").unwrap();
        survey.apply(&event).unwrap();
        survey.readings.len()
    }

    fn take_and_keep(survey: &mut Survey, number: usize, factor: f64) -> usize {
        let reading = take(survey, number, factor);
        survey.apply(&Event::Kept { reading }).unwrap();
        reading
    }

    #[test]
    fn leads_from_point_to_point_to_the_end() {
        let mut survey = survey();
        for number in 1..=5 {
            let point = survey.point(number).unwrap().0;
            assert_eq!(survey.next(), Step::Place { number, point });
            let reading = take(&mut survey, number, 1.0);
            assert_eq!(survey.next(), Step::Decide(reading));
            survey.apply(&Event::Kept { reading }).unwrap();
        }
        assert_eq!(survey.next(), Step::Finished);
        assert_eq!(survey.kept().count(), 5);
    }

    #[test]
    fn a_fit_is_there_from_the_third_reading_on() {
        let mut survey = survey();
        for (number, need) in [(1, true), (2, true), (3, false)] {
            take_and_keep(&mut survey, number, 1.0);
            assert_eq!(survey.fit().is_err(), need);
        }
        assert!((survey.fit().unwrap().moment_a_m2.value - 5e-3).abs() < 1e-9);
        let reading = take(&mut survey, 4, 2.0);
        let comparison = survey.compare(reading).unwrap();
        assert!((comparison.difference_db.value - 6.0206).abs() < 1e-3);
        // A reading in hand does not count, nor one against itself.
        assert!((survey.fit().unwrap().moment_a_m2.value - 5e-3).abs() < 1e-9);
        survey.apply(&Event::Kept { reading }).unwrap();
        assert_eq!(survey.compare(reading).unwrap(), comparison);
    }

    /// Each reading states 5 % of calibration.
    #[test]
    fn the_calibration_counts_once_however_many_readings() {
        let mut survey = survey();
        for number in 1..=5 {
            take_and_keep(&mut survey, number, 1.0);
        }
        let own = survey.fit().unwrap().moment_a_m2.u_rel();
        let all = survey.analyse().unwrap().moment_a_m2.u_rel();
        assert!(own < 0.01);
        assert!((all / own.hypot(0.05) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_dropped_or_repeated_stays_but_does_not_count() {
        let mut survey = survey();
        let reading = take(&mut survey, 1, 7.0);
        survey.apply(&Event::Repeated { reading }).unwrap();
        assert!(matches!(survey.next(), Step::Place { number: 1, .. }));
        take_and_keep(&mut survey, 1, 1.0);
        let reading = take(&mut survey, 2, 3.0);
        survey.apply(&Event::Dropped { reading }).unwrap();
        assert!(matches!(survey.next(), Step::Place { number: 3, .. }));
        let standings: Vec<_> = survey.readings().map(|r| (r.0, r.1.point, r.2)).collect();
        assert_eq!(
            standings,
            [(1, 1, Standing::Dropped), (2, 1, Standing::Kept), (3, 2, Standing::Dropped)]
        );
        assert_eq!(survey.kept().map(|k| k.number).collect::<Vec<_>>(), [2]);
        // Second thoughts about a reading that was kept, and one about a point left.
        survey.apply(&Event::Repeated { reading: 2 }).unwrap();
        assert!(matches!(survey.next(), Step::Place { number: 1, .. }));
        survey.apply(&Event::Reopened { point: 2 }).unwrap();
        take_and_keep(&mut survey, 1, 1.0);
        assert!(matches!(survey.next(), Step::Place { number: 2, .. }));
    }

    #[test]
    fn the_unit_followed_is_that_of_the_last_reading_that_counts() {
        let mut survey = survey();
        let mut at = |number: usize, carrier_hz: f64, keep: bool| {
            let measurement = heard(vec![transmitter(carrier_hz, 1.0, 1e-6)]);
            let event = survey.take(number, &measurement, "capture")?;
            survey.apply(&event)?;
            let reading = survey.readings.len();
            survey.apply(&if keep {
                Event::Kept { reading }
            } else {
                Event::Repeated { reading }
            })?;
            Ok::<(), TakeError>(())
        };
        // The wrong unit, dropped, binds nothing.
        at(1, 456_950.0, false).unwrap();
        at(1, 457_020.0, true).unwrap();
        at(2, 457_012.0, true).unwrap();
        at(3, 457_004.0, true).unwrap();
        let error = at(4, 457_020.0, true).unwrap_err();
        assert!(matches!(error, TakeError::NotTaken(NotTaken::OthersOnly { .. })), "{error}");
    }

    #[test]
    fn what_cannot_happen_is_refused_and_changes_nothing() {
        let mut survey = survey();
        let kept = take_and_keep(&mut survey, 1, 1.0);
        let mut again = survey.reading(kept).unwrap().clone();
        let refused = |survey: &mut Survey, event: &Event| {
            let before = survey.clone();
            let error = survey.apply(event).unwrap_err();
            assert_eq!(*survey, before);
            error
        };
        let s = &mut survey;
        assert_eq!(refused(s, &Event::Taken(again.clone())), Refused::NotDue(1));
        again.point = 2;
        assert_eq!(refused(s, &Event::Taken(again.clone())), Refused::OutOfPlace(2));
        again.point = 9;
        assert_eq!(refused(s, &Event::Taken(again)), Refused::NoSuchPoint(9));
        assert_eq!(refused(s, &Event::Kept { reading: 1 }), Refused::NotInHand(1));
        assert_eq!(refused(s, &Event::Kept { reading: 0 }), Refused::NoSuchReading(0));
        assert_eq!(refused(s, &Event::Skipped { point: 1 }), Refused::NotDue(1));
        assert_eq!(refused(s, &Event::Skipped { point: 0 }), Refused::NoSuchPoint(0));
        assert_eq!(refused(s, &Event::Reopened { point: 2 }), Refused::NotLeft(2));
        take(s, 2, 1.0);
        assert_eq!(refused(s, &Event::Skipped { point: 3 }), Refused::Undecided(2));
        assert_eq!(refused(s, &Event::Dropped { reading: 1 }), Refused::Undecided(2));
        s.apply(&Event::Dropped { reading: 2 }).unwrap();
        assert_eq!(refused(s, &Event::Dropped { reading: 2 }), Refused::DroppedBefore(2));
        let kind = Distance { u_distance_m: -1.0 };
        let setup = Setup { kind, ..s.setup().clone() };
        assert!(matches!(Survey::new(setup), Err(Refused::Senseless { .. })));
    }

    proptest! {
        /// Whatever is tried in whatever order: at most one reading counts for a
        /// point, none is ever lost, only one is in hand, and the events that
        /// happened give the same survey again, also by way of JSON.
        #[test]
        fn the_events_are_the_survey(tries in prop::collection::vec((0..6u8, 0..7usize), 0..60)) {
            let mut survey = survey();
            let mut journal = Vec::new();
            for (kind, number) in tries {
                let event = match kind {
                    0 => {
                        let measurement = heard(vec![transmitter(457_020.0, 1.0, 1e-6)]);
                        match survey.take(number, &measurement, "capture") {
                            Ok(event) => event,
                            Err(_) => continue,
                        }
                    }
                    1 => Event::Kept { reading: number },
                    2 => Event::Dropped { reading: number },
                    3 => Event::Repeated { reading: number },
                    4 => Event::Skipped { point: number },
                    _ => Event::Reopened { point: number },
                };
                let taken = survey.readings.len();
                if survey.apply(&event).is_ok() {
                    journal.push(serde_json::to_string(&event).unwrap());
                }
                prop_assert!(survey.readings.len() >= taken);
                let with = |standing| survey.readings().filter(|r| r.2 == standing).count();
                prop_assert_eq!(with(Standing::InHand), usize::from(survey.in_hand.is_some()));
                prop_assert_eq!(with(Standing::Kept), survey.kept().count());
                prop_assert!(survey.kept().all(|k| survey.point(k.taken.point).unwrap().1
                    == PointState::Done(k.number)));
            }
            let mut again = Survey::new(survey.setup().clone()).unwrap();
            for line in journal {
                again.apply(&serde_json::from_str(&line).unwrap()).unwrap();
            }
            prop_assert_eq!(again, survey);
        }
    }
}
