//! Chart of one quantity of a unit over months and years: visits, the line with its
//! interval, limits, what was done to the unit, and steps that nothing explains.

use plotters::prelude::DrawingBackend;

use super::axis::{Axis, Tick};
use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{DASHED, DOTTED, Mark, Stroke, colour, size};
use crate::history::{CONFIDENCE, Event, Followed, Trend};
use crate::uncertainty::coverage;
use crate::units;

/// The chart.
#[derive(Clone, Debug)]
pub struct OverYears<'a> {
    /// Name of the unit.
    pub unit: &'a str,
    /// What is drawn: it must have a trend.
    pub followed: &'a Followed,
    /// That trend.
    pub trend: &'a Trend,
    /// What was done to the unit.
    pub events: &'a [Event],
    /// Least and greatest value allowed, SI.
    pub limits: (Option<f64>, Option<f64>),
    /// When it is looked at, s.
    pub now_s: f64,
    /// Days of the calendar worth a tick: time, s, and what is written there.
    pub days: Vec<(f64, String)>,
}

const VISIT: (Mark, plotters::style::RGBColor) = (Mark::Disc, colour::BLUE);
const LINE: Stroke = Stroke::solid(colour::BLUE, 1.8);
const LIMIT: Stroke = Stroke::solid(colour::VERMILION, 1.6).dashed(DASHED);
const DONE: Stroke = Stroke::solid(colour::FAINT_INK, 1.2).dashed(DOTTED);
const STEP: Stroke = Stroke::solid(colour::PURPLE, 1.6).dashed(DOTTED);
/// A limit further away than this many times the height of the data is left out.
const NEAR: f64 = 1.5;
/// Share of the time seen that is drawn before it and beyond now.
const ROOM: f64 = 0.04;

/// From when to when such a chart goes, s: for the choice of its days.
pub fn span_s(trend: &Trend, now_s: f64) -> (f64, f64) {
    let from = trend.visits.first().map_or(now_s, |v| v.at_s);
    let to = trend.visits.last().map_or(now_s, |v| v.at_s).max(now_s);
    let room = ROOM * (to - from);
    (from - room, to + room)
}

impl OverYears<'_> {
    fn scale(&self) -> f64 {
        self.followed.quantity.per_si_unit
    }

    /// Half the width of the interval of a reading of the line.
    fn k(&self) -> f64 {
        coverage::student_quantile(0.5 + 0.5 * CONFIDENCE, self.trend.degrees_of_freedom)
    }

    /// Value, low and high of the line at a time.
    fn line(&self, at_s: f64) -> (f64, f64, f64) {
        let level = self.trend.level(at_s).scaled(self.scale());
        let half = self.k() * level.u;
        (level.value, level.value - half, level.value + half)
    }

    /// Low and high end of what is drawn.
    fn range(&self) -> (f64, f64) {
        let bars = self.trend.visits.iter().flat_map(|v| {
            let (value, u) = (self.trend.at_mean_temperature(v), v.value.u);
            [(value - u) * self.scale(), (value + u) * self.scale()]
        });
        let ends = self.pieces().into_iter().flat_map(|(from, to)| {
            [self.line(from), self.line(to)].into_iter().flat_map(|(_, low, high)| [low, high])
        });
        let all = bars.chain(ends).filter(|v| v.is_finite());
        let (mut low, mut high) = all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        let height = (high - low).max(1e-9 * high.abs()).max(f64::MIN_POSITIVE);
        for limit in self.limits() {
            if limit > low - NEAR * height && limit < high + NEAR * height {
                (low, high) = (low.min(limit), high.max(limit));
            }
        }
        let room = 0.07 * (high - low).max(height);
        // Names of events stand above the data.
        let names = if self.shown_events().next().is_some() { 2.0 } else { 0.0 };
        (low - room, high + (1.0 + names) * room)
    }

    fn limits(&self) -> impl Iterator<Item = f64> {
        let scale = self.scale();
        [self.limits.0, self.limits.1].into_iter().flatten().map(move |v| v * scale)
    }

    /// Stretches between the steps, s.
    fn pieces(&self) -> Vec<(f64, f64)> {
        let (from, to) = span_s(self.trend, self.now_s);
        let mut ends = vec![from];
        ends.extend(self.trend.breaks_s());
        ends.push(to);
        // Just before a step it has not been made yet.
        ends.windows(2).map(|e| (e[0], e[1] - 1e-6 * (to - from))).collect()
    }

    fn notes(&self, (low, high): (f64, f64)) -> Vec<String> {
        let mut notes = vec![format!(
            "Bars: standard uncertainty. Band: {} % interval.",
            units::significant(100.0 * CONFIDENCE, 2)
        )];
        if let Some(celsius) = self.trend.temperature_c {
            notes[0] += &format!(" All for {} °C.", units::significant(celsius, 2));
        }
        let unit = self.followed.quantity.unit;
        let beyond: Vec<String> = self
            .limits()
            .filter(|limit| !(low..=high).contains(limit))
            .map(|limit| {
                format!("{} {unit}", units::significant(limit, self.followed.quantity.digits))
            })
            .collect();
        if !beyond.is_empty() {
            notes.push(format!("Limits beyond the picture: {}.", beyond.join(", ")));
        }
        notes
    }

    fn legend(&self, (low, high): (f64, f64)) -> Legend {
        let mut legend = Legend::new();
        legend.add(Key::Mark(VISIT.0, VISIT.1), "visits");
        legend.add(Key::Line(LINE), "line with steps");
        if self.limits().any(|limit| (low..=high).contains(&limit)) {
            legend.add(Key::Line(LIMIT), "limit");
        }
        if self.shown_events().next().is_some() {
            legend.add(Key::Line(DONE), "something done");
        }
        if self.trend.steps.iter().any(|s| s.event.is_none()) {
            legend.add(Key::Line(STEP), "step not explained");
        }
        legend
    }

    fn shown_events(&self) -> impl Iterator<Item = &Event> {
        let (from, to) = span_s(self.trend, self.now_s);
        self.events.iter().filter(move |e| (from..to).contains(&e.at_s))
    }
}

impl Picture for OverYears<'_> {
    fn size(&self) -> (u32, u32) {
        // Two beside each other on A4 can still be read.
        (480, 330)
    }

    fn title(&self) -> String {
        let label = self.followed.quantity.label;
        let mut letters = label.chars();
        let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
        format!("{first}{} of {}", letters.as_str(), self.unit)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let (low, high) = self.range();
        let (from, to) = span_s(self.trend, self.now_s);
        let tick = |(at, label): &(f64, String)| Tick { value: *at, label: Some(label.clone()) };
        let x = Axis::with_ticks(from, to, "date (UTC)", self.days.iter().map(tick).collect());
        let quantity = &self.followed.quantity;
        let decimals = (1.0 - ((high - low) / 8.0).log10()).floor().clamp(0.0, 9.0) as usize;
        let name = format!("{} ({})", quantity.label, quantity.unit);
        let y = Axis::linear(low, high, &name, 5, |v| format!("{v:.decimals$}").replace('-', "−"));
        let (legend, notes) = (self.legend((low, high)), self.notes((low, high)));
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &notes)?;
        for (begin, end) in self.pieces() {
            let times = || (0..=60).map(|i| begin + (end - begin) * f64::from(i) / 60.0);
            let band = times().map(|t| {
                let (_, low, high) = self.line(t);
                (t, low, high)
            });
            plot.band(canvas, band, colour::BLUE, 0.16)?;
            plot.line(canvas, times().map(|t| (t, self.line(t).0)), LINE)?;
        }
        for limit in self.limits() {
            plot.line(canvas, [(from, limit), (to, limit)], LIMIT)?;
        }
        for step in self.trend.steps.iter().filter(|s| s.event.is_none()) {
            let at = 0.5 * (step.between_s[0] + step.between_s[1]);
            plot.line(canvas, [(at, low), (at, high)], STEP)?;
        }
        let (top, _) = plot.ends();
        let mut free_from = f64::MIN;
        for event in self.shown_events() {
            plot.line(canvas, [(event.at_s, low), (event.at_s, high)], DONE)?;
            let (x, _) = plot.at(event.at_s, high);
            // A name that would lie on the one before is left to the table of events.
            if x >= free_from {
                let name = event.kind.name();
                let place = (x + 4.0, top + 1.2 * size::TICK);
                canvas.label(name, place, Align::Left, size::TICK, colour::FAINT_INK)?;
                free_from = x + 8.0 + super::canvas::text_width(name, size::TICK);
            }
        }
        // More marks than that hide each other: those that stand for many are drawn faint.
        for visit in &self.trend.visits {
            let value = self.trend.at_mean_temperature(visit) * self.scale();
            let u = visit.value.u * self.scale();
            if self.trend.visits.len() <= 150 {
                let bar = (value - u, value, value + u);
                plot.value_with_bar(canvas, visit.at_s, bar, VISIT.0, VISIT.1)?;
            } else {
                plot.mark(canvas, (visit.at_s, value), Mark::Cross, colour::SKY_BLUE)?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::history::{EventKind, Point, Tracked, follow};
    use crate::limits::published;
    use crate::reading::Reading;

    const MONTH: f64 = 30.0 * 86_400.0;

    #[test]
    fn shows_visits_limits_events_and_steps() {
        let point = |i: i32| {
            let step = if i >= 9 { 40.0 } else { 0.0 };
            Point {
                at_s: MONTH * f64::from(i),
                value: Reading::new(456_990.0 + step + 0.4 * f64::from(i % 3), 0.5),
                temperature_c: None,
            }
        };
        let points: Vec<Point> = (0..18).map(point).collect();
        let events = [Event { at_s: 4.5 * MONTH, kind: EventKind::Battery }];
        let set = published::named(published::CURRENT).unwrap();
        let quantity = Tracked::named("carrier_hz").unwrap();
        let now_s = 18.0 * MONTH;
        let followed = follow(quantity, &points, &events, &set, (now_s, 1e9)).unwrap();
        let trend = followed.trend.as_ref().unwrap();
        let chart = OverYears {
            unit: "ditch",
            followed: &followed,
            trend,
            events: &events,
            limits: quantity.bounds(&set),
            now_s,
            days: vec![(0.0, "2025-01-01".into())],
        };
        let svg = render(&chart).unwrap().svg;
        for text in [
            "Carrier of ditch",
            "carrier (Hz)",
            "battery",
            "step not explained",
            "2025-01-01",
            "limit",
        ] {
            assert!(svg.contains(text), "{text}");
        }
        // The lower limit is too far below to be drawn.
        assert!(svg.contains("Limits beyond the picture: 456920 Hz"), "{svg}");
    }
}
