//! A table as Parquet: times as UTC microseconds, a row group for each batch.

use std::fs::File;
use std::sync::Arc;

use parquet::basic::Compression;
use parquet::column::writer::ColumnWriterImpl;
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;

use super::rows::{Batch, Cells};
use super::schema::FORMAT;
use super::tables::{Table, Type};
use crate::error::{Error, Result};

/// A file being written.
pub(super) struct Writer<'a> {
    parquet: SerializedFileWriter<&'a mut File>,
    optional: Vec<bool>,
}

fn failed(e: impl std::fmt::Display) -> Error {
    Error::file("export", format!("cannot write Parquet: {e}"), "check the disk and its free space")
}

impl<'a> Writer<'a> {
    pub(super) fn new(file: &'a mut File, table: &Table) -> Result<Self> {
        let schema = Arc::new(parse_message_type(&message(table)).map_err(failed)?);
        let about = |key: &str, value: &str| KeyValue::new(key.to_owned(), value.to_owned());
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by(format!("coilrig {}", env!("CARGO_PKG_VERSION")))
            .set_key_value_metadata(Some(vec![
                about("coilrig.format", FORMAT),
                about("coilrig.table", table.about),
            ]))
            .build();
        let parquet =
            SerializedFileWriter::new(file, schema, Arc::new(properties)).map_err(failed)?;
        let optional = std::iter::once(false).chain(table.all().map(|column| column.optional));
        Ok(Self { parquet, optional: optional.collect() })
    }

    pub(super) fn write(&mut self, batch: &Batch) -> Result<()> {
        let mut group = self.parquet.next_row_group().map_err(failed)?;
        for (cells, optional) in batch.columns.iter().zip(&self.optional) {
            let column = group.next_column().map_err(failed)?;
            let mut column =
                column.ok_or_else(|| failed("the table has more columns than its schema"))?;
            write_cells(&mut column, cells, *optional).map_err(failed)?;
            column.close().map_err(failed)?;
        }
        group.close().map(|_| ()).map_err(failed)
    }

    pub(super) fn finish(self) -> Result<()> {
        self.parquet.close().map(|_| ()).map_err(failed)
    }
}

fn write_cells(
    column: &mut SerializedColumnWriter<'_>,
    cells: &Cells,
    optional: bool,
) -> parquet::errors::Result<()> {
    let text = |text: &String| ByteArray::from(text.as_str());
    match cells {
        Cells::Text(cells) => put(column.typed::<ByteArrayType>(), cells, optional, text),
        Cells::Number(cells) => put(column.typed::<DoubleType>(), cells, optional, |v| *v),
        Cells::Whole(cells) => put(column.typed::<Int64Type>(), cells, optional, |v| *v),
        Cells::Truth(cells) => put(column.typed::<BoolType>(), cells, optional, |v| *v),
    }
}

/// The values there are, and for a column that may be empty which those are.
fn put<C, T: DataType>(
    column: &mut ColumnWriterImpl<'_, T>,
    cells: &[Option<C>],
    optional: bool,
    value: impl Fn(&C) -> T::T,
) -> parquet::errors::Result<()> {
    let values: Vec<T::T> = cells.iter().flatten().map(value).collect();
    let there: Vec<i16> = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
    column.write_batch(&values, optional.then_some(&there[..]), None).map(|_| ())
}

/// The schema in the words of the format.
fn message(table: &Table) -> String {
    let columns: String = table
        .all()
        .map(|column| {
            let repetition = if column.optional { "OPTIONAL" } else { "REQUIRED" };
            let (physical, logical) = match column.kind {
                Type::Text | Type::UnitName => ("BINARY", " (UTF8)"),
                Type::Number => ("DOUBLE", ""),
                Type::Whole => ("INT64", ""),
                Type::Time => ("INT64", " (TIMESTAMP(MICROS,true))"),
                Type::Truth => ("BOOLEAN", ""),
            };
            format!("{repetition} {physical} {}{logical}; ", column.name)
        })
        .collect();
    format!("message {} {{ REQUIRED BINARY park (UTF8); {columns}}}", table.name)
}
