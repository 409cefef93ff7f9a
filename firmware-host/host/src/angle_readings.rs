//! Tables of field over angle: `angle_deg,field_a_per_m,u_field_a_per_m`, one row
//! a reading, angles in degrees. Where they are known also `u_angle_deg`, the
//! uncertainty of the angle; all of `hx_a_per_m,hy_a_per_m,hz_a_per_m,u_a_per_m`,
//! the components along the receiver's axes, their common sign free, with the
//! uncertainty of each; and `u_calibration_rel`, as in [`crate::readings`].
//!
//! Read as [`crate::readings`] reads: columns by name, in any order.

use std::path::Path;

use coilrig_analysis::angle::AngleReading;
use coilrig_analysis::survey::Components;
use csv::StringRecord;

use crate::error::{Error, Result};
use crate::files;
use crate::readings::{CALIBRATION_COLUMN, Place, Rows, missing_column, optional_column, rows};

/// Columns that a table must have.
pub const COLUMNS: [&str; 3] = ["angle_deg", "field_a_per_m", "u_field_a_per_m"];

/// Columns that a table has all or none of.
pub const COMPONENT_COLUMNS: [&str; 4] = ["hx_a_per_m", "hy_a_per_m", "hz_a_per_m", "u_a_per_m"];

/// Column that a table may have.
const U_ANGLE_COLUMN: &str = "u_angle_deg";

/// Readings and where they stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The readings, in the order of the file.
    pub readings: Vec<AngleReading>,
    /// Relative standard uncertainty of the calibration behind each of them, 0
    /// where the table states none.
    pub u_calibration_rel: Vec<f64>,
    /// Line of the file that each reading came from, counted from 1.
    pub lines: Vec<u64>,
}

/// Write a table that [`read`] takes: readings, each with the relative standard
/// uncertainty of its calibration. Components are left out where one lacks them.
///
/// # Errors
///
/// It cannot be written.
pub fn write(path: &Path, readings: &[(AngleReading, f64)]) -> Result<()> {
    let with_components = readings.iter().all(|(r, _)| r.components.is_some());
    let mut names = vec!["angle_deg", U_ANGLE_COLUMN, "field_a_per_m", "u_field_a_per_m"];
    if with_components {
        names.extend(COMPONENT_COLUMNS);
    }
    names.push(CALIBRATION_COLUMN);
    let mut text = names.join(",") + "\n";
    for (r, u_calibration_rel) in readings {
        let (field, u) = (r.field_a_per_m, r.u_field_a_per_m);
        text += &format!("{},{},{field:e},{u:e}", r.angle_deg, r.u_angle_deg);
        if let Some(c) = r.components.filter(|_| with_components) {
            let [x, y, z] = c.h_a_per_m;
            text += &format!(",{x:e},{y:e},{z:e},{:e}", c.u_a_per_m);
        }
        text += &format!(",{u_calibration_rel}\n");
    }
    files::write_whole(path, text.as_bytes())
}

/// Read a table.
///
/// # Errors
///
/// It cannot be read, with line and column.
pub fn read(path: &Path) -> Result<Table> {
    parse(path, &files::read_text(path)?)
}

/// Where in the header the columns stand.
struct Columns {
    required: [usize; 3],
    components: Option<[usize; 4]>,
    u_angle: Option<usize>,
    calibration: Option<usize>,
}

fn parse(path: &Path, text: &str) -> Result<Table> {
    let Rows { header, rows } = rows(path, text)?;
    let columns = Columns::of(path, &header)?;
    let mut table =
        Table { readings: Vec::new(), u_calibration_rel: Vec::new(), lines: Vec::new() };
    for (line, row) in rows {
        let place = Place { path, line };
        place.check_width(&row, header.len())?;
        table.readings.push(reading(&place, &row, &columns)?);
        let share = columns.calibration.map(|i| place.u_calibration_rel(&row[i])).transpose()?;
        table.u_calibration_rel.push(share.unwrap_or(0.0));
        table.lines.push(line);
    }
    Ok(table)
}

impl Columns {
    fn of(path: &Path, header: &StringRecord) -> Result<Self> {
        let mut required = [0; 3];
        for (place, wanted) in required.iter_mut().zip(COLUMNS) {
            *place = optional_column(path, header, wanted)?
                .ok_or_else(|| missing_column(path, wanted, header, &COLUMNS.join(",")))?;
        }
        let mut found = Vec::new();
        for wanted in COMPONENT_COLUMNS {
            found.push(optional_column(path, header, wanted)?);
        }
        let components = match found[..] {
            [Some(x), Some(y), Some(z), Some(u)] => Some([x, y, z, u]),
            [None, None, None, None] => None,
            _ => {
                return Err(Error::file(
                    format!("{}, header", path.display()),
                    format!("has some, but not all of {}", COMPONENT_COLUMNS.join(",")),
                    "give all four, or none of them",
                ));
            }
        };
        Ok(Self {
            required,
            components,
            u_angle: optional_column(path, header, U_ANGLE_COLUMN)?,
            calibration: optional_column(path, header, CALIBRATION_COLUMN)?,
        })
    }
}

fn reading(place: &Place, row: &StringRecord, columns: &Columns) -> Result<AngleReading> {
    let [angle, field, u_field] = columns.required;
    let components = columns.components.map(|[x, y, z, u]| -> Result<Components> {
        let h = |i: usize, column| place.finite(COMPONENT_COLUMNS[column], &row[i]);
        let h_a_per_m = [h(x, 0)?, h(y, 1)?, h(z, 2)?];
        Ok(Components { h_a_per_m, u_a_per_m: place.number(COMPONENT_COLUMNS[3], &row[u])? })
    });
    let u_angle = columns.u_angle.map(|i| place.finite(U_ANGLE_COLUMN, &row[i])).transpose()?;
    Ok(AngleReading {
        angle_deg: place.finite(COLUMNS[0], &row[angle])?,
        u_angle_deg: u_angle.unwrap_or(0.0),
        field_a_per_m: place.number(COLUMNS[1], &row[field])?,
        u_field_a_per_m: place.number(COLUMNS[2], &row[u_field])?,
        components: components.transpose()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Result<Table> {
        parse(Path::new("a.csv"), text)
    }

    #[test]
    fn what_is_written_reads_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings.csv");
        for components in
            [None, Some(Components { h_a_per_m: [1e-7 / 3.0, -2e-7, 0.0], u_a_per_m: 3e-9 })]
        {
            let readings = [AngleReading {
                angle_deg: 0.1 + 0.2,
                u_angle_deg: 1.0,
                field_a_per_m: 1.0 / 3.0 * 1e-6,
                u_field_a_per_m: 7e-9,
                components,
            }];
            write(&path, &readings.map(|r| (r, 0.05))).unwrap();
            let table = read(&path).unwrap();
            assert_eq!(table.readings, readings);
            assert_eq!((table.u_calibration_rel, table.lines), (vec![0.05], vec![2]));
        }
    }

    #[test]
    fn the_shortest_table_has_three_columns_in_any_order() {
        let text = "# bench\nu_field_a_per_m,angle_deg,field_a_per_m\n1e-9,-15,1e-6\n";
        let table = parsed(text).unwrap();
        assert_eq!((table.readings[0].angle_deg, table.lines[0]), (-15.0, 3));
        assert_eq!((table.readings[0].u_angle_deg, table.u_calibration_rel[0]), (0.0, 0.0));
    }

    #[test]
    fn names_line_column_and_remedy() {
        let header = "angle_deg,field_a_per_m,u_field_a_per_m";
        for (text, matter) in [
            ("angle,field_a_per_m,u_field_a_per_m\n", "has no column angle_deg"),
            ("", "is empty"),
            (&format!("{header}\n0,-1e-6,1e-9\n"), "line 2, field_a_per_m: -1e-6 is not"),
            (&format!("{header}\n0,NaN,1e-9\n"), "line 2, field_a_per_m: NaN is not"),
            (&format!("{header}\ninf,1e-6,1e-9\n"), "line 2, angle_deg: inf is not a finite"),
            (&format!("{header}\n0,1e-6,0\n"), "line 2, u_field_a_per_m: 0 is not"),
            (&format!("{header}\n0°,1e-6,1e-9\n"), "line 2, angle_deg: \"0°\" is not a number"),
            (&format!("{header},hx_a_per_m\n"), "some, but not all of hx_a_per_m"),
            (&format!("{header},angle_deg\n"), "the column angle_deg twice"),
        ] {
            let error = parsed(text).unwrap_err().to_string();
            assert!(error.contains(matter) && error.contains("to do: "), "{error}");
        }
    }
}
