//! Axes of the receiver and of the plan that do not match.
//!
//! x and y taken for each other, one of them counted the wrong way, or the plan
//! turned by a quarter or half: the magnitudes are right then and the directions
//! are not. There are eight ways to lay a square grid on itself, and a turn by half
//! is, but for the sign of the whole vector, the same as hz counted downward.

use super::readings::{Measured, PlacedReading};

/// A way in which components may have got into the wrong columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Axes {
    /// What would make directions and plan match.
    pub how: &'static str,
    /// Which of hx, hy stands for x and with which sign, the same for y.
    rows: [[i8; 2]; 2],
}

/// All ways but the right one.
pub const WRONG_WAYS: [Axes; 7] = [
    Axes {
        how: "with hx and hy exchanged (or x and y: the grid is mirrored against the plan)",
        rows: [[0, 1], [1, 0]],
    },
    Axes {
        how: "with hx turned round (or x: the grid is mirrored against the plan)",
        rows: [[-1, 0], [0, 1]],
    },
    Axes {
        how: "with hy turned round (or y: the grid is mirrored against the plan)",
        rows: [[1, 0], [0, -1]],
    },
    Axes {
        how: "with hx and hy exchanged and both turned round (the grid is mirrored against the plan)",
        rows: [[0, -1], [-1, 0]],
    },
    Axes {
        how: "with the vectors turned a quarter from x to y (the plan or the receiver is turned)",
        rows: [[0, -1], [1, 0]],
    },
    Axes {
        how: "with the vectors turned a quarter from y to x (the plan or the receiver is turned)",
        rows: [[0, 1], [-1, 0]],
    },
    Axes {
        how: "with hz turned round (z counts up), or with plan or receiver turned by half",
        rows: [[-1, 0], [0, -1]],
    },
];

impl Axes {
    /// The readings laid this way; `None` unless all are vectors.
    pub fn of(self, readings: &[PlacedReading]) -> Option<Vec<PlacedReading>> {
        let laid = |reading: &PlacedReading| {
            let Measured::Vector([x, y, z]) = reading.field else { return None };
            let [along, across] =
                self.rows.map(|row| f64::from(row[0]) * x + f64::from(row[1]) * y);
            Some(PlacedReading { field: Measured::Vector([along, across, z]), ..*reading })
        };
        readings.iter().map(laid).collect()
    }
}
