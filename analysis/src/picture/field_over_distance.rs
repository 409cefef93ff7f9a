//! Chart of field over distance: readings, the dipole they follow, limits, and
//! how far the transmitter is heard.

use plotters::prelude::DrawingBackend;

use super::axis::Axis;
use super::canvas::{Align, Canvas};
use super::drawing::{Picture, PictureError};
use super::legend::{Key, Legend};
use super::plot::Plot;
use super::style::{DASH_DOT, DOTTED, SERIES, Series, Stroke, colour, size};
use crate::limits::{FieldLimit, GREATEST_FIELD_AT_10_M, LEAST_FIELD_AT_10_M};
use crate::range::{Alignment, FieldReading, GroundAnalysis, RangeAnalysis};
use crate::units;

/// Points of a curve.
const CURVE: usize = 200;

/// The chart. Distances are true ones: readings stand at their stated distance
/// plus the fitted offset. Bands are those of the moment, u and 2u; the limits
/// at 10 m are those of EN 300 718-1, quoted from memory.
pub struct FieldOverDistance<'a> {
    /// The readings.
    pub readings: &'a [FieldReading],
    /// What was made of them.
    pub analysis: &'a RangeAnalysis,
    /// The same with the ground counted in.
    pub over_ground: Option<&'a GroundAnalysis>,
}

/// Colour, dash and mark of an alignment, the same in every chart.
pub(super) fn series(alignment: Alignment) -> &'static Series {
    match alignment {
        Alignment::Coaxial => &SERIES[0],
        Alignment::Coplanar => &SERIES[1],
    }
}

/// The line of an alignment over ground.
pub(super) fn over_ground(alignment: Alignment) -> Stroke {
    match alignment {
        Alignment::Coaxial => SERIES[2].stroke(),
        Alignment::Coplanar => SERIES[3].stroke(),
    }
}

/// The alignments that `readings` hold.
pub(super) fn present(readings: &[FieldReading]) -> impl Iterator<Item = Alignment> + Clone + '_ {
    Alignment::ALL.into_iter().filter(|a| readings.iter().any(|r| r.alignment == *a))
}

impl Picture for FieldOverDistance<'_> {
    fn size(&self) -> (u32, u32) {
        (960, 680)
    }

    fn title(&self) -> String {
        "Field over distance".into()
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let plot = Plot::lay_out(
            canvas,
            self.size(),
            &self.title(),
            &self.legend(),
            (self.distance_axis(), self.field_axis()),
            &self.notes(),
        )?;
        for alignment in present(self.readings) {
            self.band(canvas, &plot, alignment)?;
        }
        self.thresholds(canvas, &plot)?;
        limit(canvas, &plot, &LEAST_FIELD_AT_10_M, Align::Left)?;
        limit(canvas, &plot, &GREATEST_FIELD_AT_10_M, Align::Right)?;
        for alignment in present(self.readings) {
            let curve = plot.x.samples(CURVE).map(|d| (d, self.theory(alignment, d).value));
            plot.line(canvas, curve, series(alignment).stroke())?;
        }
        if let Some(ground) = self.over_ground {
            for alignment in present(self.readings) {
                // Beside the readings, which stand at the offset of free space.
                let offset_m = self.analysis.fit.offset_m();
                let fit = &ground.best_fit;
                let field = |d| (d, fit.field_at_stated(alignment, d - offset_m).value);
                plot.line(canvas, plot.x.samples(CURVE).map(field), over_ground(alignment))?;
            }
        }
        for reading in self.readings {
            let Series { colour, mark, .. } = *series(reading.alignment);
            let (h, u) = (reading.field_a_per_m, reading.u_field_a_per_m);
            plot.value_with_bar(
                canvas,
                self.true_distance_m(reading),
                (h - u, h, h + u),
                mark,
                colour,
            )?;
        }
        Ok(())
    }
}

impl FieldOverDistance<'_> {
    fn true_distance_m(&self, reading: &FieldReading) -> f64 {
        reading.distance_m + self.analysis.fit.offset_m()
    }

    fn theory(&self, alignment: Alignment, distance_m: f64) -> crate::reading::Reading {
        self.analysis.fit.field_at(alignment, distance_m)
    }

    fn distance_axis(&self) -> Axis {
        let distances = || self.readings.iter().map(|r| self.true_distance_m(r));
        let ranges = self.analysis.ranges.iter().map(|reach| reach.range_m.value);
        let farthest_range = ranges.fold(10.0, f64::max);
        // A quarter of the axis left and right for what is written there.
        let near = 0.75 * distances().fold(8.0, f64::min);
        let far = (1.35 * distances().fold(0.0, f64::max))
            .max(farthest_range * (farthest_range / near).powf(0.3));
        Axis::logarithmic(near, far, "distance (m)", |d| units::significant(d, 3))
    }

    fn field_axis(&self) -> Axis {
        let fields = || {
            let limits = [LEAST_FIELD_AT_10_M, GREATEST_FIELD_AT_10_M].map(|l| l.field_a_per_m);
            self.readings.iter().map(|r| r.field_a_per_m).chain(limits)
        };
        let thresholds = self.analysis.ranges.iter().map(|reach| reach.threshold_a_per_m.value);
        // Room below the lowest threshold for the ranges written there.
        let lowest = thresholds.map(|t| 0.35 * t).fold(fields().fold(1.0, f64::min), f64::min);
        let highest = fields().fold(0.0, f64::max);
        Axis::logarithmic(0.6 * lowest, 2.0 * highest, "RMS field", units::field)
    }

    fn legend(&self) -> Legend {
        let mut legend = Legend::new();
        for alignment in present(self.readings) {
            let Series { colour, mark, .. } = *series(alignment);
            legend.add(Key::Mark(mark, colour), format!("measured {alignment}, ± u"));
        }
        for alignment in present(self.readings) {
            legend.add(Key::Line(series(alignment).stroke()), format!("dipole {alignment}"));
        }
        for alignment in present(self.readings).filter(|_| self.over_ground.is_some()) {
            legend.add(Key::Line(over_ground(alignment)), format!("{alignment} over the ground"));
        }
        for alignment in present(self.readings).take(1) {
            legend.add(Key::Band(series(alignment).colour), "u and 2u of the dipole");
        }
        legend
    }

    fn notes(&self) -> Vec<String> {
        let moment = units::plus_minus(self.analysis.moment_a_m2.scaled(1e3), "mA·m²");
        let mut first = format!("Moment {moment}");
        if let Some(offset) = self.analysis.distance_offset_m {
            let offset = units::plus_minus(offset, "m");
            first += &format!("; distances are the stated ones plus the fitted {offset}");
        }
        let memory = if LEAST_FIELD_AT_10_M.from_memory { ", quoted from memory" } else { "" };
        let space = match self.over_ground {
            Some(_) => "Limits, thresholds and ranges are drawn for free space.",
            None => "The dipole is in free space; ground changes what is heard far out.",
        };
        let source = LEAST_FIELD_AT_10_M.source;
        let second = format!("Limits at 10 m, coaxial: {source}{memory}. {space}");
        vec![first + ".", second]
    }

    fn band<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
        alignment: Alignment,
    ) -> Result<(), PictureError> {
        let colour = series(alignment).colour;
        for (k, opacity) in [(2.0, 0.14), (1.0, 0.22)] {
            let edges = plot.x.samples(CURVE).map(|d| {
                let theory = self.theory(alignment, d);
                (d, theory.value - k * theory.u, theory.value + k * theory.u)
            });
            plot.band(canvas, edges, colour, opacity)?;
        }
        Ok(())
    }

    /// Each threshold as a line, and from where a dipole crosses it a line down
    /// to the range.
    fn thresholds<DB: DrawingBackend>(
        &self,
        canvas: &Canvas<'_, DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        // All lines first, so that none runs through a label.
        let shown: Vec<_> = present(self.readings).collect();
        for reach in &self.analysis.ranges {
            let (range_m, threshold) = (reach.range_m.value, reach.threshold_a_per_m.value);
            let line = [(plot.x.from, threshold), (plot.x.to, threshold)];
            plot.line(canvas, line, Stroke::solid(colour::INK, 1.2).dashed(DASH_DOT))?;
            if shown.contains(&reach.alignment) {
                let stroke = Stroke::solid(series(reach.alignment).colour, 1.4).dashed(DOTTED);
                plot.line(canvas, [(range_m, threshold), (range_m, plot.y.from)], stroke)?;
            }
        }
        let mut labelled = f64::NAN;
        for reach in &self.analysis.ranges {
            let threshold = reach.threshold_a_per_m.value;
            if threshold != labelled {
                labelled = threshold;
                let (_, y) = plot.at(plot.x.from, threshold);
                let text = format!("receiver threshold {}", units::field(threshold));
                // Out of the way of the limit's text just above it.
                let below = (1.0..1.5).contains(&(LEAST_FIELD_AT_10_M.field_a_per_m / threshold));
                let y = if below { y + 1.2 * size::TICK } else { y - 6.0 };
                let at = (plot.sides().0 + 8.0, y);
                canvas.label(&text, at, Align::Left, size::TICK, colour::INK)?;
            }
            if !shown.contains(&reach.alignment) {
                continue;
            }
            // Where the falling curves leave room: right above the threshold for
            // the farther range, left below it for the nearer.
            let (x, y) = plot.at(reach.range_m.value, threshold);
            let (at, align) = match reach.alignment {
                Alignment::Coaxial => ((x + 7.0, y - 6.0), Align::Left),
                Alignment::Coplanar => ((x - 7.0, y + 1.5 * size::TICK), Align::Right),
            };
            let text = units::plus_minus(reach.range_m, "m");
            canvas.label(&text, at, align, size::TICK, series(reach.alignment).colour)?;
        }
        Ok(())
    }
}

/// A limit as a short stroke at its distance, led out by a fine line to the side
/// where the falling curves leave room for its text: left below them, right
/// above them.
fn limit<DB: DrawingBackend>(
    canvas: &Canvas<'_, DB>,
    plot: &Plot,
    limit: &FieldLimit,
    side: Align,
) -> Result<(), PictureError> {
    let Some(distance_m) = limit.distance_m else { return Ok(()) };
    let (left, right) = plot.sides();
    let (edge_m, x) = match side {
        Align::Right => (plot.x.to, right - 8.0),
        Align::Left | Align::Centre => (plot.x.from, left + 8.0),
    };
    let field = limit.field_a_per_m;
    let fine = Stroke::solid(colour::FAINT_INK, 1.0).dashed(DOTTED);
    plot.line(canvas, [(distance_m, field), (edge_m, field)], fine)?;
    let stroke = [(distance_m / 1.12, field), (distance_m * 1.12, field)];
    plot.line(canvas, stroke, Stroke::solid(colour::BLACK, 3.0))?;
    let (_, y) = plot.at(distance_m, field);
    let text = format!("{}: {}", limit.name, units::field_level(field));
    canvas.label(&text, (x, y - 6.0), side, size::TICK, colour::INK)
}

#[cfg(test)]
mod tests {
    use super::super::drawing::render;
    use super::*;
    use crate::range::{Options, analyse};

    pub(crate) fn readings() -> Vec<FieldReading> {
        [2.0, 3.0, 5.0, 8.0, 12.0, 18.0]
            .into_iter()
            .zip([1.04, 0.95, 1.02, 0.98, 1.06, 1.1])
            .flat_map(|pair| Alignment::ALL.map(|alignment| (pair, alignment)))
            .map(|((distance_m, error), alignment)| {
                let field_a_per_m = error * alignment.field_a_per_m(6.3e-3, distance_m, 457e3);
                let u_field_a_per_m = 0.05 * field_a_per_m;
                FieldReading { distance_m, field_a_per_m, u_field_a_per_m, alignment }
            })
            .collect()
    }

    #[test]
    fn says_what_it_shows() {
        let readings = readings();
        let analysis = analyse(&readings, &Options::default()).unwrap();
        let drawing = render(&FieldOverDistance {
            readings: &readings,
            analysis: &analysis,
            over_ground: None,
        })
        .unwrap();
        let range = units::plus_minus(analysis.ranges[0].range_m, "m");
        for text in [
            "distance (m)",
            "RMS field",
            "receiver threshold 80 nA/m",
            "maximum at 10 m: 7.0 dBµA/m",
            "minimum at 10 m: −6.0 dBµA/m",
            "measured coplanar, ± u",
            "quoted from memory",
            &range,
        ] {
            assert!(drawing.svg.contains(text), "{text}");
        }
    }

    #[test]
    fn shows_only_the_alignments_measured() {
        let mut readings = readings();
        readings.retain(|r| r.alignment == Alignment::Coaxial);
        let analysis = analyse(&readings, &Options::default()).unwrap();
        let svg = render(&FieldOverDistance {
            readings: &readings,
            analysis: &analysis,
            over_ground: None,
        })
        .unwrap()
        .svg;
        assert!(svg.contains("dipole coaxial") && !svg.contains("coplanar"));
    }
}
