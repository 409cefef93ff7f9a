//! Readings of field at known places, and what is wrong with a set of them.

use nalgebra::Vector3;

use super::surface::Surface;

/// What a receiver tells of the field at one place. The sign of a field is never
/// known: no phase links one capture to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// Components along x, y, z (A/m RMS), all three up to one common sign.
    Vector([f64; 3]),
    /// A receiver held level whose heading is not known: the field's horizontal
    /// and vertical part (A/m RMS), neither below zero.
    NoHeading {
        /// √(hx² + hy²).
        horizontal: f64,
        /// |hz|.
        vertical: f64,
    },
    /// The magnitude over all directions, A/m RMS.
    Magnitude(f64),
}

impl Measured {
    /// What is left of it when the heading is not to be trusted.
    pub fn without_heading(self) -> Self {
        match self {
            Self::Vector([x, y, z]) => {
                Self::NoHeading { horizontal: x.hypot(y), vertical: z.abs() }
            }
            other => other,
        }
    }

    /// Magnitude, A/m.
    pub fn magnitude(self) -> f64 {
        match self {
            Self::Vector(h) => Vector3::from(h).norm(),
            Self::NoHeading { horizontal, vertical } => horizontal.hypot(vertical),
            Self::Magnitude(h) => h,
        }
    }

    /// The same field times `factor` (over zero).
    pub fn scaled(self, factor: f64) -> Self {
        match self {
            Self::Vector(h) => Self::Vector(h.map(|c| factor * c)),
            Self::NoHeading { horizontal, vertical } => {
                Self::NoHeading { horizontal: factor * horizontal, vertical: factor * vertical }
            }
            Self::Magnitude(h) => Self::Magnitude(factor * h),
        }
    }

    /// How many numbers it is.
    pub fn numbers(self) -> usize {
        self.names().len()
    }

    /// Its numbers: x, y, z, or horizontal and vertical, or magnitude, A/m.
    pub fn to_vec(self) -> Vec<f64> {
        match self {
            Self::Vector(h) => h.into(),
            Self::NoHeading { horizontal, vertical } => vec![horizontal, vertical],
            Self::Magnitude(h) => vec![h],
        }
    }

    /// Names of its numbers.
    pub fn names(self) -> &'static [&'static str] {
        match self {
            Self::Vector(_) => &["x", "y", "z"],
            Self::NoHeading { .. } => &["horizontal", "vertical"],
            Self::Magnitude(_) => &["magnitude"],
        }
    }

    fn is_finite(self) -> bool {
        match self {
            Self::Vector(h) => h.iter().all(|c| c.is_finite()),
            Self::NoHeading { horizontal, vertical } => (horizontal + vertical).is_finite(),
            Self::Magnitude(h) => h.is_finite(),
        }
    }
}

/// One measured field at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedReading {
    /// Where the middle of the coils stood, m, z up.
    pub place_m: [f64; 3],
    /// What was measured there.
    pub field: Measured,
    /// Standard uncertainty of each of its numbers, A/m.
    pub u_a_per_m: f64,
}

impl PlacedReading {
    /// Relative standard uncertainty, of a component against the magnitude.
    pub fn u_rel(&self) -> f64 {
        self.u_a_per_m / self.field.magnitude()
    }
}

/// Why a set of readings gives no place. Rows count from 1 in the order given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LocateError {
    /// A quantity that is not a number, or infinite.
    #[error("row {row}: {quantity} is not a finite number")]
    NotFinite {
        /// Row of the reading.
        row: usize,
        /// Name of the quantity.
        quantity: &'static str,
    },
    /// A quantity that must be over zero.
    #[error("row {row}: {quantity} must be over zero")]
    NotPositive {
        /// Row of the reading.
        row: usize,
        /// Name of the quantity.
        quantity: &'static str,
    },
    /// Fewer readings than the unknowns need.
    #[error(
        "{have} readings at {places} different places, but place and moment are six unknowns, \
         which need at least {need} readings of this kind at different places"
    )]
    TooFew {
        /// Readings given.
        have: usize,
        /// Different places among them.
        places: usize,
        /// Different places needed.
        need: usize,
    },
    /// Magnitudes along one straight line.
    #[error(
        "all readings lie on one straight line: from magnitudes along it nobody can tell how much of \
         the distance to the unit is depth and how much is to the left or the right"
    )]
    OneLine,
    /// Two readings of one place that cannot both be right.
    #[error(
        "rows {first} and {second} are of one place, but their fields differ by far more than their uncertainty"
    )]
    Contradiction {
        /// Row of the one.
        first: usize,
        /// Row of the other.
        second: usize,
    },
    /// Rows in another unit than the rest.
    #[error(
        "{} about 1000 times too {} for a field that {} the other readings \
         (chi squared {} as written, {} without that factor)",
        if rows.len() == 1 { format!("row {} is", rows[0]) } else { format!("rows {} are", listed(rows)) },
        if *large { "large" } else { "small" },
        if rows.len() == 1 { "agrees with" } else { "agree with" },
        crate::units::significant(*chi_squared, 3),
        crate::units::significant(*chi_squared_otherwise, 3),
    )]
    UnitMixUp {
        /// The rows.
        rows: Vec<usize>,
        /// Whether they are too large.
        large: bool,
        /// χ² with the rows as written.
        chi_squared: f64,
        /// χ² with the factor taken out.
        chi_squared_otherwise: f64,
    },
    /// Axes of the receiver and of the plan that do not match.
    #[error(
        "the directions do not match the plan: {how}, chi squared falls from {} to {}",
        crate::units::significant(*chi_squared, 3),
        crate::units::significant(*chi_squared_otherwise, 3)
    )]
    Axes {
        /// What would make them match.
        how: String,
        /// χ² as written.
        chi_squared: f64,
        /// χ² otherwise.
        chi_squared_otherwise: f64,
    },
    /// An option without sense.
    #[error("{name} {value} must be a finite number, 0 or more")]
    Option {
        /// What it is.
        name: &'static str,
        /// What it was.
        value: f64,
    },
    /// The fit found no minimum.
    #[error("no dipole below the surface fits the readings")]
    NoFit,
}

fn listed(rows: &[usize]) -> String {
    rows.iter().map(usize::to_string).collect::<Vec<_>>().join(", ")
}

impl LocateError {
    /// The row at fault, where it is one row; counted from 1.
    pub fn row(&self) -> Option<usize> {
        match self {
            Self::NotFinite { row, .. } | Self::NotPositive { row, .. } => Some(*row),
            Self::Contradiction { second, .. } => Some(*second),
            Self::UnitMixUp { rows, .. } if rows.len() == 1 => Some(rows[0]),
            _ => None,
        }
    }
}

/// Places nearer than this are one place, m.
const ONE_PLACE_M: f64 = 0.02;
/// Readings of one place contradict each other beyond so many of their
/// uncertainties …
const CONTRADICTION_U: f64 = 5.0;
/// … and beyond this share of the field.
const CONTRADICTION_SHARE: f64 = 0.3;

/// Check that `readings` can be fitted at all.
///
/// # Errors
///
/// What is wrong, with the row.
pub fn check(readings: &[PlacedReading]) -> Result<(), LocateError> {
    for (row, reading) in (1..).zip(readings) {
        check_row(row, reading)?;
    }
    let places = different_places(readings);
    let numbers = readings.iter().map(|r| r.field.numbers()).min().unwrap_or(3);
    let need = match numbers {
        3 => 3,
        2 => 4,
        _ => 7,
    };
    if places.len() < need {
        return Err(LocateError::TooFew { have: readings.len(), places: places.len(), need });
    }
    if let Some((first, second)) = contradiction(readings) {
        return Err(LocateError::Contradiction { first, second });
    }
    if numbers == 1 && Surface::through(readings).spread_m[1] < ONE_PLACE_M {
        return Err(LocateError::OneLine);
    }
    Ok(())
}

fn check_row(row: usize, reading: &PlacedReading) -> Result<(), LocateError> {
    for (quantity, finite) in [
        ("place", reading.place_m.iter().all(|c| c.is_finite())),
        ("field", reading.field.is_finite()),
        ("u_a_per_m", reading.u_a_per_m.is_finite()),
    ] {
        if !finite {
            return Err(LocateError::NotFinite { row, quantity });
        }
    }
    let negative = matches!(reading.field, Measured::Magnitude(h) if h < 0.0);
    if negative || reading.field.magnitude() == 0.0 {
        return Err(LocateError::NotPositive { row, quantity: "field" });
    }
    if reading.u_a_per_m <= 0.0 {
        return Err(LocateError::NotPositive { row, quantity: "u_a_per_m" });
    }
    Ok(())
}

fn distance_m(a: &PlacedReading, b: &PlacedReading) -> f64 {
    (Vector3::from(a.place_m) - Vector3::from(b.place_m)).norm()
}

/// One reading of each place.
fn different_places(readings: &[PlacedReading]) -> Vec<&PlacedReading> {
    let mut places: Vec<&PlacedReading> = Vec::new();
    for reading in readings {
        if places.iter().all(|p| distance_m(p, reading) > ONE_PLACE_M) {
            places.push(reading);
        }
    }
    places
}

/// Rows, counted from 1, of readings of one place, a pair each.
pub fn repeats(readings: &[PlacedReading]) -> Vec<(usize, usize)> {
    let pairs = (0..readings.len()).flat_map(|b| (0..b).map(move |a| (a, b)));
    pairs
        .filter(|(a, b)| distance_m(&readings[*a], &readings[*b]) <= ONE_PLACE_M)
        .map(|(a, b)| (a + 1, b + 1))
        .collect()
}

fn contradiction(readings: &[PlacedReading]) -> Option<(usize, usize)> {
    repeats(readings).into_iter().find(|(first, second)| {
        let (a, b) = (&readings[first - 1], &readings[second - 1]);
        let off = apart(a.field, b.field);
        off > CONTRADICTION_U * a.u_a_per_m.hypot(b.u_a_per_m)
            && off > CONTRADICTION_SHARE * a.field.magnitude().max(b.field.magnitude())
    })
}

/// How far two fields are apart (A/m), either sign allowed.
fn apart(a: Measured, b: Measured) -> f64 {
    match (a, b) {
        (Measured::Vector(a), Measured::Vector(b)) => {
            let (a, b) = (Vector3::from(a), Vector3::from(b));
            (a - b).norm().min((a + b).norm())
        }
        _ => (a.magnitude() - b.magnitude()).abs(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(x_m: f64, y_m: f64, h: f64) -> PlacedReading {
        PlacedReading {
            place_m: [x_m, y_m, 0.0],
            field: Measured::Magnitude(h),
            u_a_per_m: 0.03 * h.abs().max(1e-9),
        }
    }

    fn grid() -> Vec<PlacedReading> {
        (0..9).map(|i| reading(f64::from(i % 3), f64::from(i / 3), 1e-6)).collect()
    }

    fn fault(change: impl Fn(&mut Vec<PlacedReading>)) -> String {
        let mut readings = grid();
        change(&mut readings);
        check(&readings).unwrap_err().to_string()
    }

    #[test]
    fn names_the_row_and_quantity_at_fault() {
        assert!(check(&grid()).is_ok());
        assert!(fault(|r| r[3].field = Measured::Magnitude(-1e-6)).contains("row 4: field must"));
        assert!(fault(|r| r[3].field = Measured::Vector([0.0; 3])).contains("row 4: field must"));
        assert!(fault(|r| r[1].u_a_per_m = 0.0).contains("row 2: u_a_per_m must be over zero"));
        assert!(fault(|r| r[1].place_m[2] = f64::NAN).contains("row 2: place is not a finite"));
    }

    #[test]
    fn six_unknowns_need_places_and_magnitudes_more_than_a_line() {
        assert!(fault(|r| r.truncate(6)).starts_with("6 readings at 6 different places"));
        assert!(
            fault(|r| r.iter_mut().for_each(|r| r.place_m = [1.0; 3])).contains("at 1 different")
        );
        assert!(
            fault(|r| (0..9).for_each(|i| r[i] = reading(i as f64, 2.0, 1e-6))).contains("line")
        );
        let vectors: Vec<_> = (0..3)
            .map(|i| PlacedReading {
                field: Measured::Vector([1e-6, 0.0, 1e-6]),
                ..reading(f64::from(i), 0.0, 1e-6)
            })
            .collect();
        assert!(check(&vectors).is_ok());
        assert!(check(&vectors[..2]).is_err());
    }

    #[test]
    fn one_place_may_be_read_twice_but_not_differently() {
        let mut readings = grid();
        readings.push(reading(1.0, 1.0, 1.05e-6));
        assert!(check(&readings).is_ok());
        assert_eq!(repeats(&readings), [(5, 10)]);
        readings[9].field = Measured::Magnitude(3e-6);
        assert_eq!(check(&readings), Err(LocateError::Contradiction { first: 5, second: 10 }));
    }

    #[test]
    fn either_sign_of_a_vector_is_the_same_field() {
        assert_eq!(
            apart(Measured::Vector([1.0, 2.0, 3.0]), Measured::Vector([-1.0, -2.0, -3.0])),
            0.0
        );
    }
}
