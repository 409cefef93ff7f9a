//! Chart of one quantity of each transmitter over temperature.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{SERIES, Series};
use crate::over_time::{Point, median};
use crate::units;

/// One transmitter's values.
#[derive(Clone, Debug)]
pub struct OverTemperatureLine {
    /// Label in the legend, where the median stands beside it.
    pub label: String,
    /// Temperature (°C) and value in the chart's unit, in order of time.
    pub points: Vec<(f64, Point)>,
}

/// The chart: differences from each transmitter's own median.
#[derive(Clone, Debug)]
pub struct OverTemperature {
    /// What is drawn: "carrier".
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Decimals of the median in the legend.
    pub decimals: usize,
    /// A set of marks for each transmitter.
    pub lines: Vec<OverTemperatureLine>,
}

impl OverTemperature {
    fn series(number: usize) -> Series {
        SERIES[number % SERIES.len()]
    }
}

impl Picture for OverTemperature {
    fn size(&self) -> (u32, u32) {
        (960, 440 + 20 * (self.lines.len() as u32).div_ceil(3))
    }

    fn title(&self) -> String {
        format!("Change of {} with temperature", self.quantity)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let values = |line: &OverTemperatureLine| -> Vec<Point> {
            line.points.iter().map(|p| p.1).collect()
        };
        let medians: Vec<f64> =
            self.lines.iter().map(|l| median(&values(l)).unwrap_or_default()).collect();
        let mut legend = Legend::new();
        let (mut cold, mut warm) = (f64::MAX, f64::MIN);
        let (mut low, mut high) = (0.0f64, 0.0f64);
        for (i, (line, median)) in self.lines.iter().zip(&medians).enumerate() {
            let text = format!("{}: {median:.*} {}", line.label, self.decimals, self.unit);
            legend.add(Key::Mark(Self::series(i).mark, Self::series(i).colour), text);
            for (celsius, p) in &line.points {
                (cold, warm) = (cold.min(*celsius), warm.max(*celsius));
                let away = p.value.value - median;
                (low, high) = (low.min(away - p.value.u), high.max(away + p.value.u));
            }
        }
        let aside = 0.04 * (warm - cold).max(0.1);
        let room = 0.08 * (high - low).max(1e-12);
        let label = |v: f64| units::significant(v, 3);
        let x = Axis::linear(cold - aside, warm + aside, "temperature (°C)", 10, label);
        let name = format!("{} less its median ({})", self.quantity, self.unit);
        let y = Axis::linear(low - room, high + room, &name, 8, label);
        let note = "Bars: standard uncertainty of each mean.".to_owned();
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &[note])?;
        for (i, (line, median)) in self.lines.iter().zip(&medians).enumerate() {
            let series = Self::series(i);
            for (celsius, p) in &line.points {
                let value = p.value.value - median;
                let bar = (value - p.value.u, value, value + p.value.u);
                plot.value_with_bar(canvas, *celsius, bar, series.mark, series.colour)?;
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
    fn shows_its_axes_and_every_transmitter() {
        let point = |i: i32| {
            let celsius = f64::from(i) - 20.0;
            let value = Reading::new(457_010.0 + 0.3 * celsius, 0.01);
            (celsius, Point { at_s: f64::from(i), value })
        };
        let line = |label: &str| OverTemperatureLine {
            label: label.into(),
            points: (0..40).map(point).collect(),
        };
        let chart = OverTemperature {
            quantity: "carrier",
            unit: "Hz",
            decimals: 2,
            lines: vec![line("T1"), line("T2")],
        };
        let svg = render(&chart).unwrap().svg;
        for text in ["temperature (°C)", "T1: 457010.00 Hz", "T2", "carrier less its median (Hz)"]
        {
            assert!(svg.contains(text), "{text}");
        }
    }
}
