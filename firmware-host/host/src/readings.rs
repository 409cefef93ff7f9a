//! Tables of field over distance:
//! `distance_m,field_a_per_m,u_field_a_per_m,alignment`, one row a reading, and
//! where it is known `u_calibration_rel`.
//!
//! `u_field_a_per_m` is what each reading has for itself: noise, distance. The
//! relative uncertainty of the calibration, which all readings share, stands in
//! `u_calibration_rel`; a table without that column states none.
//!
//! Columns are found by name, in any order; others are left alone. A byte order
//! mark, either line ending, blank lines and lines that start with `#` are fine.

use std::path::Path;

use coilrig_analysis::range::{Alignment, FieldReading};
use csv::StringRecord;

use crate::error::{Error, Result};
use crate::files;

/// Columns that a table must have, in the order in which they are written.
pub const COLUMNS: [&str; 4] = ["distance_m", "field_a_per_m", "u_field_a_per_m", "alignment"];

/// Column that a table may have.
pub const CALIBRATION_COLUMN: &str = "u_calibration_rel";

/// Readings and where they stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The readings, in the order of the file.
    pub readings: Vec<FieldReading>,
    /// Relative standard uncertainty of the calibration behind each of them, 0
    /// where the table states none.
    pub u_calibration_rel: Vec<f64>,
    /// Line of the file that each reading came from, counted from 1.
    pub lines: Vec<u64>,
}

/// Read a table.
pub fn read(path: &Path) -> Result<Table> {
    parse(path, &files::read_text(path)?)
}

/// Write a table that [`read`] takes: readings, each with the relative standard
/// uncertainty of its calibration.
pub fn write<'a>(
    path: &Path,
    readings: impl IntoIterator<Item = (&'a FieldReading, f64)>,
) -> Result<()> {
    let mut text = format!("{},{CALIBRATION_COLUMN}\n", COLUMNS.join(","));
    for (r, u_calibration_rel) in readings {
        text += &format!(
            "{},{:e},{:e},{},{u_calibration_rel}\n",
            r.distance_m, r.field_a_per_m, r.u_field_a_per_m, r.alignment
        );
    }
    files::write_whole(path, text.as_bytes())
}

fn parse(path: &Path, text: &str) -> Result<Table> {
    let Rows { header, rows } = rows(path, text)?;
    let columns = columns(path, &header)?;
    let calibration = optional_column(path, &header, CALIBRATION_COLUMN)?;
    let mut table =
        Table { readings: Vec::new(), u_calibration_rel: Vec::new(), lines: Vec::new() };
    for (line, row) in rows {
        let place = Place { path, line };
        place.check_width(&row, header.len())?;
        table.readings.push(place.reading(&row, columns)?);
        let u_calibration_rel =
            calibration.map(|i| place.u_calibration_rel(&row[i])).transpose()?;
        table.u_calibration_rel.push(u_calibration_rel.unwrap_or(0.0));
        table.lines.push(line);
    }
    Ok(table)
}

/// A CSV table as text: its header, and each row that says something with the
/// line of the file it came from.
pub(crate) struct Rows {
    pub(crate) header: StringRecord,
    pub(crate) rows: Vec<(u64, StringRecord)>,
}

/// Take a CSV table apart.
pub(crate) fn rows(path: &Path, text: &str) -> Result<Rows> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| no_csv(path, &e))?.clone();
    let mut rows = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|e| no_csv(path, &e))?;
        let line = row.position().map_or(0, |p| line_from(text, p.byte() as usize));
        if !row.iter().all(str::is_empty) {
            rows.push((line, row));
        }
    }
    Ok(Rows { header, rows })
}

/// Line, counted from 1, of the first row at or after `byte`. The reader's own
/// count stops before the blank lines and comments that it skips.
pub(crate) fn line_from(text: &str, byte: usize) -> u64 {
    let (before, after) = text.as_bytes().split_at(byte.min(text.len()));
    let ended = before.iter().filter(|b| **b == b'\n').count();
    let skipped = after
        .split(|b| *b == b'\n')
        .take_while(|line| line.trim_ascii().is_empty() || line.starts_with(b"#"))
        .count();
    (1 + ended + skipped) as u64
}

/// Where in the header each of [`COLUMNS`] stands.
fn columns(path: &Path, header: &StringRecord) -> Result<[usize; 4]> {
    let mut found = [0; 4];
    for (place, wanted) in found.iter_mut().zip(COLUMNS) {
        *place = optional_column(path, header, wanted)?
            .ok_or_else(|| missing_column(path, wanted, header, &COLUMNS.join(",")))?;
    }
    Ok(found)
}

/// Where in the header the column stands, if at all.
pub(crate) fn optional_column(
    path: &Path,
    header: &StringRecord,
    wanted: &str,
) -> Result<Option<usize>> {
    let mut at = (0..header.len()).filter(|i| &header[*i] == wanted);
    let first = at.next();
    if at.next().is_some() {
        return Err(Error::file(
            format!("{}, header", path.display()),
            format!("has the column {wanted} twice"),
            "rename or remove one of them",
        ));
    }
    Ok(first)
}

/// The error for a header without the column `wanted`; `expected` is a whole one.
pub(crate) fn missing_column(
    path: &Path,
    wanted: &str,
    header: &StringRecord,
    expected: &str,
) -> Error {
    let place = format!("{}, header", path.display());
    let names: Vec<&str> = header.iter().collect();
    if names.iter().all(|name| name.is_empty()) {
        return Error::file(
            path.display(),
            "is empty",
            format!("start the table with the line {expected}"),
        );
    }
    if let Some(separator) = [';', '\t'].into_iter().find(|s| names.join("").contains(*s)) {
        let name = if separator == ';' { "semicolons" } else { "tabs" };
        return Error::file(
            place,
            format!("separates the columns by {name}"),
            "save the table as CSV with commas between columns and points in numbers",
        );
    }
    Error::file(
        place,
        format!("has no column {wanted} among {}", names.join(", ")),
        format!("name the columns {expected}; distances in m, fields in A/m"),
    )
}

fn no_csv(path: &Path, error: &csv::Error) -> Error {
    Error::file(path.display(), format!("is no CSV table: {error}"), "save the table as CSV anew")
}

/// A row of the file, for errors to name.
pub(crate) struct Place<'a> {
    pub(crate) path: &'a Path,
    pub(crate) line: u64,
}

impl Place<'_> {
    pub(crate) fn error(
        &self,
        column: Option<&str>,
        what: String,
        remedy: impl Into<String>,
    ) -> Error {
        let column = column.map_or(String::new(), |c| format!(", {c}"));
        Error::file(format!("{}, line {}{column}", self.path.display(), self.line), what, remedy)
    }

    pub(crate) fn check_width(&self, row: &StringRecord, wanted: usize) -> Result<()> {
        let remedy = match row.len() {
            have if have == wanted => return Ok(()),
            have if have > wanted => {
                "write decimals with a point, not a comma, and keep commas between columns only"
            }
            _ => "fill in what is missing, or put # before the line to leave it out",
        };
        Err(self.error(None, format!("has {} values for {wanted} columns", row.len()), remedy))
    }

    fn reading(&self, row: &StringRecord, columns: [usize; 4]) -> Result<FieldReading> {
        let number = |i: usize| self.number(COLUMNS[i], &row[columns[i]]);
        Ok(FieldReading {
            distance_m: number(0)?,
            field_a_per_m: number(1)?,
            u_field_a_per_m: number(2)?,
            alignment: self.alignment(&row[columns[3]])?,
        })
    }

    fn number(&self, column: &str, text: &str) -> Result<f64> {
        let value = self.any_number(column, text)?;
        if value > 0.0 && value.is_finite() {
            return Ok(value);
        }
        let remedy = match column {
            "distance_m" => "give the distance between the centres of the coils",
            "field_a_per_m" => {
                "give the RMS field as a magnitude; leave a reading without a signal out"
            }
            _ => "give the standard uncertainty of the field, which is never zero",
        };
        Err(self.error(Some(column), format!("{text} is not a number over zero"), remedy))
    }

    pub(crate) fn u_calibration_rel(&self, text: &str) -> Result<f64> {
        let value = self.any_number(CALIBRATION_COLUMN, text)?;
        if value >= 0.0 && value.is_finite() {
            return Ok(value);
        }
        Err(self.error(
            Some(CALIBRATION_COLUMN),
            format!("{text} is not a number, 0 or more"),
            "give the relative standard uncertainty of the calibration, such as 0.05 for 5 %",
        ))
    }

    pub(crate) fn any_number(&self, column: &str, text: &str) -> Result<f64> {
        text.parse().map_err(|_| {
            let remedy = if text.is_empty() {
                "fill it in, or put # before the line to leave the reading out"
            } else if text.contains(',') {
                "write decimals with a point, not a comma"
            } else {
                "write a plain number in SI units, such as 0.5 or 1.2e-6, without the unit"
            };
            self.error(Some(column), format!("\"{text}\" is not a number"), remedy)
        })
    }

    fn alignment(&self, text: &str) -> Result<Alignment> {
        text.parse().map_err(|_| {
            self.error(
                Some("alignment"),
                format!("\"{text}\" is no alignment"),
                "write coaxial (coil on the transmitter's axis and along it) or coplanar \
                 (beside it and parallel to it)",
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "distance_m,field_a_per_m,u_field_a_per_m,alignment\n";

    fn parsed(text: &str) -> Result<Table> {
        parse(Path::new("r.csv"), text)
    }

    fn error_of(rows: &str) -> String {
        parsed(&format!("{HEADER}{rows}")).unwrap_err().to_string()
    }

    #[test]
    fn takes_what_spreadsheets_write() {
        let text = "\u{feff}# walked on the lower field\r\nalignment, note,distance_m,\
                    u_field_a_per_m,field_a_per_m\r\n\r\ncoaxial,\"wet, cold\",2.5,1e-7,2e-6\r\n\
                    # again\r\nCoplanar,,5,1e-8,1.2e-7\r\n,,,,\r\n";
        let table = parsed(text).unwrap();
        assert_eq!(table.lines, [4, 6]);
        assert_eq!(
            table.readings[0],
            FieldReading {
                distance_m: 2.5,
                field_a_per_m: 2e-6,
                u_field_a_per_m: 1e-7,
                alignment: Alignment::Coaxial
            }
        );
        assert_eq!(table.readings[1].alignment, Alignment::Coplanar);
    }

    #[test]
    fn what_is_written_reads_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings.csv");
        let readings = vec![FieldReading {
            distance_m: 0.1 + 0.2,
            field_a_per_m: 1.0 / 3.0 * 1e-6,
            u_field_a_per_m: 7e-9,
            alignment: Alignment::Coplanar,
        }];
        write(&path, readings.iter().map(|r| (r, 0.1 + 0.2))).unwrap();
        let table = read(&path).unwrap();
        assert_eq!(table.readings, readings);
        assert_eq!(table.u_calibration_rel, [0.1 + 0.2]);
    }

    #[test]
    fn a_calibration_is_read_where_it_stands_and_may_be_absent() {
        let row = "2,1e-6,1e-8,coaxial";
        let with = HEADER.replace('\n', ",u_calibration_rel\n");
        let read = |text: String| parsed(&text).map(|table| table.u_calibration_rel);
        assert_eq!(read(format!("{HEADER}{row}\n")).unwrap(), [0.0]);
        assert_eq!(read(format!("{with}{row},0.05\n{row},0\n")).unwrap(), [0.05, 0.0]);
        for (wrong, matter) in [("-0.1", "0 or more"), ("5 %", "not a number"), ("", "fill it in")]
        {
            let error = read(format!("{with}{row},{wrong}\n")).unwrap_err().to_string();
            assert!(error.contains("line 2, u_calibration_rel") && error.contains(matter));
        }
        let twice = with.replace('\n', ",u_calibration_rel\n");
        assert!(read(twice).unwrap_err().to_string().contains("u_calibration_rel twice"));
    }

    #[test]
    fn names_line_column_and_remedy() {
        let good = "2,1e-6,1e-8,coaxial\n";
        assert_eq!(
            error_of(&format!("{good}\n3,x,1e-8,coaxial\n")),
            "r.csv, line 4, field_a_per_m: \"x\" is not a number\n  to do: write a plain number \
             in SI units, such as 0.5 or 1.2e-6, without the unit"
        );
        assert!(error_of("2,1e-6,0,coaxial\n").contains("line 2, u_field_a_per_m: 0 is not"));
        assert!(error_of("NaN,1e-6,1e-8,coaxial\n").contains("line 2, distance_m: NaN is not"));
        assert!(error_of("2,1e-6,1e-8,axial\n").contains("\"axial\" is no alignment"));
        assert!(error_of("2,1e-6\n").contains("line 2: has 2 values for 4 columns"));
    }

    #[test]
    fn decimal_commas_are_named_as_such() {
        for row in ["2,5,1e-6,1e-8,coaxial\n", "\"2,5\",1e-6,1e-8,coaxial\n"] {
            assert!(error_of(row).contains("decimals with a point, not a comma"), "{row}");
        }
        let semicolons = parsed("distance_m;field_a_per_m;u_field_a_per_m;alignment\n2,5;1;1;x\n");
        assert!(semicolons.unwrap_err().to_string().contains("by semicolons"));
    }

    #[test]
    fn header_faults_are_named() {
        let missing = parsed("distance_m,field_a_per_m,alignment\n1,1,coaxial\n").unwrap_err();
        assert!(missing.to_string().contains("has no column u_field_a_per_m among distance_m,"));
        let twice = parsed(&HEADER.replace("alignment", "alignment,distance_m")).unwrap_err();
        assert!(twice.to_string().contains("has the column distance_m twice"));
        assert!(parsed("").unwrap_err().to_string().contains("is empty"));
    }
}
