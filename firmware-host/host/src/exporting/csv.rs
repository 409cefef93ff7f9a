//! A table as CSV: times as RFC 3339 in UTC, truths as true and false, nothing for what is
//! not known.

use std::fs::File;
use std::io::BufWriter;

use jiff::Timestamp;

use super::rows::{Batch, Cells};
use super::tables::{Table, Type};
use crate::error::{Error, Result};

/// A file being written.
pub(super) struct Writer<'a> {
    csv: csv::Writer<BufWriter<&'a mut File>>,
    kinds: Vec<Type>,
}

fn failed(e: impl std::fmt::Display) -> Error {
    Error::file("export", format!("cannot write CSV: {e}"), "check the disk and its free space")
}

impl<'a> Writer<'a> {
    pub(super) fn new(file: &'a mut File, table: &Table) -> Result<Self> {
        let mut csv = csv::Writer::from_writer(BufWriter::new(file));
        let names = std::iter::once("park").chain(table.all().map(|column| column.name));
        csv.write_record(names).map_err(failed)?;
        let kinds = std::iter::once(Type::Text).chain(table.all().map(|column| column.kind));
        Ok(Self { csv, kinds: kinds.collect() })
    }

    pub(super) fn write(&mut self, batch: &Batch) -> Result<()> {
        for row in 0..batch.rows {
            for (cells, kind) in batch.columns.iter().zip(&self.kinds) {
                self.csv.write_field(field(cells, *kind, row)).map_err(failed)?;
            }
            self.csv.write_record(None::<&[u8]>).map_err(failed)?;
        }
        Ok(())
    }

    pub(super) fn finish(mut self) -> Result<()> {
        self.csv.flush().map_err(failed)
    }
}

fn field(cells: &Cells, kind: Type, row: usize) -> String {
    let text = match cells {
        Cells::Text(cells) => cells[row].clone(),
        Cells::Number(cells) => cells[row].map(|v| v.to_string()),
        Cells::Whole(cells) if kind == Type::Time => cells[row].map(|at| {
            Timestamp::from_microsecond(at).map_or_else(|_| at.to_string(), |at| format!("{at:.3}"))
        }),
        Cells::Whole(cells) => cells[row].map(|v| v.to_string()),
        Cells::Truth(cells) => cells[row].map(|v| v.to_string()),
    };
    text.unwrap_or_default()
}
