//! Tables of field at places, one row a reading:
//! `x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m`, z up, or with
//! `h_a_per_m` alone in place of the three; and where it is known
//! `u_calibration_rel`.
//!
//! The place is that of the coils. `u_a_per_m` is what each component has for
//! itself; what all readings share stands in `u_calibration_rel`. Columns are
//! found by name, in any order, and others are left alone, as in
//! [`readings`](crate::readings).

use std::path::Path;

use coilrig_analysis::locate::{Measured, PlacedReading};
use csv::StringRecord;

use crate::error::Result;
use crate::files;
use crate::readings::{CALIBRATION_COLUMN, Place, Rows, missing_column, optional_column, rows};

/// Columns of the place and of the uncertainty.
const PLACE: [&str; 3] = ["x_m", "y_m", "z_m"];
const VECTOR: [&str; 3] = ["hx_a_per_m", "hy_a_per_m", "hz_a_per_m"];
const MAGNITUDE: &str = "h_a_per_m";
const U: &str = "u_a_per_m";
/// A whole header, for errors.
const EXPECTED: &str = "x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m (or h_a_per_m in \
                        place of the three components)";

/// Readings and where they stood.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedTable {
    /// The readings, in the order of the file.
    pub readings: Vec<PlacedReading>,
    /// Relative standard uncertainty of the calibration behind each of them, 0
    /// where the table states none.
    pub u_calibration_rel: Vec<f64>,
    /// Line of the file that each reading came from, counted from 1.
    pub lines: Vec<u64>,
}

/// Read a table.
pub fn read(path: &Path) -> Result<PlacedTable> {
    parse(path, &files::read_text(path)?)
}

fn parse(path: &Path, text: &str) -> Result<PlacedTable> {
    let Rows { header, rows } = rows(path, text)?;
    let columns = Columns::of(path, &header)?;
    let mut table =
        PlacedTable { readings: Vec::new(), u_calibration_rel: Vec::new(), lines: Vec::new() };
    for (line, row) in rows {
        let place = Place { path, line };
        place.check_width(&row, header.len())?;
        table.readings.push(columns.reading(&place, &row)?);
        let shared = columns.calibration.map(|i| place.u_calibration_rel(&row[i])).transpose()?;
        table.u_calibration_rel.push(shared.unwrap_or(0.0));
        table.lines.push(line);
    }
    Ok(table)
}

/// Where in the header each column stands.
struct Columns {
    place: [usize; 3],
    field: Field,
    u: usize,
    calibration: Option<usize>,
}

enum Field {
    Vector([usize; 3]),
    Magnitude(usize),
}

impl Columns {
    fn of(path: &Path, header: &StringRecord) -> Result<Self> {
        let find = |name| optional_column(path, header, name);
        let need = |name| find(name)?.ok_or_else(|| missing_column(path, name, header, EXPECTED));
        let place = [need(PLACE[0])?, need(PLACE[1])?, need(PLACE[2])?];
        let some = [find(VECTOR[0])?, find(VECTOR[1])?, find(VECTOR[2])?];
        let field = match (some, find(MAGNITUDE)?) {
            ([Some(x), Some(y), Some(z)], _) => Field::Vector([x, y, z]),
            ([None, None, None], Some(magnitude)) => Field::Magnitude(magnitude),
            _ => Field::Vector([need(VECTOR[0])?, need(VECTOR[1])?, need(VECTOR[2])?]),
        };
        Ok(Self { place, field, u: need(U)?, calibration: find(CALIBRATION_COLUMN)? })
    }

    fn reading(&self, place: &Place<'_>, row: &StringRecord) -> Result<PlacedReading> {
        let three = |names: [&str; 3], at: [usize; 3]| -> Result<[f64; 3]> {
            let number = |i: usize| finite(place, names[i], &row[at[i]]);
            Ok([number(0)?, number(1)?, number(2)?])
        };
        let field = match self.field {
            Field::Vector(at) => Measured::Vector(three(VECTOR, at)?),
            Field::Magnitude(at) => Measured::Magnitude(finite(place, MAGNITUDE, &row[at])?),
        };
        if field.magnitude() <= 0.0 {
            return Err(no_field(place, field));
        }
        let u_a_per_m = finite(place, U, &row[self.u])?;
        if u_a_per_m <= 0.0 {
            let what = format!("{} is not a number over zero", &row[self.u]);
            let remedy = "give the standard uncertainty of a component, which is never zero";
            return Err(place.error(Some(U), what, remedy));
        }
        Ok(PlacedReading { place_m: three(PLACE, self.place)?, field, u_a_per_m })
    }
}

fn finite(place: &Place<'_>, column: &str, text: &str) -> Result<f64> {
    let value = place.any_number(column, text)?;
    if value.is_finite() {
        return Ok(value);
    }
    let what = format!("{text} is not a finite number");
    Err(place.error(Some(column), what, "correct it, or put # before the line to leave it out"))
}

fn no_field(place: &Place<'_>, field: Measured) -> crate::error::Error {
    match field {
        Measured::Magnitude(h) if h < 0.0 => place.error(
            Some(MAGNITUDE),
            format!("{h} is below zero, which no magnitude is"),
            "give the magnitude; if it is one component of a vector, give all three with their signs",
        ),
        _ => place.error(
            None,
            "the field is zero".into(),
            "leave a reading without a signal out, or put # before the line",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m\n";

    fn parsed(text: &str) -> Result<PlacedTable> {
        parse(Path::new("g.csv"), text)
    }

    fn error_of(text: &str) -> String {
        parsed(text).unwrap_err().to_string()
    }

    #[test]
    fn vectors_and_magnitudes_are_told_by_their_columns() {
        let table = parsed(&format!("{HEADER}# note\n1,-2,0.5,1e-6,-2e-6,2e-6,3e-8\n")).unwrap();
        let reading = table.readings[0];
        assert_eq!(reading.place_m, [1.0, -2.0, 0.5]);
        assert_eq!(reading.field, Measured::Vector([1e-6, -2e-6, 2e-6]));
        assert_eq!((reading.u_a_per_m, table.lines[0]), (3e-8, 3));
        let table = parsed("note,u_a_per_m,z_m,y_m,x_m,h_a_per_m\na,1e-8,0,2,1,5e-7\n").unwrap();
        assert_eq!(table.readings[0].field, Measured::Magnitude(5e-7));
        assert_eq!(table.readings[0].place_m, [1.0, 2.0, 0.0]);
        // With all three components there, the magnitude is one of the other columns.
        let both = parsed(
            "x_m,y_m,z_m,hx_a_per_m,hy_a_per_m,hz_a_per_m,h_a_per_m,u_a_per_m,u_calibration_rel\n0,0,0,1,2,2,9,1,0.05\n",
        );
        let both = both.unwrap();
        assert_eq!(both.readings[0].field, Measured::Vector([1.0, 2.0, 2.0]));
        assert_eq!(both.u_calibration_rel, [0.05]);
    }

    #[test]
    fn names_line_column_and_remedy() {
        let row = |row: &str| error_of(&format!("{HEADER}{row}\n"));
        assert!(row("1,2,nan,1e-6,1e-6,1e-6,1e-8").contains("line 2, z_m: nan is not a finite"));
        assert!(
            row("1,2,0,1e-6,x,1e-6,1e-8").contains("line 2, hy_a_per_m: \"x\" is not a number")
        );
        assert!(row("1,2,0,1e-6,,1e-6,1e-8").contains("fill it in"));
        assert!(row("1,2,0,1e-6,1e-6,1e-6,0").contains("line 2, u_a_per_m: 0 is not"));
        assert!(row("1,2,0,0,0,0,1e-8").contains("line 2: the field is zero"));
        assert!(row("1,2,0,1e-6,1e-6,1e-8").contains("has 6 values for 7 columns"));
        let magnitudes = "x_m,y_m,z_m,h_a_per_m,u_a_per_m\n";
        let negative = error_of(&format!("{magnitudes}0,0,0,-1e-6,1e-8\n"));
        assert!(negative.contains("line 2, h_a_per_m") && negative.contains("below zero"));
    }

    #[test]
    fn header_faults_are_named() {
        assert!(error_of("x_m,y_m,h_a_per_m,u_a_per_m\n").contains("no column z_m"));
        assert!(error_of(&HEADER.replace("hy_a_per_m", "hy")).contains("no column hy_a_per_m"));
        assert!(error_of("x_m,y_m,z_m,u_a_per_m\n").contains("no column hx_a_per_m"));
        assert!(error_of(&HEADER.replace(',', ";")).contains("by semicolons"));
        assert!(error_of("").contains("is empty"));
    }
}
