//! Chart of the mean pulse of a unit: its edges, its top, what is left after it.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{DASHED, DOTTED, Stroke, colour};
use crate::signal::Envelope;
use crate::units;

/// The chart.
#[derive(Clone, Debug)]
pub struct PulseEnvelope {
    /// The mean pulse.
    pub envelope: Envelope,
    /// Time on, between the half-amplitude points, s.
    pub on_time_s: f64,
    /// Least time on that the limits allow, s.
    pub least_on_s: Option<f64>,
}

const SHAPE: Stroke = Stroke::solid(colour::BLUE, 1.8);
const HALF: Stroke = Stroke::solid(colour::FAINT_INK, 1.2).dashed(DOTTED);
const LEAST: Stroke = Stroke::solid(colour::VERMILION, 1.6).dashed(DASHED);

impl Picture for PulseEnvelope {
    fn size(&self) -> (u32, u32) {
        (480, 320)
    }

    fn title(&self) -> String {
        "Mean pulse".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let Envelope { from_s, step_s, amplitude, pulses } = &self.envelope;
        let time_ms = |i: usize| 1e3 * (from_s + i as f64 * step_s);
        let highest = amplitude.iter().copied().fold(1.0, f64::max);
        let x = Axis::linear(
            time_ms(0),
            time_ms(amplitude.len().saturating_sub(1)).max(1.0),
            "time after the rising edge (ms)",
            10,
            |t| units::significant(t, 3),
        );
        let y =
            Axis::linear(0.0, 108.0 * highest, "amplitude (%)", 6, |v| units::significant(v, 3));
        let mut legend = Legend::new();
        legend.add(Key::Line(SHAPE), format!("mean of {pulses} pulses"));
        let on = units::significant(1e3 * self.on_time_s, 4);
        legend.add(Key::Line(HALF), format!("half amplitude: on for {on} ms"));
        if let Some(least_s) = self.least_on_s {
            let least = units::significant(1e3 * least_s, 3);
            legend.add(Key::Line(LEAST), format!("least time on: {least} ms"));
        }
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &[])?;
        let (bottom, top) = (plot.y.from, plot.y.to);
        plot.line(canvas, [(plot.x.from, 50.0), (plot.x.to, 50.0)], HALF)?;
        for edge_s in [0.0, self.on_time_s] {
            plot.line(canvas, [(1e3 * edge_s, bottom), (1e3 * edge_s, 50.0)], HALF)?;
        }
        if let Some(least_s) = self.least_on_s {
            plot.line(canvas, [(1e3 * least_s, bottom), (1e3 * least_s, top)], LEAST)?;
        }
        let shape = amplitude.iter().enumerate().map(|(i, a)| (time_ms(i), 100.0 * a));
        plot.line(canvas, shape, SHAPE)
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;

    #[test]
    fn shows_the_shape_and_the_limit() {
        let amplitude = (0..240).map(|i| f64::from(u8::from((60..180).contains(&i)))).collect();
        let envelope = Envelope { from_s: -0.015, step_s: 0.00025, amplitude, pulses: 12 };
        let chart = PulseEnvelope { envelope, on_time_s: 0.03, least_on_s: Some(0.07) };
        let svg = render(&chart).unwrap().svg;
        for text in ["mean of 12 pulses", "on for 30 ms", "least time on: 70 ms", "amplitude (%)"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
