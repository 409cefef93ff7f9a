//! When the data allow a second answer.

use super::fit::Solution;

/// The χ² by which the best answer must lead, once χ²/ν over 1 is taken out of
/// it: 2 ln 100, the lead at which it is a hundred times as likely.
pub const CLEAR_LEAD: f64 = 9.210_340_371_976_184;

/// Those of `candidates` (the best first) that the best does not lead clearly, and by
/// how much it leads each. Along a line there can be several: the side on which the unit
/// lies and the way in which it leans are open together.
pub fn rivals(candidates: &[Solution]) -> Vec<(&Solution, f64)> {
    let Some((best, others)) = candidates.split_first() else { return Vec::new() };
    let led = others.iter().map(|other| (other, other.chi_squared - best.chi_squared));
    led.take_while(|(_, lead)| *lead < CLEAR_LEAD * best.excess_scatter).collect()
}

#[cfg(test)]
mod tests {
    use super::super::candidates::candidates;
    use super::super::readings::{Measured, PlacedReading};
    use super::super::surface::Surface;
    use super::super::testing::{Invented, read, readings};
    use super::*;
    use crate::field::medium::FreeSpace;

    const SPACE: FreeSpace = FreeSpace { frequency_hz: 457e3 };

    fn found(readings: &[PlacedReading]) -> Vec<Solution> {
        candidates(readings, &Surface::through(readings), &SPACE, None)
    }

    #[test]
    fn a_grid_of_vectors_leaves_no_doubt() {
        assert!(rivals(&found(&readings(&Invented::default()))).is_empty());
    }

    /// Along a level line the parts without heading are those of the mirror image
    /// across it too: left or right cannot be told.
    #[test]
    fn along_a_line_without_heading_left_and_right_look_alike() {
        let unit = Invented::default();
        let like = Measured::Vector([0.0; 3]).without_heading();
        let mut line = read(&Invented { a_side: 9, ..unit.clone() }, like);
        line.retain(|r| r.place_m[1].abs() < 1e-9);
        let found = found(&line);
        let (other, lead) = rivals(&found)[0];
        assert!(lead.abs() < 1e-3, "{lead}");
        let (best, other) = (found[0].position_m, other.position_m);
        assert!((best.y + other.y).abs() < 1e-4 && (best.x - other.x).abs() < 1e-4);
        assert!((best.y.abs() - 0.4).abs() < 0.2, "{best}");
    }
}
