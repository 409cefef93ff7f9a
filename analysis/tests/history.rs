//! What histories say, over many invented units whose truth is known.
//!
//! `SERIES=n` makes it more of them.

use coilrig_analysis::history::{
    CONFIDENCE, Event, EventKind, FALSE_ALARMS, Leaving, Point, SURE, Tracked, Trend, leaving,
    trend,
};
use coilrig_analysis::reading::Reading;
use coilrig_analysis::uncertainty::coverage;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

const DAY: f64 = 86_400.0;
const YEAR: f64 = 365.25 * DAY;

fn series() -> u64 {
    std::env::var("SERIES").ok().and_then(|n| n.parse().ok()).unwrap_or(2000)
}

/// Visits at uneven times over three years.
struct Course {
    visits: usize,
    /// Stated uncertainty, and true scatter between visits beside it.
    u: f64,
    scatter: f64,
    /// Uncertainties differ from visit to visit by up to this factor.
    uneven: f64,
}

impl Course {
    fn points(&self, seed: u64, truth: impl Fn(f64, f64) -> f64) -> Vec<Point> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut even = || (f64::from(rng.next_u32()) + 0.5) / 4_294_967_296.0;
        let mut times: Vec<f64> = (0..self.visits)
            .map(|i| (i as f64 + 0.8 * even()) * 3.0 * YEAR / self.visits as f64)
            .collect();
        times.sort_by(f64::total_cmp);
        let shapes: Vec<(f64, f64)> = times.iter().map(|_| (even(), even())).collect();
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        times
            .into_iter()
            .zip(shapes)
            .map(|(at_s, (width, warm))| {
                let u = self.u * self.uneven.powf(2.0 * width - 1.0);
                let temperature = 25.0 * warm - 15.0;
                let error = u * normal() + self.scatter * normal();
                let value = Reading::new(truth(at_s, temperature) + error, u);
                Point { at_s, value, temperature_c: Some(temperature) }
            })
            .collect()
    }
}

fn quantity(name: &str) -> Tracked {
    Tracked::named(name).unwrap()
}

/// Whether an interval of 95 % about `reading` holds `truth`.
fn holds(reading: Reading, freedom: f64, truth: f64) -> bool {
    let k = coverage::student_quantile(0.5 + 0.5 * CONFIDENCE, freedom);
    (reading.value - truth).abs() <= k * reading.u
}

fn share(of: u64, held: u64) -> f64 {
    held as f64 / of as f64
}

#[test]
fn intervals_hold_what_they_say() {
    let rate = -3.0 / YEAR;
    let truth = |at_s: f64, _: f64| 457_010.0 + rate * at_s;
    let mut all = Vec::new();
    for visits in [6, 12, 40] {
        for (u, scatter, uneven) in
            [(1.0, 0.0, 1.0), (1.0, 1.0, 1.0), (1e-3, 1.0, 1.0), (1.0, 0.0, 3.0), (0.1, 0.5, 3.0)]
        {
            let course = Course { visits, u, scatter, uneven };
            let (mut rates, mut levels) = (0, 0);
            for seed in 0..series() {
                let found = trend(&course.points(seed, truth), &[], &quantity("period_s")).unwrap();
                let freedom = found.degrees_of_freedom;
                rates += u64::from(holds(found.rate_per_s, freedom, rate));
                let now = 3.2 * YEAR;
                levels += u64::from(holds(found.level(now), freedom, truth(now, 0.0)));
            }
            let (rates, levels) = (share(series(), rates), share(series(), levels));
            println!("{visits} visits, u {u}, scatter {scatter}: rate {rates}, level {levels}");
            // Whether so few visits scatter by more than stated, they cannot always tell.
            let most = if visits < 8 { 0.98 } else { 0.97 };
            all.extend([rates, levels].map(|held| (0.93..=most).contains(&held)));
        }
    }
    assert!(all.iter().all(|within| *within), "see above");
}

/// A carrier that follows the temperature, and drifts.
#[test]
fn temperature_is_taken_out_of_the_drift() {
    let rate = 2.0 / YEAR;
    let truth = |at_s: f64, celsius: f64| 456_990.0 + rate * at_s + 0.8 * celsius;
    let course = Course { visits: 15, u: 0.05, scatter: 1.0, uneven: 2.0 };
    let (mut rates, mut slopes, mut narrower) = (0, 0, 0);
    for seed in 0..series() {
        let points = course.points(seed, truth);
        let found = trend(&points, &[], &quantity("carrier_hz")).unwrap();
        let freedom = found.degrees_of_freedom;
        rates += u64::from(holds(found.rate_per_s, freedom, rate));
        slopes += u64::from(holds(found.per_degree.unwrap(), freedom, 0.8));
        let without = trend(&points, &[], &quantity("period_s")).unwrap();
        narrower += u64::from(found.rate_per_s.u < without.rate_per_s.u);
    }
    for held in [rates, slopes] {
        assert!((0.93..=0.97).contains(&share(series(), held)), "{held} of {}", series());
    }
    assert!(share(series(), narrower) > 0.99, "{narrower} of {}", series());
}

#[test]
fn false_alarms_at_their_rate() {
    let still = |_: f64, _: f64| 1.0;
    for visits in [8, 20, 60] {
        for (u, scatter) in [(1e-3, 1.0), (1.0, 0.0)] {
            let course = Course { visits, u, scatter, uneven: 1.0 };
            let (mut steps, mut drifts) = (0, 0);
            for seed in 0..series() {
                let found = trend(&course.points(seed, still), &[], &quantity("period_s")).unwrap();
                steps += u64::from(!found.steps.is_empty());
                drifts += u64::from(found.drifts());
            }
            let (steps, drifts) = (share(series(), steps), share(series(), drifts));
            println!("{visits} visits, u {u}, scatter {scatter}: steps {steps}, drifts {drifts}");
            // Three standard deviations of the counts; half a per cent more for drifts, in
            // which a step found by chance takes part.
            let by_chance = 3.0 * (FALSE_ALARMS / series() as f64).sqrt();
            let least = if scatter > u { FALSE_ALARMS - by_chance } else { 0.0 };
            assert!((least..=FALSE_ALARMS + by_chance).contains(&steps), "{visits} {u}: {steps}");
            assert!(drifts <= SURE + by_chance + 0.005, "{visits} {u}: {drifts}");
        }
    }
}

#[test]
fn steps_are_found_where_they_are() {
    let course = Course { visits: 20, u: 0.3, scatter: 1.0, uneven: 1.5 };
    let at_s = 1.7 * YEAR;
    for (size, found_at_least) in [(5.0, 0.85), (8.0, 0.995)] {
        let truth = |t: f64, _: f64| 0.5 * t / YEAR + if t > at_s { size } else { 0.0 };
        let (mut found, mut in_place, mut held) = (0, 0, 0);
        for seed in 0..series() {
            let trend = trend(&course.points(seed, truth), &[], &quantity("period_s")).unwrap();
            let Some(step) = trend.steps.first() else { continue };
            found += 1;
            assert_eq!(step.event, None);
            in_place += u64::from(step.between_s[0] <= at_s && step.between_s[1] >= at_s);
            held += u64::from(holds(step.size, trend.degrees_of_freedom, size));
        }
        println!("step of {size}: {found} found, {in_place} in place, {held} sizes held");
        assert!(share(series(), found) >= found_at_least, "{size}: {found} of {}", series());
        assert!(share(found, in_place) > 0.8, "{size}: {in_place} of {found}");
        assert!(share(found, held) > 0.88, "{size}: {held} of {found}");
    }
}

/// New batteries every year lift a field that falls in between: the rate is that of the
/// batteries, not that of the years.
#[test]
fn batteries_do_not_hide_a_drift() {
    let rate = -0.2 / YEAR;
    let batteries = [1.0, 2.0].map(|year| Event { at_s: year * YEAR, kind: EventKind::Battery });
    let truth = |t: f64, _: f64| 1.0 + rate * (t % YEAR);
    let course = Course { visits: 24, u: 0.005, scatter: 0.01, uneven: 1.0 };
    let (mut held, mut both) = (0, 0);
    for seed in 0..series() {
        let points = course.points(seed, truth);
        let found = trend(&points, &batteries, &quantity("field_at_10_m_a_per_m")).unwrap();
        held += u64::from(holds(found.rate_per_s, found.degrees_of_freedom, rate));
        let told = found.steps.iter().filter(|s| s.event.is_some_and(|e| batteries.contains(&e)));
        both += u64::from(told.count() == 2 && found.steps.len() == 2);
    }
    assert!((0.93..=0.97).contains(&share(series(), held)), "{held} of {}", series());
    assert!(share(series(), both) > 0.97, "{both} of {}", series());
}

/// A depth before a unit was moved says nothing of the one after.
#[test]
fn a_unit_that_was_moved_begins_anew() {
    let moved = Event { at_s: 1.5 * YEAR, kind: EventKind::Moved };
    let course = Course { visits: 12, u: 0.02, scatter: 0.01, uneven: 1.0 };
    let points = course.points(3, |_, _| 1.2);
    let found = trend(&points, &[moved], &quantity("depth_m")).unwrap();
    assert_eq!(found.steps.len(), 1);
    assert_eq!((found.steps[0].chance, found.steps[0].event), (None, Some(moved)));
    assert!(trend(&points, &[moved], &quantity("period_s")).unwrap().steps.is_empty());
}

/// Where the line says that a unit leaves its limits.
#[test]
fn times_of_leaving_hold_what_they_say() {
    let now = 3.1 * YEAR;
    for (visits, scatter, rate) in [(8, 1.0, 6.0), (20, 1.0, 2.0), (20, 0.0, 6.0)] {
        let course = Course { visits, u: 0.5, scatter, uneven: 1.0 };
        let truth = |t: f64, _: f64| rate / YEAR * t;
        let limit = rate * 5.0;
        let (mut held, mut closed) = (0, 0);
        for seed in 0..series() {
            let found = trend(&course.points(seed, truth), &[], &quantity("period_s")).unwrap();
            let forecasts = leaving(&found, (None, Some(limit)), now, 20.0 * YEAR);
            let true_s = 5.0 * YEAR;
            held += u64::from(match forecasts[0].leaving {
                Leaving::From { earliest_s, expected_s, latest_s } => {
                    closed += u64::from(latest_s.is_some());
                    assert!(expected_s.is_none_or(|at| at > earliest_s));
                    assert!(expected_s.zip(latest_s).is_none_or(|(at, latest)| at < latest));
                    earliest_s <= true_s && latest_s.is_none_or(|latest| true_s <= latest)
                }
                Leaving::NotBefore(until_s) => true_s > until_s,
                Leaving::Open => true,
                Leaving::Left => false,
            });
        }
        let (held, closed) = (share(series(), held), share(series(), closed));
        println!("{visits} visits, scatter {scatter}, rate {rate}: {held} held, {closed} closed");
        assert!((0.93..=0.97).contains(&held), "{visits} {scatter} {rate}: {held}");
        assert!(closed > 0.5, "{visits} {scatter} {rate}: {closed}");
    }
}

fn of(values: &[f64], u: f64) -> Trend {
    let point = |(i, v): (usize, &f64)| Point {
        at_s: i as f64 * 0.25 * YEAR,
        value: Reading::new(*v, u),
        temperature_c: None,
    };
    let points: Vec<Point> = values.iter().enumerate().map(point).collect();
    trend(&points, &[], &quantity("period_s")).unwrap()
}

#[test]
fn a_unit_without_a_drift_leaves_nowhere_soon() {
    let still = of(&[5.0, 5.1, 4.9, 5.0, 5.1, 4.9, 5.0, 5.0], 0.1);
    let now = 2.0 * YEAR;
    let what = |limit: f64| leaving(&still, (Some(limit), None), now, 20.0 * YEAR)[0].leaving;
    // Seen for 1.75 years: up to three times that beyond the last visit.
    assert_eq!(what(-10.0), Leaving::NotBefore((1.75 + 3.0 * 1.75) * YEAR));
    assert_eq!(what(5.0), Leaving::Open);
    assert_eq!(what(6.0), Leaving::Left);
    let Leaving::From { expected_s, latest_s, .. } = what(4.5) else { panic!() };
    assert!(latest_s.is_none(), "{expected_s:?}");
}

#[test]
fn too_little_is_no_trend() {
    let points: Vec<Point> = (0..3)
        .map(|i| Point {
            at_s: f64::from(i) * YEAR,
            value: Reading::new(1.0, 0.1),
            temperature_c: None,
        })
        .collect();
    assert_eq!(trend(&points, &[], &quantity("period_s")), None);
    assert_eq!(trend(&[], &[], &quantity("period_s")), None);
    // As many steps as visits: nothing is left for a line.
    let four: Vec<Point> =
        (0..4).map(|i| Point { at_s: f64::from(i) * YEAR, ..points[0] }).collect();
    let moves: Vec<Event> = (0..3)
        .map(|i| Event { at_s: (f64::from(i) + 0.5) * YEAR, kind: EventKind::Moved })
        .collect();
    assert_eq!(trend(&four, &moves, &quantity("depth_m")), None);
}
