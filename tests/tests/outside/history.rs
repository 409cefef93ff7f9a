//! Trends against the table that numpy and scipy made.

use std::collections::BTreeMap;

use coilrig_analysis::history::{Leaving, Point, Tracked, leaving, trend};
use coilrig_analysis::reading::Reading;

const TABLE: &str = include_str!("../../outside/scipy_history.csv");
const DAY: f64 = 86_400.0;

/// The visits of the script, by the same formulas.
struct Case {
    count: i32,
    rate_per_day: f64,
    u: f64,
    scatter: f64,
    step: (f64, i32),
    per_degree: f64,
    limit: f64,
}

impl Case {
    fn named(name: &str) -> Self {
        let plain = Self {
            count: 14,
            rate_per_day: 0.004,
            u: 0.5,
            scatter: 0.0,
            step: (0.0, 0),
            per_degree: 0.0,
            limit: 12.0,
        };
        match name {
            "stated" => plain,
            "scatter" => Self { u: 0.05, scatter: 0.8, ..plain },
            "step" => {
                Self { count: 20, u: 0.1, scatter: 0.4, step: (6.0, 12), limit: 24.0, ..plain }
            }
            "warm" => Self {
                count: 18,
                rate_per_day: 0.003,
                u: 0.1,
                scatter: 0.5,
                per_degree: 0.6,
                ..plain
            },
            other => panic!("no case {other}"),
        }
    }

    fn point(&self, number: i32) -> Point {
        let i = f64::from(number);
        let day = 60.0 * i + 15.0 * (3.0 * i).sin();
        let warm = 10.0 * (5.0 * i + 1.0).sin();
        let u = self.u * (1.0 + 0.5 * (2.0 * i).cos());
        let errors =
            1.3 * u * (7.0 * i * i + 0.5).sin() + 1.3 * self.scatter * (11.0 * i * i + 2.0).sin();
        let (size, place) = self.step;
        let step = if place > 0 && number >= place { size } else { 0.0 };
        let value = 5.0 + self.rate_per_day * day + step + self.per_degree * warm + errors;
        Point { at_s: day * DAY, value: Reading::new(value, u), temperature_c: Some(warm) }
    }

    /// Everything the table has of it.
    fn results(&self) -> BTreeMap<&'static str, f64> {
        let points: Vec<Point> = (0..self.count).map(|i| self.point(i)).collect();
        let name = if self.per_degree > 0.0 { "carrier_hz" } else { "period_s" };
        let found = trend(&points, &[], &Tracked::named(name).unwrap()).unwrap();
        let mut all = BTreeMap::from([
            ("rate", found.rate_per_s.value * DAY),
            ("u of rate", found.rate_per_s.u * DAY),
            ("scatter", found.scatter),
            ("chance", found.chance),
        ]);
        if let Some(step) = found.steps.first() {
            let after = points.iter().position(|p| p.at_s == step.between_s[1]).unwrap();
            all.insert("first visit after the step", after as f64);
            all.extend([("step", step.size.value), ("u of step", step.size.u)]);
        }
        if let Some(per_degree) = found.per_degree {
            all.extend([("per degree", per_degree.value), ("u per degree", per_degree.u)]);
        }
        let now_s = points[points.len() - 1].at_s;
        let forecast = leaving(&found, (None, Some(self.limit)), now_s, 1e5 * DAY)[0].leaving;
        let Leaving::From { earliest_s, expected_s, latest_s } = forecast else {
            panic!("{forecast:?}")
        };
        all.insert("earliest", earliest_s / DAY);
        all.insert("expected", expected_s.unwrap() / DAY);
        all.insert("latest", latest_s.unwrap() / DAY);
        all
    }
}

#[test]
fn trends_agree_with_scipy() {
    let rows = TABLE.lines().filter(|line| !line.starts_with('#')).skip(1);
    let mut theirs: BTreeMap<&str, BTreeMap<&str, f64>> = BTreeMap::new();
    for line in rows {
        let cells: Vec<&str> = line.split(',').collect();
        theirs.entry(cells[0]).or_default().insert(cells[1], cells[2].parse().unwrap());
    }
    assert_eq!(theirs.len(), 4);
    for (case, theirs) in theirs {
        let ours = Case::named(case).results();
        assert_eq!(ours.keys().collect::<Vec<_>>(), theirs.keys().collect::<Vec<_>>(), "{case}");
        for (quantity, theirs) in theirs {
            let ours = ours[quantity];
            let off = (ours - theirs).abs();
            // Some 1e-9 of a distribution's tail is all its digits.
            let room = if quantity == "chance" { 1e-9 } else { 1e-5 * theirs.abs() + 1e-9 };
            assert!(off <= room, "{case}, {quantity}: {ours} here, {theirs} there");
        }
    }
}
