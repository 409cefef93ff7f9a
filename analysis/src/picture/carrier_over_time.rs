//! Chart of the carrier of a unit over a capture, with the band that it must keep.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{DASHED, Mark, Stroke, colour};
use crate::over_time::Point;
use crate::signal::CARRIER_HZ;
use crate::units;

/// The carrier in one capture.
#[derive(Clone, Debug)]
pub struct CarrierLine {
    /// What the legend calls it: its temperature, or its name.
    pub label: String,
    /// Carrier less 457 kHz over time in the capture, Hz; bars are the standard
    /// uncertainty of each mean.
    pub points: Vec<Point>,
}

/// The chart.
#[derive(Clone, Debug)]
pub struct CarrierOverTime {
    /// A line for each capture.
    pub lines: Vec<CarrierLine>,
    /// Lower and upper limit of the carrier, Hz.
    pub limits_hz: (Option<f64>, Option<f64>),
}

const LIMIT: Stroke = Stroke::solid(colour::VERMILION, 1.6).dashed(DASHED);
const COLOURS: [plotters::style::RGBColor; 4] =
    [colour::BLUE, colour::GREEN, colour::PURPLE, colour::ORANGE];
const MARKS: [Mark; 4] = [Mark::Disc, Mark::Square, Mark::Triangle, Mark::Diamond];

impl Picture for CarrierOverTime {
    fn size(&self) -> (u32, u32) {
        (480, 300 + 20 * (self.lines.len() as u32).div_ceil(3))
    }

    fn title(&self) -> String {
        "Carrier over time".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let points = || self.lines.iter().flat_map(|l| &l.points);
        let last_s = points().map(|p| p.at_s).fold(1.0, f64::max);
        let limits: Vec<f64> = [self.limits_hz.0, self.limits_hz.1]
            .into_iter()
            .flatten()
            .map(|l| l - CARRIER_HZ)
            .collect();
        let all = || points().map(|p| p.value.value).chain(limits.iter().copied());
        let (low, high) = (all().fold(0.0, f64::min), all().fold(0.0, f64::max));
        let room = 0.12 * (high - low).max(1.0);
        let x = Axis::linear(0.0, 1.03 * last_s, "time in the capture (s)", 10, |t| {
            units::significant(t, 3)
        });
        let name = "carrier less 457 kHz (Hz)";
        let y = Axis::linear(low - room, high + room, name, 6, |v| units::significant(v, 3));
        let mut legend = Legend::new();
        for (i, line) in self.lines.iter().enumerate() {
            legend.add(Key::Mark(MARKS[i % 4], COLOURS[i % 4]), &line.label);
        }
        if !limits.is_empty() {
            legend.add(Key::Line(LIMIT), "limits");
        }
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &[])?;
        for limit in limits {
            plot.line(canvas, [(plot.x.from, limit), (plot.x.to, limit)], LIMIT)?;
        }
        for (i, line) in self.lines.iter().enumerate() {
            let (mark, colour) = (MARKS[i % 4], COLOURS[i % 4]);
            let values = line.points.iter().map(|p| (p.at_s, p.value.value));
            plot.line(canvas, values, Stroke::solid(colour, 1.2))?;
            for p in &line.points {
                let (y, u) = (p.value.value, p.value.u);
                plot.value_with_bar(canvas, p.at_s, (y - u, y, y + u), mark, colour)?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::reading::Reading;

    #[test]
    fn shows_each_capture_and_the_limits() {
        let point = |i: i32| Point { at_s: 5.0 * f64::from(i), value: Reading::new(12.0, 0.1) };
        let line =
            |label: &str| CarrierLine { label: label.into(), points: (0..12).map(point).collect() };
        let limits_hz = (Some(456_920.0), Some(457_080.0));
        let chart = CarrierOverTime { lines: vec![line("20 °C"), line("−10 °C")], limits_hz };
        let svg = render(&chart).unwrap().svg;
        for text in ["20 °C", "limits", "carrier less 457 kHz (Hz)", "time in the capture (s)"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
