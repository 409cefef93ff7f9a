//! Map of whose field is strongest where.

use plotters::prelude::DrawingBackend;
use plotters::style::RGBColor;

use super::canvas::Canvas;
use super::contour::{GridPoint, contour};
use super::contour_map::ContourMap;
use super::drawing::{Picture, PictureError};
use super::field_over_station::HEARD;
use super::legend::{Key, Legend};
use super::station_map::{StationMap, UNIT};
use super::style::{Stroke, colour};
use crate::plan::{FieldMap, Shares};
use crate::units;

/// Light shades that the regions take in turn, none beside its like where there is a
/// choice.
const SHADES: [RGBColor; 6] = [
    RGBColor(205, 229, 245),
    RGBColor(250, 224, 190),
    RGBColor(199, 234, 220),
    RGBColor(243, 215, 229),
    RGBColor(252, 245, 190),
    RGBColor(222, 222, 222),
];
const BORDER: Stroke = Stroke::solid(colour::INK, 1.6);

/// The map.
pub struct StrongestUnit<'a> {
    /// The ground.
    pub on: StationMap<'a>,
    /// The field.
    pub map: &'a FieldMap,
    /// Shares of the area.
    pub shares: &'a Shares,
}

impl Picture for StrongestUnit<'_> {
    fn size(&self) -> (u32, u32) {
        self.on.size(3)
    }

    fn title(&self) -> String {
        format!("{}: which unit is strongest where", self.on.station.name)
    }

    fn draw<DB: DrawingBackend>(&self, canvas: &Canvas<'_, DB>) -> Result<(), PictureError> {
        let mut legend = Legend::new();
        legend.add(Key::Line(BORDER), "two are as strong");
        let heard = format!("{}, heard inside", units::field(self.on.threshold_a_per_m));
        legend.add(Key::Line(HEARD), heard);
        legend.add(Key::Point(UNIT.0, UNIT.1), "units");
        let notes = [
            format!(
                "A receiver that follows the strongest signal is led to the unit whose shade it is \
                 in. White: none is heard, {} % of the area.",
                units::significant(100.0 * self.shares.silent, 2)
            ),
            self.on.computed.to_owned(),
        ];
        let plot = self.on.lay_out(canvas, self.size(), &self.title(), &legend, &notes)?;
        let rows = &self.map.field_a_per_m;
        let map = ContourMap { x: &self.map.x_m, y: &self.map.y_m, rows, levels: Vec::new() };
        let shades = shades(self.map);
        let kind = |i: usize, j: usize| {
            (rows[j][i] >= self.on.threshold_a_per_m).then(|| self.map.strongest[j][i])
        };
        map.cells(canvas, &plot, kind, |unit| unit.map(|unit| SHADES[shades[unit]]))?;
        for unit in 0..self.map.of_units.len() {
            map.draw(canvas, &plot, &[(1.0, self.border(unit))], BORDER)?;
        }
        let heard = [(self.on.threshold_a_per_m, contour(rows, self.on.threshold_a_per_m))];
        map.draw(canvas, &plot, &heard, HEARD)?;
        self.on.edge(canvas, &plot)?;
        let mut taken = self.on.taken(&plot);
        self.on.units(canvas, &plot, &mut taken)
    }
}

impl StrongestUnit<'_> {
    /// Where a unit is as strong as the strongest of all others, as far as it is heard.
    fn border(&self, unit: usize) -> Vec<Vec<GridPoint>> {
        let fields = &self.map.of_units;
        let over_others = |j: usize, i: usize| {
            let others = (0..fields.len()).filter(|other| *other != unit);
            fields[unit][j][i] / others.map(|other| fields[other][j][i]).fold(0.0, f64::max)
        };
        let ratios: Vec<Vec<f64>> = (0..self.map.y_m.len())
            .map(|j| (0..self.map.x_m.len()).map(|i| over_others(j, i)).collect())
            .collect();
        let heard = |(i, j): &GridPoint| {
            let field = self.map.field_a_per_m[j.round() as usize][i.round() as usize];
            field >= self.on.threshold_a_per_m
        };
        let lines = contour(&ratios, 1.0);
        let runs = lines.iter().flat_map(|line| line.chunk_by(|a, b| heard(a) == heard(b)));
        runs.filter(|run| heard(&run[0])).map(<[GridPoint]>::to_vec).collect()
    }
}

/// A shade for each unit, by its number: the first that no neighbour before it has.
fn shades(map: &FieldMap) -> Vec<usize> {
    let units = map.of_units.len();
    let mut beside = vec![vec![false; units]; units];
    for (j, row) in map.strongest.iter().enumerate() {
        for (i, own) in row.iter().enumerate() {
            let right = row.get(i + 1);
            let above = map.strongest.get(j + 1).map(|row| &row[i]);
            for other in right.into_iter().chain(above).filter(|other| *other != own) {
                beside[*own][*other] = true;
                beside[*other][*own] = true;
            }
        }
    }
    let mut shades: Vec<usize> = Vec::new();
    for (unit, beside) in beside.iter().enumerate() {
        let free = |shade: &usize| (0..unit).all(|o| !beside[o] || shades[o] != *shade);
        shades.push((0..SHADES.len()).find(free).unwrap_or(unit % SHADES.len()));
    }
    shades
}
