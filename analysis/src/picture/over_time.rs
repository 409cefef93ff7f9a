//! Chart of one quantity of each transmitter over hours, as difference from its
//! own median, with the jumps marked.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{DOTTED, SERIES, Series, Stroke, colour};
use crate::over_time::{Jump, Point, median};
use crate::units;

/// One transmitter's line.
#[derive(Clone, Debug)]
pub struct OverTimeLine {
    /// Label in the legend, where the median stands beside it.
    pub label: String,
    /// Values in order of time, in the chart's unit.
    pub points: Vec<Point>,
    /// Jumps found.
    pub jumps: Vec<Jump>,
}

/// The chart.
#[derive(Clone, Debug)]
pub struct OverTime {
    /// What is drawn: "carrier".
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Decimals of the median in the legend.
    pub decimals: usize,
    /// A line for each transmitter.
    pub lines: Vec<OverTimeLine>,
}

/// A row further than this many times the usual distance begins a new line.
const BREAK: f64 = 2.5;

impl OverTime {
    fn series(number: usize) -> Series {
        SERIES[number % SERIES.len()]
    }

    /// Seconds in the unit of the time axis, and its name.
    fn time_unit(&self) -> (f64, &'static str) {
        let times = self.lines.iter().flat_map(|l| &l.points).map(|p| p.at_s);
        let longest = times.fold(0.0, f64::max);
        if longest > 2.0 * 3600.0 { (3600.0, "time (h)") } else { (60.0, "time (min)") }
    }
}

impl Picture for OverTime {
    fn size(&self) -> (u32, u32) {
        (960, 440 + 20 * (self.lines.len() as u32).div_ceil(3))
    }

    fn title(&self) -> String {
        format!("Change of {} over time", self.quantity)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let (second, time) = self.time_unit();
        let medians: Vec<f64> =
            self.lines.iter().map(|l| median(&l.points).unwrap_or_default()).collect();
        let points = || {
            let with_median = self.lines.iter().zip(&medians);
            with_median.flat_map(|(l, m)| l.points.iter().map(move |p| (*m, p)))
        };
        let last = points().map(|(_, p)| p.at_s / second).fold(1e-3, f64::max);
        let away = |(median, p): (f64, &Point), k: f64| p.value.value - median + k * p.value.u;
        let low = points().map(|p| away(p, -1.0)).fold(0.0, f64::min);
        let high = points().map(|p| away(p, 1.0)).fold(0.0, f64::max);
        let room = 0.08 * (high - low).max(1e-12);
        let x = Axis::linear(0.0, 1.02 * last, time, 10, |t| units::significant(t, 3));
        let name = format!("{} less its median ({})", self.quantity, self.unit);
        let y = Axis::linear(low - room, high + room, &name, 8, |v| units::significant(v, 3));
        let mut legend = Legend::new();
        for (i, (line, median)) in self.lines.iter().zip(&medians).enumerate() {
            let text = format!("{}: {median:.*} {}", line.label, self.decimals, self.unit);
            legend.add(Key::Mark(Self::series(i).mark, Self::series(i).colour), text);
        }
        let jumps = self.lines.iter().any(|l| !l.jumps.is_empty());
        if jumps {
            legend.add(Key::Line(jump_stroke(colour::FAINT_INK)), "jump");
        }
        let note = "Bars: standard uncertainty of each mean.".to_owned();
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &[note])?;
        let (bottom, top) = (plot.y.from, plot.y.to);
        for (i, (line, median)) in self.lines.iter().zip(&medians).enumerate() {
            let series = Self::series(i);
            for jump in &line.jumps {
                let at = jump.at_s / second;
                plot.line(canvas, [(at, bottom), (at, top)], jump_stroke(series.colour))?;
            }
            let at = |p: &Point| (p.at_s / second, p.value.value - median);
            for piece in pieces(&line.points) {
                let stroke = Stroke { width: 1.2, ..series.stroke() };
                plot.line(canvas, piece.iter().map(at), stroke)?;
            }
            // Many rows: their marks would hide each other.
            if line.points.len() <= 120 {
                for p in &line.points {
                    let (x, y) = at(p);
                    let bar = (y - p.value.u, y, y + p.value.u);
                    plot.value_with_bar(canvas, x, bar, series.mark, series.colour)?;
                }
            }
        }
        Ok(())
    }
}

fn jump_stroke(colour: plotters::style::RGBColor) -> Stroke {
    Stroke::solid(colour, 1.4).dashed(DOTTED)
}

/// Runs of points without a gap between them.
fn pieces(points: &[Point]) -> Vec<&[Point]> {
    let mut steps: Vec<f64> = points.windows(2).map(|p| p[1].at_s - p[0].at_s).collect();
    if steps.is_empty() {
        return Vec::new();
    }
    steps.sort_by(f64::total_cmp);
    let usual = steps[steps.len() / 2];
    points.chunk_by(|a, b| b.at_s - a.at_s < BREAK * usual).collect()
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::reading::Reading;

    #[test]
    fn shows_every_line_its_marks_and_jumps() {
        let point =
            |i: i32, v: f64| Point { at_s: 600.0 * f64::from(i), value: Reading::new(v, 0.01) };
        let line = |label: &str, jumps| OverTimeLine {
            label: label.into(),
            points: (0..30).map(|i| point(i, 457_010.0 + 0.002 * f64::from(i))).collect(),
            jumps,
        };
        let jump = Jump { at_s: 6300.0, size: Reading::new(0.1, 0.01) };
        let chart = OverTime {
            quantity: "carrier",
            unit: "Hz",
            decimals: 2,
            lines: vec![line("T1", vec![jump]), line("T2", vec![])],
        };
        let svg = render(&chart).unwrap().svg;
        for text in ["time (h)", "T1: 457010.03 Hz", "jump", "carrier less its median (Hz)"] {
            assert!(svg.contains(text), "{text}");
        }
    }

    #[test]
    fn a_silent_stretch_breaks_the_line() {
        let at = |at_s: f64| Point { at_s, value: Reading::new(0.0, 1.0) };
        let points = [0.0, 10.0, 20.0, 100.0, 110.0].map(at);
        assert_eq!(pieces(&points).iter().map(|p| p.len()).collect::<Vec<_>>(), [3, 2]);
    }
}
