//! Contours of values on a grid, by marching squares.
//!
//! Crossings are placed along the sides of the cells by linear interpolation of the
//! logarithm, as suits fields that fall by powers; a cell with two diagonal corners
//! above the level is cut by its middle value. Pieces are joined end to end.

/// A point by its place in the grid: column and row, with fractions.
pub type GridPoint = (f64, f64);

/// The lines along which `rows` (all of one length, values over zero) have the
/// value `level`.
pub fn contour(rows: &[Vec<f64>], level: f64) -> Vec<Vec<GridPoint>> {
    let mut pieces = Vec::new();
    for (j, pair) in rows.windows(2).enumerate() {
        for i in 0..pair[0].len().saturating_sub(1) {
            // Corners round the cell, then the sides between them.
            let corners = [pair[0][i], pair[0][i + 1], pair[1][i + 1], pair[1][i]];
            let places = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
            cut(&corners, &places, level, &mut pieces);
        }
    }
    joined(pieces)
}

fn cut(
    corners: &[f64; 4],
    places: &[(usize, usize); 4],
    level: f64,
    pieces: &mut Vec<(GridPoint, GridPoint)>,
) {
    let crossings: Vec<(usize, GridPoint)> = (0..4)
        .filter_map(|side| {
            let (a, b) = (corners[side], corners[(side + 1) % 4]);
            ((a >= level) != (b >= level)).then(|| {
                // From the lower corner to the higher: neighbours agree to the last bit.
                let (from, to) = (places[side], places[(side + 1) % 4]);
                let (from, to, a, b) = if a < b { (from, to, a, b) } else { (to, from, b, a) };
                let share = (level / a).ln() / (b / a).ln();
                let along = |p: usize, q: usize| p as f64 + share * (q as f64 - p as f64);
                (side, (along(from.0, to.0), along(from.1, to.1)))
            })
        })
        .collect();
    match crossings[..] {
        [(_, a), (_, b)] => pieces.push((a, b)),
        [(_, a), (_, b), (_, c), (_, d)] => {
            let middle = corners.iter().map(|v| v.ln()).sum::<f64>() / 4.0;
            // Whether the middle belongs with the first corner.
            if (middle >= level.ln()) == (corners[0] >= level) {
                pieces.extend([(a, b), (c, d)]);
            } else {
                pieces.extend([(d, a), (b, c)]);
            }
        }
        _ => {}
    }
}

/// Pieces that share an end, as lines.
fn joined(mut pieces: Vec<(GridPoint, GridPoint)>) -> Vec<Vec<GridPoint>> {
    // Where a corner has the level itself, sides beside it cross there too.
    pieces.retain(|(from, to)| from != to);
    let mut lines = Vec::new();
    while let Some((from, to)) = pieces.pop() {
        let mut line = std::collections::VecDeque::from([from, to]);
        for forward in [true, false] {
            loop {
                let end = if forward { line[line.len() - 1] } else { line[0] };
                let Some(at) = pieces.iter().position(|(a, b)| *a == end || *b == end) else {
                    break;
                };
                let (a, b) = pieces.swap_remove(at);
                let next = if a == end { b } else { a };
                if forward { line.push_back(next) } else { line.push_front(next) }
            }
        }
        lines.push(line.into());
    }
    lines
}

/// Round levels, 1, 2 and 5 times the powers of ten, strictly between two values over zero;
/// none where there are no two such.
pub fn round_levels(low: f64, high: f64) -> Vec<f64> {
    if !(low > 0.0 && high.is_finite()) {
        return Vec::new();
    }
    let powers = low.log10().floor() as i32..=high.log10().ceil() as i32;
    powers
        .flat_map(|power| [1, 2, 5].map(|digit| (digit, power)))
        .filter_map(|(digit, power)| format!("{digit}e{power}").parse().ok())
        .filter(|level| (low..high).contains(level) && *level > low)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The level set of r² is a circle.
    #[test]
    fn a_round_hill_has_round_contours() {
        let value = |i: usize, j: usize| {
            let (x, y) = (i as f64 - 20.0, j as f64 - 20.0);
            1e3 / (1.0 + x * x + y * y)
        };
        let rows: Vec<Vec<f64>> = (0..41).map(|j| (0..41).map(|i| value(i, j)).collect()).collect();
        let lines = contour(&rows, 1e3 / (1.0 + 225.0));
        assert_eq!(lines.len(), 1);
        let line = &lines[0];
        assert_eq!(line[0], line[line.len() - 1], "it closes");
        assert!(line.iter().all(|(x, y)| ((x - 20.0).hypot(y - 20.0) - 15.0).abs() < 0.02));
        assert!(contour(&rows, 2e3).is_empty());
    }

    #[test]
    fn a_saddle_is_cut_in_two_pieces_that_do_not_cross() {
        let saddle = vec![vec![4.0, 1.0], vec![1.0, 4.0]];
        let lines = contour(&saddle, 1.5);
        assert_eq!(lines.len(), 2);
        // The middle, 2, is above: the low corners are cut off.
        for line in &lines {
            let near = |corner: (f64, f64)| {
                line.iter().all(|p| (p.0 - corner.0).hypot(p.1 - corner.1) < 0.5)
            };
            assert!(near((1.0, 0.0)) || near((0.0, 1.0)), "{line:?}");
        }
    }

    #[test]
    fn levels_are_round_and_inside() {
        let levels = round_levels(0.9e-6, 6e-6);
        assert_eq!(levels, [1e-6, 2e-6, 5e-6]);
        assert!(round_levels(1e-6, 1.5e-6).is_empty());
        for (low, high) in [(0.0, 1e-6), (f64::NAN, 1e-6), (1e-6, f64::INFINITY)] {
            assert!(round_levels(low, high).is_empty());
        }
    }
}
