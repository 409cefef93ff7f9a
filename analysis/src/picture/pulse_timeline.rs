//! Chart of the pulses of each transmitter over time: who is on when, and
//! where they run through each other.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::Canvas;
use super::drawing::{Picture, PictureError};
use super::legend::Legend;
use super::plot::Plot;
use super::style::{SERIES, colour};
use crate::units;

/// One pulse of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Rising edge, s.
    pub on_s: f64,
    /// Falling edge, s.
    pub off_s: f64,
    /// Another transmitter was on at the same time.
    pub overlapped: bool,
}

/// The chart.
pub struct PulseTimeline {
    /// A label and the pulses of each transmitter, top row first.
    pub rows: Vec<(String, Vec<Bar>)>,
    /// The stretch shown, s.
    pub from_s: f64,
    /// Its end, s.
    pub until_s: f64,
}

/// Half the height of a bar, in rows.
const HALF: f64 = 0.3;

impl Picture for PulseTimeline {
    fn size(&self) -> (u32, u32) {
        (960, 150 + 46 * self.rows.len().max(1) as u32)
    }

    fn title(&self) -> String {
        "Pulses over time".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let x = Axis::linear(self.from_s, self.until_s, "time in the capture (s)", 10, |t| {
            units::significant(t, 4)
        });
        let y = Axis::rows(self.rows.iter().map(|row| row.0.as_str()));
        let overlaps = self.rows.iter().flat_map(|r| &r.1).any(|b| b.overlapped);
        let note = "A black core: another transmitter is on at the same time.".to_owned();
        let notes: Vec<String> = overlaps.then_some(note).into_iter().collect();
        let legend = Legend::new();
        let plot = Plot::lay_out(canvas, self.size(), &self.title(), &legend, (x, y), &notes)?;
        for (i, (_, bars)) in self.rows.iter().enumerate() {
            let row = i as f64 + 1.0;
            let shade = SERIES[i % SERIES.len()].colour;
            for bar in bars.iter().filter(|b| b.off_s > self.from_s && b.on_s < self.until_s) {
                let (on, off) = (bar.on_s.max(self.from_s), bar.off_s.min(self.until_s));
                let edges =
                    |half: f64| [(on, row + half, row - half), (off, row + half, row - half)];
                plot.band(canvas, edges(HALF), shade, 1.0)?;
                if bar.overlapped {
                    plot.band(canvas, edges(0.12), colour::BLACK, 1.0)?;
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;

    #[test]
    fn shows_each_pulse_in_view_once_and_marks_overlap() {
        let bar = |on_s: f64, overlapped| Bar { on_s, off_s: on_s + 0.1, overlapped };
        let rows = vec![
            ("T1".to_owned(), vec![bar(0.2, false), bar(1.2, true), bar(99.0, false)]),
            ("T2".to_owned(), vec![bar(1.25, true)]),
        ];
        let svg = render(&PulseTimeline { rows, from_s: 0.0, until_s: 3.0 }).unwrap().svg;
        // Three bars in view, two of them with a core.
        assert_eq!(svg.matches("<polygon").count(), 3 + 2, "{svg}");
        assert!(svg.contains("T2") && svg.contains("time in the capture (s)"));
    }
}
